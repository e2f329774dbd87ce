//! Intervals of what is rare: numbers of events, and sums over events of different weight.

use super::gamma_quantile;

/// Two-sided interval at this `level` (0 to 1) of the expectation of a weighted sum of Poisson numbers, in the unit of the weights.
///
/// `sum` = Σ wᵢ xᵢ, `sum_of_squares` = Σ wᵢ² xᵢ over the classes of events with weight wᵢ of which xᵢ were seen, `largest` = the largest weight
/// that an event may have. For the area of gaps each gap is an event and its area the weight. Quantiles of gamma distributions with the mean
/// and variance seen, for the upper end with one more event of the largest weight: M. P. Fay and E. J. Feuer, Stat. Med. 16 (1997) 791.
/// With equal weights these are the exact limits of a Poisson number.
/// The lower end is 0 where the sum is 0. NaN where a number is negative, or not finite, `largest` is 0, a sum has no squares, or the level is
/// not within 0 to 1.
pub fn fay_feuer(sum: f64, sum_of_squares: f64, largest: f64, level: f64) -> [f64; 2] {
    let whole = [sum, sum_of_squares, largest].iter().all(|v| v.is_finite() && *v >= 0.0);
    if !whole || largest <= 0.0 || (sum > 0.0) != (sum_of_squares > 0.0) || !(0.0..1.0).contains(&level) {
        return [f64::NAN; 2];
    }
    let outside = 0.5 * (1.0 - level);
    let end = |p: f64, mean: f64, variance: f64| variance / mean * gamma_quantile(p, mean * mean / variance);
    let low = if sum > 0.0 { end(outside, sum, sum_of_squares) } else { 0.0 };
    [low, end(1.0 - outside, sum + largest, sum_of_squares + largest * largest)]
}

/// Two-sided interval at this `level` (0 to 1) of the expectation of a Poisson number of which `count` (≥ 0) were seen; exact: F. Garwood,
/// Biometrika 28 (1936) 437. NaN out of range.
pub fn poisson(count: f64, level: f64) -> [f64; 2] {
    fay_feuer(count, count, 1.0, level)
}

/// The most events per unit of `exposure` (above 0; area, say) that go with none seen there, at this one-sided `level` (0 to 1): −ln(1 − level)
/// ÷ exposure, the exact Poisson bound; 3.0 ÷ exposure at 0.95. NaN out of range.
pub fn most_where_none(exposure: f64, level: f64) -> f64 {
    if exposure > 0.0 && (0.0..1.0).contains(&level) { -libm::log1p(-level) / exposure } else { f64::NAN }
}
