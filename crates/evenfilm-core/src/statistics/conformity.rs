//! How likely a value lies within a limit (JCGM 106:2012).

use super::normal_cdf;

/// Probability, 0 to 1, that the quantity lies below `limit` when `y` was measured with standard uncertainty `u` (≥ 0), all in one unit:
/// Φ((limit − y) ÷ u) (JCGM 106 7.3, normal distribution, nothing known beforehand). Without uncertainty 1 up to the limit and 0 beyond;
/// NaN out of range.
pub fn probability_below(y: f64, u: f64, limit: f64) -> f64 {
    if u.is_nan() || u < 0.0 || y.is_nan() || limit.is_nan() {
        f64::NAN
    } else if u <= 0.0 {
        f64::from(u8::from(y <= limit))
    } else {
        normal_cdf((limit - y) / u)
    }
}
