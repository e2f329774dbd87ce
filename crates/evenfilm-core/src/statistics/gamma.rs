//! The gamma distribution, and χ² with it.

use super::front::gamma_front;
use super::normal::normal_quantile;
use super::solve::{End, Tail, place};

/// Regularised incomplete gamma functions [P(a, x), Q(a, x)]: the probabilities that a number of the gamma distribution with shape `a` above 0
/// (scale 1) lies below and above `x`. `[0, 1]` for `x` ≤ 0; NaN for NaN or shapes that are not above 0 and finite.
/// Abramowitz & Stegun 6.5.29 as a series, 6.5.31 as a continued fraction.
pub fn incomplete_gamma(a: f64, x: f64) -> [f64; 2] {
    if x.is_nan() || !fits(a) {
        return [f64::NAN; 2];
    }
    if x <= 0.0 { [0.0, 1.0] } else { both(a, libm::log(x)).0 }
}

/// The number below which one of the gamma distribution with this `shape` and scale 1 lies with probability `p`: 0 at 0, ∞ at 1; to 1e-10
/// relative for shapes of 1e-3 to 1e7 (0 where it is smaller than any `f64`). NaN for `p` outside 0 to 1 or a shape that is not above 0 and
/// finite.
pub fn gamma_quantile(p: f64, shape: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || !fits(shape) {
        return f64::NAN;
    }
    if p <= 0.0 {
        return 0.0;
    }
    if p >= 1.0 {
        return f64::INFINITY;
    }
    let (share, end) = if p <= 0.5 { (p, End::Lower) } else { (1.0 - p, End::Upper) };
    let tail = |ln_x: f64| {
        let (shares, density) = both(shape, ln_x);
        Tail { share: end.of(shares), density }
    };
    // Q(a, a + √(2at) + t) ≤ e⁻ᵗ (S. Boucheron, G. Lugosi, P. Massart, Concentration Inequalities, 2013, 2.4), and t is at most 745.
    let high = libm::log(shape + 39.0 * shape.sqrt() + 745.0);
    libm::exp(place(share, end, [SMALLEST_LN, high], start(p, shape), tail))
}

/// Quantile of the χ² distribution with `dof` degrees of freedom: twice the gamma quantile of half of them, with the same range and errors.
pub fn chi_square_quantile(p: f64, dof: f64) -> f64 {
    2.0 * gamma_quantile(p, 0.5 * dof)
}

fn fits(shape: f64) -> bool {
    shape > 0.0 && shape.is_finite()
}

/// Its exponential is 0; that of −744 is not.
const SMALLEST_LN: f64 = -750.0;

/// A first guess of the quantile's logarithm: E. B. Wilson and M. M. Hilferty, PNAS 17 (1931) 684, or the first term of the series.
fn start(p: f64, shape: f64) -> f64 {
    let ninth = 1.0 / (9.0 * shape);
    let root = 1.0 - ninth + normal_quantile(p) * ninth.sqrt();
    if shape > 1.0 && root > 0.1 { libm::log(shape * root * root * root) } else { (libm::log(p) + libm::lgamma(shape + 1.0)) / shape }
}

/// Shares below and above, and the density per unit of ln x.
fn both(a: f64, ln_x: f64) -> ([f64; 2], f64) {
    let front = gamma_front(a, ln_x);
    let x = libm::exp(ln_x);
    let shares = if x < a + 1.0 {
        let below = (front * series(a, x)).min(1.0);
        [below, 1.0 - below]
    } else {
        let above = (front * fraction(a, x)).min(1.0);
        [1.0 - above, above]
    };
    (shares, front)
}

/// About nine times the square root of the shape is needed.
const MOST_TERMS: u32 = 500_000;

/// Σ xᵏ ÷ (a (a + 1) … (a + k)).
fn series(a: f64, x: f64) -> f64 {
    let (mut term, mut sum) = (1.0 / a, 1.0 / a);
    for k in 1..MOST_TERMS {
        term *= x / (a + f64::from(k));
        sum += term;
        if term <= 1e-17 * sum {
            break;
        }
    }
    sum
}

/// The continued fraction of Q, by Lentz's method.
fn fraction(a: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let keep = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / keep(b);
    let mut fraction = d;
    for k in 1..MOST_TERMS {
        let k = f64::from(k);
        let step = k * (a - k);
        b += 2.0;
        d = 1.0 / keep(step * d + b);
        c = keep(b + step / c);
        fraction *= c * d;
        if (c * d - 1.0).abs() < 1e-15 {
            break;
        }
    }
    fraction
}
