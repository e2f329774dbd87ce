//! Fields to the quantities of a lot, each with what is known of its uncertainty.

use rayon::prelude::*;

use crate::chance::Chance;
use crate::field::FieldResult;
use crate::quality::count;
use crate::quantity::{Interval, Pool, QUANTITIES, View, index_of};
use crate::recipe::Recipe;
use crate::statistics::{half_width, half_width_95, mean_and_deviation, planning};

mod budget;
mod ends;

pub use budget::{Budget, Component};

/// What the intervals of a lot rest on beside its fields.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Basis {
    /// Relative standard uncertainty of the scale; `None` where nobody stated one.
    pub scale_u: Option<f64>,
    /// Whether an extension was planned, so that a verdict goes by intervals of 97.5 % at both looks.
    pub two_looks: bool,
    /// Relative accuracy of the uncovered area that is wanted, %.
    pub wanted_relative_accuracy_pct: Option<f64>,
}

impl Basis {
    /// Level of the intervals that a verdict goes by. Two looks at 97.5 % together give a false "within" no more often than one at 95 %.
    pub const fn level(&self) -> f64 {
        if self.two_looks { 0.975 } else { 0.95 }
    }
}

/// The quantities of a lot, each at its place in [`QUANTITIES`].
#[derive(Clone, Debug, Default)]
pub struct LotResult {
    /// Values; `None` is "not measured".
    pub values: Vec<Option<f64>>,
    /// Half widths of the 95 % intervals from the spread alone; `None` where there is none.
    pub ci95: Vec<Option<f64>>,
    /// Expanded uncertainties at 95 % (JCGM 100), never below the half width from the spread; `None` for quantities with two ends.
    pub u95: Vec<Option<f64>>,
    /// Ends of the 95 % intervals of rare events and tails.
    pub ends95: Vec<Option<[f64; 2]>>,
    /// Ends of the intervals that a verdict goes by, at the level of the [`Basis`].
    pub decisive: Vec<Option<[f64; 2]>>,
    /// What the uncertainties are made of.
    pub budgets: Vec<Option<Budget>>,
    /// Standard uncertainties of what does not shrink with more slides or fields; 0 where nothing of the kind is known.
    pub systematic: Vec<f64>,
    /// Values of each field alone, in the order of the fields.
    pub per_field: Vec<Vec<Option<f64>>>,
    /// What the intervals rest on: slide means where there are several slides, else fields.
    pub units: usize,
    /// Number of slides.
    pub slides: usize,
}

/// The fields of a lot with what each gave alone, by slide.
struct Nested<'a> {
    per_field: &'a [Vec<Option<f64>>],
    /// Places of the fields of each slide, in the order in which slides first occur.
    slides: Vec<Vec<usize>>,
}

/// Pools fields. `slides[i]` names the slide of `fields[i]`; `rejected` fields were measured and left out; the recipe says what counts;
/// `chance` is what chance alone would show of these fields, where it was asked.
///
/// Fields of one slide do not describe a lot: with several slides the unit of replication is the slide mean, with one it is the field.
pub fn lot(
    fields: &[&FieldResult],
    slides: &[String],
    rejected: usize,
    (recipe, basis): (&Recipe, &Basis),
    chance: Option<&Chance>,
) -> LotResult {
    let slides = by_slide(slides);
    let numbers = numbers_of(&slides, fields.len());
    let viewed = |view: View| Pool::viewed(fields, [slides.len(), rejected], recipe, view);
    let as_measured = || {
        let pool = viewed(View::default()).beside_chance(chance);
        let of_field = |i: usize| values_of(&pool.alone(i));
        let alone = || (0..fields.len()).into_par_iter().map(of_field).collect::<Vec<Vec<Option<f64>>>>();
        let (values, (per_field, resampled)) = rayon::join(|| values_of(&pool), || rayon::join(alone, || ends::resampled(&pool, &numbers)));
        (pool, values, per_field, resampled)
    };
    let ((pool, mut values, per_field, resampled), views) = rayon::join(as_measured, || budget::Views::of(viewed, recipe, basis));
    let parts: Vec<Vec<(Component, f64)>> =
        values.iter().enumerate().map(|(q, value)| value.map_or_else(Vec::new, |value| views.systematic(q, value))).collect();
    let systematic: Vec<f64> = parts.iter().map(|parts| parts.iter().map(|(_, u)| u * u).sum::<f64>().sqrt()).collect();
    let nested = Nested { per_field: &per_field, slides };
    let units = nested.units();
    let ci95: Vec<Option<f64>> = (0..QUANTITIES.len()).map(|q| interval(&units, q)).collect();
    let budget = |q: usize| values[q].and_then(|_| Budget::of(q, &pool, &parts[q], &nested));
    let budgets: Vec<Option<Budget>> = (0..QUANTITIES.len()).into_par_iter().map(budget).collect();
    let half = |q: usize, level: f64| {
        let spread = units.iter().map(|u| u[q]).collect::<Option<Vec<f64>>>().and_then(|units| half_width(&units, level));
        let half = budgets[q].as_ref().map(|budget| budget.half_width(level).max(spread.unwrap_or(0.0)));
        // Nothing is known exactly: fields that all say the same have not said how sure that is.
        half.filter(|half| *half > 0.0)
    };
    let u95 = (0..QUANTITIES.len()).map(|q| if QUANTITIES[q].interval.has_ends() { None } else { half(q, 0.95) }).collect();
    let ends = |level: f64| ends::at((&pool, &resampled), (&values, &systematic), (&numbers, level));
    let ends95 = ends(0.95);
    let mut decisive = if basis.two_looks { ends(basis.level()) } else { ends95.clone() };
    for (q, decisive) in decisive.iter_mut().enumerate().filter(|(q, _)| !QUANTITIES[*q].interval.has_ends()) {
        *decisive = values[q].zip(half(q, basis.level())).map(|(value, half)| [value - half, value + half]);
    }
    plan(&mut values, &ci95, &per_field, (fields, recipe, basis));
    let (units, slides) = (units.len(), nested.slides.len());
    LotResult { values, ci95, u95, ends95, decisive, budgets, systematic, per_field, units, slides }
}

