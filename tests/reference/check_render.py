#!/usr/bin/env python3
"""Checks render_films.py against other routes: pixels of a blurred disc by direct quadrature of the point spread function (Gauss-Legendre in polar
coordinates), areas against closed forms, the largest circle in an outline against shapely, haze statistics, planted things. Prints the differences; exit 1 beyond the bounds."""
import math, sys
import numpy as np
import shapely
from scipy.special import j1
import film_things as ft
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

# planted things: the areas of cells against shapely, transfer functions against the definition by transforms, light against closed forms
rng = np.random.default_rng(4)
c = rf.Canvas(400, 400, 4)


def polygon_of(p):
    return p.poly if isinstance(p, ft.Tube) else shapely.Polygon(p.outline(20000))


fibre = ft.Tube(ft.fibre_lines(rng, 260), 11.0, 200, 190)
say("fibre: area against length x width + ends", fibre.area() / (fibre.length * 11 + math.pi * 5.5 ** 2) - 1, 1e-3)
crack = ft.Tube(ft.crack_lines(rng, 200, True), 9.0, 200, 200)
needle, plate = ft.needle_corners(rng, 90, 10), ft.plate_corners(rng, 40)
for name, p in (("fibre", fibre), ("crack", crack), ("needle", rf.Star(200, 200, ft.polygon_radii(needle, rf.TH[:-1]))), ("plate", rf.Star(200, 200, ft.polygon_radii(plate, rf.TH[:-1]))),
                ("speck", rf.Star(200, 200, ft.speck_radii(rng, 30, rf.TH[:-1])))):
    say(f"{name}: cells' area against shapely", c.window([p])[2].sum(dtype=float) / 16 / polygon_of(p).area - 1, 2e-3 if name == "crack" else 5e-4)
say("needle: polygon of the outline against its corners", polygon_of(rf.Star(0, 0, ft.polygon_radii(needle, rf.TH[:-1]))).area / shapely.Polygon(needle).area - 1, 1e-3)
mic = shapely.maximum_inscribed_circle(crack.poly, tolerance=1e-3)
say(f"crack: largest circle {2 * mic.length:.3f} px against shapely", rf.largest_circle(crack, [], 400, 400)[0] - 2 * mic.length, 0.02)
for z in (0.0, 1.0, 3.0):
    s, otf = ft.defocus_otf(z, 0.65, 0.55, 1.5)
    n = 300; g = (np.arange(-n, n) + 0.5) / n; gx, gy = np.meshgrid(g, g); q = gx * gx + gy * gy
    pupil = np.where(q <= 1, np.exp(2j * math.pi * 1.5 * z / 0.55 * np.sqrt(1 - np.minimum(q, 1) * (0.65 / 1.5) ** 2)), 0)
    auto = np.fft.ifft2(np.abs(np.fft.fft2(pupil, (4 * n, 4 * n))) ** 2).real
    say(f"defocus {z:g} um: transfer by quadrature against transforms of a pupil", np.abs(auto[0, :2 * n:30] / auto[0, 0] - np.interp(np.arange(0, 2 * n, 30) / n, s, otf)).max(), 5e-4)
b = ft.lost_from(2.0 / 1.5, math.asin(0.65 / 1.5))
# sin(theta/2) law: b = m sin(a) / sqrt(1 + m^2 - 2 m cos a), a half the deviation (from the triangle of the two refractions)
a, mm = math.asin(0.65 / 1.5) / 2, 2.0 / 1.5
say(f"refracting sphere: dark from {b:.4f} of the radius, closed form", b - mm * math.sin(a) / math.sqrt(1 + mm * mm - 2 * mm * math.cos(a)), 1e-9)
light = ft.radial_cells(20, 20, 0, 0, 160, 160, 0.25, ft.sphere_transmission(9.0, 0.9))
k9 = 0.9 * math.log(10)                                          # integral of (1 - exp(-k sqrt(1-u^2))) 2 pi u du = pi (1 - 2 (1 - (1+k) e^-k) / k^2)
say("absorbing sphere: light taken against closed form", (1 - light).sum() / 16 / (math.pi * 81 * (1 - 2 * (1 - (1 + k9) * math.exp(-k9)) / k9 ** 2)) - 1, 1e-4)
# a disc in focus by the layers of blur_layers is the disc blurred by the closed transfer function
t = np.ones((c.ny, c.nx), np.float32); x0, y0, w = c.window([rf.Star(200.3, 197.7, 9.0)])
d = np.zeros_like(t); d[y0:y0 + w.shape[0], x0:x0 + w.shape[1]] = 0.9 * w
psf = dict(kind="airy", na=0.65, cutoff_per_px=2 * 0.65 / 0.55 * 0.25)
layered = ft.blur_layers([(t.copy(), *ft.defocus_otf(0, 0.65, 0.55, 1.5)), (-d, *ft.defocus_otf(0, 0.65, 0.55, 1.5))], 4, psf["cutoff_per_px"])
say("layers in focus against the closed transfer function", np.abs(layered - rf.blur(t - d, 4, psf)).max(), 1e-4)
sys.exit(bad > 0)
