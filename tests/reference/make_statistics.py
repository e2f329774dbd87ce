#!/usr/bin/env python3
"""Prints values of distributions and intervals by scipy, for the Rust tests: make_statistics.py > values/statistics.json"""
import json, sys
import numpy as np, scipy
from scipy import integrate, optimize, special, stats

# Shapes and probabilities that the program meets, and the ends of what it promises.
P = [1e-12, 1e-6, 0.001, 0.025, 0.2, 0.45, 0.5, 0.6, 0.9, 0.975, 0.999, 1 - 1e-9]
SHAPES = [1e-3, 0.01, 0.1, 0.5, 1.0, 2.7, 9.9, 10.1, 33.0, 250.0, 4e3, 1e5, 1e7]


def rows(shapes, f):
    """[arguments, probability, value]; values that leave the range of normal numbers are left out."""
    out = []
    for s in shapes:
        for p in P:
            v = float(f(p, *s))
            if 1e-290 < abs(v) < 1e290:
                out.append([*s, p, v])
    return out


def gamma(p, a):
    """Gamma quantile. Above a shape of 1e5 by quadrature of the density, since scipy.special loses digits in the far tails there."""
    if a < 1e5:
        # The upper tail by its own function, so that 1 - p loses nothing.
        return special.gammaincinv(a, p) if p <= 0.5 else special.gammainccinv(a, 1 - p)
    # x = a + z sqrt(a); the density in z but for a constant, with ln(1 + t) - t by its series where t is small
    def density(z):
        t = z / np.sqrt(a)
        return np.exp(a * sum((-1) ** (k + 1) * t ** k / k for k in range(12, 1, -1)) - np.log1p(t))
    area = lambda lo, hi: integrate.quad(density, lo, hi, epsabs=0, epsrel=1e-13, limit=400)[0]
    whole = area(-40, -4) + area(-4, 0) + area(0, 4) + area(4, 40)
    tail = (lambda z: area(-40, z) / whole / p - 1) if p <= 0.5 else (lambda z: area(z, 40) / whole / (1 - p) - 1)
    z = optimize.brentq(tail, -9, 9, xtol=1e-13, rtol=1e-14)
    return a + z * np.sqrt(a)


def fay_feuer(weights, counts, largest, level):
    """Fay & Feuer 1997, equations for L(y; v) and U(y; v) by chi-square quantiles."""
    w, x = np.asarray(weights, float), np.asarray(counts, float)
    y, v, wm = float((w * x).sum()), float((w * w * x).sum()), float(largest)
    alpha = 1 - level
    low = v / (2 * y) * stats.chi2.ppf(alpha / 2, 2 * y * y / v) if y > 0 else 0.0
    yu, vu = y + wm, v + wm * wm
    return [float(low), float(vu / (2 * yu) * stats.chi2.ppf(1 - alpha / 2, 2 * yu * yu / vu))]


def interval_cases():
    # The data of the paper's example (J. L. Fleiss, Statistical Methods for Rates and Proportions, 2nd ed. 1981, p. 249, as printed with
    # public implementations): births and cases by age of the mother (6) for birth orders 1 to 5; standard: mean of the five columns.
    births = np.array([[230061, 329449, 114920, 39487, 14208, 3052], [72202, 326701, 208667, 83228, 28466, 5375],
                       [15050, 175702, 207081, 117300, 45026, 8660], [2293, 68800, 132424, 98301, 46075, 9834],
                       [327, 30666, 123419, 149919, 104088, 34392]], float)
    cases = np.array([[107, 141, 60, 40, 39, 25], [25, 150, 110, 84, 82, 39], [3, 71, 114, 103, 108, 75], [1, 26, 64, 89, 137, 96],
                      [0, 8, 63, 112, 262, 295]], float)
    standard = births.mean(axis=0)
    for order in range(5):
        weights = standard / standard.sum() / births[order] * 1e5
        yield f"birth order {order + 1}, per 100 000", weights, cases[order], weights.max(), 0.95
    rng = np.random.default_rng(562)
    for n in (1, 2, 5, 40):
        weights = np.exp(rng.normal(4, 1.5, n))
        yield f"{n} gaps, areas log-normal", weights, np.ones(n), max(float(weights.max()), 490.9), 0.95
    yield "none seen", [1.0], [0], 490.9, 0.95
    yield "none seen, 99 %", [1.0], [0], 2.0, 0.99
    yield "equal weights", [3.0], [7], 3.0, 0.9


def main():
    ends = [dict(name=n, weights=[float(a) for a in w], counts=[int(a) for a in x], largest=float(m), level=l, expected=fay_feuer(w, x, m, l))
            for n, w, x, m, l in interval_cases()]
    pairs = [(a, b) for a in SHAPES for b in SHAPES]
    doc = dict(
        what="quantiles as [shape(s) or degrees of freedom, probability, value]; intervals of weighted sums of Poisson numbers",
        source="scipy.special.ndtri, gammaincinv and gammainccinv (quadrature of the density from a shape of 1e5), betaincinv and betainccinv, stdtrit; Fay & Feuer written out by stats.chi2.ppf",
        made_with="make_statistics.py",
        versions=dict(python=sys.version.split()[0], numpy=np.__version__, scipy=scipy.__version__),
        normal=rows([()], special.ndtri),
        gamma=rows([(s,) for s in SHAPES], gamma),
        chi_square=rows([(d,) for d in (0.5, 1, 2, 9, 100, 1e4, 1e9)], lambda p, d: 2 * gamma(p, d / 2)),
        beta=rows(pairs, lambda p, a, b: special.betaincinv(a, b, p) if p <= 0.5 else special.betainccinv(a, b, 1 - p)),
        student=rows([(d,) for d in (0.3, 1, 1.5, 2, 3, 7.7, 30, 1000, 9999, 10001, 1e6, 1e9)], lambda p, d: special.stdtrit(d, p)),
        fay_feuer=ends,
    )
    lines = []
    for k, v in doc.items():
        if isinstance(v, list):
            lines.append(f" {json.dumps(k)}: [\n" + ",\n".join("  " + json.dumps(e) for e in v) + "\n ]")
        else:
            lines.append(f" {json.dumps(k)}: {json.dumps(v)}")
    print("{\n" + ",\n".join(lines) + "\n}")


main()
