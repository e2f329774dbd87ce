//! A lot measured for whoever looks at it: all numbers, and nothing on the disk.

use std::collections::BTreeSet;

use evenfilm_core::field::FieldResult;
use evenfilm_core::quality::Flag;

use crate::disk::make_folders;
use crate::fault::Fault;
use crate::folder::Batch;
use crate::journal::Journal;

use super::keep::Keeper;
use super::memo::Memo;
use super::{Event, Job, ObjectiveOutcome, files, measure, past};

/// What was measured of a lot.
#[derive(Clone, Debug)]
pub struct Inspected {
    /// What each objective gave, in the order of first use; most lots have one.
    pub objectives: Vec<ObjectiveOutcome>,
    /// Every field in the order of the lot, also those that are rejected.
    pub fields: Vec<InspectedField>,
}

/// What was measured in one field.
#[derive(Clone, Debug)]
pub struct InspectedField {
    /// Its number, from 1.
    pub number: usize,
    /// Its picture.
    pub name: String,
    /// SHA-256 of its file.
    pub sha256: String,
    /// The slide it shows; empty where the sheet does not say.
    pub slide: String,
    /// Place of its objective in [`Inspected::objectives`].
    pub objective: usize,
    /// All that was found in it, dust and corrections by hand named; its objects keep the lines between their constituents.
    pub result: FieldResult,
    /// Its values alone, in the order of the quantity table.
    pub values: Vec<Option<f64>>,
    /// Why it is rejected; empty where it is not.
    pub rejected: String,
    /// Whether it stays in the numbers that decide.
    pub stays: bool,
    /// What a reader should know of it.
    pub flags: Vec<Flag>,
    /// Places of the objects whose kind was given by hand.
    pub corrected_objects: BTreeSet<usize>,
    /// Places of the gaps whose kind was given by hand.
    pub corrected_gaps: BTreeSet<usize>,
}

/// Measures all fields of a lot as [`measure`](super::measure) does, and keeps no record: nothing is written, and `job.out` is only asked
/// for the record of a check. What `memo` knows from before is not measured again: where only what is counted, named, judged or laid by
/// chance has changed, no picture is read.
///
/// # Errors
/// A picture cannot be read or measured, or the work was stopped.
pub fn inspect(batch: &Batch, job: &Job<'_>, memo: &mut Memo) -> Result<Inspected, Fault> {
    (job.tell)(Event::Begun { lot: &batch.sheet.lot, fields: batch.fields.len() });
    memo.begin();
    let seen = measure::all_fields(batch, Keeper::Memo(memo), job);
    memo.end();
    let seen = seen?;
    let objectives = files::objectives(batch, &seen);
    let mut fields = Vec::with_capacity(batch.fields.len());
    for (objective, (shared, seen)) in batch.objectives.iter().zip(seen).enumerate() {
        let found = seen.fields.into_iter().zip(seen.per_field).zip(seen.by_hand).zip(seen.kept);
        for (&place, (((result, values), by_hand), kept)) in shared.fields.iter().zip(found) {
            let asked = &batch.fields[place];
            fields.push(InspectedField {
                number: place + 1,
                name: asked.source.name.clone(),
                sha256: kept.sha256,
                slide: asked.slide.clone(),
                objective,
                flags: result.flags.clone(),
                result,
                values,
                rejected: by_hand.rejected,
                stays: by_hand.stays,
                corrected_objects: by_hand.objects,
                corrected_gaps: by_hand.gaps,
            });
        }
    }
    fields.sort_by_key(|field| field.number);
    Ok(Inspected { objectives, fields })
}

/// Puts down in the journal that numbers were shown to somebody, before a record is made of them or they are thrown away. Numbers that rest
/// on the same as those last put down for the lot are the same numbers, and one entry is enough for them.
///
/// # Errors
/// The journal cannot be written.
pub fn shown(batch: &Batch, inspected: &Inspected, job: &Job<'_>) -> Result<(), Fault> {
    make_folders(job.out)?;
    let mut journal = Journal::open(job.out, job.occasion)?;
    let picture = |field: &InspectedField| {
        let asked = batch.fields.get(field.number - 1);
        (field.name.clone(), asked.map_or_else(|| field.sha256.clone(), |asked| past::picture_of(&asked.source, &field.sha256)))
    };
    let pictures: past::Pictures = inspected.fields.iter().map(picture).collect();
    let history = journal.history(&batch.sheet.lot, &BTreeSet::new())?;
    if history
        .lot
        .rests_on
        .iter()
        .map(|(name, digest)| (name.as_str(), digest))
        .eq(past::rests_on(batch, &pictures).iter().map(|(name, digest)| (*name, digest)))
    {
        return Ok(());
    }
    let past::Told { before, entry } = past::told("shown", batch, &pictures, &inspected.objectives, &history);
    before.iter().chain([&entry]).try_for_each(|entry| journal.append(entry, job.occasion).map(drop))
}
