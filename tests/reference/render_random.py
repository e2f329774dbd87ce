#!/usr/bin/env python3
"""Renders lots of films whose particles lie wherever chance puts them, independently of Evenfilm's own `phantom` and `chance`.

    render_random.py KIND COVER LOTS OUT     lots OUT/KIND-COVER-001 ..., each of FIELDS fields; KIND is discs, ragged, equal or clumped
    render_random.py kept OUT                the small lot that the tests keep under films/

Particles are laid one by one at uniform places over the frame and 48 px beyond it, whether or not others lie there (a Boolean model; Chiu, Stoyan, Kendall & Mecke 2013,
ch. 3), a Poisson number of them, so many that the sum of their areas is COVER times the area. Where they overlap the film below both darkens by both.
discs: log-normal diameters, median 7 px, GSD 1.3, 4 to 14 px. equal: all 8 px. ragged: the same areas as discs, outlines twice as long as wide with
waves of a seventh of the radius. clumped: discs, but half of the area in groups of 4 to 12 that touch.
Cells, blur, light and noise as in render_films.py. truth.json holds the discs and, by geometry alone, the share of them that touch no other.
"""
import json, math, sys, zlib
from pathlib import Path
import numpy as np
import tifffile

import render_films as rf

FIELDS, SIDE, S, SIGMA, FILM_OD, PARTICLE_OD, UM = 4, 500, 4, 0.89, 0.35, 0.9, 0.25
PSF = dict(kind="gauss", sigma_px=SIGMA)


def radius(rng, kind):
    return 4.0 if kind == "equal" else rf.lognormal(rng, 7.0, 1.3, 4, 14) / 2


def outline(rng, kind, x, y, r):
    if kind != "ragged":
        return rf.Star(x, y, r)
    t = rf.TH[:-1]
    e = rf.ellipse_radii(math.sqrt(2), 1 / math.sqrt(2), rng.uniform(0, math.pi))
    e = e * (1 + sum(rng.uniform(-1, 1) / 7 * np.cos(k * t + rng.uniform(0, 2 * math.pi)) for k in (4, 5, 6)) * 0.6)
    star = rf.Star(x, y, e * r)
    return rf.Star(x, y, e * r * math.sqrt(math.pi * r * r / star.area()))


def lay(rng, kind, cover, side):
    lo, hi = -rf.PAD, side + rf.PAD
    mean = np.mean([math.pi * radius(rng, kind) ** 2 for _ in range(20000)])
    n = rng.poisson(cover * (hi - lo) ** 2 / mean)
    out = []
    if kind == "clumped":
        draw = lambda: 2 * radius(rng, kind)
        while len(out) < n / 2:
            x, y = rng.uniform(lo, hi, 2)
            out += [rf.Star(x + a, y + b, r) for a, b, r in rf.clump(rng, int(rng.integers(4, 13)), draw)]
        n -= len(out)
    for _ in range(n):
        x, y = rng.uniform(lo, hi, 2)
        out.append(outline(rng, kind, x, y, radius(rng, kind)))
    return out


def alone(stars, side):
    """Shares of the discs with their middle in the frame that touch no other, by number and by area."""
    p = np.array([[s.x, s.y, s.rmax] for s in stars])
    d = np.hypot(p[:, None, 0] - p[None, :, 0], p[:, None, 1] - p[None, :, 1]) - p[:, None, 2] - p[None, :, 2]
    np.fill_diagonal(d, 1)
    free, inside = (d > 0).all(1), ((p[:, :2] >= 0) & (p[:, :2] < side)).all(1)
    return int((free & inside).sum()), int(inside.sum())


def field(rng, kind, cover, side, light, electrons, bits):
    stars = lay(rng, kind, cover, side)
    canvas = rf.Canvas(side, side, S)
    t = np.full((canvas.ny, canvas.nx), 10 ** -FILM_OD, np.float32)
    for star in stars:
        win = canvas.window([star])
        if win is not None:
            x0, y0, c = win
            t[y0:y0 + c.shape[0], x0:x0 + c.shape[1]] *= 1 - c * np.float32(1 - 10 ** -PARTICLE_OD)
    pix = rf.blur(t, S, PSF)[rf.PAD:rf.PAD + side, rf.PAD:rf.PAD + side]
    return rf.expose(rng, pix, light, bits, electrons, 0.0003), stars


def lot(out, kind, cover, name, side=SIDE, fields=FIELDS, bits=16, **keep):
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    folder = out / name
    folder.mkdir(parents=True, exist_ok=True)
    light = rf.illumination(side, side, 0.2, 0.3)
    tifffile.imwrite(folder / "blank.tif", rf.expose(rng, np.ones_like(light), light, bits, 4e4, 0.0003, 8), **keep)
    counts = [0, 0]
    for i in range(fields):
        img, stars = field(rng, kind, cover, side, light, 4e4, bits)
        tifffile.imwrite(folder / f"f{i + 1:02d}.tif", img, **keep)
        if kind in ("discs", "equal"):
            counts = [a + b for a, b in zip(counts, alone(stars, side))]
    na = round(0.21 * 0.55 / (SIGMA * UM), 3)
    (folder / "batch.toml").write_text("\n".join([f'lot = "{name}"', 'product = "Rendered film of known truth"', 'purpose = "study"', "", "[microscope]", f"um_per_px = {UM}",
        f"numerical_aperture = {na}", "wavelength_nm = 550", 'tone = "linear"', 'blank = "blank.tif"']) + "\n", encoding="utf-8")
    truth = dict(lot=name, made_with="render_random.py", kind=kind, um_per_px=UM, psf=PSF, sigma_px=SIGMA, truth=dict(cover=cover, alone=counts[0], particles=counts[1]))
    (folder / "truth.json").write_text(json.dumps(truth) + "\n", encoding="utf-8")


if __name__ == "__main__":
    if len(sys.argv) == 3 and sys.argv[1] == "kept":
        lot(Path(sys.argv[2]), "discs", 0.12, "kept-random-16", side=400, fields=2, compression="zlib", predictor=True)
        sys.exit()
    if len(sys.argv) != 5:
        sys.exit(__doc__)
    kind, cover = sys.argv[1], float(sys.argv[2])
    for i in range(int(sys.argv[3])):
        lot(Path(sys.argv[4]), kind, cover, f"{kind}-{cover:g}-{i + 1:03d}")
