//! Whether there are enough objects for the sizes of a lot.

use super::{Flag, FlagId};
use crate::field::FieldResult;
use crate::quantity::counted;
use crate::recipe::Recipe;
use crate::statistics::mean_and_deviation;

/// Quantile 0.975 of the normal distribution, as the standard rounds it.
const U: f64 = 1.96;

/// Number of objects for a mean or quantile of a log-normal population to the relative accuracy `delta` with 95 % confidence:
/// n = u² s² (1 + 2c²s²)/δ², where s = ln of the geometric standard deviation and c is 0 for x50,0, 0.5 for D\[1,0\], 2.5 for D\[3,2\], 3
/// for x50,3, 3.5 for D\[4,3\] (Masuda & Gotoh 1999, with the power of the diameter that ISO 13322-1 uses taken as 1).
pub fn objects_needed(s: f64, c: f64, delta: f64) -> f64 {
    U * U * s * s * (1.0 + 2.0 * c * c * s * s) / (delta * delta)
}

/// The flag of a lot with too few objects for `x50_3_um` to the relative accuracy `delta`: how wide the population is, is taken from the
/// objects counted. None where nothing was counted: the fields say so themselves.
pub fn too_few(fields: &[&FieldResult], recipe: &Recipe, delta: f64) -> Option<Flag> {
    let of = |f: &&FieldResult| {
        let f = *f;
        f.objects.iter().filter(move |o| counted(f, o, recipe)).map(move |o| libm::log(o.diameter_px() * f.um_per_px)).collect::<Vec<_>>()
    };
    let logs: Vec<f64> = fields.iter().flat_map(of).collect();
    let n = logs.len() as f64;
    let Some(s) = mean_and_deviation(&logs)?.1 else { return Some(FlagId::FewObjects.flag(n, None)) };
    let needed = objects_needed(s, 3.0, delta).ceil();
    (n < needed).then(|| FlagId::FewObjects.flag(n, needed))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_the_published_formula() {
        // ISO 13322-1:2004 prints "over 6 000" and "at least 61 000" particles for GSD 1.6 and 5 % of a power a = 3 and 6 of the diameter:
        // δ of the power is δ/a of the diameter (c = a/2). Monte Carlo agrees with the numbers for the diameter to 0.8 %.
        let s = libm::log(1.6);
        for (c, delta, n) in [
            (1.5, 0.05 / 3.0, 6092.0),
            (3.0, 0.05 / 6.0, 60_811.0),
            (0.0, 0.05, 339.0),
            (0.5, 0.05, 377.0),
            (2.5, 0.05, 1277.0),
            (3.0, 0.05, 1689.0),
            (3.5, 0.05, 2177.0),
        ] {
            assert!((objects_needed(s, c, delta) - n).abs() <= 1.0, "{c}: {}", objects_needed(s, c, delta));
        }
    }
}
