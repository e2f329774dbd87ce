#!/usr/bin/env python3
"""Measures rendered films with Evenfilm and compares the record with the truth beside each lot.

    score_films.py BIN DIR... [--keep OUT] [--jobs N] [--list K] [--no-blank] [--recipe F]

BIN is the evenfilm program; each DIR is a lot made by render_films.py, or a folder of such lots. Runs `BIN measure DIR --out OUT --json` on each,
reads OUT/<lot>/r1/data/*.csv and prints a row per bar. --list K prints up to K lost and K false objects of a lot. Exit code 1 if a bar is missed.

Bars
  discs   x50_0 within 1 %, d32 within 0.3 % (objects from 6 px and 4 sigma across, or the record's size_from_um if larger)
  hazy    rows of objects.csv of kind powder or unsure within 1 % of the objects there are; uncovered area within 0.5 % and largest gap within 2 % of
          their values; particle area within 3 %
  holes   uncovered area within 1 % of its value
  clumps  agglomerate fraction within 2 points, by the built-in rule (size) and, measured again with a recipe beside a copy, by constituents;
          constituents of the whole objects within 15 % in total
  bubble  the bubble is hollow; x50_3 of bubble-one within 2 % of that of bubble-none, which has the same powder
  kinds   of the planted bubbles with droplets, fibres, dust and cracks that are at least 5 x 0.61 lambda/NA long, each 90 % named rightly over all
          lots given; at most 2 % of powder objects, those under dust apart, given a kind that does not count
  optics  nothing; the bias of diameters is what they are for
With --no-blank each lot is copied without the picture of the empty slide, and bars hold for what can still be measured; --recipe F lays a recipe
beside the copy. Lines marked 'info' are shown and not judged. Diameter bias by class compares each object with the truth at its place.
"""
import argparse, csv, json, math, re, shutil, subprocess, sys, tempfile, time
from collections import Counter
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


# what the program should call what was planted
NAMES = dict(powder=("powder", "unsure"), bubble=("hollow",), droplet=("hollow",), fibre=("fibre",), needle=("crystal",), plate=("crystal",), dust=("dust",))
GAP_NAMES = dict(disc=("round",), ellipse=("round",), wobbly=("round",), crack=("crack",), dewetting=("dewetting",))
LEFT_OUT = ("hollow", "fibre", "crystal", "dust")


def measure(binary, folder, out, jobs):
    """Runs the program. (its --json for the lot, seconds, what it said if it failed)"""
    cmd = [binary, "measure", str(folder), "--out", str(out), "--json"] + (["--jobs", str(jobs)] if jobs else [])
    t0 = time.time()
    run = subprocess.run(cmd, capture_output=True, text=True)
    try:
        doc = json.loads(run.stdout)["lots"][0]
    except Exception:
        doc = {}
    failed = run.returncode != 0 or "error" in doc or "record_dir" not in doc
    return doc, time.time() - t0, f"exit {run.returncode}: {json.dumps(doc.get('error')) if doc.get('error') else run.stderr.strip()[-400:]}" if failed else None


def changed(folder, into, no_blank, recipe):
    """A copy of a lot, without its blank and with another recipe as asked."""
    copy = into / folder.name
    shutil.copytree(folder, copy)
    if no_blank:
        sheet = (copy / "batch.toml").read_text(encoding="utf-8")
        for name in re.findall(r'^blank = "(.*)"$', sheet, re.M):
            (copy / name).unlink()
        (copy / "batch.toml").write_text(re.sub(r'^blank = .*\n', "", sheet, flags=re.M), encoding="utf-8")
    if recipe:
        shutil.copy(recipe, copy / "recipe.toml")
    return copy


