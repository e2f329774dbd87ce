//! What the numbers of a chart rest on, in words.

use crate::lot::ObjectiveOutcome;

/// What a chart's numbers rest on; every chart of results says it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RestsOn {
    /// Objects (in a chart of gaps: gaps) that count.
    pub things: usize,
    /// Fields that count.
    pub fields: usize,
}

impl RestsOn {
    /// What the numbers of an objective rest on.
    pub fn of(outcome: &ObjectiveOutcome) -> Self {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count as the quantity table has it")]
        let things = outcome.value("objects").and_then(|value| value.value).map_or(0, |objects| objects.max(0.0) as usize);
        Self { things, fields: outcome.fields }
    }

    /// "812 objects in 4 fields"; `things` is what one and several of them are called.
    pub fn words(&self, things: [&str; 2]) -> String {
        let of = |n: usize, [one, several]: [&str; 2]| format!("{n} {}", if n == 1 { one } else { several });
        format!("{} in {}", of(self.things, things), of(self.fields, ["field", "fields"]))
    }
}

/// What objects are called.
pub(super) const OBJECTS: [&str; 2] = ["object", "objects"];
/// What gaps are called.
pub(super) const GAPS: [&str; 2] = ["gap", "gaps"];
