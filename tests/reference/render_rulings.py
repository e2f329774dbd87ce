#!/usr/bin/env python3
"""Renders rulings/: small pictures of rulings of known scale, and rulings/truth.json; straight lines by scipy for values/lines.json.

    render_rulings.py

Nothing here is Evenfilm's: bars on a grid of SS x SS points a pixel, a Gaussian by scipy.ndimage on that grid, means over pixels, light,
noise by numpy. Places of lines are drawn once and kept in truth.json, so that the true spacing of what was drawn is known as well.
"""
import json
from pathlib import Path
import numpy as np
import scipy
import scipy.ndimage as ndi
import scipy.stats as stats
from PIL import Image

HERE = Path(__file__).parent
OUT = HERE / "rulings"
SS = 6


def bars(shape, pitch_px, width_px, angle_deg, offset, lengths, places, keep=lambda n: True, level=False, base=None):
    """Cover by lines, SS x SS points a pixel. Upright lines turned by angle from x to y; level: exchanged."""
    rows, cols = shape
    y, x = (np.mgrid[0:rows * SS, 0:cols * SS] + 0.5) / SS
    dx, dy = x - cols / 2, y - rows / 2
    a = np.deg2rad(angle_deg)
    across, along = np.cos(a) * dx + np.sin(a) * dy, -np.sin(a) * dx + np.cos(a) * dy
    if level:
        across, along = along, across
    cover = np.zeros(x.shape, bool)
    base = -lengths[2] / 2 if base is None else base
    for n in range(-len(places) // 2, len(places) // 2):
        if not keep(n):
            continue
        length = lengths[2] if n % 10 == 0 else lengths[1] if n % 5 == 0 else lengths[0]
        at = (n + offset) * pitch_px + places[n + len(places) // 2]
        cover |= (np.abs(across - at) <= width_px / 2) & (along >= base) & (along <= base + length)
    return cover


def picture(name, um, pitch_um, seed, shape=(240, 320), angle=0.0, width=0.25, lengths=(90, 120, 150), placement=0.002, sigma=1.0, taken=0.8, dark=True, level=False, both=False,
            tilt=0.2, vignette=0.15, sd=0.006, dust=2, keep=lambda n: True, second=None, bits=8, gamma=1.0):
    rng = np.random.default_rng(seed)
    pitch = pitch_um / um
    places = rng.normal(0, placement * pitch, 400)
    cover = bars(shape, pitch, width * pitch, angle, rng.uniform(-0.5, 0.5), lengths, places, keep, level)
    if both:
        cover |= bars(shape, pitch, width * pitch, angle, rng.uniform(-0.5, 0.5), lengths, rng.normal(0, placement * pitch, 400), keep, not level)
    if second:
        cover |= bars(shape, pitch * second["times"], width * pitch, angle, 0.4, second["lengths"], rng.normal(0, placement * pitch, 400), base=second["base"])
    light = 1 - taken * cover.astype(float) if dark else 0.05 + taken * cover
    light = ndi.gaussian_filter(light, sigma * SS, mode="nearest")
    light = light.reshape(shape[0], SS, shape[1], SS).mean(axis=(1, 3))
    y, x = np.mgrid[0:shape[0], 0:shape[1]].astype(float)
    u, v = x / shape[1] - 0.5, y / shape[0] - 0.5
    light *= 0.8 * (1 + tilt * u - 0.5 * tilt * v) * (1 - vignette * 2 * (u * u + v * v))
    for _ in range(dust):
        cx, cy, r = rng.uniform(0, shape[1]), rng.uniform(0, shape[0]), rng.uniform(3, 9)
        light *= 1 - 0.6 / (1 + np.exp((np.hypot(x - cx, y - cy) - r) / 0.7))
    light = np.clip(light + rng.normal(0, sd, shape), 0, 1) ** (1 / gamma)
    full = 2 ** bits - 1
    Image.fromarray(np.round(full * light).astype(np.uint8 if bits == 8 else np.uint16)).save(OUT / f"{name}.png", optimize=True)
    return dict(file=f"{name}.png", um_per_px=um, pitch_um=pitch_um, angle_deg=angle)


def lines(rng, n, slope, sd):
    x = np.sort(rng.uniform(0, 100, n))
    y = 3.0 + slope * x + rng.normal(0, sd, n)
    r = stats.linregress(x, y)
    return dict(x=x.tolist(), y=y.tolist(), slope=r.slope, slope_se=r.stderr, intercept=r.intercept, intercept_se=r.intercept_stderr)


def main():
    OUT.mkdir(exist_ok=True)
    good = [
        picture("upright", 0.25, 5.0, 1, angle=2.3),
        picture("level", 0.5, 6.0, 2, angle=-11.7, level=True),
        picture("bright", 1.0, 14.0, 3, angle=7.1, dark=False, sigma=0.8),
        picture("steep", 0.1, 1.7, 4, angle=14.4, sigma=1.5, bits=16),
        picture("display", 0.32, 10.0, 5, angle=-0.4, gamma=2.2, tilt=0.5),
        picture("grid", 0.4, 10.0, 6, angle=-4.2, both=True, lengths=(900, 900, 900), width=0.12),
        picture("faint", 0.7, 10.0, 7, angle=1.1, taken=0.1, sd=0.004),
    ]
    bad = [
        dict(picture("blurred", 0.5, 4.0, 11, sigma=3.1, sd=0.002, dust=0), reason="blurred into each other"),
        dict(picture("turned", 0.5, 8.0, 12, angle=24.0), reason="turned by 24"),
        dict(picture("few", 0.1, 8.0, 13), reason="lines are seen whole"),
        dict(picture("missing", 0.5, 8.0, 14, keep=lambda n: n < -3 or n > 3 or n == 0), reason="are not seen"),
        dict(picture("two", 0.5, 8.0, 15, lengths=(100, 100, 100), second=dict(times=0.83, lengths=(100, 100, 100), base=-60)), reason="two sets of lines"),
        dict(picture("halves", 0.5, 8.0, 16, lengths=(60, 60, 60), second=dict(times=0.5, lengths=(60, 60, 60), base=-75)), reason="two sets|every second"),
    ]
    rng = np.random.default_rng(0)
    noise = np.round(255 * np.clip(rng.normal(0.6, 0.05, (120, 160)), 0, 1)).astype(np.uint8)
    Image.fromarray(noise).save(OUT / "noise.png", optimize=True)
    bad.append(dict(file="noise.png", um_per_px=1.0, pitch_um=10.0, angle_deg=0.0, reason="no ruling"))
    doc = dict(about="rendered, invented data: render_rulings.py", scipy=scipy.__version__, numpy=np.__version__, good=good, bad=bad,
               lines=[lines(rng, n, s, d) for n, s, d in [(5, 40.0, 0.1), (40, 8.25, 0.02), (200, -0.3, 1.0)]])
    (OUT / "truth.json").write_text(json.dumps(doc, indent=1) + "\n", encoding="utf-8")


main()
