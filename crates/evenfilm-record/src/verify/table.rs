//! Tables against their metadata: RFC 4180, header, number of cells, datatypes.

use std::io::{BufReader, Read};

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use serde_json::Value;

use super::Record;
use crate::bag::read::RESTORE;
use crate::finding::{Finding, Findings};
use crate::names::printable;
use crate::rfc4180::{Broken, LineEnd, Row, Rows};
use crate::tables::Datatype;

const METADATA: &str = "-metadata.json";

/// Largest file of metadata that is read, bytes.
const LARGEST_METADATA: u64 = 4 << 20;

/// Findings that one table may have; the rest of it is then left alone, so that other files are heard of too.
const MOST_OF_A_TABLE: usize = 20;

/// A column as metadata describe it.
struct Described {
    title: String,
    datatype: Datatype,
}

pub(super) fn check(record: &Record<'_>, findings: &mut Findings) {
    let files = &record.bag.files;
    let top = |file: &&String| file.strip_prefix("data/").is_some_and(|name| !name.contains('/'));
    for file in files.keys().filter(top) {
        if file.strip_suffix(".csv").is_some() {
            match described(record, file) {
                Ok(columns) => findings.extend(look_at(record, file, &columns)),
                Err(finding) => findings.push(finding),
            }
        } else if let Some(table) = file.strip_suffix(METADATA)
            && !files.contains_key(table)
        {
            findings.push(Finding::fault("missing", "is missing, though its metadata are there", RESTORE).at(table));
        }
    }
}

/// The columns that the metadata of a table give.
fn described(record: &Record<'_>, table: &str) -> Result<Vec<Described>, Finding> {
    let file = format!("{table}{METADATA}");
    let fault = |message: &str| Finding::fault("metadata", message, RESTORE).at(&file);
    let open = record.open(&file);
    let open =
        open.ok_or_else(|| Finding::fault("missing", format!("is missing: it says what the columns of {table} are"), RESTORE).at(&file))?;
    let mut bytes = Vec::new();
    if open.take(LARGEST_METADATA).read_to_end(&mut bytes).is_err() {
        return Err(fault("cannot be read"));
    }
    let document: Value = serde_json::from_slice(&bytes).map_err(|e| fault("is no JSON").on_line(e.line()))?;
    if document["url"].as_str() != table.strip_prefix("data/") {
        return Err(fault("does not name its table as url"));
    }
    let columns = document["tableSchema"]["columns"].as_array().ok_or_else(|| fault("has no tableSchema with columns"))?;
    let column = |column: &Value| {
        let titles = &column["titles"];
        let title = titles.as_str().or_else(|| titles.get(0)?.as_str())?;
        Some(Described { title: title.to_owned(), datatype: datatype(column["datatype"].as_str()?)? })
    };
    columns
        .iter()
        .map(column)
        .collect::<Option<_>>()
        .ok_or_else(|| fault("has a column without a title, or whose datatype is none of a record"))
}

/// The datatype that metadata name so.
fn datatype(word: &str) -> Option<Datatype> {
    use Datatype::{Date, DateTime, Flag, Number, Text, Whole};
    [Text, Number, Whole, Flag, Date, DateTime].into_iter().find(|datatype| datatype.word() == word)
}

fn look_at(record: &Record<'_>, file: &str, columns: &[Described]) -> Vec<Finding> {
    let Some(open) = record.open(file) else { return Vec::new() };
    let mut rows = Rows::new(BufReader::with_capacity(1 << 16, open), LineEnd::CrLf);
    let mut found = Vec::new();
    if let Err(broken) = look_at_rows(&mut rows, file, columns, &mut found) {
        found.push(
            Finding::fault("table", format!("is no CSV as RFC 4180 has it: it {}", broken.what), RESTORE).at(file).on_line(broken.line),
        );
    }
    found
}

fn look_at_rows(rows: &mut Rows<impl std::io::BufRead>, file: &str, columns: &[Described], found: &mut Vec<Finding>) -> Result<(), Broken> {
    let fault = |id, line, message: String| Finding::fault(id, message, RESTORE).at(file).on_line(line);
    let mut row = Row::default();
    if !rows.read(&mut row)? || !row.cells().eq(columns.iter().map(|column| column.title.as_bytes())) {
        found.push(fault("table_header", 1, format!("its header is not the one that {file}{METADATA} gives")));
        return Ok(());
    }
    while rows.read(&mut row)? {
        if found.len() >= MOST_OF_A_TABLE {
            found.push(fault("more", row.line, "the rest of this table was not looked at".into()));
            return Ok(());
        }
        if row.len() != columns.len() {
            found.push(fault("table_row", row.line, format!("has {} cells where there are {} columns", row.len(), columns.len())));
            continue;
        }
        let bad = row.cells().zip(columns).find(|(cell, column)| !holds(cell, column.datatype));
        if let Some((cell, column)) = bad {
            let shown = printable(&String::from_utf8_lossy(&cell[..cell.len().min(40)]));
            found.push(fault("table_cell", row.line, format!("{} is \"{shown}\", which is no {}", column.title, column.datatype.word())));
        }
    }
    Ok(())
}

/// Whether a cell holds a value of a datatype (XML Schema 1.1 part 2, as CSV on the Web names them), or nothing.
fn holds(cell: &[u8], datatype: Datatype) -> bool {
    let Ok(text) = std::str::from_utf8(cell) else { return false };
    if text.is_empty() {
        return true;
    }
    match datatype {
        Datatype::Text => true,
        Datatype::Number => is_double(text),
        Datatype::Whole => {
            let digits = text.strip_prefix(['-', '+']).unwrap_or(text);
            !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit())
        }
        Datatype::Flag => matches!(text, "true" | "false" | "1" | "0"),
        Datatype::Date => text.len() == 10 && text.parse::<Date>().is_ok(),
        Datatype::DateTime => text.contains('T') && (text.parse::<Timestamp>().is_ok() || text.parse::<DateTime>().is_ok()),
    }
}

fn is_double(text: &str) -> bool {
    matches!(text, "INF" | "-INF" | "NaN")
        || (text.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b'e' | b'E')) && text.parse::<f64>().is_ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The lexical spaces of XML Schema 1.1 part 2, from memory.
    #[test]
    fn cells_hold_what_their_datatype_says() {
        let cases = [
            (
                Datatype::Number,
                &["1", "-0.5", "2.5e-9", "1E5", "INF", "NaN", ".5", "5."][..],
                &["inf", "1,5", "1 ", "e5", "0x1", "--1", "."][..],
            ),
            (Datatype::Whole, &["0", "-1", "+1", "007"], &["1.0", "1e3", "-", "a"]),
            (Datatype::Flag, &["true", "false", "1", "0"], &["True", "yes"]),
            (Datatype::Date, &["2026-03-04"], &["2026-3-4", "2026-02-30", "20260304", "2026-03-04T00:00:00"]),
            (Datatype::DateTime, &["2026-03-04T09:15:00Z", "2026-03-04T09:15:00"], &["2026-03-04", "2026-03-04T25:00:00Z", "09:15"]),
            (Datatype::Text, &["=1", "é"], &[]),
        ];
        for (datatype, good, bad) in cases {
            assert!(holds(b"", datatype));
            for text in good {
                assert!(holds(text.as_bytes(), datatype), "{text} is a {datatype:?}");
            }
            for text in bad {
                assert!(!holds(text.as_bytes(), datatype), "{text} is no {datatype:?}");
            }
        }
        assert!(!holds(b"\xff", Datatype::Text));
    }
}
