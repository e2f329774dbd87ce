#!/usr/bin/env python3
"""Renders micrographs of films whose truth is known, independently of Evenfilm's own `phantom`.

    render_films.py all    OUT            every lot below
    render_films.py discs  OUT            separate flat discs, clear and on film
    render_films.py hazy   OUT            hazy film with particles, clumps and gaps
    render_films.py holes  OUT            hazy film with one large hole
    render_films.py timing OUT            12-megapixel films, sparse and dense
    render_films.py clumps OUT            hazy film with clumps of 8 to 40 constituents
    render_films.py bubble OUT            the same powder with and without one bubble
    render_films.py kinds  OUT            hazy film with bubbles, droplets, fibres, crystals, dust, cracks and dewetting gaps beside the powder
    render_films.py optics OUT            absorbing spheres, refracting spheres, discs out of focus
    render_films.py kept   OUT            the small lots that the tests keep under films/
    render_films.py NAME   OUT            one lot by name       (render_films.py list prints the names)

A lot is a folder OUT/NAME with batch.toml, blank.tif (in dark field an even scatterer, and dark.tif the empty slide), f01.tif ... and truth.json. Everything is seeded by the lot's name.

How a picture is made (all of it common practice or closed form, no other program is imitated):
  1. Scene in linear transmission on cells of 1/S pixel (S = 8 for discs, 4 for films). Each cell holds the exact area mean: the share of a
     cell inside an outline is that of a half plane (closed form), taken on half-size cells for small objects.
     Film: T = 10^-(OD (1 + haze)). Gap: T = 1. Particle: T of what lies below times 10^-(particle OD). The others: film_things.py.
  2. Blur in Fourier space by the transfer function itself, so nothing of the tails is cut: Gaussian exp(-2 pi^2 sigma^2 f^2), or the
     incoherent diffraction-limited (2/pi)(acos r - r sqrt(1 - r^2)), r = f lambda / (2 NA), which is the transform of [2 J1(v)/v]^2.
  3. Sum over the S x S cells of a pixel. (Summing cells of exact means and a PSF on the same comb is exact up to the PSF's spectrum beyond S
     cycles a pixel, which is nil here.)
     In dark field (mode="darkfield") scattered light is 1 - T, of an even scatterer 1 and of the empty slide 0, on top of stray light: the simplest
     model that is linear in intensity, so that edges lie half way as in transmitted light. How real powder scatters is not modelled.
  4. Times the light (tilt, vignette; the blank has the same), Poisson shot noise, Gaussian read noise, rounded to 8 or 16 bit.
The scene continues 48 px beyond the frame on every side.

Truth: coordinates in pixels, pixel i spans [i, i+1). Areas are sums of cell shares. The largest circle of a gap is found on its outline (4096 or more
points, the particles inside it and the frame as further obstacles) by repeated grid search. x50_0 and d32 are of objects that do not touch
the frame, weighted by W H / ((W - w)(H - h)) with their boxes w x h (Miles 1978, Lantuejoul 1980), step quantile.
constituents: discs that make up the objects not touching the frame; constituents_x50_0 is their plain number median, small ones with them. agglomerate_fraction_*: visible powder area in agglomerates over visible powder
area; an object cut by the frame counts by what is seen of it (its visible area's diameter; the discs whose centre lies in the frame).
An object cut by the frame shows at least 3 px and 12 px^2 in one piece; none lies outside within 4 px of the frame, so counts are not a matter of taste.
"""
import json, math, sys, time, zlib
from pathlib import Path
import numpy as np
import scipy.fft as sf
import scipy.ndimage as ndi
import scipy.sparse as sp
import tifffile
from scipy.spatial import cKDTree

import film_things as things
from film_things import Tube, share

PAD = 48
NTH = 4096
TH = np.arange(NTH + 1) * (2 * math.pi / NTH)


class Star:
    """An outline r(theta) around a centre; a disc where r is constant."""

    def __init__(self, x, y, radii):
        self.x, self.y = float(x), float(y)
        self.disc = np.isscalar(radii)
        if self.disc:
            self.rmax = self.rmin = float(radii)
        else:
            self.R = np.append(radii, radii[0])
            d = (np.roll(radii, -1) - np.roll(radii, 1)) / (2 * (TH[1] - TH[0]))
            self.D = np.append(d, d[0])
            self.rmax, self.rmin = float(radii.max()), float(radii.min())

    def area(self):
        return math.pi * self.rmax ** 2 if self.disc else 0.5 * float(np.sum(self.R[:-1] ** 2)) * (TH[1] - TH[0])

    def outline(self, n=NTH):
        t = np.arange(n) * (2 * math.pi / n)
        r = self.rmax if self.disc else np.interp(t, TH, self.R)
        return np.column_stack([self.x + r * np.cos(t), self.y + r * np.sin(t)])

    def signed(self, X, Y):
        """First-order signed distance (outside positive) and the outward normal."""
        dx, dy = X - self.x, Y - self.y
        r = np.sqrt(dx * dx + dy * dy) + 1e-12
        ux, uy = np.where(r < 1e-9, 1.0, dx / r), dy / r
        if self.disc:
            return r - self.rmax, ux, uy
        t = np.arctan2(dy, dx) % (2 * math.pi)
        R = np.interp(t, TH, self.R)
        k = np.interp(t, TH, self.D) / np.maximum(r, R / 2)  # grad F = u_r - (R'/r) u_theta, held near the centre
        gx, gy = ux + k * uy, uy - k * ux
        g = np.sqrt(gx * gx + gy * gy)
        return (r - R) / g, gx / g, gy / g

    def box(self):
        if self.disc:
            return self.x - self.rmax, self.y - self.rmax, self.x + self.rmax, self.y + self.rmax
        p = self.outline()
        return p[:, 0].min(), p[:, 1].min(), p[:, 0].max(), p[:, 1].max()


