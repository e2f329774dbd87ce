#!/usr/bin/env python3
"""Measures rendered films with Evenfilm and compares the record with the truth beside each lot.

    score_films.py BIN DIR... [--keep OUT] [--jobs N] [--list K]

BIN is the evenfilm program; each DIR is a lot made by render_films.py, or a folder of such lots. Runs `BIN measure DIR --out OUT --json` on each,
reads OUT/<lot>/r1/data/*.csv and prints a row per bar. --list K prints up to K lost and K false objects of a lot. Exit code 1 if a bar is missed.

Bars
  discs   x50_0 within 1 %, d32 within 0.3 % (objects from 6 px and 4 sigma across, or the record's size_from_um if larger)
  hazy    rows of objects.csv of kind powder or unsure within 1 % of the objects there are; uncovered area within 0.5 % and largest gap within 2 % of
          their values; particle area within 3 %
  holes   uncovered area within 1 % of its value
Lines marked 'info' are shown and not judged. Diameter bias by class compares each object with the truth at its place.
"""
import argparse, csv, json, math, re, subprocess, sys, tempfile, time
from pathlib import Path
import numpy as np
from scipy.spatial import cKDTree


def number(s):
    try:
        return float(s)
    except (TypeError, ValueError):
        return None


def table(path):
    with open(path, newline="", encoding="utf-8-sig") as f:
        return list(csv.DictReader(f))


def field_index(cell, files):
    """Which field a row belongs to: by file name, its stem, or a running number."""
    for i, f in enumerate(files):
        if cell == f or cell == Path(f).stem or cell.endswith("/" + f):
            return i
    m = re.fullmatch(r"\d+", cell.strip())
    if m and 1 <= int(cell) <= len(files):
        return int(cell) - 1
    m = re.search(r"(\d+)", cell)
    return int(m.group(1)) - 1 if m and 1 <= int(m.group(1)) <= len(files) else None


def q_step(d, w, p):
    i = np.argsort(d, kind="stable"); c = np.cumsum(w[i])
    return float(d[i][np.searchsorted(c, p * c[-1])])


