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
from skimage import measure, morphology, segmentation

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


def circles():
    """Largest circles clear of some pixels and of the frame, its middle in a clear pixel: by looking at every place of a fine grid."""
    from scipy.spatial import cKDTree
    rng = np.random.default_rng(424)
    y, x = np.ogrid[:120, :160]

    def discs(n, low, high):
        m = np.zeros((120, 160), bool)
        for cx, cy, r in zip(rng.random(n) * 170 - 5, rng.random(n) * 130 - 5, low + (high - low) * rng.random(n)):
            m |= (x + 0.5 - cx) ** 2 + (y + 0.5 - cy) ** 2 < r * r
        return m
    lattice = ((x % 20 - 9.5) ** 2 + (y % 20 - 9.5) ** 2 < 30) & ~((abs(x - 109.5) < 9) & (abs(y - 49.5) < 9))
    ring = abs(np.hypot(x - 80, y - 60) - 45) < 4
    cases = [("few discs", discs(6, 3, 9)), ("many discs", discs(40, 2, 7)), ("crowded", discs(130, 2, 8)), ("lattice, one missing", lattice), ("a ring", ring), ("bars", (x % 12 < 5) & (y > 3 + x // 9)),
             ("blobs", ndi.gaussian_filter(rng.standard_normal((120, 160)), 4) > 0.02), ("specks", rng.random((120, 160)) < 0.01)]
    out = []
    for name, m in cases:
        h, w = m.shape
        points = []
        for c in measure.find_contours(np.pad(m, 1).astype(float), 0.5):
            c = c[:, ::-1] - 0.5                              # pixel centres at halves, one pixel of padding
            for a, b in zip(c, c[1:]):
                points.append(a + (b - a) * np.linspace(0, 1, 24, endpoint=False)[:, None])
        tree = cKDTree(np.concatenate(points))
        step = 0.05
        gy, gx = np.meshgrid(np.arange(step / 2, h, step), np.arange(step / 2, w, step), indexing="ij")
        side = np.minimum(np.minimum(gx, w - gx), np.minimum(gy, h - gy))
        clear = ~m[gy.astype(int), gx.astype(int)]
        d = np.zeros_like(gx)
        d[clear] = np.minimum(side[clear], tree.query(np.c_[gx[clear], gy[clear]])[0])
        at = np.unravel_index(d.argmax(), d.shape)
        out.append(dict(name=name, width=w, height=h, rows=rows(m), radius=round(float(d.max()), 4), middle=[round(float(gx[at]), 3), round(float(gy[at]), 3)]))
    write("circles.json", "Radius and middle of the largest circle within the frame whose middle lies in a '0' pixel and that crosses no outline between '1' and '0' (half way between pixel centres); to 0.04 px, the places looked at being 0.05 px apart",
          "skimage.measure.find_contours, scipy.spatial.cKDTree, every place looked at", dict(cases=out))


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


def split_masks():
    rng = np.random.default_rng(20260303)

    def discs(w, h, *circles):
        y, x = np.mgrid[:h, :w]
        return np.any([(x - a) ** 2 + (y - b) ** 2 <= r * r for a, b, r in circles], axis=0)
    bits = lambda *lines: np.array([[c == "1" for c in s] for s in lines])
    yield "1x1", bits("1")
    yield "1x1 nothing", bits("0")
    yield "2x2", bits("11", "11")
    yield "5x1", bits("11111")
    yield "1x5", bits("11111").T
    yield "3x3 with a corner beyond", bits("1110", "1110", "1110", "0001")
    yield "two pixels across a corner", bits("10", "01")
    yield "one disc", discs(25, 25, (12, 12, 9.3))
    yield "two discs, touching in one point", discs(44, 24, (11, 11, 8), (28, 12, 8.5))
    for o, x in (("0.95 of the sum of radii", 27), ("0.85", 25), ("0.7", 22.5), ("0.5", 19)):
        yield f"two equal discs of r 8, {o}", discs(44, 24, (11.2, 11.4, 8), (x + 0.4, 12.3, 8))
    yield "a large and a small disc", discs(48, 40, (19, 19, 15.2), (37, 24, 5.1))
    yield "a large disc and one of 3 px", discs(40, 34, (16, 16, 12.4), (29.5, 17, 1.6))
    yield "three discs in a triangle", discs(48, 44, (14.3, 14.1, 9.2), (31.6, 15.2, 8.4), (22.7, 29.9, 9.0))
    yield "three discs in a row", discs(64, 24, (11, 11.5, 8.2), (26.1, 12, 7.7), (41.8, 11, 8.6))
    yield "chain of six small discs", discs(48, 20, *[(6 + 6.4 * i, 8 + 2.2 * (i % 2), 3.4) for i in range(6)])
    yield "ring", discs(36, 36, (17.5, 17.5, 15)) & ~discs(36, 36, (17.5, 17.5, 8))
    yield "ring, eccentric", discs(36, 36, (17.5, 17.5, 15)) & ~discs(36, 36, (20.5, 17, 8))
    yield "disc with one pixel missing", discs(25, 25, (12, 12, 9.3)) & ~(np.indices((25, 25)) == np.array([12, 9])[:, None, None]).all(0)
    yield "bar", np.pad(np.ones((7, 30), bool), 2)
    yield "bar of even width", np.pad(np.ones((6, 24), bool), 2)
    yield "L", np.pad(np.tri(2, dtype=bool).repeat(12, 0).repeat(11, 1), 2)
    yield "dumb-bell", np.pad(np.kron(bits("11011", "11111", "11011"), np.ones((4, 4), bool)), 1)
    yield "staircase of squares", np.pad(np.kron(np.eye(4, dtype=bool), np.ones((6, 6), bool)) | np.roll(np.kron(np.eye(4, dtype=bool), np.ones((6, 6), bool)), 2, 1), 2)
    for i in range(4):                                          # ragged: discs grown from one, as clumps are
        c = [(0.0, 0.0, 4.0)]
        while len(c) < (6, 10, 16, 24)[i]:
            r = rng.uniform(2.2, 5.0); u, v, q = c[rng.integers(len(c))]; a = rng.random() * 2 * math.pi
            x, y = u + 0.93 * (r + q) * math.cos(a), v + 0.93 * (r + q) * math.sin(a)
            if all(math.hypot(x - e, y - f) > 0.92 * (r + g) for e, f, g in c):
                c.append((x, y, r))
        lo = np.array(c)[:, :2].min(0) - 7; size = np.array(c)[:, :2].max(0) + 7 - lo
        yield f"clump of {len(c)} discs", discs(int(size[0]) + 1, int(size[1]) + 1, *[(x - lo[0], y - lo[1], r) for x, y, r in c])
    for k, s in enumerate((1.0, 1.6, 2.4, 3.5)):
        yield f"blobs, length {s}", ndi.gaussian_filter(rng.standard_normal((48, 64)), s) > 0.1 * k / s
    for d in (0.5, 0.8, 0.95):
        yield f"density {d}", rng.random((32, 40)) < d


def dynamics(edt, comp):
    """Peaks of each 8-connected component and by how much each exceeds its saddle towards a higher one (the highest: infinitely). By flooding
    from the top: pixels join by falling distance; where two basins meet, the one of the lower peak ends."""
    h, w = edt.shape
    order = np.argsort(-edt.ravel(), kind="stable")
    parent, peak, out = {}, {}, []

    def root(i):
        while parent[i] != i:
            parent[i] = parent[parent[i]]; i = parent[i]
        return i
    for i in order:
        if not comp.flat[i]:
            continue
        parent[i] = i; peak[i] = edt.flat[i]
        y, x = divmod(int(i), w)
        for v in range(max(0, y - 1), min(h, y + 2)):
            for u in range(max(0, x - 1), min(w, x + 2)):
                j = v * w + u
                if j in parent and j != i:
                    a, b = root(i), root(j)
                    if a != b:
                        if peak[a] > peak[b]:
                            a, b = b, a
                        if peak[a] > edt.flat[i]:
                            out.append((float(peak[a]), float(peak[a] - edt.flat[i])))
                        parent[a] = b
    n = measure.label(comp, connectivity=2).max()
    return n, out


def split():
    turns = [lambda m: m, lambda m: m[::-1], lambda m: m[:, ::-1], lambda m: m[::-1, ::-1], lambda m: m.T, lambda m: m.T[::-1], lambda m: m.T[:, ::-1], lambda m: m.T[::-1, ::-1]]
    out = []
    for name, m in split_masks():
        m = np.pad(m, 1)                                        # everything outside the frame is '0'
        edt = ndi.distance_transform_edt(m)
        pieces, dyn = dynamics(edt, m)
        e = dict(name=name, width=m.shape[1] - 2, height=m.shape[0] - 2, rows=rows(m[1:-1, 1:-1]), pieces=int(pieces), largest_distance=float(edt.max()), dynamics=sorted((round(d, 9) for _, d in dyn if d > 1e-9), reverse=True))
        for h in (0.5, 0.6, 1.0, 2.0):
            assert all(abs(d - h) > 1e-6 or d == h for _, d in dyn), (name, h)
            at_least = int(pieces + sum(d >= h for _, d in dyn))

            def markers(f, mask, h=h):
                # regional maxima of the reconstruction of f - h under f; a hair less than h, so that a dynamic of exactly h counts
                low = morphology.reconstruction(f - (h - 1e-9), f) if mask.any() else f
                top = measure.label(morphology.local_maxima(np.where(mask, low, -1), connectivity=2) & mask, connectivity=2)
                return top
            # a component lower than h floods down to 0, where its maximum is lost: it still is one basin
            def whole(f, mask):
                top, lab = markers(f, mask), measure.label(mask, connectivity=2)
                for k in range(1, lab.max() + 1):
                    if not top[lab == k].any():
                        top[(lab == k) & (f == f[lab == k].max())] = top.max() + 1
                return top
            areas = []
            for turn in turns:
                f, mask = np.ascontiguousarray(turn(edt)), np.ascontiguousarray(turn(m))
                top = whole(f, mask)
                assert len(np.unique(top)) - 1 == at_least, (name, h, len(np.unique(top)) - 1, at_least)
                ws = segmentation.watershed(-f, top, mask=mask, connectivity=2)
                areas.append(sorted((int(v) for v in np.bincount(ws.ravel())[1:] if v), reverse=True))
            areas = np.array(areas)
            e[f"h {h:g}"] = dict(basins=at_least, areas=areas[0].tolist(), areas_low=areas.min(0).tolist(), areas_high=areas.max(0).tolist()) if at_least else dict(basins=0, areas=[], areas_low=[], areas_high=[])
        out.append(e)
    write("split.json", "Pieces of binary masks split at necks. Distance: Euclidean, in px, not squared, centre of pixel to centre of the nearest '0' pixel, everything outside the frame '0'. Basins: of the distance over 8-connected pixels; a peak counts "
          "if its distance exceeds that of its saddle towards any higher peak by at least h (of equal peaks one counts as higher), so the highest peak of an 8-connected piece always counts. 'dynamics': that difference for every peak but the highest of "
          "each piece, falling. 'areas': pixels of the watershed of -distance flooded from those peaks (8-connected, no lines between), falling; pixels that could go to either side make them depend on the order, so areas_low and areas_high are the "
          "range, rank by rank, over the eight flips and turns of the mask. 0.6 px is the built-in depth of 0.15 um at 0.25 um/px",
          "scipy.ndimage.distance_transform_edt; skimage.morphology.reconstruction and local_maxima, skimage.segmentation.watershed; counts agreed with merging basins from the top (plain Python)", dict(cases=out))


def shape_of(poly):
    """Descriptors of a shapely polygon, holes counted in area, perimeter and the inscribed circle; the rest of its outside."""
    ring = np.array(poly.exterior.coords)
    mx, mn, ha, hp = feret(ring)
    mic = shapely.maximum_inscribed_circle(poly, tolerance=1e-7 * max(1.0, mx))
    at = mic.coords[0]
    outer = poly.exterior.length
    return dict(area=poly.area, perimeter=poly.length, outer_perimeter=outer, hull_area=ha, hull_perimeter=hp, convexity=hp / outer, solidity=poly.area / ha, feret_max=mx, feret_min=mn,
                inscribed_diameter=2 * mic.length, inscribed_at=[at[0], at[1]])


def shapes():
    rng = np.random.default_rng(20260304)
    circle = lambda r, n: [(r * math.cos(t), r * math.sin(t)) for t in np.arange(n) * (2 * math.pi / n)]
    star = lambda k, r, q: [((r, q)[i % 2] * math.cos(math.pi * i / k), (r, q)[i % 2] * math.sin(math.pi * i / k)) for i in range(2 * k)]
    def zigzag(n):
        return [(float(i), 0.5 * (i % 2)) for i in range(n)] + [(float(n - 1 - i), 3 + 0.5 * (i % 2)) for i in range(n)]
    def bump(seed_r, k):
        t = np.arange(k) * (2 * math.pi / k)
        r = seed_r * (1 + 0.25 * np.cos(3 * t + 0.4) + 0.1 * np.cos(7 * t + 1.1))
        return list(zip(r * np.cos(t), r * np.sin(t)))
    two = shapely.union_all([shapely.Point(0, 0).buffer(5, quad_segs=32), shapely.Point(8.5, 1.0).buffer(4, quad_segs=32)])
    cases = [("unit square", [(0, 0), (1, 0), (1, 1), (0, 1)], []), ("rectangle 10 x 2", [(0, 0), (10, 0), (10, 2), (0, 2)], []), ("L of 2 x 2 less 1 x 1", [(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)], []),
             ("triangle 3-4-5", [(0, 0), (4, 0), (0, 3)], []), ("96-gon of radius 10", circle(10, 96), []), ("star of five, 10 and 4", star(5, 10, 4), []), ("star of twelve, 10 and 8.5", star(12, 10, 8.5), []),
             ("zig-zag bar", zigzag(12), []), ("U", [(0, 0), (7, 0), (7, 8), (5, 8), (5, 2), (2, 2), (2, 8), (0, 8)], []), ("wavy outline", bump(10, 240), []), ("two discs with a neck", list(two.exterior.coords)[:-1], []),
             ("square ring 10 less 6", [(0, 0), (10, 0), (10, 10), (0, 10)], [[(2, 2), (8, 2), (8, 8), (2, 8)]]), ("square with a small hole aside", [(0, 0), (10, 0), (10, 10), (0, 10)], [[(6, 6), (7, 6), (7, 7), (6, 7)]])]
    for i in range(6):
        k = int(rng.integers(5, 12)); a = np.sort(rng.random(k)) * 2 * math.pi; r = rng.uniform(3, 10, k)
        cases.append((f"random star-shaped {k}-gon", [(round(x, 4), round(y, 4)) for x, y in zip(r * np.cos(a), r * np.sin(a))], []))
    polygons = []
    for name, outer, holes in cases:
        poly = shapely.Polygon(outer, holes)
        assert poly.is_valid, name
        polygons.append(dict(name=name, vertices=[[float(x), float(y)] for x, y in outer], holes=[[[float(x), float(y)] for x, y in q] for q in holes], **shape_of(poly)))
    exact = {"unit square": 1.0, "rectangle 10 x 2": 2.0, "L of 2 x 2 less 1 x 1": 4 - 2 * math.sqrt(2), "triangle 3-4-5": 2.0, "96-gon of radius 10": 20 * math.cos(math.pi / 96), "square ring 10 less 6": 4 * (2 - math.sqrt(2))}
    for p in polygons:
        if p["name"] in exact:
            assert abs(p["inscribed_diameter"] - exact[p["name"]]) < 1e-5, (p["name"], p["inscribed_diameter"], exact[p["name"]])
    pictures = []
    for name, img, level in shape_pictures():
        cs = [c[:, ::-1] for c in measure.find_contours(img.astype(float), level)]
        cs.sort(key=lambda c: -abs(shapely.Polygon(c).area))
        inside = shapely.Polygon(cs[0])
        assert inside.is_valid and all(inside.contains(shapely.Polygon(c)) for c in cs[1:]), name
        pictures.append(dict(name=name, width=img.shape[1], height=img.shape[0], level=level, inside_is_darker=True, pixels=img.tolist(), **shape_of(shapely.Polygon(cs[0], cs[1:]))))
    write("shapes.json", "Shape of polygons and of level-set outlines of u16 pictures (linear interpolation between pixel centres, which lie at whole numbers, in px): area and perimeter with holes, hull of the outside, convexity = hull perimeter / outer "
          "perimeter, solidity = area / hull area, largest and smallest Feret diameter, diameter of the largest circle inside (holes and outline as obstacles; where several fit the place is one of them)",
          "shapely (area, length, convex_hull, maximum_inscribed_circle), smallest Feret over hull edges, skimage.measure.find_contours; definitions as ISO 9276-6 (from memory), closed forms of the inscribed circles of six polygons asserted",
          dict(polygons=polygons, pictures=pictures))


def shape_pictures():
    S = 16

    def picture(w, h, inside, sigma, low=2000, high=15000):
        y, x = np.mgrid[:h * S, :w * S]
        x = (x + 0.5) / S - 0.5; y = (y + 0.5) / S - 0.5
        m = ndi.gaussian_filter(inside(x, y).astype(float), sigma * S, mode="nearest", truncate=6).reshape(h, S, w, S).mean((1, 3))
        return np.rint(high + (low - high) * m).astype(np.uint16)

    disc = lambda a, b, r: lambda x, y: (x - a) ** 2 + (y - b) ** 2 <= r * r
    box = lambda cx, cy, a, b, t: lambda x, y: (abs((x - cx) * math.cos(t) + (y - cy) * math.sin(t)) <= a) & (abs(-(x - cx) * math.sin(t) + (y - cy) * math.cos(t)) <= b)
    ell = lambda cx, cy, a, b, t: lambda x, y: (((x - cx) * math.cos(t) + (y - cy) * math.sin(t)) / a) ** 2 + ((-(x - cx) * math.sin(t) + (y - cy) * math.cos(t)) / b) ** 2 <= 1
    star = lambda cx, cy, r, a, k: lambda x, y: np.hypot(x - cx, y - cy) <= r * (1 + a * np.cos(k * np.arctan2(y - cy, x - cx) + 0.4))
    level = 8500.5                                            # half way; no pixel lies on it
    yield "disc r 2.5", picture(16, 16, disc(7.3, 7.8, 2.5), 0.89), level
    yield "disc r 6", picture(22, 22, disc(10.4, 10.1, 6), 0.89), level
    yield "disc r 14", picture(40, 40, disc(19.3, 19.6, 14), 0.89), level
    yield "ellipse 12 x 5, turned 0.6", picture(34, 28, ell(16.2, 13.7, 12, 5, 0.6), 0.89), level
    yield "rectangle 20 x 7, turned 0.3", picture(32, 22, box(15.4, 10.7, 10, 3.5, 0.3), 0.89), level
    yield "needle 34 x 4, turned 1.1", picture(28, 40, box(13.4, 19.3, 17, 2, 1.1), 0.89), level
    yield "star of six lobes", picture(36, 36, star(17.6, 17.2, 11, 0.3, 6), 0.89), level
    yield "L", picture(32, 32, lambda x, y: box(8.3, 15.3, 3.6, 11.5, 0)(x, y) | box(15.6, 23.2, 10.9, 3.6, 0)(x, y), 0.89), level
    yield "ring r 11 and 6", picture(32, 32, lambda x, y: disc(15.4, 15.7, 11)(x, y) & ~disc(15.4, 15.7, 6)(x, y), 0.89), level
    yield "clump of five", picture(40, 34, lambda x, y: disc(11, 12, 6)(x, y) | disc(20.5, 15, 4.6)(x, y) | disc(27.5, 10.5, 4.2)(x, y) | disc(19, 23, 4.4)(x, y) | disc(29, 18, 3.6)(x, y), 0.89), level


def checks(path):
    src = json.loads(Path(path).read_text(encoding="utf-8"))
    keep = []
    for c in src["checks"]:
        group = c["id"].split(".")[0]
        if c["id"] == "size.bronzefilter":                      # data under GPL-2+: the numbers alone
            c = dict(c, inputs={"data": "not included (GPL-2+); numbers only"})
        elif not (group in ("size", "edge", "raster", "shape", "bagit", "csv", "count", "e562", "prop", "gum", "jcgm106") or c["id"] in ("gap.edt4discs", "calib.micrometer", "tiff.resolution", "real.coins")):
            continue
        if c["id"] == "csv.rfc4180":                            # the bytes stand in the check; the collection carries no licence text and stays out
            c = dict(c, source=c["source"].split("; 12 csv/json pairs")[0])
        keep.append(c)
    doc = {k: src[k] for k in ("title", "tolerance", "source_kinds", "environment")}
    doc["environment"] = "Python 3.11.7: numpy 2.4.6, scipy 1.17.1, scikit-image 0.26.0, opencv-python-headless 5.0.0.93, shapely 2.2.0, tifffile 2026.3.3, bagit 1.9.0, statsmodels 0.15.0, astropy 8.0.2; R 4.2.2"
    doc["checks"] = keep
    (OUT / "check-values.json").write_text(json.dumps(doc, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    OUT.mkdir(exist_ok=True)
    labels(); moments(); distance(); circles(); quantiles(); outlines(); split(); shapes()
    if len(sys.argv) > 1:
        checks(sys.argv[1])
