//! What a lot is told: its quantities against the limits, and whether all that a verdict rests on was fixed beforehand.

use evenfilm_core::batch::{Basis, LotResult};
use evenfilm_core::field::FieldResult;
use evenfilm_core::limits::{self, Circumstances, Decision, Outcome, Verdict};
use evenfilm_core::quality::{Flag, FlagId};

use crate::approval::Standing;
use crate::folder::{Batch, Objective};
use crate::limits_file::Limit;
use crate::sheet::{Placement, Plan, Purpose};

use super::Job;
use super::approved;
use super::check::{self, Check};

/// A limit and what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// The limit.
    pub limit: Limit,
    /// What came of it.
    pub decision: Decision,
}

/// What one objective's numbers are told.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Judgement {
    /// The verdict; `None` without limits.
    pub verdict: Option<Verdict>,
    /// What it would be if nothing were missing; `None` without limits.
    pub would_be: Option<Outcome>,
    /// Every limit that holds for the objective.
    pub decisions: Vec<Judged>,
    /// What makes it provisional, and what else a reader should know of the lot as a whole.
    pub flags: Vec<Flag>,
    /// The check that the lot rests on, where one was found.
    pub check: Option<Check>,
}

/// What the intervals rest on beside the fields.
pub(super) fn basis(batch: &Batch, objective: &Objective) -> Basis {
    let scale = &objective.scale;
    Basis {
        scale_u: scale.um_per_px_u.map(|u| u / scale.um_per_px),
        two_looks: extension(&batch.sheet.plan) != [0, 0],
        wanted_relative_accuracy_pct: batch.limits.as_ref().and_then(|limits| limits.wanted_relative_accuracy_pct),
    }
}

/// Slides and fields that may be added once.
fn extension(plan: &Plan) -> [u32; 2] {
    [plan.extension_slides.unwrap_or(0), plan.extension_fields.unwrap_or(0)]
}

/// Holds the numbers of an objective against the limits.
pub(super) fn judge(batch: &Batch, objective: &Objective, (result, fields): (&LotResult, &[FieldResult]), job: &Job<'_>) -> Judgement {
    let mut flags: Vec<Flag> = old_scale(objective, job).into_iter().collect();
    let decisions = decisions(batch, objective, (result, fields));
    if decisions.is_empty() {
        return Judgement { flags, ..Judgement::default() };
    }
    flags.extend(objective.scale.um_per_px_u.is_none().then(|| FlagId::ScaleUnsure.flag(None, None)));
    let (check, standing) = check::of(batch, objective, job);
    let controlled = controlled(batch, job);
    let missing: Vec<Flag> = not_locked(objective)
        .into_iter()
        .chain(not_planned(batch, result))
        .chain(standing.and_then(check::Standing::flag))
        .chain(controlled)
        .collect();
    let outcomes: Vec<Outcome> = decisions.iter().map(|judged| judged.decision.outcome).collect();
    let verdict = limits::verdict(&outcomes, !missing.is_empty());
    flags.extend(missing);
    Judgement { verdict, would_be: Some(limits::overall(&outcomes)), decisions, flags, check }
}

fn decisions(batch: &Batch, objective: &Objective, (result, fields): (&LotResult, &[FieldResult])) -> Vec<Judged> {
    let bare_relative = fields.iter().any(|field| field.flags.iter().any(|flag| flag.id == FlagId::RelativeToFilm.word()));
    let of = batch.limits.iter().flat_map(|limits| limits.of_microscope(objective.name.as_deref()));
    let judged = |limit: &Limit| Judged {
        decision: limits::decide(&limit.as_core(), result, Circumstances { bare_relative }),
        limit: limit.clone(),
    };
    of.map(judged).collect()
}

fn old_scale(objective: &Objective, job: &Job<'_>) -> Option<Flag> {
    let age = job.occasion.moment.days_since(objective.scale.date?)?;
    let most = f64::from(objective.recipe.fields.scale_max_age_days);
    (age > most).then(|| FlagId::ScaleOld.flag(age, most))
}

fn not_locked(objective: &Objective) -> Option<Flag> {
    (!objective.recipe.locked).then(|| FlagId::NotLocked.flag(None, None))
}

/// Where the lab controls what counts, recipe and limits must be approved, and the settings out of the reach of who measures.
fn controlled(batch: &Batch, job: &Job<'_>) -> Vec<Flag> {
    let settings = &job.occasion.settings;
    if !settings.controlled {
        return Vec::new();
    }
    let not_approved = approved::of(batch, job.occasion).iter().filter(|standing| matches!(standing, Standing::NotApproved(_))).count();
    let mut flags = Vec::new();
    if not_approved > 0 {
        flags.push(FlagId::NotApproved.flag(not_approved as f64, 0.0));
    }
    if settings.could_be_changed {
        flags.push(FlagId::SettingsOpen.flag(None, None));
    }
    flags
}

/// A verdict needs a number of slides and fields that was fixed beforehand and kept: adding fields until it settles, or leaving out the
/// worst, turns one false "within" in forty into four. A check is always the same slide and needs no plan.
fn not_planned(batch: &Batch, result: &LotResult) -> Vec<Flag> {
    if batch.sheet.purpose() == Purpose::Check {
        return Vec::new();
    }
    let plan = &batch.sheet.plan;
    let (Some(slides), Some(fields), Some(placement)) = (plan.slides, plan.fields, plan.placement) else {
        return vec![FlagId::NoPlan.flag(None, None)];
    };
    let found = [result.slides, result.per_field.len()].map(|n| u32::try_from(n).unwrap_or(u32::MAX));
    let [more_slides, more_fields] = extension(plan);
    let extended = [slides.saturating_add(more_slides), fields.saturating_add(more_fields)];
    let mut flags = Vec::new();
    if found != [slides, fields] && found != extended {
        let unit = usize::from(found[0] == slides);
        flags.push(FlagId::PlanNotKept.flag(f64::from(found[unit]), f64::from([slides, fields][unit])));
    }
    if placement == Placement::ByEye {
        flags.push(FlagId::PlacedByEye.flag(None, None));
    }
    flags
}
