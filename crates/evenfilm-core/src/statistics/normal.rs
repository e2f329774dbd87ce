//! The normal distribution and Student's.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use super::beta::beta_place;

/// Probability that a standard normal number lies below `z` (any number; ±∞ too), 0 to 1, to 1e-15 relative within 5 of 0 and 1e-12 beyond.
/// NaN for NaN. Abramowitz & Stegun 26.2.29, by `libm::erfc`.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// The number below which a standard normal one lies with probability `p`: −∞ at 0, ∞ at 1, NaN outside 0 to 1; to 1e-13 relative.
/// Newton's steps on `libm::erf` in the middle, on the logarithm of `libm::erfc` in the tails.
pub fn normal_quantile(p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    let from_middle = p - 0.5;
    if from_middle.abs() < 0.25 {
        return middle_quantile(from_middle);
    }
    let tail = p.min(1.0 - p);
    if tail <= 0.0 {
        return f64::INFINITY.copysign(from_middle);
    }
    // Q(z) ≤ ½ exp(−z²/2), so the first z lies beyond; the logarithm is concave, so every step stays there.
    let mut z = (-2.0 * libm::log(2.0 * tail)).sqrt();
    for _ in 0..STEPS {
        let beyond = normal_cdf(-z);
        let step = libm::log(beyond / tail) * beyond / density(z);
        z += step;
        if step.abs() <= 1e-16 * z || step.is_nan() {
            break;
        }
    }
    z.copysign(from_middle)
}

/// Steps are quadratic; six do in practice.
const STEPS: u32 = 30;

/// The quantile whose probability exceeds one half by `share`, well inside.
fn middle_quantile(share: f64) -> f64 {
    let mut z = share * (2.0 * PI).sqrt();
    for _ in 0..STEPS {
        let step = (share - 0.5 * libm::erf(z * FRAC_1_SQRT_2)) / density(z);
        z += step;
        if step.abs() <= 1e-16 * z.abs() {
            break;
        }
    }
    z
}

fn density(z: f64) -> f64 {
    libm::exp(-0.5 * z * z) / (2.0 * PI).sqrt()
}

/// Degrees of freedom from which the expansion at infinity serves.
const MANY: f64 = 1e4;

/// The number below which one of Student's distribution with `dof` degrees of freedom (above 0, whole or not; ∞ is the normal one) lies with
/// probability `p`: ±∞ at 0 and 1, NaN out of range; to 1e-11 relative.
///
/// By the incomplete beta function (Abramowitz & Stegun 26.7.1), from 10⁴ degrees of freedom by the expansion 26.7.5.
pub fn student_t_quantile(p: f64, dof: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    let z = normal_quantile(p);
    if z.is_infinite() || dof.is_infinite() || z.abs() <= 0.0 {
        return z;
    }
    // The first term left out is 7e-5 (z²/dof)⁵ of the whole.
    if dof >= MANY && z * z <= 0.01 * dof {
        return expanded(z, dof);
    }
    let tail = 2.0 * p.min(1.0 - p);
    let inside = 2.0 * (p - 0.5).abs();
    // t²/dof is the ratio of the two shares of a beta distribution.
    let logit = beta_place([inside, tail], 0.5, 0.5 * dof);
    (dof.sqrt() * libm::exp(0.5 * logit)).copysign(p - 0.5)
}

/// Abramowitz & Stegun 26.7.5.
fn expanded(z: f64, dof: f64) -> f64 {
    let s = z * z;
    let first = (s + 1.0) / 4.0;
    let second = ((5.0 * s + 16.0) * s + 3.0) / 96.0;
    let third = (((3.0 * s + 19.0) * s + 17.0) * s - 15.0) / 384.0;
    let fourth = ((((79.0 * s + 776.0) * s + 1482.0) * s - 1920.0) * s - 945.0) / 92160.0;
    z * (1.0 + (first + (second + (third + fourth / dof) / dof) / dof) / dof)
}

/// Quantile 0.975 of Student's distribution: the factor of two-sided 95 % intervals. `dof` as in [`student_t_quantile`].
pub fn student_t_975(dof: f64) -> f64 {
    student_t_quantile(0.975, dof)
}
