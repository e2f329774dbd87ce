//! Corrections by hand, applied to what was measured: after dust, so that a person has the last word. Fields that overlap leave the numbers
//! here too.

use evenfilm_core::batch::{self, LotResult};
use evenfilm_core::chance::{self, Chance};
use evenfilm_core::field::FieldResult;
use evenfilm_core::place::{set_gap_kind, set_object_kind};
use evenfilm_core::plane::{Stage, Watch};
use evenfilm_core::quality::FlagId;

use crate::corrections::{CORRECTIONS, Change};
use crate::fault::Fault;
use crate::folder::{Batch, Objective};

use super::judge::basis;
use super::memo::Films;
use super::overlapping::{Again, left_out};
use super::{ByHand, Event, Job};

/// The flag of a field that was rejected for a reason that is not the recipe's.
pub(super) const STAYS: FlagId = FlagId::RejectedByHand;

/// All numbers of an objective.
pub(super) struct Numbers {
    /// The numbers that decide.
    pub(super) result: LotResult,
    /// Values of every field alone.
    pub(super) per_field: Vec<Vec<Option<f64>>>,
    /// Without corrections, where the lot has any.
    pub(super) uncorrected: Option<LotResult>,
    /// Without any field that a person rejected, where some stay in the numbers that decide.
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

/// Which fields a person rejected: whether for one of the recipe's reasons.
fn rejected_by_hand(batch: &Batch, objective: &Objective) -> Vec<Option<bool>> {
    let line = |&i: &usize| batch.corrections.rejected(&batch.fields[i]).map(|line| line.decides(&objective.recipe));
    objective.fields.iter().map(line).collect()
}

/// Whose numbers are made, and who watches.
type Parts<'a> = (&'a Batch, &'a Objective, &'a Job<'a>);

/// Rejects fields and pools the others beside chance. `again` says which fields show the same place.
pub(super) fn pool(
    (batch, objective, job): Parts<'_>,
    fields: &mut [FieldResult],
    by_hand: &mut [ByHand],
    (again, uncorrected): (&[Again], Option<LotResult>),
    films: &mut Films<'_>,
) -> Result<Numbers, Fault> {
    let hand = rejected_by_hand(batch, objective);
    let name = |i: usize| batch.fields[objective.fields[i]].source.name.as_str();
    let out = left_out(again, hand.iter().map(|hand| *hand == Some(true)).collect(), &objective.recipe);
    for (i, &place) in objective.fields.iter().enumerate() {
        by_hand[i].rejected = match out[i] {
            Some(again) => again.reason(name),
            None => batch.corrections.rejected(&batch.fields[place]).map(|line| line.reason.clone()).unwrap_or_default(),
        };
        by_hand[i].stays = out[i].is_none() && hand[i] != Some(true);
        if hand[i] == Some(false) && by_hand[i].stays {
            fields[i].flags.push(STAYS.flag(None, None));
        }
    }
    let parts = (batch, objective, job);
    let gone: Vec<bool> = by_hand.iter().map(|hand| !hand.stays).collect();
    let (result, chance) = beside_chance(parts, fields, (&gone, true), films)?;
    let per_field =
        if gone.contains(&true) { pooled(parts, fields, &vec![false; fields.len()], None).per_field } else { result.per_field.clone() };
    let without_rejected = if hand.contains(&Some(false)) {
        // What overlaps a field that is gone here stays.
        let hand: Vec<bool> = hand.iter().map(Option::is_some).collect();
        let out = left_out(again, hand.clone(), &objective.recipe);
        let gone: Vec<bool> = hand.iter().zip(out).map(|(hand, out)| *hand || out.is_some()).collect();
        Some(beside_chance(parts, fields, (&gone, true), films)?.0)
    } else {
        None
    };
    Ok(Numbers { result, per_field, uncorrected, without_rejected, notes: chance.why_missing().into_iter().collect() })
}

/// The numbers as they are without corrections by hand.
pub(super) fn plain(parts: Parts<'_>, fields: &[FieldResult], again: &[Again], films: &mut Films<'_>) -> Result<LotResult, Fault> {
    let gone: Vec<bool> = left_out(again, vec![false; fields.len()], &parts.1.recipe).iter().map(Option::is_some).collect();
    Ok(beside_chance(parts, fields, (&gone, false), films)?.0)
}

/// The numbers of the fields that are not gone, beside chance. `by_hand` says whether their kinds are corrected.
fn beside_chance(
    parts: Parts<'_>,
    fields: &[FieldResult],
    (gone, by_hand): (&[bool], bool),
    films: &mut Films<'_>,
) -> Result<(LotResult, Chance), Fault> {
    let (batch, objective, job) = parts;
    let tell = |_: Stage, share: f32| (job.tell)(Event::Chance { share });
    let watch = Watch { cancel: job.cancel, tell: &tell };
    let left: Vec<&FieldResult> = fields.iter().zip(gone).filter(|(_, gone)| !**gone).map(|(field, _)| field).collect();
    // Nothing of it reads a picture: it only ends early where somebody asked for that.
    let lay = || chance::by_chance(&left, &objective.recipe, watch).map_err(|_| Fault::interrupted());
    let chance = films.chance((batch, objective), (gone, by_hand), lay)?;
    Ok((pooled(parts, fields, gone, Some(&chance)), chance))
}

/// The numbers of the fields that are not gone.
fn pooled((batch, objective, _): Parts<'_>, fields: &[FieldResult], gone: &[bool], chance: Option<&Chance>) -> LotResult {
    let left: Vec<usize> = (0..fields.len()).filter(|&i| !gone[i]).collect();
    let slides: Vec<String> = left.iter().map(|&i| batch.fields[objective.fields[i]].slide.clone()).collect();
    let of = (&objective.recipe, &basis(batch, objective));
    batch::lot(&left.iter().map(|&i| &fields[i]).collect::<Vec<_>>(), &slides, fields.len() - left.len(), of, chance)
}
