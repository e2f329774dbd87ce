#!/usr/bin/env python3
"""Makes the reference values in values/ for the Rust tests. Deterministic (seeded); every file names the versions that made it.

    make_values.py [CHECK_VALUES.json]

With the path of the project's sheet of check values, the ids that the tests use are copied to values/check-values.json as well.
"""
import json, math, sys
from pathlib import Path
import numpy as np
import scipy, skimage, shapely
import scipy.ndimage as ndi
from skimage import measure

OUT = Path(__file__).parent / "values"
VERSIONS = dict(python=sys.version.split()[0], numpy=np.__version__, scipy=scipy.__version__, scikit_image=skimage.__version__, shapely=shapely.__version__)


def write(name, what, source, body):
    doc = dict(what=what, source=source, made_with="make_values.py", versions=VERSIONS, **body)
    lines = []
    for k, v in doc.items():
        if isinstance(v, list):
            lines.append(f" {json.dumps(k)}: [\n" + ",\n".join("  " + json.dumps(e, ensure_ascii=False) for e in v) + "\n ]")
        else:
            lines.append(f" {json.dumps(k)}: {json.dumps(v, ensure_ascii=False)}")
    (OUT / name).write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")


def rows(m):
    return ["".join("1" if v else "0" for v in r) for r in m]


def random_masks():
    rng = np.random.default_rng(20260101)
    for w, h, d in ((1, 1, 1.0), (1, 1, 0.0), (7, 1, 0.5), (1, 5, 0.6), (2, 2, 0.5), (23, 17, 0.1), (23, 17, 0.3), (23, 17, 0.5), (23, 17, 0.7), (64, 48, 0.2), (64, 48, 0.45), (64, 48, 0.6), (48, 64, 0.4)):
        yield f"{w}x{h} density {d}", rng.random((h, w)) < d
    # coarse: blobs rather than pepper
    g = ndi.gaussian_filter(rng.standard_normal((48, 64)), 1.6)
    yield "64x48 blobs", g > 0.05
    yield "17x17 spiral", spiral(17)
    yield "8x6 diagonal", np.array([[(x - y) % 2 == 0 for x in range(8)] for y in range(6)])


def spiral(n):
    m = np.zeros((n, n), bool)
    y = x = 0; dy, dx = 0, 1
    m[0, 0] = True
    while True:
        moved = False
        for _ in range(2):
            while 0 <= y + dy < n and 0 <= x + dx < n and not m[y + dy, x + dx] and not (0 <= y + 2 * dy < n and 0 <= x + 2 * dx < n and m[y + 2 * dy, x + 2 * dx]):
                y += dy; x += dx; m[y, x] = True; moved = True
            dy, dx = dx, -dy
        if not moved:
            return m


def by_first_pixel(lab):
    flat = lab.ravel()
    ids, first = np.unique(flat[flat > 0], return_index=True)
    pos = np.flatnonzero(flat > 0)[first]
    return ids[np.argsort(pos)]


def labels():
    out = []
    for name, m in random_masks():
        e = dict(name=name, width=m.shape[1], height=m.shape[0], rows=rows(m))
        for c, conn in ((4, 1), (8, 2)):
            lab = measure.label(m, connectivity=conn)
            other, n = ndi.label(m, structure=ndi.generate_binary_structure(2, conn))
            ids = by_first_pixel(lab)
            assert n == len(ids) and sorted(np.bincount(other.ravel())[1:].tolist()) == sorted(np.bincount(lab.ravel())[1:].tolist())
            sl = ndi.find_objects(lab)
            e[f"connectivity_{c}"] = dict(count=len(ids), areas=[int((lab == i).sum()) for i in ids],
                                          boxes=[[sl[i - 1][1].start, sl[i - 1][0].start, sl[i - 1][1].stop, sl[i - 1][0].stop] for i in ids])
        out.append(e)
    write("labels.json", "Connected components of binary images: areas and boxes [x0, y0, x1, y1) in the order of each component's first pixel in reading order", "skimage.measure.label, agreed with scipy.ndimage.label", dict(cases=out))


