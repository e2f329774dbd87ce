//! Opening and measuring a lot, again and again as choices change.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use evenfilm_core::recipe::Recipe;
use evenfilm_record::corrections::{Correction, Corrections};
use evenfilm_record::fault::{Fault, FaultKind};
use evenfilm_record::folder::{Batch, Options};
use evenfilm_record::lot::{self, Event, Job, Memo};
use evenfilm_record::occasion::Occasion;
use evenfilm_record::recipe_file;
use evenfilm_record::settings::Settings;

use super::{Report, Shown, Tell, Worker, guarded};
use crate::state::Chosen;

/// A lot to open and measure.
pub(crate) struct Asked {
    pub(crate) folder: PathBuf,
    /// The choices; `None` are those of the files.
    pub(crate) chosen: Option<Chosen>,
    /// Where the corrections are to be written first: what the file is known to say.
    pub(crate) known: Option<Corrections>,
    /// Where records go, and the check's record lies.
    pub(crate) out: PathBuf,
}

/// A lot as it was opened.
pub(crate) struct Opened {
    pub(crate) batch: Arc<Batch>,
    /// The choices it was opened with.
    pub(crate) chosen: Chosen,
    /// The choices as the files have them.
    pub(crate) on_disk: Chosen,
    /// Somebody else wrote corrections meanwhile: theirs stand, and those asked for were not written.
    pub(crate) overtaken: bool,
}

pub(super) fn start(tell: Tell) -> Worker<Asked> {
    let mut memo = Memo::default();
    Worker::start("measure", move |number, asked, cancel| run(number, &asked, cancel, &tell, &mut memo))
}

fn run(number: u64, asked: &Asked, cancel: &AtomicBool, tell: &Tell, memo: &mut Memo) {
    let opened = match guarded("opening", || open(asked)) {
        Ok(opened) => opened,
        Err(fault) => return tell.tell(Report::Opened(number, Box::new(Err(fault)))),
    };
    let (batch, chosen) = (Arc::clone(&opened.batch), opened.chosen.clone());
    tell.tell(Report::Opened(number, Box::new(Ok(opened))));
    let result = guarded("measuring", || {
        let occasion = Occasion::now(&asked.out, env!("CARGO_PKG_VERSION"))?;
        let progress = Progress { number, fields: batch.fields.len(), tell };
        let show = |event: Event<'_>| progress.show(event);
        let job = Job { out: &asked.out, occasion: &occasion, cancel, tell: &show };
        let inspected = lot::inspect(&batch, &job, memo)?;
        // What was overtaken nobody sees.
        if cancel.load(Ordering::Relaxed) {
            return Err(Fault::interrupted());
        }
        // Before anybody sees them. Numbers that cannot be put down are shown all the same, and that is told with them.
        let not_put_down = lot::shown(&batch, &inspected, &job).err();
        Ok(Shown { inspected, not_put_down })
    });
    // Whoever stopped it knows.
    if !matches!(&result, Err(fault) if fault.kind == FaultKind::Interrupted) {
        tell.tell(Report::Measured(number, Box::new(result), Box::new(chosen)));
    }
}

fn open(asked: &Asked) -> Result<Opened, Fault> {
    let overtaken = match (&asked.known, &asked.chosen) {
        (Some(known), Some(chosen)) => !write_corrections(&asked.folder, known, &chosen.corrections)?,
        _ => false,
    };
    let settings = Settings::find(&asked.out)?;
    let options = Options { choices: asked.chosen.as_ref().map(|chosen| chosen.recipe.clone()), ..Options::of(&settings) };
    let batch = Batch::open(&asked.folder, &options)?;
    let on_disk = batch.recipe_file.as_deref().map(recipe_file::read).transpose()?.unwrap_or_else(Recipe::default);
    let recipe = options.choices.unwrap_or_else(|| on_disk.clone());
    let corrections = batch.corrections.clone();
    Ok(Opened {
        chosen: Chosen { recipe, corrections: corrections.clone() },
        on_disk: Chosen { recipe: on_disk, corrections },
        batch: Arc::new(batch),
        overtaken,
    })
}

/// Writes the corrections of a lot, where the file still says what it is known to say; else it stays as it is, and that is told by `false`.
///
/// # Errors
/// The file cannot be read or written.
pub(crate) fn write_corrections(folder: &Path, known: &Corrections, wanted: &Corrections) -> Result<bool, Fault> {
    let is_known = says_the_same(known, &Corrections::beside(folder)?);
    if is_known {
        wanted.save(folder)?;
    }
    Ok(is_known)
}

/// Whether two files of corrections say the same, wherever their lines stand.
fn says_the_same(a: &Corrections, b: &Corrections) -> bool {
    let at_no_line = |one: &Correction| Correction { line: 0, ..one.clone() };
    a.lines.iter().map(at_no_line).eq(b.lines.iter().map(at_no_line))
}

/// Events in words.
pub(super) struct Progress<'a> {
    number: u64,
    fields: usize,
    tell: &'a Tell,
}

impl Progress<'_> {
    fn show(&self, event: Event<'_>) {
        let (share, what) = in_words(event, self.fields);
        let field = match event {
            Event::Field { number, .. } => Some((number - 1, false)),
            Event::Done { number, .. } => Some((number - 1, true)),
            _ => None,
        };
        self.tell.tell(Report::Going(self.number, share, what, field));
    }
}

/// Share of the part of the work that fields take; chance films take the rest.
const FIELDS_SHARE: f32 = 0.8;

/// An event as share of the whole and words.
pub(super) fn in_words(event: Event<'_>, fields: usize) -> (f32, String) {
    let all = fields.max(1) as f32;
    let of = |done: f32| FIELDS_SHARE * (done / all).clamp(0.0, 1.0);
    match event {
        Event::Begun { .. } => (0.0, "reading blank and dark".into()),
        Event::Field { number, share } => (of(number as f32 - 1.0 + share), format!("field {number} of {fields}")),
        Event::Done { number, .. } => (of(number as f32), format!("field {number} of {fields}")),
        Event::Waits { number, name } => (of(number as f32), format!("{name} shows little film and waits for the others")),
        Event::Chance { share } => (FIELDS_SHARE + 0.15 * share, "laying particles at random".into()),
        Event::Sealing => (0.97, "writing the record".into()),
    }
}
