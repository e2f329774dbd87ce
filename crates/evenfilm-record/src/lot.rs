//! The one workflow that command line and desk share: a lot is opened ([`crate::folder`]), measured, and sealed into a record.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use evenfilm_core::batch::LotResult;
use evenfilm_core::field::FieldResult;
use evenfilm_core::plane::Stop;
use evenfilm_core::quality::Flag;
use evenfilm_core::quality::sharpness::Edges;
use evenfilm_core::quantity::QUANTITIES;

use crate::archive::Staging;
use crate::fault::Fault;
use crate::folder::{Batch, Field, Objective};
use crate::numbers;
use crate::occasion::Occasion;
use crate::tables::PictureRow;

use keep::{Archive, Keeper};

pub use again::{Again, Difference, again};
pub use check::Check;
pub use evenfilm_core::limits::{Decision, Needed, Outcome, Verdict, Why};
pub use evenfilm_core::quantity::Interval;
pub use inspect::{Inspected, InspectedField, inspect, shown};
pub use judge::{Judged, Judgement};
pub use memo::Memo;
pub use view::{View, view};

mod about;
mod again;
mod approved;
mod check;
mod correct;
#[cfg(test)]
mod correct_tests;
mod exposed;
mod files;
#[cfg(test)]
mod format_tests;
mod inspect;
#[cfg(test)]
mod inspect_tests;
mod judge;
#[cfg(test)]
mod judge_tests;
mod keep;
mod lit;
mod measure;
mod memo;
mod overlapping;
#[cfg(test)]
mod overlapping_tests;
mod past;
#[cfg(test)]
mod past_tests;
mod pictures;
#[cfg(test)]
mod role_tests;
#[cfg(test)]
mod tests;
mod view;

/// What happens while a lot is measured, for whoever watches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Event<'a> {
    /// A lot begins.
    Begun {
        /// Its name.
        lot: &'a str,
        /// Number of fields.
        fields: usize,
    },
    /// A field is being measured.
    Field {
        /// Number of the field, from 1.
        number: usize,
        /// The share of it that is done, 0 to 1.
        share: f32,
    },
    /// A field is measured.
    Done {
        /// Number of the field, from 1.
        number: usize,
        /// Its picture.
        name: &'a str,
    },
    /// A field shows too little film and waits for the others of its slide.
    Waits {
        /// Number of the field, from 1.
        number: usize,
        /// Its picture.
        name: &'a str,
    },
    /// Chance films are being laid.
    Chance {
        /// The share of them that is done, 0 to 1.
        share: f32,
    },
    /// The record is being written.
    Sealing,
}

/// How a lot is measured and where its record goes.
#[derive(Clone, Copy)]
pub struct Job<'a> {
    /// Folder of all records.
    pub out: &'a Path,
    /// When, where and why.
    pub occasion: &'a Occasion,
    /// Set to stop the work; nothing is left behind then.
    pub cancel: &'a AtomicBool,
    /// Told what happens, from any thread.
    pub tell: &'a (dyn Fn(Event<'_>) + Sync),
}

impl Job<'_> {
    /// Ends the work where somebody asked for it.
    fn poll(&self) -> Result<(), Fault> {
        if self.cancel.load(Ordering::Relaxed) { Err(Fault::interrupted()) } else { Ok(()) }
    }
}

/// Seconds that the parts of the work took. Never part of a record.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Timing {
    /// Waiting for pictures.
    pub read_s: f64,
    /// Pixels to quantities.
    pub measure_s: f64,
    /// Chance films.
    pub simulate_s: f64,
    /// Overlays, copies, tables, and making them last.
    pub write_s: f64,
}

/// Where a record keeps the picture of a field and what was drawn of it, below `data/`.
#[derive(Debug)]
struct Kept {
    place: String,
    sha256: String,
    /// Empty for pictures that are no field.
    overlay: String,
}

/// A lot that was measured and not yet sealed. Dropped, it leaves nothing behind.
#[derive(Debug)]
pub struct Measured<'a> {
    batch: &'a Batch,
    staging: Staging,
    /// The pictures that lie in the record.
    pictures: Vec<PictureRow>,
    /// What was seen through each objective, in the order of the batch.
    seen: Vec<Seen>,
}

