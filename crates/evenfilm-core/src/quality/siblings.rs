//! Fields of one objective beside each other: what none of them shows alone.
//!
//! Only light, film and focus are compared. A field that differs in its powder may be the one that matters, and is not singled out.

use super::light::AGREE;
use super::{Flag, FlagId};
use crate::dust::both;
use crate::field::FieldResult;
use crate::phases::{RunMap, join};
use crate::statistics::median;

/// Fields that must be there for one to be unlike the others, or for all to share a fault of the blank.
const LEAST_FIELDS: usize = 4;
/// Fields that must show a spot for it to be the blank's, as for dust.
const LEAST_WITH_SPOT: usize = 3;
/// Where chance alone leaves more than this share of the picture light in all fields, spots tell nothing.
const CHANCE: f64 = 1e-4;

/// Adds to each field what only its siblings tell.
pub fn mark(fields: &mut [FieldResult]) {
    let unlike = unlike(fields);
    let blank = shared_fault(fields);
    for (field, unlike) in fields.iter_mut().zip(unlike) {
        let told = field.flags.iter().any(|flag| flag.id == FlagId::BlankDiffers.word());
        field.flags.extend(blank.clone().filter(|_| !told && field.fitness.film_parts.is_some()));
        field.flags.extend(unlike);
    }
}

/// For each field the flag where film density, edges or noise differ from the others' by more than six of their robust standard deviations
/// (1.4826 × MAD), and by more than differs between good fields anyway.
fn unlike(fields: &[FieldResult]) -> Vec<Option<Flag>> {
    let none = vec![None; fields.len()];
    if fields.len() < LEAST_FIELDS {
        return none;
    }
    let differences = [
        // Optical density: an absolute part for thin films.
        differences(fields, |f| f.film_od, |middle| 0.03 + 0.25 * middle),
        differences(fields, |f| f.fitness.edge_px, |middle| 0.3 * middle),
        differences(fields, |f| Some(f.fitness.noise), |middle| 0.005 + middle),
    ];
    (0..fields.len()).map(|i| FlagId::UnlikeSiblings.check(differences.iter().filter_map(|d| d[i]).fold(0.0, f64::max))).collect()
}

/// The distance of each field from the middle of the others ÷ what is tolerated.
fn differences(fields: &[FieldResult], of: impl Fn(&FieldResult) -> Option<f64>, tolerated: impl Fn(f64) -> f64) -> Vec<Option<f64>> {
    let values: Vec<Option<f64>> = fields.iter().map(of).collect();
    let from_others = |i: usize| {
        let others: Vec<f64> = (0..values.len()).filter(|&j| j != i).filter_map(|j| values[j]).collect();
        if others.len() + 1 < LEAST_FIELDS {
            return None;
        }
        let middle = median(others.clone());
        let deviation = 1.4826 * median(others.iter().map(|v| (v - middle).abs()).collect());
        Some((values[i]? - middle).abs() / tolerated(middle).max(6.0 * deviation))
    };
    (0..values.len()).map(from_others).collect()
}

/// A fault of the blank that all fields share.
fn shared_fault(fields: &[FieldResult]) -> Option<Flag> {
    let by_blank: Vec<&FieldResult> = fields.iter().filter(|f| f.fitness.film_parts.is_some()).collect();
    let pattern = pattern(&by_blank).map(|off| FlagId::BlankDiffers.flag(1.0 + off, 1.0 + AGREE.copysign(off)));
    pattern.or_else(|| {
        spots(&by_blank).map(|count| {
            FlagId::BlankDiffers.flag(count as f64, 0.0).with_advice(
                "places lighter than the film lie at one place in all fields: dirt that was on the blank and has moved; \
                 clean the optics, then take the blank again",
            )
        })
    })
}

/// How far the film's level is off in the part of the picture where all fields agree most that it is.
fn pattern(fields: &[&FieldResult]) -> Option<f64> {
    if fields.len() < LEAST_FIELDS {
        return None;
    }
    let mut most: f64 = 0.0;
    for part in 0..9 {
        let off: Vec<f64> = fields.iter().filter_map(|f| Some(f.fitness.film_parts?[part] - 1.0)).collect();
        let least = off.iter().map(|o| o.abs()).fold(f64::INFINITY, f64::min);
        let agree = off.iter().all(|o| *o > 0.0) || off.iter().all(|o| *o < 0.0);
        if agree && least > AGREE && least > most.abs() {
            most = least.copysign(off[0]);
        }
    }
    (most != 0.0).then_some(most)
}

/// Number of spots that are above the gap level at one place in all fields.
fn spots(fields: &[&FieldResult]) -> Option<usize> {
    let (first, others) = fields.split_first()?;
    if fields.len() < LEAST_WITH_SPOT || fields.iter().any(|f| f.size != first.size || f.film_od.is_none()) {
        return None;
    }
    let chance: f64 = fields.iter().map(|f| f.phases[1].area() as f64 / f.area_px2().max(1.0)).product();
    if chance > CHANCE {
        return None;
    }
    let mut common: RunMap = others.iter().fold(first.phases[1].clone(), |common, field| both(&common, &field.phases[1]));
    let nothing = vec![0; common.runs.len()];
    let least = std::f64::consts::PI / 4.0 * first.resolution_px * first.resolution_px;
    let count = join(&mut common, &nothing, false, |c| c.area as f64 >= least.max(4.0)).len();
    (count > 0).then_some(count)
}
