#!/usr/bin/env python3
"""How many constituents of a clump splitting at necks can find at all: clumps as render_films.py grows them, on cells of 1/8 px, sharp and blurred
by the films' Gaussian (0.89 px) and cut half way, then basins of the Euclidean distance by depth. No noise, no pixels: only blur and depth.

    split_limits.py          about a minute
"""
import numpy as np
import scipy.ndimage as ndi
from skimage import measure, morphology
import render_films as rf

UP, CLUMPS = 8, 14
print("constituents found beside those there are; depth in px")
for name, (median, lo, hi), touch in (("6.5 px, 0.95", (6.5, 4, 12), 0.95), ("9 px, 0.95", (9.0, 6, 16), 0.95), ("6.5 px, 1.0", (6.5, 4, 12), 1.0), ("9 px, 1.0", (9.0, 6, 16), 1.0)):
    rng = np.random.default_rng(1)
    discs, found = 0, {}
    for _ in range(CLUMPS):
        c = np.array(rf.clump(rng, int(rng.integers(8, 41)), lambda: rf.lognormal(rng, median, 1.35, lo, hi), touch, touch - 0.001))
        discs += len(c)
        low = c[:, :2].min(0) - 12
        size = ((c[:, :2].max(0) + 12 - low) * UP).astype(int)
        y, x = np.mgrid[:size[1], :size[0]] / UP
        sharp = np.zeros(x.shape, bool)
        for u, v, r in c:
            sharp |= (x - u + low[0]) ** 2 + (y - v + low[1]) ** 2 <= r * r
        for sigma in (0.0, 0.89):
            mask = ndi.gaussian_filter(sharp.astype(np.float32), sigma * UP) > 0.5 if sigma else sharp
            edt = ndi.distance_transform_edt(mask) / UP
            for depth in (0.15, 0.3, 0.45, 0.6):
                peaks = morphology.local_maxima(np.where(mask, morphology.reconstruction(edt - depth, edt), -1), connectivity=2) & mask
                found[sigma, depth] = found.get((sigma, depth), 0) + int(measure.label(peaks, connectivity=2).max())
    for sigma in (0.0, 0.89):
        print(f"  {name}, sigma {sigma:4.2f}: " + "  ".join(f"{d}: {100 * (found[sigma, d] / discs - 1):+.0f} %" for d in (0.15, 0.3, 0.45, 0.6)), flush=True)
