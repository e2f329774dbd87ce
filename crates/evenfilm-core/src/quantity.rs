//! The one table of everything reported. CSV headers, column metadata, tooltips, limits and documentation all read it; adding a quantity
//! is adding a row and a function.

use crate::field::FieldResult;

/// How a quantity's 95 % interval comes about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Interval {
    /// Counts of what was looked at, and settings: none.
    None,
    /// From the spread between fields, or between slide means where there are several slides (Student t).
    BetweenFields,
}

/// One reported quantity.
#[derive(Clone, Copy, Debug)]
pub struct Quantity {
    /// Column name.
    pub id: &'static str,
    /// Unit as printed, "" for numbers without one.
    pub unit: &'static str,
    /// Symbol as printed.
    pub symbol: &'static str,
    /// One-line definition.
    pub definition: &'static str,
    /// Where the definition comes from.
    pub source: &'static str,
    /// How its interval comes about.
    pub interval: Interval,
    /// Its value over some fields pooled: one field, a slide, the lot. `None` is "not measured".
    pub of: fn(&[&FieldResult]) -> Option<f64>,
}

/// Every quantity, in the order of the columns.
pub const QUANTITIES: &[Quantity] =
    &[Quantity { id: "slides", unit: "", symbol: "", definition: "slides measured", source: "", interval: Interval::None, of: |_| None }];

/// Place of a quantity in [`QUANTITIES`].
pub fn index_of(id: &str) -> Option<usize> {
    QUANTITIES.iter().position(|q| q.id == id)
}
