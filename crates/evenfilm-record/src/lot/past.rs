//! What a lot's record has to do with what came before it: the entries of the journal, what changed since the record before, pictures that
//! another lot counts, and the order of times.

use std::collections::{BTreeMap, BTreeSet};

use evenfilm_core::quality::{Flag, FlagId};
use evenfilm_core::quantity::QUANTITIES;
use serde_json::{Map, Value, json};

use crate::archive::Revision;
use crate::digest::sha256_hex;
use crate::folder::{Batch, Source};
use crate::journal::{DECISIVE, Entry, History};
use crate::numbers;
use crate::recipe_file;

use super::{Job, ObjectiveOutcome, Verdict};

/// Longest text of corrections that the journal repeats, bytes; of a longer one it has digest and number of lines.
const CORRECTIONS_IN_FULL: usize = 16 << 10;

/// What is remembered of every measurement beside what limits ask for.
const HEADLINE: [&str; 4] = ["x50_3_um", "agglomerate_fraction_pct", "largest_object_um", "uncovered_area_pct"];

/// The fields of a lot and the digests of their pictures.
pub(super) type Pictures = BTreeMap<String, String>;

/// A field's picture by its digest, and by its page where the file has several.
pub(super) fn picture_of(source: &Source, sha256: &str) -> String {
    if source.several { format!("{sha256}#{}", source.info.page + 1) } else { sha256.to_owned() }
}

/// What the journal is told of a measurement.
pub(super) struct Told {
    /// What goes before it.
    pub(super) before: Vec<Entry>,
    /// The measurement itself.
    pub(super) entry: Entry,
}

/// What came of looking back.
#[derive(Default)]
pub(super) struct LookedBack {
    pub(super) flags: Vec<Flag>,
    pub(super) notes: Vec<String>,
    /// What a record that is not the first says of the one before.
    pub(super) changed: Option<String>,
}

/// What the numbers of a lot rest on: the digest of each part by its name. Empty texts are what a lot has not.
pub(super) fn rests_on(batch: &Batch, pictures: &Pictures) -> BTreeMap<&'static str, String> {
    let digest = |text: &str| if text.is_empty() { String::new() } else { sha256_hex(text.as_bytes()) };
    let corrections = if batch.corrections.lines.is_empty() { Vec::new() } else { batch.corrections.csv() };
    let listed: Vec<String> = pictures.iter().map(|(name, sha256)| format!("{sha256}  {name}\n")).collect();
    BTreeMap::from([
        ("sheet", digest(&batch.sheet_as_used().canonical())),
        ("plan", digest(&batch.sheet.plan_as_text())),
        ("recipe", recipe_file::sha256(&batch.recipe)),
        ("limits", digest(&batch.limits.as_ref().map(crate::limits_file::Limits::canonical).unwrap_or_default())),
        ("corrections", digest(&String::from_utf8_lossy(&corrections))),
        ("pictures", digest(&listed.concat())),
    ])
}

/// Entries for a measurement whose numbers are shown: `event` is `record` or `shown`.
pub(super) fn told(event: &'static str, batch: &Batch, pictures: &Pictures, outcomes: &[ObjectiveOutcome], history: &History) -> Told {
    let rests_on = rests_on(batch, pictures);
    let before = correction(batch, &rests_on, history).into_iter().collect();
    let entry = Entry::new(event)
        .with("lot", batch.sheet.lot.as_str())
        .with("purpose", batch.sheet.purpose().word())
        .with("recipe", format!("{} {}", batch.recipe.name, batch.recipe.version))
        .with("rests_on", json!(rests_on))
        .with("pictures", json!(pictures))
        .with("results", outcomes.iter().map(result).collect::<Vec<_>>());
    Told { before, entry }
}

/// What one objective showed: verdict, headline and what limits ask for.
fn result(outcome: &ObjectiveOutcome) -> Value {
    let asked: BTreeSet<&str> = outcome.judgement.decisions.iter().map(|judged| judged.limit.quantity.as_str()).collect();
    let wanted = QUANTITIES.iter().filter(|quantity| HEADLINE.contains(&quantity.id) || asked.contains(quantity.id));
    let number = |id| outcome.value(id).and_then(|value| serde_json::from_str::<Value>(&numbers::text(value.value)).ok());
    let numbers: Map<String, Value> = wanted.map(|quantity| (quantity.id.to_owned(), json!(number(quantity.id)))).collect();
    json!({
        "microscope": outcome.microscope,
        "verdict": outcome.judgement.verdict.map(Verdict::word),
        "fields": outcome.fields,
        "numbers": numbers,
    })
}

