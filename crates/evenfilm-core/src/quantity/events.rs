//! Rare events: what was found of them in each field.

use super::{Pool, Rare};
use crate::recipe::Concern;

/// The rare events of one field, as the interval of a weighted sum of Poisson counts needs them. The rate that a lot reports is the sum over
/// its fields ÷ the exposure over its fields.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Events {
    /// Sum of the events' weights.
    pub sum: f64,
    /// Sum of their squares.
    pub sum_of_squares: f64,
    /// The largest.
    pub largest: f64,
    /// What the sum is a share of, in the unit of the weight ÷ that of the quantity.
    pub exposure: f64,
}

impl Events {
    fn add(&mut self, weight: f64) {
        self.sum += weight;
        self.sum_of_squares += weight * weight;
        self.largest = self.largest.max(weight);
    }
}

impl Pool<'_> {
    /// The events of each field, and the weight of the recipe's event of concern; `None` where they are not measured.
    pub(crate) fn events(&self, rare: Rare) -> Option<(Vec<Events>, f64)> {
        let exposure = |i: usize| match rare {
            Rare::GapArea => self.field_um2(self.fields[i]) / 100.0,
            Rare::Gaps | Rare::Agglomerates => self.field_um2(self.fields[i]) * 1e-6,
            Rare::AgglomerateArea => 0.0,
        };
        let mut events: Vec<Events> = (0..self.fields.len()).map(|i| Events { exposure: exposure(i), ..Events::default() }).collect();
        match rare {
            Rare::GapArea => self.bare.as_ref()?.iter().for_each(|gap| events[gap.field].add(gap.area_um2)),
            Rare::Gaps => self.bare.as_ref()?.iter().for_each(|gap| events[gap.field].add(1.0)),
            Rare::Agglomerates => self.agglomerates().for_each(|thing| events[thing.field].add(thing.weight.unwrap_or(0.0))),
            Rare::AgglomerateArea => {
                self.powder().for_each(|thing| events[thing.field].exposure += thing.area_um2 / 100.0);
                self.agglomerates().for_each(|thing| events[thing.field].add(thing.area_um2));
            }
        }
        Some((events, of_concern(rare, self.recipe.concern)))
    }
}

/// Weight of the event that the recipe is concerned about.
fn of_concern(rare: Rare, concern: Concern) -> f64 {
    let disc = |diameter: f64| std::f64::consts::PI / 4.0 * diameter * diameter;
    match rare {
        Rare::GapArea => disc(concern.gap_um),
        Rare::Gaps | Rare::Agglomerates => 1.0,
        Rare::AgglomerateArea => disc(concern.agglomerate_um),
    }
}
