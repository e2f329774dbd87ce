//! Limits as a chart draws them.

use crate::lot::Judgement;

/// A limit on a quantity that a chart shows.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitLine {
    /// The quantity's id.
    pub quantity: String,
    /// Smallest accepted value, in the quantity's unit.
    pub min: Option<f64>,
    /// Largest accepted value.
    pub max: Option<f64>,
}

impl LimitLine {
    /// The limits that an objective was judged by.
    pub fn of(judgement: &Judgement) -> Vec<Self> {
        let line =
            |judged: &crate::lot::Judged| Self { quantity: judged.limit.quantity.clone(), min: judged.limit.min, max: judged.limit.max };
        judgement.decisions.iter().map(line).collect()
    }
}
