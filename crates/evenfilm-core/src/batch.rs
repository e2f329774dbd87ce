//! Fields to the quantities of a lot, with intervals.

use crate::field::FieldResult;

/// The quantities of a lot, each at its place in [`crate::quantity::QUANTITIES`].
#[derive(Clone, Debug, Default)]
pub struct LotResult {
    /// Values; `None` is "not measured".
    pub values: Vec<Option<f64>>,
    /// Half widths of the 95 % intervals; `None` where there is none.
    pub ci95: Vec<Option<f64>>,
    /// Values of each field alone, in the order of the fields.
    pub per_field: Vec<Vec<Option<f64>>>,
}

/// Pools fields. `slides[i]` names the slide of `fields[i]`; `fields_rejected` were measured and left out.
pub fn lot(_fields: &[FieldResult], _slides: &[String], _fields_rejected: usize) -> LotResult {
    todo!()
}
