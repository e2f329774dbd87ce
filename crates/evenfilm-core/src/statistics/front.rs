//! The factors before the incomplete gamma and beta functions, without the cancellation of large logarithms.

use std::f64::consts::{PI, TAU};

/// xᵃ yᵇ ÷ B(a, b) with y = 1 − x, from both and their logarithms.
///
/// With n = a + b and d = x b − y a this is √(ab/(2πn)) exp(a λ(d/a) + b λ(−d/b) + s(n) − s(a) − s(b)), λ(t) = ln(1 + t) − t, s the error of
/// Stirling's formula: what is large has cancelled on paper.
pub(super) fn beta_front([x, y]: [f64; 2], [a, b]: [f64; 2], [ln_x, ln_y]: [f64; 2]) -> f64 {
    let n = a + b;
    let d = x * b - y * a;
    let part = |shape: f64, t: f64, ln: f64| if t > -0.5 { ln_1p_less(t) } else { ln + libm::log(n / shape) - t };
    let exponent = a * part(a, d / a, ln_x) + b * part(b, -d / b, ln_y) + stirling_error(n) - stirling_error(a) - stirling_error(b);
    (a / n * b / TAU).sqrt() * libm::exp(exponent)
}

/// xᵃ e⁻ˣ ÷ Γ(a) from ln x.
pub(super) fn gamma_front(a: f64, ln_x: f64) -> f64 {
    let x = libm::exp(ln_x);
    let t = (x - a) / a;
    if a < 10.0 || t < -0.5 {
        libm::exp(a * ln_x - x - libm::lgamma(a))
    } else {
        (a / TAU).sqrt() * libm::exp(a * ln_1p_less(t) - stirling_error(a))
    }
}

/// ln x and ln(1 − x) of the x with this logit.
pub(super) fn ln_shares(logit: f64) -> [f64; 2] {
    let other = -libm::log1p(libm::exp(-logit.abs()));
    if logit < 0.0 { [logit + other, other] } else { [other, other - logit] }
}

/// ln(1 + t) − t for t > −1, also where t is small: with r = t/(2 + t), ln(1 + t) = 2 artanh r.
fn ln_1p_less(t: f64) -> f64 {
    if t.abs() > 0.2 {
        return libm::log1p(t) - t;
    }
    let r = t / (2.0 + t);
    let s = r * r;
    // 0.11²ᵏ falls below the last bit after eight terms.
    let series = (0..9).rev().fold(0.0, |sum, k| sum * s + 1.0 / f64::from(2 * k + 3));
    2.0 * r * s * series - r * t
}

/// Terms in 1/a, 1/a³, …; enough from 10.
const STIRLING: [f64; 7] = [1.0 / 12.0, -1.0 / 360.0, 1.0 / 1260.0, -1.0 / 1680.0, 1.0 / 1188.0, -691.0 / 360_360.0, 1.0 / 156.0];

/// ln Γ(a) − ((a − ½) ln a − a + ½ ln 2π), Abramowitz & Stegun 6.1.41.
fn stirling_error(a: f64) -> f64 {
    if a < 10.0 {
        return libm::lgamma(a) - (a - 0.5) * libm::log(a) + a - 0.5 * libm::log(2.0 * PI);
    }
    let s = 1.0 / (a * a);
    STIRLING.iter().rev().fold(0.0, |sum, term| sum * s + term) / a
}
