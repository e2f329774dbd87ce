//! The beta distribution.

use super::front::{beta_front, ln_shares};
use super::normal::normal_quantile;
use super::solve::{End, Tail, place};

/// Regularised incomplete beta function I_x(a, b), 0 to 1: the probability that a number of the beta distribution lies below `x`. Shapes
/// `a`, `b` above 0; 0 for `x` ≤ 0 and 1 for `x` ≥ 1; NaN out of range. Abramowitz & Stegun 26.5.8 as a continued fraction.
pub fn incomplete_beta(a: f64, b: f64, x: f64) -> f64 {
    if x.is_nan() || !fits(a) || !fits(b) {
        return f64::NAN;
    }
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    both([x, 1.0 - x], [a, b], [libm::log(x), libm::log1p(-x)]).0[0]
}

/// The number below which one of the beta distribution with shapes `a` and `b` lies with probability `p`, 0 to 1: to 1e-10 relative for shapes of
/// 1e-3 to 1e7 (0 where it is smaller than any `f64`). NaN for `p` outside 0 to 1 or shapes that are not above 0 and finite.
pub fn beta_quantile(p: f64, a: f64, b: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || !fits(a) || !fits(b) {
        return f64::NAN;
    }
    if p <= 0.0 || p >= 1.0 {
        return p;
    }
    1.0 / (1.0 + libm::exp(-beta_place([p, 1.0 - p], a, b)))
}

fn fits(shape: f64) -> bool {
    shape > 0.0 && shape.is_finite()
}

/// Its exponential is no finite number; the share beyond is 0.
const LARGEST_LOGIT: f64 = 750.0;

/// ln(x/(1 − x)) of the x below which a share `p` lies and above which `q` = 1 − `p`; both are given so that neither loses digits.
pub(super) fn beta_place([p, q]: [f64; 2], a: f64, b: f64) -> f64 {
    let (share, end) = if p <= q { (p, End::Lower) } else { (q, End::Upper) };
    let tail = |logit: f64| {
        let ends = if logit < 0.0 { [libm::exp(logit), 1.0] } else { [1.0, libm::exp(-logit)] };
        let whole = ends[0] + ends[1];
        let (shares, density) = both(ends.map(|e| e / whole), [a, b], ln_shares(logit));
        Tail { share: end.of(shares), density }
    };
    // The logit has about this mean and variance (Aitchison & Shen, Biometrika 67 (1980) 261, for large shapes).
    let start = libm::log(a / b) + normal_quantile(p) * (1.0 / a + 1.0 / b).sqrt();
    place(share, end, [-LARGEST_LOGIT, LARGEST_LOGIT], start, tail)
}

/// Shares below and above, and the density per unit of the logit, for `[x, 1 − x]`, shapes, and the logarithms of the former.
fn both([x, y]: [f64; 2], [a, b]: [f64; 2], ln: [f64; 2]) -> ([f64; 2], f64) {
    let front = beta_front([x, y], [a, b], ln);
    let shares = if x < (a + 1.0) / (a + b + 2.0) {
        let below = (front * fraction(a, b, x, y) / a).min(1.0);
        [below, 1.0 - below]
    } else {
        let above = (front * fraction(b, a, y, x) / b).min(1.0);
        [1.0 - above, above]
    };
    (shares, front)
}

/// About the square root of the larger shape is needed.
const MOST_TERMS: u32 = 200_000;

/// Continued fraction of the incomplete beta function, by Lentz's method.
fn fraction(a: f64, b: f64, x: f64, y: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let keep = |v: f64| if v.abs() < TINY { TINY } else { v };
    // 1 − (a + b)x/(a + 1), without losing digits where that is small.
    let first = (1.0 + a * y - b * x) / (a + 1.0);
    let (mut c, mut d) = (1.0, 1.0 / keep(first));
    let mut fraction = d;
    for m in 1..MOST_TERMS {
        let m = f64::from(m);
        for step in
            [m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m)), -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0))]
        {
            d = 1.0 / keep(1.0 + step * d);
            c = keep(1.0 + step / c);
            fraction *= c * d;
        }
        if (c * d - 1.0).abs() < 1e-15 {
            break;
        }
    }
    fraction
}