def rows_of(objs, i, files, um):
    """Rows of a field as (x, y, diameter, largest Feret) in px, and the rows."""
    F = [o for o in objs if field_index(o["field"], files) == i]
    at = [[number(o["x_um"]) / um, number(o["y_um"]) / um, (number(o["diameter_um"]) or 0) / um, (number(o.get("feret_max_um")) or number(o.get("diameter_um")) or 0) / um] for o in F]
    return np.array(at).reshape(-1, 4), F


def found_as(P, x, y, d, box, by_position):
    """The row that a planted thing was found as, or None. By position: nearest centre, in half Feret diameters of the row, within one (a speck may
    have merged with what lies beside it). Else within 0.6 of the thing's box, nearest in place and size."""
    if not len(P):
        return None
    far = np.hypot(P[:, 0] - x, P[:, 1] - y)
    if by_position:
        rel = far / np.maximum(P[:, 3] / 2, 1.5)
        j = int(rel.argmin())
        return j if rel[j] <= 1 else None
    rel = far / (0.6 * box + 1.5)
    j = int(np.where(rel <= 1, rel + 0.5 * np.abs(np.log(np.maximum(P[:, 2], 0.1) / d)), np.inf).argmin())
    return j if rel[j] <= 1 else None


def confusion(fields, files, objs, gaps, um, resolution_um, col):
    """Counts of (planted, found) for things and gaps, and of those that the bars are about."""
    seen, judged = Counter(), Counter()
    for i, f in enumerate(fields):
        P, F = rows_of(objs, i, files, um)
        for r in f["objects"]:
            kind, dusty = r[col["kind"]], r[col["under_dust"]]
            box = max(r[col["box_w_px"]], r[col["box_h_px"]])
            j = found_as(P, r[0], r[1], r[2], box, kind == "dust")
            word = F[j]["kind"] if j is not None else "(not found)"
            seen[("powder at dust" if kind == "powder" and dusty else kind, word)] += 1
            if (kind != "powder" or not dusty) and (kind == "powder" or box * um >= 5 * resolution_um):
                judged[(kind, word)] += 1
        P, F = rows_of(gaps, i, files, um)
        for g in f["gaps"]:
            d = 2 * math.sqrt(max(g["area_px"], 1e-9) / math.pi)
            box = g["length_um"] / um if "length_um" in g else d
            j = found_as(P, g["x_px"], g["y_px"], d, box, False)
            word = F[j]["kind"] if j is not None else "(not found)"
            seen[("gap " + g["kind"], word)] += 1
            if box * um >= 5 * resolution_um:
                judged[("gap " + g["kind"], word)] += 1
    return seen, judged


def print_confusion(seen):
    words = sorted({w for _, w in seen})
    print("  " + "planted \\ found".ljust(18) + "".join(f"{w:>13s}" for w in words))
    for k in sorted({k for k, _ in seen}, key=lambda k: (k.startswith("gap"), k)):
        print("  " + k.ljust(18) + "".join(f"{seen[(k, w)] or '.':>13}" for w in words))


def rightly(judged, kinds):
    """(named rightly, all) of some planted kinds."""
    names = {**NAMES, **{"gap " + k: v for k, v in GAP_NAMES.items()}}
    good = sum(n for (k, w), n in judged.items() if k in kinds and w in names[k])
    return good, sum(n for (k, _), n in judged.items() if k in kinds)


def judge_kinds(judged):
    """The bars about kinds over all lots given; True if one is missed."""
    missed = False
    for title, kinds in (("bubbles, droplets", ("bubble", "droplet")), ("fibres", ("fibre",)), ("dust", ("dust",)), ("cracks", ("gap crack",)),
                         ("info: needles", ("needle",)), ("info: plates", ("plate",)), ("info: dewetting", ("gap dewetting",)), ("info: round gaps", ("gap disc", "gap ellipse", "gap wobbly"))):
        good, n = rightly(judged, kinds)
        if not n:
            continue
        ok = good >= 0.9 * n
        info = title.startswith("info")
        missed |= not ok and not info
        print(f"  {title:24s} {good} of {n} named rightly ({100 * good / n:.0f} %)  {'info' if info else 'bar 90 %: ' + ('ok' if ok else 'MISSED')}")
    n = sum(v for (k, _), v in judged.items() if k == "powder")
    wrong = sum(v for (k, w), v in judged.items() if k == "powder" and w in LEFT_OUT)
    if n:
        missed |= wrong > 0.02 * n
        print(f"  {'powder left out':24s} {wrong} of {n} ({100 * wrong / n:.2f} %)  bar 2 %: {'ok' if wrong <= 0.02 * n else 'MISSED'}")
    return missed


