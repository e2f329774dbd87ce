//! Intervals of a proportion: k of n.

use super::{beta_quantile, normal_quantile};

/// Two-sided interval of the probability behind `k` of `n` (0 ≤ k ≤ n; may be fractions, for effective numbers) at this `level` (0 to 1, say
/// 0.95), by the score test: both ends 0 to 1, [0, 1] where n is 0, NaN out of range. E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209.
pub fn wilson(k: f64, n: f64, level: f64) -> [f64; 2] {
    if !in_range(k, n, level) {
        return [f64::NAN; 2];
    }
    if n <= 0.0 {
        return [0.0, 1.0];
    }
    let z = normal_quantile(0.5 + 0.5 * level);
    let (p, s) = (k / n, z * z / n);
    let middle = (p + 0.5 * s) / (1.0 + s);
    let half = z * (p * (1.0 - p) / n + 0.25 * s / n).sqrt() / (1.0 + s);
    // At the ends the interval reaches 0 and 1; rounding must not leave a rest.
    [if k <= 0.0 { 0.0 } else { (middle - half).max(0.0) }, if k >= n { 1.0 } else { (middle + half).min(1.0) }]
}

/// The same by the quantiles of Beta(k + ½, n − k + ½), 0 at k = 0 and 1 at k = n: L. D. Brown, T. T. Cai, A. DasGupta, Stat. Sci. 16 (2001) 101,
/// with H. Jeffreys' prior.
pub fn jeffreys(k: f64, n: f64, level: f64) -> [f64; 2] {
    if !in_range(k, n, level) {
        return [f64::NAN; 2];
    }
    let outside = 0.5 * (1.0 - level);
    let end = |p: f64| beta_quantile(p, k + 0.5, n - k + 0.5);
    [if k <= 0.0 { 0.0 } else { end(outside) }, if k >= n { 1.0 } else { end(1.0 - outside) }]
}

fn in_range(k: f64, n: f64, level: f64) -> bool {
    n.is_finite() && (0.0..=n).contains(&k) && (0.0..1.0).contains(&level)
}
