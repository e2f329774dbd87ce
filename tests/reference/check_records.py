"""Holds records against readers from outside: the Library of Congress's `bagit` for the bag, `csvw` for the tables and their metadata.

    venv/bin/python check_records.py RECORDS

RECORDS is a folder in which records lie at any depth. Prints a line per record and ends with 1 where a reader complains.
"""

import sys
import warnings
from pathlib import Path

import bagit
from csvw import CSVW


def check_bag(folder):
    """Faults of the bag as `bagit` sees them."""
    try:
        bagit.Bag(str(folder)).validate()
    except bagit.BagError as e:
        return [f"bagit: {e}"]
    return []


def check_table(metadata):
    """Faults of a table as `csvw` sees them; also how many rows and cells it read, and as which types."""
    faults = []
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            read = CSVW(str(metadata), validate=True)
            if not read.is_valid:
                faults.append(f"csvw: {metadata.name}: not valid: {[str(w.message) for w in read.warnings]}")
            table = read.tables[0]
            rows = list(table.iterdicts(strict=True))
        except Exception as e:  # whatever the reader raises is a complaint
            return faults + [f"csvw: {metadata.name}: {type(e).__name__}: {e}"], 0, 0, {}
    faults += dict.fromkeys(f"csvw: {metadata.name}: {w.message}" for w in caught)
    cells = sum(value is not None for row in rows for value in row.values())
    types = {}
    for row in rows:
        for value in row.values():
            types[type(value).__name__] = types.get(type(value).__name__, 0) + 1
    expected = {column.name for column in table.tableSchema.columns}
    if rows and set(rows[0]) != expected:
        faults.append(f"csvw: {metadata.name}: columns {sorted(set(rows[0]) ^ expected)} are not in both")
    return faults, len(rows), cells, types


def main(root):
    records = sorted(path.parent for path in root.rglob("bagit.txt"))
    if not records:
        sys.exit(f"no record below {root}")
    bad, totals = 0, [0, 0, 0, 0]
    all_types = {}
    for record in records:
        faults = check_bag(record)
        tables = rows = cells = 0
        for metadata in sorted((record / "data").glob("*-metadata.json")):
            found, r, c, types = check_table(metadata)
            faults += found
            tables, rows, cells = tables + 1, rows + r, cells + c
            for name, n in types.items():
                all_types[name] = all_types.get(name, 0) + n
        print(f"{record.relative_to(root)}: {tables} tables, {rows} rows, {cells} cells, {len(faults)} complaints")
        for fault in faults:
            print("   ", fault[:400])
        bad += len(faults)
        totals = [a + b for a, b in zip(totals, [1, tables, rows, cells])]
    print("{} records, {} tables, {} rows, {} cells; {} complaints".format(*totals, bad))
    print("values read as", ", ".join(f"{n} {name}" for name, n in sorted(all_types.items())))
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
