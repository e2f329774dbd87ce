//! Fields to the quantities of a lot, with intervals.

use rayon::prelude::*;

use crate::chance::Chance;
use crate::field::FieldResult;
use crate::quantity::{Interval, Pool, QUANTITIES};
use crate::recipe::Recipe;
use crate::statistics::half_width_95;

/// The quantities of a lot, each at its place in [`QUANTITIES`].
#[derive(Clone, Debug, Default)]
pub struct LotResult {
    /// Values; `None` is "not measured".
    pub values: Vec<Option<f64>>,
    /// Half widths of the 95 % intervals; `None` where there is none.
    pub ci95: Vec<Option<f64>>,
    /// Values of each field alone, in the order of the fields.
    pub per_field: Vec<Vec<Option<f64>>>,
    /// What the intervals rest on: slide means where there are several slides, else fields.
    pub units: usize,
    /// Number of slides.
    pub slides: usize,
}

/// Pools fields. `slides[i]` names the slide of `fields[i]`; `rejected` fields were measured and left out; the recipe says what counts;
/// `chance` is what chance alone would show of these fields, where it was asked.
///
/// Fields of one slide do not describe a lot: with several slides the unit of replication is the slide mean, with one it is the field.
pub fn lot(fields: &[&FieldResult], slides: &[String], rejected: usize, recipe: &Recipe, chance: Option<&Chance>) -> LotResult {
    let names = in_order(slides);
    let (values, per_field): (_, Vec<Vec<Option<f64>>>) = rayon::join(
        || values_of(&Pool::new(fields, names.len(), rejected, recipe).beside_chance(chance)),
        || fields.par_iter().map(|f| values_of(&Pool::new(&[*f], 1, 0, recipe))).collect(),
    );
    let units: Vec<Vec<Option<f64>>> = if names.len() > 1 {
        names.iter().map(|name| mean_of(per_field.iter().zip(slides).filter(|(_, s)| *s == *name).map(|(v, _)| v))).collect()
    } else {
        per_field.clone()
    };
    let ci95 = (0..QUANTITIES.len()).map(|q| interval(&units, q)).collect();
    LotResult { values, ci95, per_field, units: units.len(), slides: names.len() }
}

/// Names in the order in which they first occur.
fn in_order(slides: &[String]) -> Vec<&String> {
    let mut names: Vec<&String> = Vec::new();
    for slide in slides {
        if !names.contains(&slide) {
            names.push(slide);
        }
    }
    names
}

fn values_of(pool: &Pool<'_>) -> Vec<Option<f64>> {
    QUANTITIES.iter().map(|q| (q.of)(pool).filter(|v| v.is_finite())).collect()
}

/// Mean of each quantity over the fields that have it.
fn mean_of<'a>(fields: impl Iterator<Item = &'a Vec<Option<f64>>>) -> Vec<Option<f64>> {
    let fields: Vec<_> = fields.collect();
    let mean = |q: usize| {
        let values: Vec<f64> = fields.iter().filter_map(|f| f[q]).collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    };
    (0..QUANTITIES.len()).map(mean).collect()
}

fn interval(units: &[Vec<Option<f64>>], q: usize) -> Option<f64> {
    if QUANTITIES[q].interval == Interval::None {
        return None;
    }
    let values = units.iter().map(|u| u[q]).collect::<Option<Vec<f64>>>()?;
    half_width_95(&values)
}