/// What was measured through one objective.
#[derive(Debug)]
struct Seen {
    /// What was measured in each of its fields.
    fields: Vec<FieldResult>,
    /// The fields' pictures.
    kept: Vec<Kept>,
    /// What was corrected by hand in each.
    by_hand: Vec<ByHand>,
    /// The numbers that decide.
    result: LotResult,
    /// Values of every field alone, also of those left out.
    per_field: Vec<Vec<Option<f64>>>,
    /// What they are told.
    judgement: Judgement,
    /// The numbers without corrections; `None` where the lot has none.
    uncorrected: Option<LotResult>,
    /// What a reader should know of the numbers as a whole.
    flags: Vec<Flag>,
    /// The numbers without any field rejected by hand; `None` where those that decide are without them too.
    without_rejected: Option<LotResult>,
    /// What could not be told of the numbers that decide, in words.
    notes: Vec<String>,
    timing: Timing,
}

/// What a person changed in a field.
#[derive(Clone, Debug, Default)]
struct ByHand {
    objects: BTreeSet<usize>,
    gaps: BTreeSet<usize>,
    /// Why the field is rejected, by hand or because it overlaps; empty where it is not.
    rejected: String,
    /// Whether it stays in the numbers that decide.
    stays: bool,
}

impl ByHand {
    fn changes_kinds(&self) -> bool {
        !(self.objects.is_empty() && self.gaps.is_empty())
    }
}

/// One field of a lot and all that is known of it.
#[derive(Clone, Copy, Debug)]
struct OfField<'a> {
    /// From 1, in the order of the lot.
    number: usize,
    asked: &'a Field,
    objective: &'a Objective,
    result: &'a FieldResult,
    kept: &'a Kept,
    by_hand: &'a ByHand,
    /// Its values alone, in the order of the quantity table.
    values: &'a [Option<f64>],
    /// How the edges of its objects are read.
    edges: Edges,
}

/// A flag of a field, or of all that one objective gave.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldFlag {
    /// Number of the field, from 1; `None` is all of them.
    pub field: Option<usize>,
    /// Its picture; empty for all of them.
    pub file: String,
    /// The flag.
    pub flag: Flag,
}

/// One quantity of a lot as a record has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value {
    /// Column name.
    pub id: &'static str,
    /// Unit as printed.
    pub unit: &'static str,
    /// `None` is "not measured".
    pub value: Option<f64>,
    /// Half width of the 95 % interval from the spread alone.
    pub ci95: Option<f64>,
    /// Expanded uncertainty, 95 %.
    pub u95: Option<f64>,
    /// Ends of the 95 % interval of rare events and tails.
    pub ends95: [Option<f64>; 2],
    /// How its interval comes about.
    pub interval: Interval,
}

/// A lot in its record: all that a summary says.
#[derive(Clone, Debug)]
pub struct LotOutcome {
    /// Name of the lot.
    pub lot: String,
    /// Folder of the record, absolute.
    pub record_dir: PathBuf,
    /// Its revision.
    pub revision: u32,
    /// Whether it is a check rather than a lot.
    pub is_check: bool,
    /// What each objective gave, in the order of first use; most lots have one.
    pub objectives: Vec<ObjectiveOutcome>,
}

/// What one objective gave.
#[derive(Clone, Debug)]
pub struct ObjectiveOutcome {
    /// Name of the microscope; empty for the default one.
    pub microscope: String,
    /// Every quantity in the order of the table, rounded as in the record.
    pub values: Vec<Value>,
    /// Number of slides.
    pub slides: usize,
    /// Number of fields.
    pub fields: usize,
    /// Its numbers against the limits.
    pub judgement: Judgement,
    /// What a reader should know of single fields, and of all of them.
    pub flags: Vec<FieldFlag>,
    /// What a reader should know of the numbers, in words.
    pub notes: Vec<String>,
    /// How long it took; what the record as a whole takes counts with the first objective.
    pub timing: Timing,
}

impl Value {
    /// The columns beside the value: what their ids end with, and what they hold.
    pub fn intervals(&self) -> Vec<(&'static str, Option<f64>)> {
        let spread = ("ci95", self.ci95);
        match self.interval {
            Interval::None => vec![],
            Interval::Largest => vec![spread],
            Interval::BetweenFields => vec![spread, ("u95", self.u95)],
            Interval::Rare(_) | Interval::Tail(_) => vec![spread, ("low95", self.ends95[0]), ("high95", self.ends95[1])],
        }
    }
}

impl ObjectiveOutcome {
    /// What the numbers speak of: the lot, or only the slide.
    pub const fn scope(&self) -> &'static str {
        if self.slides > 1 { "lot" } else { "slide" }
    }

    /// A quantity by its id.
    pub fn value(&self, id: &str) -> Option<&Value> {
        self.values.iter().find(|value| value.id == id)
    }
}

