//! Rare events: what was found of them in each field.

use super::part::Part;
use super::{Pool, Rare};
use crate::field::FieldResult;
use crate::interval::Events;
use crate::recipe::Concern;

impl Pool<'_> {
    /// The events of each field, and the weight of the recipe's event of concern; `None` where they are not measured.
    pub(crate) fn events(&self, rare: Rare) -> Option<(Vec<Events>, f64)> {
        let events = self.fields.iter().zip(&self.parts).map(|(field, part)| self.events_of(rare, field, part));
        Some((events.collect::<Option<_>>()?, of_concern(rare, self.recipe.concern)))
    }

    /// Their exposure is what the sum of the weights is a share of, so that sum ÷ exposure has the unit of the quantity.
    fn events_of(&self, rare: Rare, field: &FieldResult, part: &Part) -> Option<Events> {
        let um2 = self.field_um2(field);
        Some(match rare {
            Rare::GapArea => Events::of(part.bare_um2.as_ref()?.iter().copied(), um2 / 100.0),
            Rare::Gaps => Events::of(part.bare_um2.as_ref()?.iter().map(|_| 1.0), um2 * 1e-6),
            Rare::Agglomerates => Events::of(part.agglomerates().filter_map(|thing| thing.weight), um2 * 1e-6),
            Rare::AgglomerateArea => {
                let powder: f64 = part.powder.iter().map(|thing| thing.area_um2).sum();
                Events::of(part.agglomerates().map(|thing| thing.area_um2), powder / 100.0)
            }
        })
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
