//! Rare events: what was found of them in each field.

use super::{Pool, Rare};
use crate::interval::Events;
use crate::recipe::Concern;

impl Pool<'_> {
    /// The events of each field, and the weight of the recipe's event of concern; `None` where they are not measured.
    pub(crate) fn events(&self, rare: Rare) -> Option<(Vec<Events>, f64)> {
        let mut weights: Vec<Vec<f64>> = vec![Vec::new(); self.fields.len()];
        match rare {
            Rare::GapArea => self.bare.as_ref()?.iter().for_each(|gap| weights[gap.field].push(gap.area_um2)),
            Rare::Gaps => self.bare.as_ref()?.iter().for_each(|gap| weights[gap.field].push(1.0)),
            Rare::Agglomerates => self.agglomerates().for_each(|thing| weights[thing.field].extend(thing.weight)),
            Rare::AgglomerateArea => self.agglomerates().for_each(|thing| weights[thing.field].push(thing.area_um2)),
        }
        let of = |(i, weights): (usize, Vec<f64>)| Events::of(weights, self.exposure(rare, i));
        let events: Vec<Events> = weights.into_iter().enumerate().map(of).collect();
        Some((events, of_concern(rare, self.recipe.concern)))
    }

    /// What the sum of the weights in a field is a share of, so that sum ÷ exposure has the unit of the quantity.
    fn exposure(&self, rare: Rare, field: usize) -> f64 {
        match rare {
            Rare::GapArea => self.field_um2(self.fields[field]) / 100.0,
            Rare::Gaps | Rare::Agglomerates => self.field_um2(self.fields[field]) * 1e-6,
            Rare::AgglomerateArea => self.powder().filter(|thing| thing.field == field).map(|thing| thing.area_um2).sum::<f64>() / 100.0,
        }
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