def moments():
    out = []
    for name, m in random_masks():
        if not m.any():
            continue
        lab = measure.label(m, connectivity=2)
        prop = {p.label: p for p in measure.regionprops(lab)}
        objs = []
        for i in by_first_pixel(lab):
            p = prop[i]; c = p.moments_central
            y0, x0, y1, x1 = p.bbox
            objs.append(dict(area=int(p.area), x=float(p.centroid[1]), y=float(p.centroid[0]), mu_xx=float(c[0, 2]), mu_yy=float(c[2, 0]), mu_xy=float(c[1, 1]), box=[x0, y0, x1, y1]))
        out.append(dict(name=name, width=m.shape[1], height=m.shape[0], rows=rows(m), objects=objs))
    write("moments.json", "Area, centroid (pixel centres at whole numbers, first pixel 0, 0), second central moments (sums over pixels, not divided by area) and box of the 8-connected components, in order of first pixel",
          "skimage.measure.regionprops", dict(cases=out))


def distance():
    rng = np.random.default_rng(7)
    g = np.ogrid[:60, :60]
    four = np.ones((60, 60), bool)
    for cy, cx, r in ((10, 10, 6), (10, 45, 8), (45, 12, 9), (48, 48, 7)):
        four[(g[0] - cy) ** 2 + (g[1] - cx) ** 2 <= r * r] = False
    y, x = np.ogrid[:30, :40]
    cases = [("1x1 nothing", np.zeros((1, 1), bool)), ("9x1", np.array([[1, 1, 0, 1, 1, 1, 1, 1, 0]], bool)), ("1x9", np.array([[1, 1, 0, 1, 1, 1, 1, 1, 0]], bool).T),
             ("40x30 disc", (x - 19) ** 2 + (y - 14) ** 2 <= 121), ("40x30 one pixel missing", ~((x == 31) & (y == 4))), ("40x30 density 0.97", rng.random((30, 40)) < 0.97),
             ("31x22 density 0.8", rng.random((22, 31)) < 0.8), ("40x30 blobs", ndi.gaussian_filter(rng.standard_normal((30, 40)), 2) > -0.05), ("40x30 bar", (abs(y - 15) < 5) & (abs(x - 20) < 17)), ("gap.edt4discs", four)]
    out = []
    for name, m in cases:
        d2 = np.rint(ndi.distance_transform_edt(m) ** 2).astype(int) if m.any() else np.zeros(m.shape, int)
        p = np.rint(ndi.distance_transform_edt(np.pad(m, 1)) ** 2).astype(int)[1:-1, 1:-1]
        # the definition itself, as a check of the library
        zy, zx = np.nonzero(~m)
        yy, xx = np.indices(m.shape)
        brute = ((yy[..., None] - zy) ** 2 + (xx[..., None] - zx) ** 2).min(-1)
        assert (brute == d2).all(), name
        at = np.unravel_index(d2.argmax(), d2.shape)
        out.append(dict(name=name, width=m.shape[1], height=m.shape[0], rows=rows(m), squared=d2.tolist(), largest=math.sqrt(d2.max()), largest_first_at=[int(at[1]), int(at[0])],
                        squared_frame_outside_is_background=p.tolist(), largest_frame_outside_is_background=math.sqrt(p.max())))
    write("distance.json", "Squared Euclidean distance of each '1' pixel to the nearest '0' pixel (centre to centre), without the frame and with everything outside the frame as '0'; 'largest' is the largest distance, its first place [x, y]",
          "scipy.ndimage.distance_transform_edt, agreed with the definition by brute force", dict(cases=out))


