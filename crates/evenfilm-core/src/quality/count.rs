//! Whether there are enough objects for the sizes of a lot.

use super::{Flag, FlagId};
use crate::field::FieldResult;
use crate::quantity::{Judge, View};
use crate::recipe::Recipe;
use crate::statistics::{mean_and_deviation, planning};

/// Objects in all that would bring `x50_3_um` to the relative accuracy `delta`, were sizes log-normal and as wide as those counted
/// ([`planning::objects_for_diameter`] with c = 3). `None` for fewer than two objects.
pub fn needed(fields: &[&FieldResult], recipe: &Recipe, delta: f64) -> Option<f64> {
    needed_of(&logs(fields, recipe), delta)
}

fn needed_of(logs: &[f64], delta: f64) -> Option<f64> {
    let gsd = libm::exp(mean_and_deviation(logs)?.1?);
    Some(planning::objects_for_diameter(gsd, 3.0, delta).ceil()).filter(|n| n.is_finite())
}

/// The flag of a lot with fewer objects than [`needed`]. None where nothing was counted: the fields say so themselves.
pub fn too_few(fields: &[&FieldResult], recipe: &Recipe, delta: f64) -> Option<Flag> {
    let logs = logs(fields, recipe);
    let (n, needed) = (logs.len() as f64, needed_of(&logs, delta));
    (n > 0.0 && needed.is_none_or(|needed| n < needed)).then(|| FlagId::FewObjects.flag(n, needed))
}

/// Logarithms of the diameters of the objects that count.
fn logs(fields: &[&FieldResult], recipe: &Recipe) -> Vec<f64> {
    let of = |f: &&FieldResult| {
        let judge = Judge::new(f, recipe, View::default());
        let counted = f.objects.iter().filter(|object| judge.counts(object));
        counted.map(|object| libm::log(object.diameter_px() * f.um_per_px)).collect::<Vec<_>>()
    };
    fields.iter().flat_map(of).collect()
}