/// Places of the fields of each slide, in the order in which slides first occur.
fn by_slide(slides: &[String]) -> Vec<Vec<usize>> {
    let mut names: Vec<(&String, Vec<usize>)> = Vec::new();
    for (i, slide) in slides.iter().enumerate() {
        match names.iter_mut().find(|(name, _)| *name == slide) {
            Some((_, fields)) => fields.push(i),
            None => names.push((slide, vec![i])),
        }
    }
    names.into_iter().map(|(_, fields)| fields).collect()
}

/// The number of the slide of each field.
fn numbers_of(slides: &[Vec<usize>], fields: usize) -> Vec<usize> {
    let mut numbers = vec![0; fields];
    for (number, slide) in slides.iter().enumerate() {
        for &i in slide {
            numbers[i] = number;
        }
    }
    numbers
}

impl Nested<'_> {
    /// Values of what the intervals rest on: slide means where there are several slides, else fields.
    fn units(&self) -> Vec<Vec<Option<f64>>> {
        if self.slides.len() > 1 {
            self.slides.iter().map(|slide| mean_of(slide.iter().map(|&i| &self.per_field[i]))).collect()
        } else {
            self.per_field.to_vec()
        }
    }

    /// Values of one quantity, by slide; `None` where a field does not have it.
    fn values(&self, q: usize) -> Option<Vec<Vec<f64>>> {
        self.slides.iter().map(|slide| slide.iter().map(|&i| self.per_field[i][q]).collect()).collect()
    }
}

fn values_of(pool: &Pool<'_>) -> Vec<Option<f64>> {
    QUANTITIES.par_iter().map(|q| (q.of)(pool).filter(|v| v.is_finite())).collect()
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

/// What ASTM E562 says of the uncovered area: how near the lot came, and what it would take.
fn plan(
    values: &mut [Option<f64>],
    ci95: &[Option<f64>],
    per_field: &[Vec<Option<f64>>],
    (fields, recipe, basis): (&[&FieldResult], &Recipe, &Basis),
) {
    let at = |id: &str| index_of(id).unwrap_or_default();
    let area = at("uncovered_area_pct");
    let wanted = basis.wanted_relative_accuracy_pct;
    values[at("uncovered_area_ra_pct")] =
        values[area].zip(ci95[area]).filter(|(value, _)| *value > 0.0).map(|(value, ci)| 100.0 * ci / value);
    let areas = per_field.iter().map(|f| f[area]).collect::<Option<Vec<f64>>>();
    let spread = areas.as_deref().and_then(mean_and_deviation);
    values[at("fields_needed")] = spread.and_then(|(mean, deviation)| planning::fields_needed(mean, deviation?, wanted?)).map(f64::from);
    values[at("objects_needed")] = wanted.and_then(|wanted| count::needed(fields, recipe, wanted / 100.0));
}
