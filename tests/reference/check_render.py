#!/usr/bin/env python3
"""Checks render_films.py against other routes: pixels of a blurred disc by direct quadrature of the point spread function (Gauss-Legendre in polar
coordinates), areas against closed forms, the largest circle in an outline against shapely, haze statistics. Prints the differences; exit 1 beyond the bounds."""
import math, sys
import numpy as np
import shapely
from scipy.special import j1
import render_films as rf

bad = 0


def say(what, diff, bound):
    global bad
    bad += not abs(diff) <= bound
    print(f"{what:58s} {diff:+.2e}  (bound {bound:g}) {'ok' if abs(diff) <= bound else 'MISSED'}")


X, Y, R = 50.3, 47.77, 7.3
gr, wr = np.polynomial.legendre.leggauss(60); gr, wr = (gr + 1) / 2 * R, wr / 2 * R
th = (np.arange(240) + 0.5) / 240 * 2 * math.pi
PX, PY = (X + gr[:, None] * np.cos(th)).ravel(), (Y + gr[:, None] * np.sin(th)).ravel()
W = ((wr * gr)[:, None] * np.full(240, 2 * math.pi / 240)).ravel()
ga, wa = np.polynomial.legendre.leggauss(8); ga, wa = (ga + 1) / 2, wa / 2
k = 2 * math.pi * 0.65 / 0.55 * 0.25
psfs = (("gauss", dict(kind="gauss", sigma_px=0.89), lambda d: np.exp(-d * d / (2 * 0.89 ** 2)) / (2 * math.pi * 0.89 ** 2)),
        ("airy", dict(kind="airy", na=0.65, cutoff_per_px=2 * 0.65 / 0.55 * 0.25), lambda d: (2 * j1(k * d + 1e-12) / (k * d + 1e-12)) ** 2 * k * k / (4 * math.pi)))
for name, psf, f in psfs:
    for s in (4, 8):
        c = rf.Canvas(120, 100, s); t = np.ones((c.ny, c.nx), np.float32)
        x0, y0, w = c.window([rf.Star(X, Y, R)]); t[y0:y0 + w.shape[0], x0:x0 + w.shape[1]] *= 1 - w * np.float32(0.9)
        p = rf.blur(t, s, psf)
        say(f"{name} s={s} light lost / (0.9 area)", (1 - p).sum() / (0.9 * math.pi * R * R) - 1, 1e-4)
        for i, j in ((50, 47), (57, 47), (43, 50), (55, 53), (70, 47), (100, 47)):
            v = 1 - 0.9 * sum(a * b * (f(np.hypot(PX - i - u, PY - j - q)) * W).sum() for u, a in zip(ga, wa) for q, b in zip(ga, wa))
            say(f"{name} s={s} pixel {i},{j} ({v:.6f})", p[j + rf.PAD, i + rf.PAD] - v, 3e-4)
rng = np.random.default_rng(3)
c = rf.Canvas(200, 200, 4)
for kind in ("disc", "ellipse", "wobbly", "wobbly"):
    st = rf.Star(101.2, 98.7, rf.gap_outline(rng, kind, 80))
    _, _, w = c.window([st])
    poly = shapely.Polygon(st.outline(20000))
    say(f"{kind}: cells' area against polygon", w.sum(dtype=float) / 16 / poly.area - 1, 2e-5)
    mic = shapely.maximum_inscribed_circle(poly, tolerance=1e-3)
    say(f"{kind}: largest circle {2 * mic.length:.3f} px against shapely", rf.largest_circle(st, [], 200, 200)[0] - 2 * mic.length, 3e-3)
cut = rf.Star(20.0, 98.7, 40.0)
say("disc r 40 cut by the frame: largest circle 60 (closed form)", rf.largest_circle(cut, [], 200, 200)[0] - 60.0, 2e-3)
m, half = rf.smooth_noise(np.random.default_rng(1), 3000, 3000, 1.0, 20.0, 0.08)
h = m @ half
say("haze: spread against 0.08, relative", h.std() / 0.08 - 1, 0.05)
say("haze: correlation at one length against exp(-1/2)", float((h[:, 20:] * h[:, :-20]).mean() / (h * h).mean()) - math.exp(-0.5), 0.05)
sys.exit(bad > 0)