def quantiles():
    rng = np.random.default_rng(99)
    out, ps = [], [0.0, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 1.0]
    for name, n, kind in (("one", 1, "u"), ("two", 2, "u"), ("five", 5, "u"), ("nine with ties", 9, "t"), ("101 log-normal", 101, "l"), ("250 log-normal, weights 1..3", 250, "l")):
        x = rng.random(n) * 9 + 1 if kind == "u" else rng.integers(1, 5, n).astype(float) if kind == "t" else np.exp(rng.standard_normal(n) * math.log(1.6)) * 2
        x = np.round(x, 6); w = np.round(1 + 2 * rng.random(n), 6)
        wq = lambda v, p: float(np.quantile(v, p, weights=w, method="inverted_cdf"))
        e = dict(name=name, x=x.tolist(), weights=w.tolist(), p=ps, step_weighted=[wq(x, p) for p in ps], step_equal=[float(np.quantile(x, p, method="inverted_cdf")) for p in ps],
                 linear_equal=[float(np.quantile(x, p, method="linear")) for p in ps], hazen_equal=[float(np.quantile(x, p, method="hazen")) for p in ps])
        s = np.argsort(x, kind="stable")
        for r in (0, 2, 3):
            c = np.cumsum((w * x ** r)[s]); e[f"step_weighted_r{r}"] = [float(x[s][min(n - 1, np.searchsorted(c, p * c[-1] * (1 - 1e-15)))]) for p in ps]
        D = {}
        for p, q in ((1, 0), (2, 0), (3, 0), (2, 1), (3, 2), (4, 3), (5, 3)):
            D[f"D[{p},{q}]"] = float(((w * x ** p).sum() / (w * x ** q).sum()) ** (1 / (p - q)))
            D[f"D[{p},{q}] equal"] = float(((x ** p).sum() / (x ** q).sum()) ** (1 / (p - q)))
        for p in (0, 2, 3):
            D[f"D[{p},{p}]"] = float(np.exp((w * x ** p * np.log(x)).sum() / (w * x ** p).sum()))
        e["moment_ratio"] = D
        e["weighted_mean"] = float(np.average(x, weights=w)); e["sd_n_minus_1_equal"] = float(x.std(ddof=1)) if n > 1 else None
        out.append(e)
    write("quantiles.json", "Step quantiles (smallest x whose cumulative weight reaches p of all; r: weight times x^r), interpolated quantiles with equal weights, moment-ratio means D[p,q] = (sum w x^p / sum w x^q)^(1/(p-q)), D[p,p] = exp(sum w x^p ln x / sum w x^p)",
          "numpy.quantile (method inverted_cdf with weights, linear, hazen) and plain numpy sums", dict(cases=out))


def feret(ring):
    hull = shapely.convex_hull(shapely.MultiPoint(ring))
    p = np.array(hull.exterior.coords)[:-1]
    mx = max(float(np.hypot(*(p[i] - p[j]))) for i in range(len(p)) for j in range(i))
    mn = math.inf
    for i in range(len(p)):
        e = p[(i + 1) % len(p)] - p[i]; n = np.array([-e[1], e[0]]) / np.hypot(*e)
        mn = min(mn, float(np.ptp(p @ n)))
    return mx, mn, hull.area, hull.length


