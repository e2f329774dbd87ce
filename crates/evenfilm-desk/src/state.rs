//! What the desk knows: read by the screens, changed in one place ([`crate::change`]).

use std::path::{Path, PathBuf};

use evenfilm_record::fault::Fault;
use evenfilm_record::lot::LotOutcome;

use crate::command::Face;
use crate::prefs::Prefs;

mod lot;
mod over;
mod past;
mod signing;

pub(crate) use lot::{Card, Chosen};
pub use lot::{CardState, Lot, Run};
pub(crate) use over::{Next, Notice, Over, Pointed, Tone};
pub(crate) use past::moment;
pub(crate) use past::{Again, Before, Ordered};
pub(crate) use signing::Known;
pub use signing::{Place, Signing};

/// All of it.
#[derive(Default)]
pub struct State {
    /// What was set up once.
    pub prefs: Prefs,
    /// Lots of the folder that is open, in natural order.
    pub lots: Vec<Listed>,
    /// The lot that is shown.
    pub lot: Option<Lot>,
    /// What is shown of it.
    pub face: Face,
    /// Records that wait, are being written, or were written in this session.
    pub queue: Vec<Writing>,
    /// Requests for earlier records that have no answer yet.
    pub looking_back: usize,
    /// Records that wait for a reason.
    pub(crate) again: Again,
    /// The record that is being signed.
    pub signing: Option<Signing>,
    /// What a person should know, latest last.
    pub notices: Vec<Notice>,
    /// What lies over everything else.
    pub over: Option<Over>,
    /// The window is so small that the choices lie over the picture, and only when they are asked for.
    pub is_small: bool,
    /// They are asked for.
    pub choices_over: bool,
    /// A sample lot is being rendered.
    pub rendering: bool,
    /// The system's window for choosing a folder is open.
    pub choosing: Option<std::time::Instant>,
    /// Work of earlier sessions that did not end well, latest last.
    pub left: Vec<crate::session::Left>,
}

impl State {
    /// Shows or hides the choices.
    pub(crate) fn toggle_choices(&mut self) {
        let shown = if self.is_small { &mut self.choices_over } else { &mut self.prefs.choices_shown };
        // Where something else than the picture is shown, the choices are asked for, not sent away.
        *shown = !*shown || self.face != Face::Picture;
        self.face = Face::Picture;
    }

    /// Whether the choices are shown.
    pub fn shows_choices(&self) -> bool {
        self.face == Face::Picture && if self.is_small { self.choices_over } else { self.prefs.choices_shown }
    }
}

/// A lot of the open folder.
#[derive(Clone, Debug)]
pub struct Listed {
    /// Its folder.
    pub folder: PathBuf,
    /// Its name, where its sheet could be read.
    pub name: Option<String>,
    /// Why it cannot be measured.
    pub fault: Option<Fault>,
}

impl Listed {
    /// Its name, else its folder's.
    pub fn label(&self) -> String {
        self.name.clone().unwrap_or_else(|| folder_name(&self.folder))
    }
}

/// The last part of a path.
pub(crate) fn folder_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}

/// A record that is asked for.
pub struct Writing {
    /// Its number in this session.
    pub id: u64,
    /// The lot's folder.
    pub folder: PathBuf,
    /// The lot's name.
    pub name: String,
    /// Where the record goes.
    pub out: PathBuf,
    /// How far it is.
    pub stage: WriteStage,
}

impl Writing {
    /// Whether it is still to come, and of the same lot as another one that is asked for.
    pub(crate) fn is_before(&self, ordered: &Ordered) -> bool {
        let is_to_come = matches!(self.stage, WriteStage::Waits | WriteStage::Going { .. });
        is_to_come && self.folder == ordered.folder && self.out == ordered.out
    }
}

/// How far a record is.
pub enum WriteStage {
    /// Others are before it.
    Waits,
    /// It is being measured and written.
    Going {
        /// Share that is done, 0 to 1.
        share: f32,
        /// What is being done.
        what: String,
        /// Seconds since it began.
        since_s: f64,
    },
    /// It is in its place.
    Written(Box<LotOutcome>),
    /// Somebody stopped it; nothing was left behind.
    Stopped,
    /// It failed; nothing was left behind.
    Failed(Fault),
}
