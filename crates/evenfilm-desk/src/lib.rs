//! The desk: a window in which a slide is inspected and decided.
//!
//! Screens (`screens`) read the [`State`] and push what is asked for; `change` applies it, in one place; `jobs` do the long work beside
//! the window and report. Pixels become numbers only in [`evenfilm_record::lot`], which the command line calls in the same way.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use eframe::egui;
use evenfilm_record::fault::Fault;

mod canvas;
mod change;
mod command;
mod history;
mod jobs;
mod numbers;
mod prefs;
mod screens;
mod secret;
mod session;
mod sheet;
mod state;
#[doc(hidden)]
pub mod synthetic;
mod theme;
mod window;

pub use canvas::{Camera, Layer, Layers};
pub use command::{Command, Face};
pub use prefs::{Look, Prefs};
pub use state::{CardState, Lot, Place, Run, Signing, State, WriteStage};
pub use window::{WindowFault, run};

use change::{Act, Acts};

/// The desk without its window: tests drive it as a person would.
pub struct Desk {
    state: State,
    jobs: jobs::Jobs,
    canvas: screens::Canvas,
    drafts: screens::Drafts,
    session: Option<session::Session>,
    /// Folder of settings and of the session.
    settings: PathBuf,
    /// Folder of the sample lot.
    data: PathBuf,
    /// A folder that is being opened.
    opening: Option<PathBuf>,
    /// What an earlier session left, for the lot that is being opened.
    taking_up: Option<session::Left>,
    /// What goes to the clipboard at the end of the pass.
    to_clipboard: Option<String>,
    /// What went there last.
    copied: String,
    /// What the pointer is over, or the middle of the picture.
    pointed: Option<state::Pointed>,
    /// Size of the picture's view, physical pixels.
    view_px: [f64; 2],
    /// The settings as they were written.
    prefs_written: Prefs,
    /// When they began to differ.
    prefs_at: Option<Instant>,
    /// Somebody was asked and wants to close the window all the same.
    may_close: bool,
    /// The window is to be closed.
    wants_to_close: bool,
    /// Whether the window has been given its letters.
    has_letters: bool,
    /// What the window is called.
    title: String,
}

/// Where the desk keeps its own files.
#[derive(Clone, Debug)]
pub struct Places {
    /// Settings and what was not saved.
    pub settings: PathBuf,
    /// The sample lot.
    pub data: PathBuf,
}

impl Places {
    /// Where the system keeps such things; beside the working folder where it does not say.
    pub fn of_system() -> Self {
        let below = |folder: Option<PathBuf>| folder.unwrap_or_else(|| ".".into()).join("evenfilm");
        Self { settings: below(dirs::config_dir()), data: below(dirs::data_dir()) }
    }
}

impl Desk {
    /// A desk that opens `folder`, or offers the choice.
    pub fn new(places: &Places, folder: Option<PathBuf>) -> Self {
        let first_time = !places.settings.join("settings.json").is_file();
        let prefs = Prefs::read(&places.settings);
        let (session, left) = session::Session::begin(&places.settings).map_or((None, Vec::new()), |(session, left)| (Some(session), left));
        let mut desk = Self {
            prefs_written: prefs.clone(),
            prefs_at: None,
            state: State { prefs, left, ..State::default() },
            jobs: jobs::Jobs::start(),
            canvas: screens::Canvas::default(),
            drafts: screens::Drafts::default(),
            session,
            settings: places.settings.clone(),
            data: places.data.clone(),
            opening: None,
            taking_up: None,
            to_clipboard: None,
            copied: String::new(),
            pointed: None,
            view_px: [800.0, 600.0],
            may_close: false,
            wants_to_close: false,
            has_letters: false,
            title: String::new(),
        };
        match folder {
            Some(folder) => desk.open(&folder),
            // The first minute teaches.
            None if first_time => desk.apply(Act::Do(Command::OpenSample)),
            None => {}
        }
        desk
    }

    /// What it knows.
    pub const fn state(&self) -> &State {
        &self.state
    }

    /// What went to the clipboard last.
    pub fn copied(&self) -> &str {
        &self.copied
    }

    /// Whether something is still to come without anybody asking for more.
    pub fn is_busy(&self) -> bool {
        let lot = self.state.lot.as_ref();
        let waits = |lot: &Lot| {
            matches!(lot.run, Run::Going { .. }) || (lot.batch.is_some() && lot.picture.is_none() && lot.picture_fault.is_none())
        };
        self.opening.is_some()
            || self.state.rendering
            || self.state.looking_back > 0
            || self.state.signing.as_ref().is_some_and(|signing| signing.is_going || (signing.known.is_none() && signing.fault.is_none()))
            || lot.is_some_and(waits)
            || self.state.queue.iter().any(|one| matches!(one.stage, WriteStage::Waits | WriteStage::Going { .. }))
    }

    /// Takes in what the jobs told. Also called while the window is hidden.
    pub fn logic(&mut self, ctx: &egui::Context) {
        self.jobs.wake(ctx);
        for report in self.jobs.reports() {
            self.report(report);
        }
    }

    /// One pass: keys, screens, and what they ask for.
    pub fn show(&mut self, ui: &mut egui::Ui) {
        let ctx = ui.ctx().clone();
        self.logic(&ctx);
        if !std::mem::replace(&mut self.has_letters, true) {
            theme::add_letters(&ctx);
        }
        theme::apply(&ctx, &self.state.prefs);
        self.state.is_small = screens::is_small(&ctx);
        let mut acts = Acts::default();
        screens::input(&ctx, &self.state, &mut acts);
        screens::all(ui, self, &mut acts);
        screens::focus::ring(&ctx);
        for act in acts.0 {
            self.apply(act);
        }
        if let Some(text) = self.to_clipboard.take() {
            self.copied.clone_from(&text);
            ctx.copy_text(text);
        }
        if self.keep() {
            // What could not be written yet is written soon.
            ctx.request_repaint_after(Duration::from_millis(300));
        }
    }

    /// Writes what must outlive the program, where it changed and has come to rest; true where something waits.
    fn keep(&mut self) -> bool {
        let mut waits = false;
        if self.state.prefs == self.prefs_written {
            self.prefs_at = None;
        } else if self.prefs_at.get_or_insert_with(Instant::now).elapsed() < PREFS_REST {
            waits = true;
        } else {
            self.write_prefs();
        }
        self.session.as_mut().is_some_and(|session| session.keep(&self.state)) || waits
    }

    fn write_prefs(&mut self) {
        let made = std::fs::create_dir_all(&self.settings).map_err(|e| Fault::work(format!("the settings cannot be kept: {e}"), ""));
        // A disk that takes no settings is no reason to stop: it is said once.
        if let Err(fault) = made.and_then(|()| self.state.prefs.write(&self.settings)) {
            self.say(state::Notice::of(&fault.at(&self.settings)));
        }
        self.prefs_written = self.state.prefs.clone();
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        if self.state.prefs != self.prefs_written {
            self.write_prefs();
        }
    }
}

/// Settings that change faster, as while the window is resized, are written when they rest.
const PREFS_REST: Duration = Duration::from_millis(500);