def outlines():
    S = 16

    def picture(w, h, inside, sigma, low, high, slope=0.0):
        y, x = np.mgrid[:h * S, :w * S]
        x = (x + 0.5) / S - 0.5; y = (y + 0.5) / S - 0.5                     # pixel centres at whole numbers
        m = inside(x, y).astype(float)
        m = ndi.gaussian_filter(m, sigma * S, mode="nearest", truncate=6).reshape(h, S, w, S).mean((1, 3))
        bg = high + slope * np.arange(w)[None, :]
        return np.rint(bg + (low - bg) * m).astype(np.uint16)

    disc = lambda cx, cy, r: lambda x, y: (x - cx) ** 2 + (y - cy) ** 2 <= r * r
    ell = lambda cx, cy, a, b, t: lambda x, y: (((x - cx) * math.cos(t) + (y - cy) * math.sin(t)) / a) ** 2 + ((-(x - cx) * math.sin(t) + (y - cy) * math.cos(t)) / b) ** 2 <= 1
    rect = lambda cx, cy, a, b, t: lambda x, y: (abs((x - cx) * math.cos(t) + (y - cy) * math.sin(t)) <= a) & (abs(-(x - cx) * math.sin(t) + (y - cy) * math.cos(t)) <= b)
    star = lambda cx, cy, r, a, k: lambda x, y: np.hypot(x - cx, y - cy) <= r * (1 + a * np.cos(k * np.arctan2(y - cy, x - cx) + 0.4))
    either = lambda f, g: lambda x, y: f(x, y) | g(x, y)
    less = lambda f, g: lambda x, y: f(x, y) & ~g(x, y)
    cases = [
        ("disc r 8", picture(24, 24, disc(11.3, 11.8, 8), 0.89, 2000, 15000), 8500.5),
        ("disc r 3", picture(16, 16, disc(7.6, 7.2, 3), 0.89, 2000, 15000), 8500.5),
        ("disc r 2, level of its own", picture(14, 14, disc(6.4, 6.9, 2), 0.89, 2000, 15000), 9700.5),
        ("ellipse 9 x 5, turned 0.5", picture(28, 24, ell(13.4, 11.6, 9, 5, 0.5), 0.89, 3000, 30000), 16500.5),
        ("rectangle 14 x 6", picture(24, 16, rect(11.5, 7.5, 7, 3, 0.0), 0.7, 3000, 30000), 16500.5),
        ("rectangle 16 x 5, turned 0.7", picture(24, 24, rect(11.7, 11.2, 8, 2.5, 0.7), 0.7, 3000, 30000), 16500.5),
        ("five lobes", picture(30, 30, star(14.6, 14.9, 9, 0.22, 5), 0.89, 2000, 15000), 8500.5),
        ("ring", picture(28, 28, less(disc(13.5, 13.2, 10), disc(13.9, 13.4, 5)), 0.89, 2000, 15000), 8500.5),
        ("two discs apart", picture(32, 20, either(disc(8.7, 9.3, 5.5), disc(22.4, 10.1, 4.2)), 0.89, 2000, 15000), 8500.5),
        ("two discs with a neck", picture(32, 20, either(disc(10.0, 9.5, 5.5), disc(19.2, 9.9, 4.2)), 0.89, 2000, 15000), 8500.5),
        ("a bright gap r 9", picture(28, 28, disc(13.7, 13.1, 9), 0.89, 32768, 14700), 23734.5),
        ("disc r 8 on a slope, low level", picture(24, 24, disc(11.3, 11.8, 8), 0.89, 2000, 13000, 180.0), 6000.5),
    ]
    out = []
    for name, img, level in cases:
        dark = bool(img[img.shape[0] // 2, img.shape[1] // 2] < img[0, 0]) or name in ("ring",)
        cs = measure.find_contours(img.astype(float), level)
        rings = []
        for c in cs:
            assert np.allclose(c[0], c[-1]), (name, "open contour")
            xy = c[:, ::-1]
            poly = shapely.Polygon(xy)
            mx, mn, ha, hp = feret(xy)
            cen = poly.centroid
            rings.append(dict(points=len(c) - 1, area=poly.area, perimeter=poly.length, feret_max=mx, feret_min=mn, hull_area=ha, hull_perimeter=hp, x=cen.x, y=cen.y, poly=poly))
        rings.sort(key=lambda r: -r["area"])
        for r in rings:
            r["hole"] = sum(q["poly"].contains(r["poly"]) for q in rings if q is not r) % 2 == 1
        net = sum(r["area"] * (-1 if r["hole"] else 1) for r in rings)
        for r in rings:
            del r["poly"]
        out.append(dict(name=name, width=img.shape[1], height=img.shape[0], level=level, inside_is_darker=dark, pixels=img.tolist(), area=net, perimeter=sum(r["perimeter"] for r in rings), pieces=sum(not r["hole"] for r in rings), rings=rings))
    write("outlines.json", "Level-set outlines of u16 pictures (linear interpolation between pixel centres, which lie at whole numbers): per ring the enclosed area, length, largest and smallest Feret diameter, hull; 'area' is rings less holes, 'perimeter' all rings. "
          "Rings by falling area. The pictures are shapes at 16 x 16 samples a pixel, blurred (Gaussian) and averaged", "skimage.measure.find_contours and shapely (area, length, convex hull; smallest Feret over hull edges)", dict(cases=out))


def checks(path):
    src = json.loads(Path(path).read_text(encoding="utf-8"))
    keep = []
    for c in src["checks"]:
        group = c["id"].split(".")[0]
        if c["id"] == "size.bronzefilter":                      # data under GPL-2+: the numbers alone
            c = dict(c, inputs={"data": "not included (GPL-2+); numbers only"})
        elif not (group in ("size", "edge", "raster", "shape", "bagit", "csv") or c["id"] in ("gap.edt4discs", "tiff.resolution")):
            continue
        if c["id"] == "csv.rfc4180":                            # the bytes stand in the check; the collection carries no licence text and stays out
            c = dict(c, source=c["source"].split("; 12 csv/json pairs")[0])
        keep.append(c)
    doc = {k: src[k] for k in ("title", "tolerance", "source_kinds", "environment")}
    doc["environment"] = "Python 3.11.7: numpy 2.4.6, scipy 1.17.1, scikit-image 0.26.0, opencv-python-headless 5.0.0.93, shapely 2.2.0, tifffile 2026.3.3, bagit 1.9.0"
    doc["checks"] = keep
    (OUT / "check-values.json").write_text(json.dumps(doc, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    OUT.mkdir(exist_ok=True)
    labels(); moments(); distance(); quantiles(); outlines()
    if len(sys.argv) > 1:
        checks(sys.argv[1])