def by_class(title, true_um, ratio, edges):
    line = []
    for lo, hi in zip(edges[:-1], edges[1:]):
        m = (true_um >= lo) & (true_um < hi)
        if m.sum() >= 5:
            line.append(f"{lo:g}-{hi:g}: {100 * (ratio[m].mean() - 1):+.2f} ({m.sum()})")
    if line:
        print(f"  {title:24s} " + "  ".join(line))


def score(binary, folder, out, jobs, show, overall):
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    t, um, fields, kind = truth["truth"], truth["um_per_px"], truth["fields"], truth["kind"]
    doc, took, failed = measure(binary, folder, out, jobs)
    rows = []
    add = lambda what, want, got, bar: rows.append((what, want, got, None if want in (None, 0) or got is None else 100 * (got / want - 1), bar))
    if failed:
        print(f"\n{folder.name}: NOT MEASURED, {failed}")
        return 1
    data = Path(doc["record_dir"]) / "data"
    rec = table(data / "record.csv")[0]
    objs = table(data / "objects.csv")
    gaps = table(data / "gaps.csv") if (data / "gaps.csv").exists() else []
    val = lambda k: number(rec.get(k))
    files = [f["file"] for f in fields]
    # where the model of the particles is under test, whatever kind it was given
    sort = [o for o in objs if o["kind"] in ("powder", "unsure") or kind == "optics"]
    col = {c: n for n, c in enumerate(truth["object_columns"])}
    powder = lambda f: [r for r in f["objects"] if "kind" not in col or r[col["kind"]] == "powder"]

    # each truth object and the nearest found one
    size_from = max(6 * um, 4 * truth["sigma_px"] * um, val("size_from_um") or 0)
    pairs, lost, false, doubles, parts = [], [], [], 0, []
    for i, f in enumerate(fields):
        depth = [z for z, r in zip(f.get("z_um", []), f["objects"])]
        T = np.array([r[:6] + [r[8], r[9], r[6]] for r in powder(f)]) if powder(f) else np.empty((0, 9))
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
                    pairs.append((T[j, 2] * um, P[mine[0], 2], w, P[mine[0], 0] - T[j, 0], P[mine[0], 1] - T[j, 1], T[j, 8], depth[j] if depth else 0))
                n = [number(F[a].get("constituents")) for a in mine]
                if not T[j, 5] and None not in n:
                    parts.append((T[j, 8], sum(n)))
        false += [(files[i], *P[a].tolist()) for a in np.flatnonzero(owner < 0)]
    pr = np.array(pairs) if pairs else np.empty((0, 7))

    # the truth of the sizes, cut where the record cuts
    d, w = [], []
    for f in fields:
        for r in powder(f):
            if not r[5] and r[2] * um >= size_from:
                d.append(r[2] * um); w.append(f["width"] * f["height"] / ((f["width"] - r[8]) * (f["height"] - r[9])))
    d, w = np.array(d), np.array(w)
    x50 = q_step(d, w, 0.5) if len(d) else None
    d32 = float((w * d ** 3).sum() / (w * d ** 2).sum()) if len(d) else None
    judged = kind == "discs"
    add("x50_0_um", x50, val("x50_0_um"), 1.0 if judged else None)
    add("d32_um", d32, val("d32_um"), 0.3 if judged else None)
    add("x50_3_um", t.get("x50_3_um"), val("x50_3_um"), None)
    add("count (powder, unsure)", t["count"], float(len(sort)), 1.0 if kind == "hazy" else None)
    add("particle_area_pct", t["particle_area_pct"], val("particle_area_pct"), 3.0 if kind == "hazy" else None)
    if t["film"] == "hazy" and t["gaps"]:
        add("uncovered_area_pct", t["uncovered_area_pct"], val("uncovered_area_pct"), {"hazy": 0.5, "holes": 1.0}.get(kind))
        add("largest_gap_um", t["largest_gap_um"], val("largest_gap_um"), 2.0 if kind == "hazy" else None)
        add("gaps", t["gaps"], float(len(gaps)) if gaps else val("gaps"), None)
    else:
        add("uncovered_area_pct", t["uncovered_area_pct"], val("uncovered_area_pct"), None)
    parts = np.array(parts).reshape(-1, 2)
    if kind == "clumps":
        add("constituents", float(parts[:, 0].sum()) if len(parts) else float(t["constituents"]), float(parts[:, 1].sum()) if len(parts) else None, 15.0)
    if "constituents_x50_0_um" in t:
        add("constituents_x50_0_um", t["constituents_x50_0_um"], val("constituents_x50_0_um"), None)
    bad = 0
    print(f"\n{folder.name}  (size_from_um {val('size_from_um')}, gap_from_um {val('gap_from_um')}, wall {took:.1f} s, timing {json.dumps(doc.get('timing'))}, flags {[f.get('id') for f in doc.get('flags') or []]})")
    for what, want, got, err, bar in rows:
        # what cannot be put in per cent (a truth of nothing) is shown as it is
        ok = None if bar is None else (err is not None and abs(err) <= bar)
        bad += ok is False
        fmt = lambda v: "-" if v is None else f"{v:.5g}" if not float(v).is_integer() else f"{v:.0f}"
        print(f"  {what:24s} true {fmt(want):>10s}  found {fmt(got):>10s}  error {'      -' if err is None else f'{err:+7.3f}'} %  {'info' if bar is None else f'bar {bar} %: ' + ('ok' if ok else 'MISSED')}")
    # the agglomerate fraction, in points
    for rule, key in (("size", "agglomerate_fraction_size5_pct"), ("constituents", "agglomerate_fraction_constituents4_pct")):
        if key not in t or kind not in ("clumps", "kinds", "bubble", "hazy"):
            continue
        got = val("agglomerate_fraction_pct")
        if rule == "constituents":
            if kind != "clumps":
                continue
            with tempfile.TemporaryDirectory() as tmp:
                again = Path(tmp) / folder.name
                shutil.copytree(folder, again)
                (again / "recipe.toml").write_text('[agglomerates]\nrule = "constituents"\n', encoding="utf-8")
                doc2, _, failed = measure(binary, again, Path(tmp) / "out", jobs)
                got = None if failed else number(table(Path(doc2["record_dir"]) / "data" / "record.csv")[0].get("agglomerate_fraction_pct"))
        ok = None if kind != "clumps" else got is not None and abs(got - t[key]) <= 2
        bad += ok is False
        print(f"  {'agglomerates by ' + rule:24s} true {fmt(t[key]):>8s} % found {fmt(got):>8s} % {'      -' if got is None else f'{got - t[key]:+7.3f}'} points  {'info' if ok is None else 'bar 2 points: ' + ('ok' if ok else 'MISSED')}")
    if kind == "clumps" and len(parts):
        line = []
        for lo, hi in ((1, 2), (2, 8), (8, 15), (15, 25), (25, 41)):
            m = (parts[:, 0] >= lo) & (parts[:, 0] < hi)
            if m.any():
                line.append(f"{lo}-{hi - 1}: {parts[m, 1].sum():.0f}/{parts[m, 0].sum():.0f} ({100 * (parts[m, 1].sum() / parts[m, 0].sum() - 1):+.0f} %)")
        print(f"  {'constituents found/true':24s} " + "  ".join(line))
    if kind in ("kinds", "bubble"):
        wave, psf = 0.55, truth["psf"]
        resolution = 0.61 * wave / (psf["na"] if psf["kind"] == "airy" else 0.21 * wave / (truth["sigma_px"] * um))
        seen, judged = confusion(fields, files, objs, gaps, um, resolution, col)
        print_confusion(seen)
        if kind == "kinds":
            judge_kinds(judged)                               # shown lot by lot, judged over all
            overall["kinds"] += judged
        else:
            good, n = rightly(judged, ("bubble",))
            bad += good < n
            if n:
                print(f"  {'the bubble':24s} {'hollow: ok' if good == n else 'not hollow: MISSED'}")
            overall["x50_3"][folder.name] = val("x50_3_um")
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
        if kind == "optics":
            edges = (1.5, 2, 3, 4, 6, 8.01)
            by_class("bias %, um", pr[:, 0], pr[:, 1] / pr[:, 0], edges)
            for lo, hi in ((0, 0.6), (0.6, 1.1), (1.1, 2.1), (2.1, 3.1)) if np.any(pr[:, 6]) else ():
                m = (np.abs(pr[:, 6]) >= lo) & (np.abs(pr[:, 6]) < hi)
                by_class(f"  |z| {lo:g}-{hi:g} um", pr[m, 0], pr[m, 1] / pr[m, 0], edges)
            print(f"  {'kinds given':24s} {dict(Counter(o['kind'] for o in objs))}")
    for title, what in (("lost", lost), ("false", false)):
        for r in what[:show]:
            print(f"    {title}: {r[0]} x {r[1]:.1f} y {r[2]:.1f} px, diameter {r[3] if title == 'lost' else r[3] / um:.2f} px")
    return int(bad > 0)