def score(binary, folder, out, jobs, show):
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    t, um, fields, kind = truth["truth"], truth["um_per_px"], truth["fields"], truth["kind"]
    cmd = [binary, "measure", str(folder), "--out", str(out), "--json"] + (["--jobs", str(jobs)] if jobs else [])
    t0 = time.time()
    run = subprocess.run(cmd, capture_output=True, text=True)
    took = time.time() - t0
    rows = []
    add = lambda what, want, got, bar: rows.append((what, want, got, None if want in (None, 0) or got is None else 100 * (got / want - 1), bar))
    try:
        doc = json.loads(run.stdout)["lots"][0]
    except Exception:
        doc = {}
    if run.returncode != 0 or "error" in doc or "record_dir" not in doc:
        print(f"\n{folder.name}: NOT MEASURED, exit {run.returncode}: {json.dumps(doc.get('error')) if doc.get('error') else run.stderr.strip()[-400:]}")
        return 1
    data = Path(doc["record_dir"]) / "data"
    rec = table(data / "record.csv")[0]
    objs = table(data / "objects.csv")
    gaps = table(data / "gaps.csv") if (data / "gaps.csv").exists() else []
    val = lambda k: number(rec.get(k))
    files = [f["file"] for f in fields]
    sort = [o for o in objs if o["kind"] in ("powder", "unsure")]

    # each truth object and the nearest found one
    size_from = max(6 * um, 4 * truth["sigma_px"] * um, val("size_from_um") or 0)
    pairs, lost, false, doubles = [], [], [], 0
    for i, f in enumerate(fields):
        T = np.array([r[:6] + [r[8], r[9], r[6]] for r in f["objects"]]) if f["objects"] else np.empty((0, 9))
        F = [o for o in sort if field_index(o["field"], files) == i]
        P = np.array([[number(o["x_um"]) / um, number(o["y_um"]) / um, number(o["diameter_um"]) or 0] for o in F]) if F else np.empty((0, 3))
        if not len(T) or not len(P):
            lost += [(files[i], *r) for r in T.tolist()]; false += [(files[i], *p) for p in P.tolist()]
            continue
        # a truth object owns found ones whose centre lies within its half box
        tree = cKDTree(T[:, :2])
        owner = np.full(len(P), -1)
        k = min(4, len(T))
        dd, jj = tree.query(P[:, :2], k=k)
        dd, jj = dd.reshape(len(P), k), jj.reshape(len(P), k)
        for a in range(len(P)):
            rel = dd[a] / (0.6 * np.maximum(T[jj[a], 6], T[jj[a], 7]) + 1.5)
            b = int(rel.argmin())
            if rel[b] <= 1:
                owner[a] = jj[a][b]
        for j in range(len(T)):
            mine = np.flatnonzero(owner == j)
            if len(mine) == 0:
                lost.append((files[i], *T[j].tolist()))
            else:
                doubles += len(mine) - 1
                if len(mine) == 1 and not T[j, 5]:
                    w = f["width"] * f["height"] / ((f["width"] - T[j, 6]) * (f["height"] - T[j, 7]))
                    pairs.append((T[j, 2] * um, P[mine[0], 2], w, P[mine[0], 0] - T[j, 0], P[mine[0], 1] - T[j, 1], T[j, 8]))
        false += [(files[i], *P[a].tolist()) for a in np.flatnonzero(owner < 0)]
    pr = np.array(pairs) if pairs else np.empty((0, 6))

    # the truth of the sizes, cut where the record cuts
    d, w = [], []
    for f in fields:
        for r in f["objects"]:
            if not r[5] and r[2] * um >= size_from:
                d.append(r[2] * um); w.append(f["width"] * f["height"] / ((f["width"] - r[8]) * (f["height"] - r[9])))
    d, w = np.array(d), np.array(w)
    x50 = q_step(d, w, 0.5) if len(d) else None
    d32 = float((w * d ** 3).sum() / (w * d ** 2).sum()) if len(d) else None
    judged = kind == "discs"
    add("x50_0_um", x50, val("x50_0_um"), 1.0 if judged else None)
    add("d32_um", d32, val("d32_um"), 0.3 if judged else None)
    add("count (powder, unsure)", t["count"], float(len(sort)), 1.0 if kind == "hazy" else None)
    add("particle_area_pct", t["particle_area_pct"], val("particle_area_pct"), 3.0 if kind == "hazy" else None)
    if t["film"] == "hazy" and t["gaps"]:
        add("uncovered_area_pct", t["uncovered_area_pct"], val("uncovered_area_pct"), {"hazy": 0.5, "holes": 1.0}.get(kind))
        add("largest_gap_um", t["largest_gap_um"], val("largest_gap_um"), 2.0 if kind == "hazy" else None)
        add("gaps", t["gaps"], float(len(gaps)) if gaps else val("gaps"), None)
    else:
        add("uncovered_area_pct", t["uncovered_area_pct"], val("uncovered_area_pct"), None)
    bad = 0
    print(f"\n{folder.name}  (size_from_um {val('size_from_um')}, gap_from_um {val('gap_from_um')}, wall {took:.1f} s, timing {json.dumps(doc.get('timing'))}, flags {[f.get('id') for f in doc.get('flags') or []]})")
    for what, want, got, err, bar in rows:
        # what cannot be put in per cent (a truth of nothing) is shown as it is
        ok = None if bar is None else (err is not None and abs(err) <= bar)
        bad += ok is False
        fmt = lambda v: "-" if v is None else f"{v:.5g}" if not float(v).is_integer() else f"{v:.0f}"
        print(f"  {what:24s} true {fmt(want):>10s}  found {fmt(got):>10s}  error {'      -' if err is None else f'{err:+7.3f}'} %  {'info' if bar is None else f'bar {bar} %: ' + ('ok' if ok else 'MISSED')}")
    print(f"  {'objects matched':24s} lost {len(lost)} (at the frame {sum(1 for r in lost if r[6])}), false {len(false)}, in several pieces {doubles}, other kinds {len(objs) - len(sort)}")
    if len(pr):
        print(f"  {'centre offset, px':24s} x {np.median(pr[:, 3]):+.3f}  y {np.median(pr[:, 4]):+.3f}")
        for name, sel in (("singles", pr[:, 5] == 1), ("clumps", pr[:, 5] > 1)):
            line = []
            for lo, hi in ((3, 4), (4, 6), (6, 8), (8, 10), (10, 15), (15, 20), (20, 30), (30, 200)):
                m = sel & (pr[:, 0] >= lo * um) & (pr[:, 0] < hi * um)
                if m.sum() >= 5:
                    r = pr[m, 1] / pr[m, 0] - 1
                    line.append(f"{lo}-{hi}: {100 * r.mean():+.2f} ({m.sum()})")
            if line:
                print(f"  {'bias %, px, ' + name:24s} " + "  ".join(line))
    for title, what in (("lost", lost), ("false", false)):
        for r in what[:show]:
            print(f"    {title}: {r[0]} x {r[1]:.1f} y {r[2]:.1f} px, diameter {r[3] if title == 'lost' else r[3] / um:.2f} px")
    return int(bad > 0)


if __name__ == "__main__":
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("binary"); a.add_argument("dirs", nargs="+", type=Path)
    a.add_argument("--keep", type=Path, help="write records here and keep them"); a.add_argument("--jobs", type=int); a.add_argument("--list", type=int, default=0)
    a = a.parse_args()
    lots = []
    for d in a.dirs:
        lots += [d] if (d / "truth.json").exists() else sorted(p.parent for p in d.glob("*/truth.json"))
    if not lots:
        sys.exit("no truth.json found")
    missed = []
    with tempfile.TemporaryDirectory() as tmp:
        for n, d in enumerate(lots):
            if a.keep:
                a.keep.mkdir(parents=True, exist_ok=True)
            if score(a.binary, d, a.keep or Path(tmp) / str(n), a.jobs, a.list):
                missed.append(d.name)
    print(f"\n{len(lots) - len(missed)} of {len(lots)} lots within every bar" + (f"; missed: {', '.join(missed)}" if missed else ""))
    sys.exit(1 if missed else 0)
