//! Corrections by hand, applied to what was measured: after dust, so that a person has the last word.

use std::time::Instant;

use evenfilm_core::batch::{self, LotResult};
use evenfilm_core::chance::{self, Chance};
use evenfilm_core::field::{FieldResult, Flag};
use evenfilm_core::place::{set_gap_kind, set_object_kind};
use evenfilm_core::plane::{Stage, Watch};

use crate::corrections::{CORRECTIONS, Change};
use crate::fault::Fault;
use crate::folder::{Batch, Objective};

use super::{ByHand, Event, Job};

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
    /// What could not be told, in words.
    pub(super) notes: Vec<String>,
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

/// Pools fields beside chance; adds the time that its films took.
pub(super) fn beside_chance(
    job: &Job<'_>,
    objective: &Objective,
    (fields, slides, rejected): (&[&FieldResult], &[String], usize),
    simulate_s: &mut f64,
) -> Result<(LotResult, Chance), Fault> {
    let start = Instant::now();
    let tell = |_: Stage, share: f32| (job.tell)(Event::Chance { share });
    let watch = Watch { cancel: job.cancel, tell: &tell };
    // Nothing of it reads a picture: it only ends early where somebody asked for that.
    let chance = chance::by_chance(fields, &objective.recipe, watch).map_err(|_| Fault::interrupted())?;
    *simulate_s += start.elapsed().as_secs_f64();
    Ok((batch::lot(fields, slides, rejected, &objective.recipe, Some(&chance)), chance))
}

/// Rejects fields and pools the others.
pub(super) fn pool(
    (batch, objective, job): (&Batch, &Objective, &Job<'_>),
    fields: &mut [FieldResult],
    by_hand: &mut [ByHand],
    uncorrected: Option<LotResult>,
    simulate_s: &mut f64,
) -> Result<Numbers, Fault> {
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
    let mut of = |wanted: &dyn Fn(Option<bool>) -> bool| {
        let left: Vec<usize> = (0..fields.len()).filter(|&i| wanted(rejected[i])).collect();
        let slides: Vec<String> = left.iter().map(|&i| slides[i].clone()).collect();
        let some: Vec<&FieldResult> = left.iter().map(|&i| &fields[i]).collect();
        beside_chance(job, objective, (&some, &slides, fields.len() - left.len()), simulate_s)
    };
    let (result, chance) = of(&|rejected| rejected != Some(true))?;
    let without_rejected = if rejected.contains(&Some(false)) { Some(of(&|rejected| rejected.is_none())?.0) } else { None };
    let per_field = if rejected.contains(&Some(true)) {
        batch::lot(&fields.iter().collect::<Vec<_>>(), &slides, 0, &objective.recipe, None).per_field
    } else {
        result.per_field.clone()
    };
    Ok(Numbers { result, per_field, uncorrected, without_rejected, notes: chance.why_missing().into_iter().collect() })
}

/// The numbers of all fields as they are.
pub(super) fn plain(
    (batch, objective, job): (&Batch, &Objective, &Job<'_>),
    fields: &[FieldResult],
    simulate_s: &mut f64,
) -> Result<LotResult, Fault> {
    let slides: Vec<String> = objective.fields.iter().map(|&i| batch.fields[i].slide.clone()).collect();
    Ok(beside_chance(job, objective, (&fields.iter().collect::<Vec<_>>(), &slides, 0), simulate_s)?.0)
}