if __name__ == "__main__":
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("binary"); a.add_argument("dirs", nargs="+", type=Path)
    a.add_argument("--keep", type=Path, help="write records here and keep them"); a.add_argument("--jobs", type=int); a.add_argument("--list", type=int, default=0)
    a.add_argument("--no-blank", action="store_true", help="measure copies without the blank"); a.add_argument("--recipe", type=Path)
    a = a.parse_args()
    lots = []
    for d in a.dirs:
        lots += [d] if (d / "truth.json").exists() else sorted(p.parent for p in d.glob("*/truth.json"))
    if not lots:
        sys.exit("no truth.json found")
    missed, overall = [], dict(kinds=Counter(), x50_3={})
    with tempfile.TemporaryDirectory() as tmp:
        for n, d in enumerate(lots):
            if a.keep:
                a.keep.mkdir(parents=True, exist_ok=True)
            d = changed(d, Path(tmp), a.no_blank, a.recipe) if a.no_blank or a.recipe else d
            if score(a.binary, d, a.keep or Path(tmp) / str(n), a.jobs, a.list, overall):
                missed.append(d.name)
    for name, one in overall["x50_3"].items():
        none = overall["x50_3"].get(name.replace("one", "none"))
        if "one" in name and "none" not in name and one and none:
            ok = abs(one / none - 1) < 0.02
            print(f"\n{name} beside {name.replace('one', 'none')}: x50_3 {one:.4f} and {none:.4f} um, {100 * (one / none - 1):+.2f} %  bar 2 %: {'ok' if ok else 'MISSED'}")
            missed += [] if ok or name in missed else [name]
    if overall["kinds"]:
        print("\nkinds over all lots")
        print_confusion(overall["kinds"])
        missed += ["kinds over all lots"] if judge_kinds(overall["kinds"]) else []
    print(f"\n{len(lots) - len(set(missed) & {d.name for d in lots})} of {len(lots)} lots within every bar" + (f"; missed: {', '.join(missed)}" if missed else ""))
    sys.exit(1 if missed else 0)
