//! How many fields or objects a wanted accuracy takes.

use super::{normal_quantile, student_t_975};

/// Number of fields, at least 2, whose 95 % interval is within `wanted_relative_accuracy_pct` (%, above 0) of the `mean`, when fields spread by
/// the standard deviation `s`: the smallest n ≥ (100 t(n − 1) s ÷ (mean RA))². ASTM E562-19, solved for n rather than with a fixed t.
/// `None` where the mean is not above 0, a number is out of range, or no 32-bit number of fields is enough.
pub fn fields_needed(mean: f64, s: f64, wanted_relative_accuracy_pct: f64) -> Option<u32> {
    if !(mean > 0.0 && wanted_relative_accuracy_pct > 0.0 && s >= 0.0 && s.is_finite()) {
        return None;
    }
    let ratio = 100.0 * s / (mean * wanted_relative_accuracy_pct);
    let enough = |n: u32| {
        let half = student_t_975(f64::from(n) - 1.0) * ratio;
        f64::from(n) >= half * half
    };
    // More fields never do worse: t falls with n.
    let mut high = 2_u32;
    while !enough(high) {
        high = high.checked_mul(2)?;
    }
    let mut low = high / 2;
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(middle) { high = middle } else { low = middle }
    }
    Some(high.max(2))
}

/// Two-sided factor of 95 % as ISO 13322-1 rounds it.
const U_95: f64 = 1.96;

/// Number of objects of a log-normal population with geometric standard deviation `gsd` (above 1) for which the 95 % interval of a moment is
/// within `delta` (relative, above 0): ω/δ², ω = u² a² s² (2c²s² + 1), c = b + a/2, s = ln `gsd`, u = 1.96. ISO 13322-1, after H. Masuda and
/// K. Gotoh, Adv. Powder Technol. 10 (1999) 159.
///
/// `a` is the power of the diameter that is to be that accurate, `b` the power that weighs the distribution: (3, 0) the mean volume, (5, 0) Sauter's,
/// (6, 0) the median by mass. NaN out of range. For the diameter itself see [`objects_for_diameter`].
pub fn masuda_gotoh(gsd: f64, a: f64, b: f64, delta: f64) -> f64 {
    if !in_range(gsd, delta) {
        return f64::NAN;
    }
    let (s, c) = (libm::log(gsd), b + 0.5 * a);
    U_95 * U_95 * a * a * s * s * (2.0 * c * c * s * s + 1.0) / (delta * delta)
}

/// Number of objects for which the 95 % interval of a mean diameter itself is within `delta` (relative, above 0): u² s² (1 + 2c²s²) ÷ δ² for the
/// diameter exp(μ + c s²) of a log-normal population: c = 0 for x50,0, ½ for D\[1,0\], 2½ for D\[3,2\], 3 for x50,3, 3½ for D\[4,3\].
/// Variance of S. Mori and K. Suganuma, Kagaku Kogaku Ronbunshu 1 (1975) 197. NaN out of range.
pub fn objects_for_diameter(gsd: f64, c: f64, delta: f64) -> f64 {
    if !in_range(gsd, delta) {
        return f64::NAN;
    }
    let (s, u) = (libm::log(gsd), normal_quantile(0.975));
    u * u * s * s * (1.0 + 2.0 * c * c * s * s) / (delta * delta)
}

fn in_range(gsd: f64, delta: f64) -> bool {
    gsd >= 1.0 && gsd.is_finite() && delta > 0.0
}