impl LotOutcome {
    /// A quantity of the first objective, the only one of most lots, by its id.
    pub fn value(&self, id: &str) -> Option<&Value> {
        self.objectives.first()?.value(id)
    }

    /// The flags of all fields and of the lot, one objective after another.
    pub fn flags(&self) -> impl Iterator<Item = &FieldFlag> {
        self.objectives.iter().flat_map(|objective| &objective.flags)
    }
}

/// Measures a lot and writes its record.
///
/// # Errors
/// Those of [`measure`] and [`Measured::seal`].
pub fn run(batch: &Batch, job: &Job<'_>) -> Result<LotOutcome, Fault> {
    measure(batch, job)?.seal(job)
}

/// Measures all fields of a lot. The output folder is tried first, so that nobody waits for numbers that cannot be kept.
///
/// # Errors
/// A picture cannot be read or measured, the output cannot be written, or the work was stopped.
pub fn measure<'a>(batch: &'a Batch, job: &Job<'_>) -> Result<Measured<'a>, Fault> {
    (job.tell)(Event::Begun { lot: &batch.sheet.lot, fields: batch.fields.len() });
    about::check_reason(batch, job)?;
    gather(batch, Archive::of(Staging::begin(job.out, &batch.sheet.lot, job.occasion)?), job)
}

/// Measures all fields of a lot into an archive.
fn gather<'a>(batch: &'a Batch, mut archive: Archive, job: &Job<'_>) -> Result<Measured<'a>, Fault> {
    let seen = measure::all_fields(batch, Keeper::Record(&mut archive), job)?;
    let (staging, pictures) = archive.into_parts();
    Ok(Measured { batch, staging, pictures, seen })
}

impl Measured<'_> {
    /// Writes tables, sheets and metadata, and puts the record into its place.
    ///
    /// # Errors
    /// Something cannot be written, or the work was stopped before the last step.
    pub fn seal(self, job: &Job<'_>) -> Result<LotOutcome, Fault> {
        (job.tell)(Event::Sealing);
        files::seal(self, job)
    }
}

/// All fields of a lot, in its order.
fn fields_of<'a>(batch: &'a Batch, seen: &'a [Seen]) -> Vec<OfField<'a>> {
    let mut all = Vec::new();
    for (objective, seen) in batch.objectives.iter().zip(seen) {
        for (i, &place) in objective.fields.iter().enumerate() {
            let (result, kept) = (&seen.fields[i], &seen.kept[i]);
            let (by_hand, values) = (&seen.by_hand[i], seen.per_field.get(i).map_or(&[][..], Vec::as_slice));
            let edges = Edges::of(&objective.recipe);
            all.push(OfField { number: place + 1, asked: &batch.fields[place], objective, result, kept, by_hand, values, edges });
        }
    }
    all.sort_by_key(|field| field.number);
    all
}

impl OfField<'_> {
    fn flags(&self) -> impl Iterator<Item = FieldFlag> {
        self.result.flags.iter().map(|flag| FieldFlag {
            field: Some(self.number),
            file: self.asked.source.name.clone(),
            flag: flag.clone(),
        })
    }
}

fn values(result: &LotResult) -> Vec<Value> {
    let at = |list: &[Option<f64>], i: usize| list.get(i).copied().flatten().and_then(numbers::rounded);
    let value = |(i, quantity): (usize, &evenfilm_core::quantity::Quantity)| Value {
        id: quantity.id,
        unit: quantity.unit,
        value: at(&result.values, i),
        ci95: at(&result.ci95, i),
        u95: at(&result.u95, i),
        ends95: [0, 1].map(|end| result.ends95.get(i).copied().flatten().and_then(|ends| numbers::rounded(ends[end]))),
        interval: quantity.interval,
    };
    QUANTITIES.iter().enumerate().map(value).collect()
}

/// A measurement that stopped, as a fault of the picture.
fn stopped(stop: &Stop, picture: &Path) -> Fault {
    match stop {
        Stop::Cancelled => Fault::interrupted(),
        Stop::Unreadable(_) => Fault::input(stop.to_string(), "copy the picture again from the camera's computer").at(picture),
        Stop::OtherSize { .. } => Fault::input(stop.to_string(), "take blank and dark with the settings of the fields").at(picture),
    }
}
