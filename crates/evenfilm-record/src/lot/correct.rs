//! Corrections by hand, applied to what was measured: after dust, so that a person has the last word.

use evenfilm_core::batch::{self, LotResult};
use evenfilm_core::field::{FieldResult, Flag};
use evenfilm_core::place::{set_gap_kind, set_object_kind};

use crate::corrections::{CORRECTIONS, Change};
use crate::fault::Fault;
use crate::folder::{Batch, Objective};

use super::ByHand;
use super::judge::basis;

/// The flag of a field that was rejected for a reason that is not the recipe's.
pub(super) const STAYS: &str = "rejected_by_hand";

/// All numbers of an objective.
pub(super) struct Numbers {
    /// The numbers that decide.
    pub(super) result: LotResult,
    /// Values of every field alone.
    pub(super) per_field: Vec<Vec<Option<f64>>>,
    /// Without corrections, where the lot has any.
    pub(super) uncorrected: Option<LotResult>,
    /// Without any rejected field, where some stay in the numbers that decide.
    pub(super) without_rejected: Option<LotResult>,
}

/// Changes kinds as the corrections say. Gives what was changed in each field.
pub(super) fn kinds(batch: &Batch, objective: &Objective, fields: &mut [FieldResult]) -> Result<Vec<ByHand>, Fault> {
    let path = batch.folder.join(CORRECTIONS);
    let mut all = Vec::new();
    for (result, &place) in fields.iter_mut().zip(&objective.fields) {
        let mut by_hand = ByHand::default();
        for line in batch.corrections.of_field(&batch.fields[place]) {
            match (line.change, line.thing(result, &path)?) {
                (Change::Object(_, kind), Some(object)) => {
                    set_object_kind(result, object, kind);
                    by_hand.objects.insert(object);
                }
                (Change::Gap(_, kind), Some(gap)) => {
                    set_gap_kind(result, gap, kind);
                    by_hand.gaps.insert(gap);
                }
                _ => {}
            }
        }
        all.push(by_hand);
    }
    Ok(all)
}

/// Rejects fields and pools the others.
pub(super) fn pool(
    batch: &Batch,
    objective: &Objective,
    fields: &mut [FieldResult],
    by_hand: &mut [ByHand],
    uncorrected: Option<LotResult>,
) -> Numbers {
    let slides: Vec<String> = objective.fields.iter().map(|&i| batch.fields[i].slide.clone()).collect();
    let rejected: Vec<Option<bool>> = objective
        .fields
        .iter()
        .map(|&i| batch.corrections.rejected(&batch.fields[i]).map(|line| line.decides(&objective.recipe)))
        .collect();
    for (i, &place) in objective.fields.iter().enumerate() {
        by_hand[i].rejected = batch.corrections.rejected(&batch.fields[place]).map(|line| line.reason.clone()).unwrap_or_default();
        if rejected[i] == Some(false) {
            let advice = "it was rejected by hand for a reason that is not one of the recipe's, so it stays in the numbers; \
                          record-without-rejected.csv has them without it";
            fields[i].flags.push(Flag { id: STAYS, value: None, limit: None, advice });
        }
    }
    let basis = basis(batch, objective);
    let of = |wanted: &dyn Fn(Option<bool>) -> bool| {
        let left: Vec<usize> = (0..fields.len()).filter(|&i| wanted(rejected[i])).collect();
        let slides: Vec<String> = left.iter().map(|&i| slides[i].clone()).collect();
        batch::lot(&left.iter().map(|&i| &fields[i]).collect::<Vec<_>>(), &slides, fields.len() - left.len(), (&objective.recipe, &basis))
    };
    let result = of(&|rejected| rejected != Some(true));
    let per_field = if rejected.contains(&Some(true)) { of(&|_| true).per_field } else { result.per_field.clone() };
    let without_rejected = rejected.contains(&Some(false)).then(|| of(&|rejected| rejected.is_none()));
    Numbers { result, per_field, uncorrected, without_rejected }
}

/// The numbers of all fields as they are.
pub(super) fn plain(batch: &Batch, objective: &Objective, fields: &[FieldResult]) -> LotResult {
    let slides: Vec<String> = objective.fields.iter().map(|&i| batch.fields[i].slide.clone()).collect();
    batch::lot(&fields.iter().collect::<Vec<_>>(), &slides, 0, (&objective.recipe, &basis(batch, objective)))
}