def cover(star, x0, y0, nx, ny, h, k):
    """Cell shares of an outline on nx x ny cells of side h from (x0, y0), averaged over k x k half planes a cell."""
    out = np.empty((ny, nx), np.float32)
    hk = h / k
    X = (x0 + (np.arange(nx * k) + 0.5) * hk)[None, :]
    step = max(1, 2_000_000 // (nx * k * k))
    for a in range(0, ny, step):
        b = min(ny, a + step)
        Y = (y0 + (np.arange(a * k, b * k) + 0.5) * hk)[:, None]
        c = share(*star.signed(X, Y), hk)
        out[a:b] = c.reshape(b - a, k, nx, k).mean((1, 3)) if k > 1 else c
    return out


class Canvas:
    def __init__(self, w, h, s):
        self.w, self.h, self.s = w, h, s
        self.nx, self.ny = (w + 2 * PAD) * s, (h + 2 * PAD) * s
        self.t = None

    def window(self, parts):
        """Cells covered by the union of some outlines, their shares, and the same clipped to the frame. None when off the canvas."""
        b = [p.box() for p in parts]
        s = self.s
        x0 = max(0, int(math.floor((min(q[0] for q in b) + PAD) * s)) - 1)
        y0 = max(0, int(math.floor((min(q[1] for q in b) + PAD) * s)) - 1)
        x1 = min(self.nx, int(math.ceil((max(q[2] for q in b) + PAD) * s)) + 1)
        y1 = min(self.ny, int(math.ceil((max(q[3] for q in b) + PAD) * s)) + 1)
        if x1 <= x0 or y1 <= y0:
            return None
        c = np.zeros((y1 - y0, x1 - x0), np.float32)
        for p, q in zip(parts, b):
            px0 = max(x0, int(math.floor((q[0] + PAD) * s)) - 1); py0 = max(y0, int(math.floor((q[1] + PAD) * s)) - 1)
            px1 = min(x1, int(math.ceil((q[2] + PAD) * s)) + 1); py1 = min(y1, int(math.ceil((q[3] + PAD) * s)) + 1)
            if px1 <= px0 or py1 <= py0:
                continue
            if isinstance(p, Tube):
                c[py0 - y0:py1 - y0, px0 - x0:px1 - x0] += p.cells(px0 / s - PAD, py0 / s - PAD, px1 - px0, py1 - py0, 1 / s)
                continue
            k = 2 if p.rmax < 40 else 1
            c[py0 - y0:py1 - y0, px0 - x0:px1 - x0] += cover(p, px0 / s - PAD, py0 / s - PAD, px1 - px0, py1 - py0, 1 / s, k)
        np.minimum(c, 1, out=c)
        return x0, y0, c

    def framed(self, x0, y0, c):
        fx0, fy0 = PAD * self.s, PAD * self.s
        fx1, fy1 = fx0 + self.w * self.s, fy0 + self.h * self.s
        return c[max(0, fy0 - y0):max(0, fy1 - y0), max(0, fx0 - x0):max(0, fx1 - x0)]


def smooth_noise(rng, ny, nx, cell, length_px, cv):
    """Gaussian random field of unit variance times cv, correlation exp(-d^2/(2 length^2)), on ny x nx cells of side `cell` pixels."""
    step = length_px / 3
    my, mx = int(ny * cell / step) + 24, int(nx * cell / step) + 24
    g = ndi.gaussian_filter(rng.standard_normal((my, mx)), 3 / math.sqrt(2), mode="wrap", truncate=6)
    g *= cv * (2 * math.sqrt(math.pi) * 3 / math.sqrt(2))

    def weights(n, m):                                        # cubic B-spline: smooth everywhere
        p = (np.arange(n) + 0.5) * cell / step + 8
        i = np.floor(p).astype(int); f = p - i
        w = np.stack([(1 - f) ** 3, 3 * f ** 3 - 6 * f ** 2 + 4, -3 * f ** 3 + 3 * f ** 2 + 3 * f + 1, f ** 3]) / 6
        rows = np.tile(np.arange(n), 4); cols = np.concatenate([i - 1, i, i + 1, i + 2])
        return sp.csr_matrix((w.ravel().astype(np.float32), (rows, cols)), shape=(n, m))
    a, b = weights(ny, my), weights(nx, mx)
    half = np.ascontiguousarray((b @ g.T.astype(np.float32)).T)
    return a, half


def blur(t, s, psf):
    """Blurs the cells in place by the transfer function and sums them to pixels."""
    ny, nx = t.shape
    f = sf.rfft2(t, workers=1, overwrite_x=True)
    fy = (np.fft.fftfreq(ny) * s).astype(np.float32)          # cycles a pixel
    fx = (np.fft.rfftfreq(nx) * s).astype(np.float32)
    for a in range(0, ny, 256):
        rr = fy[a:a + 256, None] ** 2 + fx[None, :] ** 2
        if psf["kind"] == "gauss":
            o = np.exp(-2 * math.pi ** 2 * psf["sigma_px"] ** 2 * rr)
        else:
            r = np.minimum(np.sqrt(rr) / psf["cutoff_per_px"], 1)
            o = (2 / math.pi) * (np.arccos(r) - r * np.sqrt(1 - r * r))
        f[a:a + 256] *= o
    t = sf.irfft2(f, s=(ny, nx), workers=1, overwrite_x=True)
    return t.reshape(ny // s, s, nx // s, s).mean((1, 3), dtype=np.float64)


class Room:
    """Circles on a bucket grid: who is near."""

    def __init__(self, size):
        self.size, self.cells = size, {}

    def free(self, circles, gap):
        for x, y, r in circles:
            n = int(math.ceil((r + gap) / self.size)) + 1
            i, j = int(x // self.size), int(y // self.size)
            for a in range(i - n, i + n + 1):
                for b in range(j - n, j + n + 1):
                    for (u, v, q) in self.cells.get((a, b), ()):
                        if (x - u) ** 2 + (y - v) ** 2 < (r + q + gap) ** 2:
                            return False
        return True

    def add(self, circles):
        for c in circles:
            self.cells.setdefault((int(c[0] // self.size), int(c[1] // self.size)), []).append(c)


def ellipse_radii(a, b, phi):
    t = TH[:-1] - phi
    return a * b / np.sqrt((b * np.cos(t)) ** 2 + (a * np.sin(t)) ** 2)


def lognormal(rng, median, gsd, lo, hi):
    while True:
        d = median * math.exp(rng.standard_normal() * math.log(gsd))
        if lo <= d <= hi:
            return d


def clump(rng, n, draw, touch=0.95, least=0.949):
    """n touching discs grown from one: each new one touches a random earlier one (centres at `touch` of the sum of radii) and overlaps no other more."""
    c = [(0.0, 0.0, draw() / 2)]
    while len(c) < n:
        r = draw() / 2
        u, v, q = c[rng.integers(len(c))]
        a = rng.random() * 2 * math.pi
        x, y = u + touch * (r + q) * math.cos(a), v + touch * (r + q) * math.sin(a)
        if all((x - e) ** 2 + (y - f) ** 2 >= (least * (r + g)) ** 2 for e, f, g in c):
            c.append((x, y, r))
    return c


def gap_outline(rng, kind, d):
    """An outline of area-equivalent diameter d."""
    if kind == "disc":
        return d / 2
    if kind == "ellipse":
        q = rng.uniform(0.5, 0.85)
        r = ellipse_radii(1 / math.sqrt(q), math.sqrt(q), rng.random() * math.pi)
    else:
        k = int(rng.integers(3, 6)); a = rng.uniform(0.08, 0.2); p = rng.random(3) * 2 * math.pi
        t = TH[:-1]
        r = 1 + a * np.cos(k * t + p[0]) + 0.08 * np.cos(2 * t + p[1]) + 0.03 * np.cos(7 * t + p[2])
    return r * (d / 2 / math.sqrt(np.mean(r ** 2)))


def hole_outline(rng, area, w, h, margin):
    """A large irregular smooth hole of the given area."""
    t = TH[:-1]
    n = 3.0 if area > 0.6 * w * h else 2.2
    r = (np.abs(np.cos(t) / w) ** n + np.abs(np.sin(t) / h) ** n) ** (-1 / n)
    amp = 0.012 if area > 0.6 * w * h else 0.045
    for k in (2, 3, 5, 8):
        r = r * (1 + amp * rng.uniform(0.5, 1) * np.cos(k * t + rng.random() * 2 * math.pi))
    return r * math.sqrt(area / (0.5 * np.sum(r ** 2) * (TH[1] - TH[0])))


def largest_circle(star, inside, w, h):
    """Diameter of the largest circle inside an outline and the frame, off the particles lying in it."""
    n = max(NTH, int(star.rmax * 40))
    pts = np.concatenate([star.outline(n)] + [p.outline(1024) for p in inside])
    tree = cKDTree(pts)
    x0, y0, x1, y1 = star.box()
    x0, y0, x1, y1 = max(0, x0), max(0, y0), min(w, x1), min(h, y1)
    best = (-1.0, 0.0, 0.0)
    lo, m = (x0, y0, x1, y1), 81
    seeds = [lo]
    for level in range(9):
        found = []
        for (a, b, c, d) in seeds:
            X, Y = np.meshgrid(np.linspace(a, c, m), np.linspace(b, d, m))
            ok = (star.signed(X, Y)[0] < 0) & (X >= 0) & (Y >= 0) & (X <= w) & (Y <= h)
            for p in inside:
                ok &= p.signed(X, Y)[0] > 0
            if not ok.any():
                continue
            X, Y = X[ok], Y[ok]
            v = np.minimum(tree.query(np.column_stack([X, Y]))[0], np.minimum(np.minimum(X, w - X), np.minimum(Y, h - Y)))
            o = np.argsort(-v)[:6]
            found += [(float(v[i]), float(X[i]), float(Y[i]), (c - a) / (m - 1), (d - b) / (m - 1)) for i in o]
        found.sort(reverse=True)
        best = max(best, found[0][:3])
        seeds = [(x - 2 * p, y - 2 * q, x + 2 * p, y + 2 * q) for _, x, y, p, q in found[:4]]
        m = 17
        if max(found[0][3], found[0][4]) < 1e-4:
            break
    return 2 * best[0], best[1], best[2]


def illumination(w, h, tilt, vignette):
    x = (np.arange(w) + 0.5) / w * 2 - 1; y = (np.arange(h) + 0.5) / h * 2 - 1
    X, Y = x[None, :], y[:, None]
    a = 0.6
    g = 1 + tilt / 2 * (X * math.cos(a) + Y * math.sin(a)) / (math.cos(a) + math.sin(a))
    g = g * (1 - vignette * (X * X + Y * Y) / 2)
    return g / g.max()


def expose(rng, t, light, bits, electrons, read, frames=1):
    full = 220.0 if bits == 8 else 45000.0
    e = np.maximum(t, 0) * light * electrons
    n = rng.poisson(e * frames) / frames + rng.standard_normal(e.shape) * (read * electrons / math.sqrt(frames))
    return np.clip(np.rint(n / electrons * full), 0, 255 if bits == 8 else 65535).astype(np.uint8 if bits == 8 else np.uint16)


def scene(rng, o):
    """Places gaps and objects. Returns gaps [(Star, kind)], objects [dict(parts, constituents, in_gap)]."""
    w, h = o["w"], o["h"]
    canvas = Canvas(w, h, o["s"])
    gaps, objects = [], []
    specks = dust(o) if o.get("dust") else []
    dusty = lambda x, y, r: any(math.hypot(x - q.x, y - q.y) < r + q.rmax + 10 for q, _ in specks)

    def cut_ok(parts, need_depth, need_area):
        """No doubt about whether the frame cuts it: wholly inside, wholly outside by 4 px, or a clear piece in one part."""
        b = [p.box() for p in parts]
        x0, y0, x1, y1 = min(q[0] for q in b), min(q[1] for q in b), max(q[2] for q in b), max(q[3] for q in b)
        if x0 >= 1 and y0 >= 1 and x1 <= w - 1 and y1 <= h - 1:
            return True, False
        if x1 <= -4 or y1 <= -4 or x0 >= w + 4 or y0 >= h + 4:
            return True, False
        if min(x1, w) - max(x0, 0) < need_depth or min(y1, h) - max(y0, 0) < need_depth:
            return False, False
        if x0 > -1 and y0 > -1 and x1 < w + 1 and y1 < h + 1:
            return False, False
        win = canvas.window(parts)
        c = canvas.framed(*win)
        if c.size == 0 or c.sum() / o["s"] ** 2 < need_area or ndi.label(c > 0.3)[1] != 1 or ndi.label(c > 0.7)[1] != 1:
            return False, False
        return True, True

    for spec in o.get("holes", []):
        r = hole_outline(rng, spec["fill"] * w * h, w, h, 0)
        gaps.append((Star(spec.get("cx", 0.5) * w, spec.get("cy", 0.5) * h, r), "hole"))
    n, first = 0, int(rng.integers(3))
    for _ in range(20000):
        if n >= o.get("gaps", 0):
            break
        kind = ("disc", "ellipse", "wobbly")[(n + first) % 3]
        # the first takes the full size, so that the largest is known to be near the upper end
        d = o["gap_px"][1] if n == 0 else math.exp(rng.uniform(*np.log(o["gap_px"])))
        g = Star(rng.uniform(-d / 4, w + d / 4), rng.uniform(-d / 4, h + d / 4), gap_outline(rng, kind, d))
        if any(math.hypot(g.x - q.x, g.y - q.y) < g.rmax + q.rmax + 30 for q, _ in gaps) or dusty(g.x, g.y, g.rmax):
            continue
        if n == 0 and not (g.x - g.rmax > 2 and g.y - g.rmax > 2 and g.x + g.rmax < w - 2 and g.y + g.rmax < h - 2):
            continue
        if not cut_ok([g], 16, 200)[0]:
            continue
        gaps.append((g, kind)); n += 1
    if o.get("planted"):
        plant_gaps(rng, o, gaps, specks)

    ring = np.arange(16) * (2 * math.pi / 16)
    cr, sr = np.append(np.cos(ring), 0), np.append(np.sin(ring), 0)

    def side(circles):
        """-1 all in the film, i inside gap i, None across an edge. Clearance 6 px."""
        for i, (g, _) in enumerate(gaps):
            keep = getattr(g, "keep", 0)
            near = [c for c in circles if math.hypot(c[0] - g.x, c[1] - g.y) < g.rmax + c[2] + 8 + keep]
            if not near:
                continue
            v = np.concatenate([g.signed(x + (r + 6 + keep) * cr, y + (r + 6 + keep) * sr)[0] for x, y, r in near])
            if (v > 0).all():
                continue
            return i if (v < 0).all() and len(near) == len(circles) else None
        return -1

    room = Room(o.get("bucket", 24))
    for q, od in specks:
        objects.append(dict(parts=[q], constituents=1, gap=-1, kind="dust", od=od))
    if o.get("planted"):
        plant_things(rng, o, room, specks, side, cut_ok, objects)
    if o.get("bubble_at"):
        # the place is kept free in the film without the bubble too, so that both have the same powder
        x, y, r = o["bubble_at"]
        room.add([(x, y, r + 8)])
        if o["bubble"]:
            objects.append(dict(parts=[Star(x, y, r)], constituents=1, gap=-1, kind="bubble", ring=0.12, od=0.9))

    def place(make, count, want_gap=False):
        done, tries = 0, 0
        while done < count and tries < 400 * count + 20000:
            tries += 1
            circles, outline = make()
            if want_gap:
                g = gaps[rng.integers(len(gaps))][0]
                a, q = rng.random() * 2 * math.pi, g.rmax * math.sqrt(rng.random())
                dx, dy = g.x + q * math.cos(a), g.y + q * math.sin(a)
            else:
                dx, dy = rng.uniform(-PAD + 16, w + PAD - 16), rng.uniform(-PAD + 16, h + PAD - 16)
            moved = [(x + dx, y + dy, r) for x, y, r in circles]
            if not room.free(moved, o["apart"]):
                continue
            where = side(moved)
            if where is None or (where >= 0) != want_gap:
                continue
            parts = [Star(dx, dy, outline)] if outline is not None else [Star(x, y, r) for x, y, r in moved]
            ok, cut = cut_ok(parts, 3.0, 12)
            if not ok:
                continue
            room.add(moved)
            objects.append(dict(parts=parts, constituents=len(circles), gap=where))
            done += 1
        if done < count:
            print(f"    only {done} of {count} found room", file=sys.stderr)

    if o.get("clumps"):
        big = []
        for i in range(o["clumps"]):
            k = int(rng.integers(25, 41)) if i % 25 == 0 else min(40, 3 + int(rng.exponential(5)))
            big.append(k)
        for k in sorted(big, reverse=True):
            place(lambda: (clump(rng, k, o["draw"](rng)), None), 1)

    def single():
        d = o["draw"](rng)()
        if o.get("ellipses") and rng.random() < 0.4:
            q = rng.uniform(0.72, 0.95)
            r = ellipse_radii(d / 2 / math.sqrt(q), d / 2 * math.sqrt(q), rng.random() * math.pi)
            return [(0.0, 0.0, float(r.max()))], r
        return [(0.0, 0.0, d / 2)], d / 2
    for _ in range(o.get("chains", 0)):
        k = int(rng.integers(*o["chain_n"]))
        place(lambda: (clump(rng, k, o["draw"](rng), o["touch"], o["touch"] - 0.001), None), 1)
    if o.get("in_gaps"):
        place(single, o["in_gaps"], True)
    place(single, o["singles"])
    return canvas, gaps, objects


def dust(o):
    """Specks that lie at one place of every picture of a lot: [(Star, OD)]."""
    rng = np.random.default_rng(zlib.crc32((o["seed"] + " dust").encode()))
    out = []
    while len(out) < o["dust"]:
        d = rng.uniform(*o["dust_px"])
        q = Star(rng.uniform(0, o["w"]), rng.uniform(0, o["h"]), things.speck_radii(rng, d, TH[:-1]))
        r = q.rmax + 6
        if q.x < r or q.y < r or q.x > o["w"] - r or q.y > o["h"] - r or any(math.hypot(q.x - p.x, q.y - p.y) < q.rmax + p.rmax + 40 for p, _ in out):
            continue
        out.append((q, float(rng.uniform(0.7, 1.3))))
    return out


def inside(p, o, margin):
    b = p.box()
    return b[0] > margin and b[1] > margin and b[2] < o["w"] - margin and b[3] < o["h"] - margin


def far(p, others, clear):
    """No closer than `clear` px to any of some outlines, by their distance functions."""
    pts = p.outline(600)
    return all(math.hypot(p.x - q.x, p.y - q.y) > p.rmax + q.rmax + clear or q.signed(pts[:, 0], pts[:, 1])[0].min() > clear for q in others)


def plant_gaps(rng, o, gaps, specks):
    """Cracks and dewetting gaps, whole in the frame."""
    um = o["um"]
    for i in range(o["planted"].get("crack", 0)):
        for _ in range(3000):
            g = Tube(things.crack_lines(rng, rng.uniform(*o.get("crack_um", (32, 90))) / um, i % 2 == 1), rng.uniform(2, 4) / um, rng.uniform(0, o["w"]), rng.uniform(0, o["h"]))
            if g.plain() and inside(g, o, 6) and far(g, [q for q, _ in gaps] + [q for q, _ in specks], 16):
                gaps.append((g, "crack")); break
        else:
            print("    no room for a crack", file=sys.stderr)
    for i in range(o["planted"].get("dewetting", 0)):
        for _ in range(3000):
            d = rng.uniform(*o.get("dewetting_um", (6, 20))) / um
            g = Star(rng.uniform(0, o["w"]), rng.uniform(0, o["h"]), gap_outline(rng, "wobbly", d))
            g.rim, g.excess = rng.uniform(8, 16), rng.uniform(0.15, 0.4)
            g.keep = g.rim
            if inside(g, o, 6 + g.rim) and far(g, [q for q, _ in gaps] + [q for q, _ in specks], 20 + g.rim):
                gaps.append((g, "dewetting")); break
        else:
            print("    no room for a dewetting gap", file=sys.stderr)


def plant_things(rng, o, room, specks, side, cut_ok, objects):
    """Bubbles, droplets, fibres, needles and plates in the film, largest first."""
    um, w, h = o["um"], o["w"], o["h"]

    def fibre(x, y):
        p = Tube(things.fibre_lines(rng, rng.uniform(*o.get("fibre_um", (60, 150))) / um), rng.uniform(2, 5) / um, x, y)
        return p, p.circles(), dict(od=float(rng.uniform(0.5, 0.9)))

    def bubble(x, y):
        r = math.exp(rng.uniform(math.log(5), math.log(o.get("bubble_um", 30)))) / um / 2
        return Star(x, y, r), [(x, y, r)], dict(od=float(rng.uniform(0.6, 1.0)), ring=float(rng.uniform(0.10, 0.16)))

    def droplet(x, y):
        r = math.exp(rng.uniform(math.log(5), math.log(o.get("bubble_um", 30)))) / um / 2
        return Star(x, y, r), [(x, y, r)], dict(od=float(rng.uniform(0.5, 0.9)), ring=float(rng.uniform(0.25, 0.4)), lighter=float(rng.uniform(0, 0.3)) * o["film_od"])

    def needle(x, y):
        width = rng.uniform(2, 4) / um
        p = Star(x, y, things.polygon_radii(things.needle_corners(rng, width * rng.uniform(4, 10), width), TH[:-1]))
        q = p.outline(64)
        return p, [(a, b, width / 4) for a, b in q] + [(x, y, width / 2)], dict(od=float(rng.uniform(0.5, 0.9)))

    def plate(x, y):
        p = Star(x, y, things.polygon_radii(things.plate_corners(rng, rng.uniform(6, 16) / um), TH[:-1]))
        return p, [(x, y, p.rmax)], dict(od=float(rng.uniform(0.5, 0.9)))

    for kind, make in (("fibre", fibre), ("bubble", bubble), ("droplet", droplet), ("needle", needle), ("plate", plate)):
        for _ in range(o["planted"].get(kind, 0)):
            for _ in range(4000):
                p, circles, more = make(rng.uniform(0, w), rng.uniform(0, h))
                if not room.free(circles, 8) or side(circles) != -1 or not far(p, [q for q, _ in specks], 10):
                    continue
                if kind == "fibre":                           # the frame may cut a fibre, but most of it shows
                    pts = p.outline(400)
                    shown = np.mean((pts[:, 0] > 0) & (pts[:, 1] > 0) & (pts[:, 0] < w) & (pts[:, 1] < h))
                    if not p.plain() or shown < 0.75 or not cut_ok([p], 3.0, 12)[0]:
                        continue
                elif not inside(p, o, 6):
                    continue
                room.add(circles)
                objects.append(dict(parts=[p], constituents=1, gap=-1, kind=kind, **more))
                break
            else:
                print(f"    no room for a {kind}", file=sys.stderr)


def paint(ob, o, x0, y0, c):
    """What an object leaves of the light below it, on the cells of its window, if that is not a flat share of the light."""
    p, s, m = ob["parts"][0], o["s"], o.get("model")
    if ob["kind"] == "bubble":
        inner = cover(Star(p.x, p.y, p.rmax * (1 - ob["ring"])), x0 / s - PAD, y0 / s - PAD, c.shape[1], c.shape[0], 1 / s, 2)
        return 1 - (c - np.minimum(inner, c)) * np.float32(1 - 10 ** -ob["od"])
    if ob["kind"] == "droplet":
        f = things.droplet_transmission(p.rmax, ob["ring"], ob["od"], ob["lighter"])
    elif m in ("sphere", "material"):
        f = things.sphere_transmission(p.rmax, o["particle_od"] * (1 if m == "sphere" else p.rmax / o["largest_px"] * 2))
    elif m == "refracting":
        inner = cover(Star(p.x, p.y, p.rmax * things.lost_from(o["index"] / o["medium"], math.asin(o["acceptance_na"] / o["medium"]))), x0 / s - PAD, y0 / s - PAD, c.shape[1], c.shape[0], 1 / s, 2)
        return 1 - (c - np.minimum(inner, c))
    else:
        return 1 - c * np.float32(1 - 10 ** -ob.get("od", o["particle_od"]))
    return things.radial_cells(p.x, p.y, x0 / s - PAD, y0 / s - PAD, c.shape[1], c.shape[0], 1 / s, f).astype(np.float32)


def rim(t, canvas, g, o):
    """The thicker film around a dewetting gap: more OD by excess x profile over the rim's width."""
    s, b = canvas.s, g.box()
    x0 = int((b[0] - g.rim - 1 + PAD) * s); y0 = int((b[1] - g.rim - 1 + PAD) * s)
    x1 = int((b[2] + g.rim + 1 + PAD) * s); y1 = int((b[3] + g.rim + 1 + PAD) * s)
    X = ((np.arange(x0, x1) + 0.5) / s - PAD)[None, :]; Y = ((np.arange(y0, y1) + 0.5) / s - PAD)[:, None]
    t[y0:y1, x0:x1] *= 10 ** (-o["film_od"] * g.excess * things.rim_profile(g.signed(X, Y)[0] / g.rim)).astype(np.float32)


def field(rng, o, light):
    w, h, s = o["w"], o["h"], o["s"]
    canvas, gaps, objects = scene(rng, o)
    ny, nx = canvas.ny, canvas.nx
    t = np.empty((ny, nx), np.float32)
    if o["film_od"] == 0:
        t[:] = 1
    else:
        parts = [smooth_noise(rng, ny, nx, 1 / s, length / o["um"], cv) for length, cv in o.get("haze", [])]
        for a in range(0, ny, 512):
            v = np.ones((min(512, ny - a), nx), np.float32)
            for m, half in parts:
                v += m[a:a + 512] @ half
            t[a:a + 512] = np.exp(np.float32(-math.log(10) * o["film_od"]) * v)
    s2, frame = s * s, w * h
    bare, gap_rows = 0.0, []
    for i, (g, kind) in enumerate(gaps):
        if kind == "dewetting":
            rim(t, canvas, g, o)
        x0, y0, c = canvas.window([g])
        v = t[y0:y0 + c.shape[0], x0:x0 + c.shape[1]]
        v += c * (1 - v)
        seen = float(canvas.framed(x0, y0, c).sum(dtype=np.float64)) / s2
        gap_rows.append([g, kind, seen])
    rows, tp, cover_px = [], 10 ** -o["particle_od"], 0.0
    in_gap, other_px, seen_discs = {}, 0.0, []
    specks = [ob["parts"][0] for ob in objects if ob.get("kind") == "dust"]
    missing, depths, discs = {}, [], []
    for ob in objects:
        win = canvas.window(ob["parts"])
        if win is None:
            continue
        x0, y0, c = win
        kind = ob.get("kind", "powder")
        ob["kind"] = kind
        v = t[y0:y0 + c.shape[0], x0:x0 + c.shape[1]]
        if o.get("model") == "depth":
            ob["z"] = int(rng.integers(-12, 13))              # steps of a quarter micrometre, -3 to 3
            m = missing.setdefault(abs(ob["z"]), np.zeros_like(t))
            m[y0:y0 + c.shape[0], x0:x0 + c.shape[1]] += v * c * np.float32(1 - tp)
        elif kind != "powder" or o.get("model"):
            v *= paint(ob, o, x0, y0, c)
        else:
            v *= 1 - c * np.float32(1 - tp)
        whole = float(c.sum(dtype=np.float64)) / s2
        if len(ob["parts"]) == 1:
            whole = ob["parts"][0].area()                     # closed form, also where the canvas cuts it
        f = canvas.framed(x0, y0, c)
        seen = float(f.sum(dtype=np.float64)) / s2
        if seen == 0:
            continue
        if kind == "powder":
            cover_px += seen
        else:
            other_px += seen
        b = [p.box() for p in ob["parts"]]
        bx = (min(q[0] for q in b), min(q[1] for q in b), max(q[2] for q in b), max(q[3] for q in b))
        touches = bx[0] < 0 or bx[1] < 0 or bx[2] > w or bx[3] > h
        if len(ob["parts"]) == 1:
            cx, cy = ob["parts"][0].x, ob["parts"][0].y
        else:
            q = c.sum(dtype=np.float64)
            cx = (x0 + 0.5 + float((c.sum(0, dtype=np.float64) * np.arange(c.shape[1])).sum() / q)) / s - PAD
            cy = (y0 + 0.5 + float((c.sum(1, dtype=np.float64) * np.arange(c.shape[0])).sum() / q)) / s - PAD
        pores = ndi.label(c < 0.5)[1] - 1 if ob["constituents"] > 2 else 0
        rows.append([round(cx, 3), round(cy, 3), round(2 * math.sqrt(whole / math.pi), 5), round(whole, 4), round(seen, 4), int(touches), ob["constituents"], ob["gap"] + 1,
                     round(bx[2] - bx[0], 3), round(bx[3] - bx[1], 3), max(0, pores), kind, int(kind != "dust" and any(q.signed(p.x, p.y)[0] < p.rmax + 6 for q in specks for p in ob["parts"]))])
        if kind == "powder" and not touches:
            discs += [2 * math.sqrt(p.area() / math.pi) for p in ob["parts"]]
        seen_discs.append(sum(0 <= p.x <= w and 0 <= p.y <= h for p in ob["parts"]))
        if o.get("model") == "depth":
            depths.append(ob["z"] / 4)
        if ob["gap"] >= 0:
            in_gap.setdefault(ob["gap"], []).append((ob["parts"], seen))
    gap_out = []
    for i, (g, kind, seen) in enumerate(gap_rows):
        inside = in_gap.get(i, [])
        seen -= sum(q for _, q in inside)
        bare += seen
        d, gx, gy = largest_circle(g, [p for ps, _ in inside for p in ps], w, h)
        b = g.box()
        gap_out.append(dict(kind=kind, x_px=round(g.x, 3), y_px=round(g.y, 3), area_px=round(seen, 4), diameter_um=round(2 * math.sqrt(seen / math.pi) * o["um"], 5),
                            largest_circle_um=round(d * o["um"], 5), circle_at_px=[round(gx, 2), round(gy, 2)], touches_frame=bool(b[0] < 0 or b[1] < 0 or b[2] > w or b[3] > h), particles_inside=len(inside)))
        if kind == "crack":
            gap_out[-1].update(length_um=round(g.length * o["um"], 3), width_um=round(2 * g.half * o["um"], 3), branched=len(g.lines) > 1)
        if kind == "dewetting":
            gap_out[-1].update(rim_um=round(g.rim * o["um"], 3), rim_more_od_pct=round(100 * g.excess, 1))
    if missing:
        table = lambda z: things.defocus_otf(z / 4, o["psf"]["na"], o["wavelength_nm"] / 1000, o["medium"])
        layers = ((a, *table(z)) for a, z in [(t, 0)] + [(-missing.pop(z), z) for z in sorted(missing)])
        pix = things.blur_layers(layers, s, o["psf"]["cutoff_per_px"])
    else:
        pix = blur(t, s, o["psf"])
    pix = pix[PAD:PAD + h, PAD:PAD + w]
    if o.get("mode") == "darkfield":
        pix = 1 - pix + o["stray"]
    img = expose(rng, pix, light, o["bits"], o["electrons"], o["read"])
    powder = [(r, n) for r, n in zip(rows, seen_discs) if r[11] == "powder"]
    clumped = dict(size5=sum(r[4] for r, _ in powder if 2 * math.sqrt(r[4] / math.pi) * o["um"] >= 5), constituents4=sum(r[4] for r, n in powder if n >= 4))
    truth = dict(width=w, height=h, count=len(powder), touching=sum(r[5] for r, _ in powder), particle_area_pct=100 * cover_px / frame, uncovered_area_pct=100 * (bare if o["film_od"] else frame - cover_px) / frame,
                 largest_gap_um=max([g["largest_circle_um"] for g in gap_out], default=0.0 if o["film_od"] else None), constituents=sum(r[6] for r, _ in powder if not r[5]), powder_px=cover_px, agglomerate_px=clumped, discs=discs, other_area_pct=100 * other_px / frame, gaps=gap_out, objects=rows)
    if depths:
        truth["z_um"] = depths
    return img, truth


COLUMNS = ["x_px", "y_px", "diameter_px", "area_px", "visible_area_px", "touches_frame", "constituents", "in_gap", "box_w_px", "box_h_px", "pores", "kind", "under_dust"]


def sizes(fields, um, from_px):
    d, wt = [], []
    for f in fields:
        for r in f["objects"]:
            if r[11] == "powder" and not r[5] and r[2] >= from_px:
                d.append(r[2]); wt.append(f["width"] * f["height"] / ((f["width"] - r[8]) * (f["height"] - r[9])))
    if not d:
        return {}
    d, wt = np.array(d), np.array(wt)
    i = np.argsort(d, kind="stable"); d, wt = d[i], wt[i]

    def q(p, r):
        c = np.cumsum(wt * d ** r)
        return float(d[np.searchsorted(c, p * c[-1])] * um)
    return dict(objects=len(d), x10_0_um=q(.1, 0), x50_0_um=q(.5, 0), x90_0_um=q(.9, 0), mean_0_um=float((wt * d).sum() / wt.sum() * um), x50_3_um=q(.5, 3),
                d32_um=float((wt * d ** 3).sum() / (wt * d ** 2).sum() * um), d43_um=float((wt * d ** 4).sum() / (wt * d ** 3).sum() * um))


def lot(out, name, o):
    t0 = time.time()
    o = dict(dict(um=0.25, bits=16, read=0.0003, tilt=0.2, vignette=0.3, particle_od=0.9, apart=4.0, wavelength_nm=550.0, fields=2, slides=1, blank_frames=8, seed=name, medium=1.5), **o)
    psf = o["psf"]
    if psf["kind"] == "airy":
        psf["cutoff_per_px"] = 2 * psf["na"] / (o["wavelength_nm"] / 1000) * o["um"]
        na, sigma = psf["na"], 0.21 * o["wavelength_nm"] / 1000 / psf["na"] / o["um"]
    else:
        sigma = psf["sigma_px"]
        na = round(0.21 * o["wavelength_nm"] / 1000 / (sigma * o["um"]), 3)
    rng = np.random.default_rng(zlib.crc32(o["seed"].encode()))
    keep = dict(compression="zlib", predictor=True) if o.get("packed") else {}
    folder = out / name
    folder.mkdir(parents=True, exist_ok=True)
    light = illumination(o["w"], o["h"], o["tilt"], o["vignette"])
    tifffile.imwrite(folder / "blank.tif", expose(rng, np.ones_like(light), light, o["bits"], o["electrons"], o["read"], o["blank_frames"]), **keep)
    if o.get("mode") == "darkfield":
        quiet = np.random.default_rng(zlib.crc32((o["seed"] + " dark").encode()))
        tifffile.imwrite(folder / "dark.tif", expose(quiet, np.full_like(light, o["stray"]), light, o["bits"], o["electrons"], o["read"], o["blank_frames"]), **keep)
    fields = []
    for i in range(o["fields"]):
        po = dict(o)
        for k, v in o.get("override", {}).get(i, {}).items():
            po[k] = v
        if "planted" in o or "chains" in o or "model" in o or "bubble" in o:
            rng = np.random.default_rng(zlib.crc32(f'{o["seed"]} field {i + 1}'.encode()))
        img, tr = field(rng, po, light)
        tr = dict(file=f"f{i + 1:02d}.tif", **tr)
        tifffile.imwrite(folder / tr["file"], img, **keep)
        fields.append(tr)
    sheet = [f'lot = "{name}"', 'product = "Rendered film of known truth"', 'purpose = "study"', "", "[microscope]", f'mode = "{o.get("mode", "transmitted")}"', f'um_per_px = {o["um"]}',
             f"numerical_aperture = {na}", f'wavelength_nm = {o["wavelength_nm"]:g}', 'tone = "linear"', 'blank = "blank.tif"'] + (['dark = "dark.tif"'] if o.get("mode") == "darkfield" else [])
    if o["slides"] > 1:
        for i, f in enumerate(fields):
            sheet += ["", "[[picture]]", f'file = "{f["file"]}"', 'role = "field"', f'slide = "{"AB"[i * o["slides"] // len(fields)]}"']
    (folder / "batch.toml").write_text("\n".join(sheet) + "\n", encoding="utf-8")
    from_px = max(6.0, 4 * sigma, 2 * 0.61 * o["wavelength_nm"] / 1000 / na / o["um"])
    mean = lambda k: float(np.mean([f[k] for f in fields]))
    total = dict(count=sum(f["count"] for f in fields), touching=sum(f["touching"] for f in fields), particle_area_pct=mean("particle_area_pct"), uncovered_area_pct=mean("uncovered_area_pct"),
                 gaps=sum(len(f["gaps"]) for f in fields), largest_gap_um=max((f["largest_gap_um"] for f in fields if f["largest_gap_um"] is not None), default=None), size_from_um=from_px * o["um"], **sizes(fields, o["um"], from_px))
    discs = [d for f in fields for d in f.pop("discs")]
    total["constituents_x50_0_um"] = float(np.quantile(discs, 0.5, method="inverted_cdf")) * o["um"] if discs else None
    total["constituents"] = sum(f["constituents"] for f in fields)
    for rule in ("size5", "constituents4"):
        total[f"agglomerate_fraction_{rule}_pct"] = 100 * sum(f["agglomerate_px"][rule] for f in fields) / max(sum(f["powder_px"] for f in fields), 1e-9)
    if len({r[11] for f in fields for r in f["objects"]}) > 1 or "planted" in o:
        names = [r[11] for f in fields for r in f["objects"]]
        total["things"] = {k: names.count(k) for k in sorted(set(names))}
        gap_names = [g["kind"] for f in fields for g in f["gaps"]]
        total["gap_kinds"] = {k: gap_names.count(k) for k in sorted(set(gap_names))}
    total["film"] = "none (clear)" if o["film_od"] == 0 else "hazy"
    truth = dict(lot=name, made_with="render_films.py", versions=dict(numpy=np.__version__, scipy=__import__("scipy").__version__, tifffile=tifffile.__version__), kind=o["kind"], um_per_px=o["um"], psf=psf, sigma_px=sigma,
                 film_od=o["film_od"], particle_od=o["particle_od"], bits=o["bits"], shot_noise_pct_at_blank=100 / math.sqrt(o["electrons"]), read_noise_pct=100 * o["read"], tilt=o["tilt"], vignette=o["vignette"],
                 haze=o.get("haze", []), **({"model": o["model"]} if "model" in o else {}), truth=total, object_columns=COLUMNS, fields=fields)
    (folder / "truth.json").write_text(json.dumps(truth, separators=(",", ":")).replace('"fields":', '\n"fields":').replace('{"file"', '\n{"file"') + "\n", encoding="utf-8")
    print(f'{name}: {total["count"]} objects ({total["touching"]} at the frame), {total["particle_area_pct"]:.3f} % particles, {total["uncovered_area_pct"]:.4f} % bare, largest gap {total["largest_gap_um"]}, x50_0 {total.get("x50_0_um", 0):.4f}, {time.time() - t0:.0f} s', flush=True)


def lots():
    g = lambda s: dict(kind="gauss", sigma_px=s)
    airy = lambda: dict(kind="airy", na=0.65)
    uni = lambda lo, hi: (lambda rng: (lambda: rng.uniform(lo, hi)))
    logn = lambda m, gsd, lo, hi: (lambda rng: (lambda: lognormal(rng, m, gsd, lo, hi)))
    low, mod = 1e6, 1e4                                       # electrons at the blank: shot noise 0.1 % and 1 %
    L = {}
    d = dict(kind="discs", w=1400, h=1050, s=8, film_od=0.0, particle_od=1.0, apart=8.0, singles=900, draw=uni(6, 30), psf=g(0.89), electrons=low, fields=2, bucket=32)
    L["discs-clear-g089"] = d
    L["discs-film-g089"] = dict(d, film_od=0.35)
    L["discs-film-g089-noise1"] = dict(d, film_od=0.35, electrons=mod)
    L["discs-clear-g089-noise1"] = dict(d, electrons=mod)
    L["discs-clear-airy"] = dict(d, psf=airy())
    L["discs-film-airy"] = dict(d, film_od=0.35, psf=airy())
    L["discs-film-airy-noise1"] = dict(d, film_od=0.35, psf=airy(), electrons=mod)
    L["discs-film-lognormal-g089"] = dict(d, film_od=0.35, draw=logn(11, 1.5, 6, 40), singles=1500)
    L["discs-clear-lognormal-airy-noise1"] = dict(d, draw=logn(11, 1.5, 6, 40), singles=1500, psf=airy(), electrons=mod)
    L["discs-film-g178"] = dict(d, film_od=0.35, psf=g(1.78))
    L["discs-clear-g178-noise1"] = dict(d, psf=g(1.78), electrons=mod)

    haze = [(40.0, 0.08), (2.0, 0.02)]
    z = dict(kind="hazy", w=2000, h=1500, s=4, film_od=0.35, haze=haze, singles=1500, clumps=120, ellipses=True, draw=logn(6.5, 1.35, 4, 12), gaps=15, gap_px=(24, 100), psf=g(0.89), electrons=4e4, fields=4)
    L["hazy-small"] = dict(z, w=800, h=600, singles=240, clumps=20, gaps=4, fields=2)
    L["hazy-od35-16"] = dict(z, slides=2)
    L["hazy-od35-8"] = dict(z, bits=8)
    L["hazy-od35-airy-16"] = dict(z, psf=airy(), fields=2)
    L["hazy-od35-airy-8"] = dict(z, psf=airy(), bits=8, fields=2)
    L["hazy-od20-16"] = dict(z, film_od=0.2, fields=2)
    L["hazy-od100-16"] = dict(z, film_od=1.0, fields=2)
    L["hazy-od20-8"] = dict(z, film_od=0.2, bits=8, fields=2)
    L["hazy-od100-8"] = dict(z, film_od=1.0, bits=8, fields=2)
    L["hazy-od35-noise1-16"] = dict(z, electrons=1e4, fields=2)
    L["hazy-in-gaps-16"] = dict(z, in_gaps=30, fields=2)
    L["hazy-no-gaps-16"] = dict(z, gaps=0, fields=2)

    h = dict(z, kind="holes", gaps=0, fields=1)
    for f, extra in ((5, {}), (20, {}), (45, {}), (70, {})):
        L[f"hole{f:02d}-16"] = dict(h, holes=[dict(fill=f / 100, **extra)], singles=int(1500 * (1 - f / 100)), clumps=int(120 * (1 - f / 100)))
    L["hole20-frame-16"] = dict(h, holes=[dict(fill=0.25, cx=0.14, cy=0.42)], singles=1200, clumps=90)
    L["hole45-8"] = dict(L["hole45-16"], bits=8)
    L["hole70-8"] = dict(L["hole70-16"], bits=8)
    L["hole70-mixed-16"] = dict(z, kind="holes", fields=3, override={0: dict(holes=[dict(fill=0.7)], gaps=0, singles=400, clumps=30)})

    t = dict(z, kind="timing", w=4000, h=3000, fields=1)
    L["sparse-12mpx-16"] = dict(t, singles=5700, clumps=300, gaps=40)
    L["dense-12mpx-16"] = dict(t, singles=32000, clumps=800, gaps=40, draw=logn(6.0, 1.3, 4, 12))

    # Clumps whose constituents are known, singles beside them; touching in one point where the name says so.
    c = dict(z, kind="clumps", w=1200, h=900, singles=220, clumps=0, gaps=3, gap_px=(24, 60), chains=42, chain_n=(8, 41), touch=0.95, ellipses=False, fields=2)
    large = dict(c, draw=logn(9.0, 1.35, 6, 16), singles=130, chains=40)
    L["clumps-16"] = dict(c, fields=3)
    L["clumps-large-16"] = large
    L["clumps-airy-16"] = dict(c, psf=airy())
    L["clumps-large-airy-8"] = dict(large, psf=airy(), bits=8)
    L["clumps-8"] = dict(c, bits=8)
    L["clumps-large-8"] = dict(large, bits=8)
    L["clumps-airy-8"] = dict(c, psf=airy(), bits=8)
    L["clumps-large-airy-16"] = dict(large, psf=airy())
    L["clumps-point-16"] = dict(c, touch=1.0)
    L["clumps-point-airy-8"] = dict(c, touch=1.0, psf=airy(), bits=8)
    L["clumps-point-large-16"] = dict(large, touch=1.0)
    L["clumps-point-large-airy-16"] = dict(large, touch=1.0, psf=airy())

    # The same powder with and without one bubble of 30 micrometres.
    b = dict(z, kind="bubble", w=1200, h=900, singles=1080, clumps=0, gaps=2, gap_px=(24, 60), draw=logn(2.07 / 0.25, 1.35, 5, 16), ellipses=False, fields=2, seed="bubble", bubble_at=(560, 430, 60.0), bubble=False)
    L["bubble-none"] = b
    L["bubble-one"] = dict(b, override={0: dict(bubble=True)})
    L["bubble-none-8"] = dict(b, bits=8)
    L["bubble-one-8"] = dict(L["bubble-one"], bits=8)
    L["bubble-none-airy"] = dict(b, psf=airy())
    L["bubble-one-airy"] = dict(L["bubble-one"], psf=airy())

    # Things that are not powder, and gaps of several kinds. The dust lies at one place in all four fields.
    k = dict(z, kind="kinds", w=1200, h=900, singles=260, clumps=0, chains=12, chain_n=(3, 25), touch=0.95, gaps=2, gap_px=(24, 80), fields=4, dust=10, dust_px=(16, 48),
             planted=dict(fibre=2, bubble=3, droplet=3, needle=2, plate=2, crack=2, dewetting=2))
    L["kinds-16"] = k
    L["kinds-8"] = dict(k, bits=8)
    L["kinds-airy-16"] = dict(k, psf=airy())
    L["kinds-airy-8"] = dict(k, psf=airy(), bits=8)

    # Particles that break what the edge rule assumes: thick absorbing ones, refracting ones, discs out of focus.
    m = dict(z, kind="optics", w=1200, h=900, singles=420, clumps=0, gaps=0, draw=uni(6, 32), ellipses=False, fields=2, largest_px=32, index=2.0, acceptance_na=0.65, bucket=32)
    L["spheres-16"] = dict(m, model="sphere")
    L["spheres-airy-16"] = dict(m, model="sphere", psf=airy())
    L["spheres-material-airy-16"] = dict(m, model="material", psf=airy())
    L["refracting-16"] = dict(m, model="refracting")
    L["refracting-airy-16"] = dict(m, model="refracting", psf=airy())
    L["depth-16"] = dict(m, model="depth", psf=airy(), apart=12.0)

    # The first field of a transmitted lot, in dark field: the same scene, since the seed is the same.
    dark = dict(mode="darkfield", stray=0.01, fields=1)
    L["darkfield-16"] = dict(L["hazy-od35-16"], slides=1, seed="hazy-od35-16", **dark)
    L["darkfield-8"] = dict(L["hazy-od35-8"], seed="hazy-od35-8", **dark)

    # Small lots that are kept beside the tests, under films/.
    L["kept-discs-16"] = dict(d, film_od=0.35, w=640, h=480, singles=170, fields=1, electrons=mod)
    L["kept-discs-airy-8"] = dict(d, w=640, h=480, singles=170, fields=1, psf=airy(), electrons=mod, bits=8)
    L["kept-hazy-8"] = dict(z, w=900, h=700, singles=310, clumps=25, gaps=4, fields=2, bits=8)
    L["kept-hazy-airy-16"] = dict(z, w=640, h=480, singles=150, clumps=12, gaps=3, fields=1, psf=airy())
    L["kept-in-gaps-8"] = dict(z, w=640, h=480, singles=150, clumps=12, gaps=4, fields=1, bits=8, in_gaps=5)
    L["kept-darkfield-16"] = dict(L["kept-hazy-airy-16"], seed="kept-hazy-airy-16", **dark)
    L["kept-hole70-8"] = dict(h, w=640, h=480, holes=[dict(fill=0.7)], singles=45, clumps=4, bits=8)
    L["kept-clumps-16"] = dict(c, w=480, h=400, singles=45, chains=10, gaps=1, fields=1, packed=True)
    L["kept-bubble-8"] = dict(b, w=560, h=420, singles=240, gaps=0, fields=1, bits=8, bubble=True, bubble_at=(280, 210, 60.0), seed="kept-bubble-8", packed=True)
    L["kept-kinds-8"] = dict(k, w=500, h=400, singles=35, chains=2, gaps=1, gap_px=(24, 40), bits=8, dust=3, planted=dict(fibre=1, bubble=1, droplet=1, needle=1, plate=1, crack=1, dewetting=1),
                             fibre_um=(60, 80), crack_um=(32, 50), dewetting_um=(6, 12), bubble_um=16, packed=True)
    return L


if __name__ == "__main__":
    if len(sys.argv) < 2 or (sys.argv[1] != "list" and len(sys.argv) < 3):
        sys.exit(__doc__)
    what, all_lots = sys.argv[1], lots()
    if what == "list":
        print("\n".join(all_lots)); sys.exit()
    chosen = {n: o for n, o in all_lots.items() if what in ("all", n, o["kind"]) or (what == "kept" and n.startswith("kept-"))}
    if not chosen:
        sys.exit(f"no lot or kind is called {what}")
    for n, o in chosen.items():
        lot(Path(sys.argv[2]), n, o)
