//! The one place where the desk's state changes: what the screens ask for, and what the jobs tell, is applied here.

use std::path::PathBuf;

use evenfilm_core::recipe::Recipe;
use evenfilm_record::corrections::Corrections;

use crate::Desk;
use crate::canvas::{Camera, Layer};
use crate::command::{Command, Face};
use crate::jobs::{Asked, Look, Purpose, ToSign};
use crate::prefs::Look as Appearance;
use crate::sheet;
use crate::state::{Again, Chosen, Lot, Next, Notice, Over, Pointed, Run};

mod choices;
mod command;
mod open;
mod report;
mod sign;
mod write;

pub(crate) use command::barred;

/// What a screen asks for.
pub(crate) enum Act {
    /// Something that a person may also ask for by name.
    Do(Command),
    /// Opens a folder: a lot, or a folder of lots.
    Open(PathBuf),
    /// Shows a lot of the open folder.
    Lot(usize),
    /// Shows a field of the lot.
    Field(usize),
    /// Changes choices. The flag says that the gesture goes on.
    Choose(Box<Recipe>, bool),
    /// The gesture has ended.
    Chosen,
    /// Leaves the shown field out, for this reason.
    LeaveOut(String),
    /// Gives a thing another kind: its word, and why.
    Kind(Pointed, &'static str, String),
    /// Moves the eye.
    Eye(Camera),
    /// Bares so much of the original.
    Bare(f32),
    /// Draws a layer more or less strongly.
    Layer(Layer, f32),
    /// Shows another face of the lot.
    Face(Face),
    /// Shows something over everything else, or nothing.
    Over(Option<Over>),
    /// Light, dark or as the system is.
    Appearance(Appearance),
    /// Scale of everything, %.
    Scale(u16),
    /// Another folder for records; `None` is beside the lot.
    Records(Option<PathBuf>),
    /// Lets the system ask for the folder of records, or of charts.
    ChooseRecords,
    /// Lets the system ask where the charts go.
    ChooseCharts,
    /// Writes the charts into a folder.
    SaveCharts(PathBuf),
    /// The code of whoever works here.
    Operator(String),
    /// Locks the choices under a name and a version, and saves them.
    Lock {
        /// The recipe's name.
        name: String,
        /// Its version.
        version: String,
    },
    /// Saves what is not saved, then writes the record.
    SaveAndWrite,
    /// Whether the choices are saved for this lot alone, beside its sheet.
    OnlyThisLot(bool),
    /// Stops a record that waits or is being written.
    StopWriting(u64),
    /// Queues the records that waited for a reason, with this one; without a text nobody said why.
    Because(String),
    /// A record is to be signed.
    AskToSign(PathBuf),
    /// Signs a record.
    Sign(Box<ToSign>),
    /// Asks for a sign-off of the same record once more.
    SignAnother,
    /// Lets the system ask for the file of a key.
    ChooseKey,
    /// Takes up what an earlier session left, or lets it go.
    TakeUp(bool),
    /// Closes a notice.
    Close(usize),
    /// Leaves the lot although something of it is not saved.
    Leave(Next),
    /// Closes the window although something is not saved.
    CloseAnyway,
    /// Something of the sheet.
    Sheet(sheet::Act),
    /// Measures again although nothing was changed.
    Again,
    /// Puts a text on the clipboard, and says what it is.
    Copy(String, &'static str),
}

/// What the screens asked for in a pass, in order.
#[derive(Default)]
pub(crate) struct Acts(pub(crate) Vec<Act>);

impl Acts {
    pub(crate) fn push(&mut self, act: Act) {
        self.0.push(act);
    }

    pub(crate) fn run(&mut self, command: Command) {
        self.0.push(Act::Do(command));
    }
}

impl Desk {
    /// Applies what was asked for.
    pub(crate) fn apply(&mut self, act: Act) {
        match act {
            Act::Do(command) => self.command(command),
            Act::Open(folder) => self.leave(Next::Folder(folder)),
            Act::Lot(place) => self.leave(Next::Lot(place)),
            Act::Field(place) => self.show_field(place),
            Act::Choose(recipe, more) => self.choose(*recipe, more),
            Act::Chosen => {
                if let Some(lot) = &mut self.state.lot {
                    lot.history.end_gesture();
                }
            }
            Act::LeaveOut(reason) => self.leave_out(&reason),
            Act::Kind(thing, kind, reason) => self.give_kind(&thing, kind, &reason),
            Act::Eye(camera) => self.of_lot(|lot| lot.camera = camera),
            Act::Bare(share) => self.of_lot(|lot| lot.bared = share.clamp(0.0, 1.0)),
            Act::Layer(layer, share) => self.of_lot(|lot| lot.layers.set(layer, share)),
            Act::Face(face) => self.state.face = face,
            Act::Over(over) => self.show_over(over),
            Act::Appearance(look) => self.state.prefs.look = look,
            Act::Scale(pct) => self.state.prefs.scale_pct = pct,
            Act::Records(folder) => self.records_go_to(folder),
            Act::ChooseRecords => self.ask_for(Purpose::Records),
            Act::ChooseCharts => self.ask_for(Purpose::Charts),
            Act::SaveCharts(folder) => self.save_charts(&folder),
            Act::Operator(code) => self.state.prefs.operator = code,
            Act::Lock { name, version } => self.lock(name, version),
            Act::SaveAndWrite => {
                self.show_over(None);
                if self.save_all() {
                    self.write_record();
                }
            }
            Act::OnlyThisLot(only) => self.of_lot(|lot| lot.own_recipe = only),
            Act::StopWriting(id) => self.stop_writing(id),
            Act::Because(reason) => self.queue_again(&reason),
            Act::AskToSign(record) => self.ask_to_sign(record),
            Act::Sign(asked) => self.sign(*asked),
            Act::SignAnother => self.sign_another(),
            Act::ChooseKey => self.ask_for(Purpose::Key),
            Act::TakeUp(wanted) => self.take_up(wanted),
            Act::Close(place) => {
                if place < self.state.notices.len() {
                    self.state.notices.remove(place);
                }
            }
            Act::Leave(next) => self.go(&next),
            Act::CloseAnyway => self.may_close = true,
            Act::Sheet(act) => self.sheet(act),
            Act::Again => self.measure_anew(),
            Act::Copy(text, what) => {
                self.to_clipboard = Some(text);
                self.say(Notice::good(format!("{what} copied")));
            }
        }
    }

    /// Shows something over everything else, or nothing. What is closed is over with, but for a question that was not seen yet.
    pub(crate) fn show_over(&mut self, over: Option<Over>) {
        match self.state.over.take() {
            Some(Over::Again) => self.state.again = Again::default(),
            Some(Over::Sign) if !self.state.signing.as_ref().is_some_and(|signing| signing.is_going) => self.state.signing = None,
            _ => {}
        }
        let asks = over.is_none() && !self.state.again.ordered.is_empty();
        self.state.over = if asks { Some(Over::Again) } else { over };
    }

    fn of_lot(&mut self, change: impl FnOnce(&mut Lot)) {
        if let Some(lot) = &mut self.state.lot {
            change(lot);
        }
    }

    /// Tells a person something; the same words are not said twice.
    pub(crate) fn say(&mut self, notice: Notice) {
        self.state.notices.retain(|said| said.text != notice.text);
        self.state.notices.push(notice);
        // Old ones give way.
        if self.state.notices.len() > MOST_NOTICES {
            self.state.notices.remove(0);
        }
    }

    /// Measures the lot with the choices as they are now.
    pub(crate) fn measure(&mut self) {
        let Some(lot) = &self.state.lot else { return };
        let chosen = lot.batch.is_some().then(|| lot.now.clone());
        let known = lot.corrections_wait().then(|| lot.on_disk.corrections.clone());
        self.ask_to_measure(chosen, known);
    }

    fn ask_to_measure(&mut self, chosen: Option<Chosen>, known: Option<Corrections>) {
        let Some(lot) = &self.state.lot else { return };
        let out = self.records_of(&lot.folder);
        let folder = lot.folder.clone();
        self.jobs.measure.ask(Asked { folder, chosen, known, out });
        self.of_lot(|lot| lot.run = Run::Going { share: 0.0, what: "opening".into() });
    }

    /// Measures again, whatever changed on the disk: the picture is read anew too.
    fn measure_anew(&mut self) {
        self.forget_picture();
        self.measure();
    }

    /// The picture comes anew with the batch that the next run opens; one that is being read is not waited for.
    fn forget_picture(&mut self) {
        self.jobs.picture.stop();
        self.of_lot(|lot| (lot.picture, lot.picture_fault) = (None, None));
    }

    fn show_field(&mut self, place: usize) {
        let Some(lot) = &mut self.state.lot else { return };
        let Some(batch) = lot.batch.clone().filter(|batch| place < batch.fields.len()) else { return };
        if lot.field != place || lot.picture.is_none() {
            (lot.field, lot.picture, lot.picture_fault) = (place, None, None);
            self.jobs.picture.ask(Look { batch, field: place });
        }
    }
}

/// Notices that are kept.
const MOST_NOTICES: usize = 4;