/// An entry for corrections that are not those that the journal knows of the lot.
fn correction(batch: &Batch, rests_on: &BTreeMap<&str, String>, history: &History) -> Option<Entry> {
    let now = &rests_on["corrections"];
    if now == history.lot.rests_on.get("corrections").map_or("", String::as_str) {
        return None;
    }
    let text = batch.corrections.csv();
    let entry = Entry::new("correction").with("lot", batch.sheet.lot.as_str()).with("lines", batch.corrections.lines.len());
    let entry = entry.with("sha256", now.as_str());
    let whole = text.len() <= CORRECTIONS_IN_FULL;
    Some(if whole { entry.with("text", String::from_utf8_lossy(&text).as_ref()) } else { entry })
}

/// What a record makes of what came before it.
pub(super) fn look_back(
    batch: &Batch,
    pictures: &Pictures,
    (revision, history): (&Revision, &History),
    job: &Job<'_>,
    times: &[Taken],
) -> LookedBack {
    let mut back = LookedBack::default();
    elsewhere(pictures, history, &mut back);
    out_of_order(times, history, job, &mut back);
    let now = rests_on(batch, pictures);
    back.flags.extend(decided_later(batch, &now, history));
    if revision.previous.is_some() {
        back.changed = Some(changed(&now, history));
        if job.occasion.reason.as_deref().is_none_or(|reason| reason.trim().is_empty()) {
            back.flags.push(FlagId::NoReason.flag(f64::from(revision.number), None));
        }
    }
    back
}

/// Pictures that another lot counts too.
fn elsewhere(pictures: &Pictures, history: &History, back: &mut LookedBack) {
    let shared: Vec<(&String, &BTreeSet<String>)> =
        pictures.iter().filter_map(|(name, digest)| Some((name, history.elsewhere.get(digest)?))).collect();
    if shared.is_empty() {
        return;
    }
    back.flags.push(FlagId::OtherLot.flag(shared.len() as f64, 0.0));
    let mut lots: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for (name, others) in shared {
        for lot in others {
            lots.entry(lot).or_default().push(name);
        }
    }
    back.notes.extend(lots.into_iter().map(|(lot, names)| format!("lot {lot} counts the same pictures: {}", names.join(", "))));
}

/// What is no longer as in the record before, in words.
fn changed(now: &BTreeMap<&'static str, String>, history: &History) -> String {
    let before = &history.lot.recorded;
    if before.is_empty() {
        return "not known: the journal does not say what the record before rests on".into();
    }
    let differs = |name: &&str| before.get(*name).map_or("", String::as_str) != now[*name];
    // The plan is part of the sheet, and named because a verdict hangs on it.
    let changed: Vec<&str> = ["pictures", "recipe", "limits", "plan", "corrections", "sheet"].into_iter().filter(differs).collect();
    let words = if changed.is_empty() { "nothing that numbers rest on".to_owned() } else { changed.join(", ") };
    format!("since the record before: {words}")
}

/// A flag where somebody saw numbers of the lot under another recipe, other limits or another plan.
fn decided_later(batch: &Batch, now: &BTreeMap<&'static str, String>, history: &History) -> Option<Flag> {
    let others = DECISIVE.iter().enumerate().filter(|(i, name)| history.lot.shown_with.iter().any(|shown| shown[*i] != now[*name]));
    let others: Vec<&str> = others.map(|(_, name)| *name).collect();
    if others.is_empty() || batch.limits.is_none() {
        return None;
    }
    let flag = FlagId::ChangedSince.flag(others.len() as f64, 0.0);
    let advice = format!("numbers of this lot were shown under another {}; {}", others.join(" and another "), flag.advice);
    Some(flag.with_advice(advice))
}

/// When a picture was taken, as its file says.
pub(super) struct Taken {
    pub(super) name: String,
    pub(super) at: crate::time::Stated,
}

/// Times that stand before what must have come first.
fn out_of_order(times: &[Taken], history: &History, job: &Job<'_>, back: &mut LookedBack) {
    let moment = &job.occasion.moment;
    let late: Vec<&str> = times.iter().filter(|taken| taken.at.is_after(moment)).map(|taken| taken.name.as_str()).collect();
    let mut wrong = late.len();
    if !late.is_empty() {
        back.notes.push(format!("by their files, taken after they were measured: {}", late.join(", ")));
    }
    // Others may have written since this run began.
    if moment.again().days_since_moment(&history.lot.at).is_some_and(|days| days < 0.0) {
        wrong += 1;
        back.notes.push(format!("measured before {}, when the journal last speaks of this lot", history.lot.at));
    }
    if wrong > 0 {
        back.flags.push(FlagId::TimesDisagree.flag(wrong as f64, 0.0));
    }
}
