//! The one place where the desk's state changes: what the screens ask for, and what the jobs tell, is applied here.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use evenfilm_core::recipe::{GapKind, Kind, Recipe};
use evenfilm_record::corrections::{Change, Correction, Corrections};
use evenfilm_record::fault::Fault;
use evenfilm_record::lot::Inspected;
use evenfilm_record::recipe_file;
use evenfilm_record::time::Moment;

use crate::Desk;
use crate::canvas::{Camera, Layer};
use crate::command::{Command, Face};
use crate::jobs::{Asked, Look, Purpose, Report};
use crate::prefs::Look as Appearance;
use crate::sheet;
use crate::state::{Card, CardState, Chosen, Listed, Lot, Next, Notice, Over, Pointed, Run, WriteStage, Writing};

mod command;
pub(crate) use command::barred;
mod report;

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
    /// Saves the choices, then writes the record.
    SaveAndWrite,
    /// Stops a record that waits or is being written.
    StopWriting(u64),
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
            Act::Over(over) => self.state.over = over,
            Act::Appearance(look) => self.state.prefs.look = look,
            Act::Scale(pct) => self.state.prefs.scale_pct = pct,
            Act::Records(folder) => self.state.prefs.records = folder,
            Act::ChooseRecords => self.ask_for(Purpose::Records),
            Act::ChooseCharts => self.ask_for(Purpose::Charts),
            Act::SaveCharts(folder) => self.save_charts(&folder),
            Act::Operator(code) => self.state.prefs.operator = code,
            Act::Lock { name, version } => self.lock(name, version),
            Act::SaveAndWrite => {
                self.state.over = None;
                if self.save_sheet() && self.save_choices() {
                    self.write_record();
                }
            }
            Act::StopWriting(id) => self.stop_writing(id),
            Act::TakeUp(wanted) => self.take_up(wanted),
            Act::Close(place) => {
                if place < self.state.notices.len() {
                    self.state.notices.remove(place);
                }
            }
            Act::Leave(next) => self.go(&next),
            Act::CloseAnyway => self.may_close = true,
            Act::Sheet(act) => self.sheet(act),
            Act::Again => self.measure(),
            Act::Copy(text, what) => {
                self.to_clipboard = Some(text);
                self.say(Notice::good(format!("{what} copied")));
            }
        }
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

    /// Goes on from a lot; asks first where something of it is not saved.
    pub(crate) fn leave(&mut self, next: Next) {
        if self.state.lot.as_ref().is_some_and(|lot| !lot.unsaved().is_empty()) {
            self.state.over = Some(Over::Leave(next));
        } else {
            self.go(&next);
        }
    }

    fn go(&mut self, next: &Next) {
        self.state.over = None;
        match next {
            Next::Start => {
                self.close_lot();
                self.state.lots.clear();
            }
            Next::Lot(place) => self.show_lot(*place),
            Next::Folder(folder) => self.open(folder),
        }
    }

    /// Opens a folder.
    pub(crate) fn open(&mut self, folder: &Path) {
        let folder = std::path::absolute(folder).unwrap_or_else(|_| folder.to_path_buf());
        self.close_lot();
        self.state.lots.clear();
        self.opening = Some(folder.clone());
        self.jobs.list.ask(folder);
    }

    pub(crate) fn close_lot(&mut self) {
        self.jobs.measure.stop();
        self.jobs.picture.stop();
        self.jobs.thumbs.stop();
        self.jobs.list.stop();
        self.opening = None;
        self.state.lot = None;
    }

    /// Shows a lot of the open folder.
    fn show_lot(&mut self, place: usize) {
        let Some(listed) = self.state.lots.get(place).cloned() else { return };
        self.jobs.picture.stop();
        self.jobs.thumbs.stop();
        self.state.lot = Some(Lot::new(&listed));
        if listed.name.is_some() || listed.fault.is_none() {
            self.state.prefs.opened(&listed.folder);
        }
        self.ask_to_measure(None, None);
    }

    /// Measures the lot with the choices as they are now.
    pub(crate) fn measure(&mut self) {
        let Some(lot) = &self.state.lot else { return };
        let chosen = lot.batch.is_some().then(|| lot.now.clone());
        let known = (lot.now.corrections != lot.on_disk.corrections).then(|| lot.on_disk.corrections.clone());
        self.ask_to_measure(chosen, known);
    }

    fn ask_to_measure(&mut self, chosen: Option<Chosen>, known: Option<Corrections>) {
        let Some(lot) = &self.state.lot else { return };
        let out = self.records_of(&lot.folder);
        let folder = lot.folder.clone();
        self.jobs.measure.ask(Asked { folder, chosen, known, out });
        self.of_lot(|lot| lot.run = Run::Going { share: 0.0, what: "opening".into() });
    }

    /// Where records of a lot go: the folder of the settings, else `records` beside it.
    pub(crate) fn records_of(&self, lot: &Path) -> PathBuf {
        self.state.prefs.records.clone().unwrap_or_else(|| lot.parent().unwrap_or(lot).join("records"))
    }

    fn show_field(&mut self, place: usize) {
        let Some(lot) = &mut self.state.lot else { return };
        let Some(batch) = lot.batch.clone().filter(|batch| place < batch.fields.len()) else { return };
        if lot.field != place || lot.picture.is_none() {
            lot.field = place;
            lot.picture = None;
            lot.picture_fault = None;
            self.jobs.picture.ask(Look { batch, field: place });
        }
    }

    /// Changes choices: one step back and forth, and a new run.
    fn choose(&mut self, recipe: Recipe, more: bool) {
        let Some(lot) = &mut self.state.lot else { return };
        if lot.now.recipe == recipe {
            if !more {
                lot.history.end_gesture();
            }
            return;
        }
        lot.history.step(&lot.now, more);
        let light = lot.now.recipe.light != recipe.light;
        lot.now.recipe = recipe;
        // What a lock stood for has changed.
        lot.now.recipe.locked = false;
        self.changed(light);
    }

    /// Choices have changed: a new run, and where the light is another, a new picture.
    fn changed(&mut self, light: bool) {
        if let (true, Some(lot)) = (light, &mut self.state.lot) {
            // The picture comes with the batch that the run opens; one of the old light is not waited for.
            self.jobs.picture.stop();
            lot.picture = None;
            lot.picture_fault = None;
        }
        self.measure();
    }

    fn leave_out(&mut self, reason: &str) {
        self.state.over = None;
        let operator = self.state.prefs.operator.trim().to_owned();
        let Some(lot) = &mut self.state.lot else { return };
        let Some(field) = lot.cards.get(lot.field).map(|card| card.name.clone()) else { return };
        let before = lot.now.clone();
        if let Err(fault) = lot.now.corrections.leave_out(&field, reason, &operator, &today()) {
            return self.say(Notice::of(&fault));
        }
        lot.history.step(&before, false);
        self.changed(false);
    }

    fn give_kind(&mut self, thing: &Pointed, kind: &str, reason: &str) {
        self.state.over = None;
        let by = self.state.prefs.operator.trim().to_owned();
        let Some(lot) = &mut self.state.lot else { return };
        let change = if thing.gap {
            GapKind::from_word(kind).map(|kind| Change::Gap(thing.at_um, kind))
        } else {
            Kind::from_word(kind).map(|kind| Change::Object(thing.at_um, kind))
        };
        let Some(change) = change else { return };
        lot.history.step(&lot.now, false);
        let (field, reason, at) = (thing.field.clone(), reason.trim().to_owned(), today());
        // A kind that was given to the same place before gives way.
        let place = |change: &Change| match change {
            Change::Object(at, _) | Change::Gap(at, _) => Some(at.map(f64::to_bits)),
            Change::LeaveOut => None,
        };
        let lines = &mut lot.now.corrections.lines;
        lines.retain(|line| line.field != field || place(&line.change) != place(&change));
        lines.push(Correction { line: lines.len() + 2, field, change, reason, by, at });
        self.changed(false);
    }

    fn lock(&mut self, name: String, version: String) {
        self.state.over = None;
        let Some(lot) = &mut self.state.lot else { return };
        lot.history.step(&lot.now, false);
        let recipe = &mut lot.now.recipe;
        (recipe.name, recipe.version, recipe.locked) = (name, version, true);
        if self.save_choices() {
            self.measure();
        }
    }

    /// Writes the sheet where it was changed; false, and a notice, where that fails.
    fn save_sheet(&mut self) -> bool {
        let Some(lot) = &mut self.state.lot else { return false };
        if !lot.sheet.as_ref().is_some_and(sheet::Draft::is_changed) {
            return true;
        }
        match sheet::apply(lot, sheet::Act::Save) {
            Ok(_) => true,
            Err(fault) => {
                self.say(Notice::of(&fault));
                false
            }
        }
    }

    /// Writes the choices to the recipe file; false, and a notice, where that fails.
    fn save_choices(&mut self) -> bool {
        let Some(lot) = &mut self.state.lot else { return false };
        let path = recipe_path(lot);
        match recipe_file::save(&path, &lot.now.recipe) {
            Ok(()) => {
                lot.on_disk.recipe = lot.now.recipe.clone();
                let text = format!("Choices saved to {}", path.display());
                self.say(Notice::good(text));
                true
            }
            Err(fault) => {
                self.say(Notice::of(&fault));
                false
            }
        }
    }

    /// Asks for a record of the lot that is shown; the choices are saved.
    fn write_record(&mut self) {
        let Some(lot) = &self.state.lot else { return };
        let (folder, name) = (lot.folder.clone(), lot.name.clone());
        self.order(folder, name);
    }

    fn order(&mut self, folder: PathBuf, name: String) {
        let out = self.records_of(&folder);
        let id = self.jobs.write.ask(folder.clone(), out.clone());
        self.state.queue.push(Writing { id, folder, name, out, stage: WriteStage::Waits });
        self.state.over = Some(Over::Queue);
    }

    fn stop_writing(&mut self, id: u64) {
        let waited = self.jobs.write.stop(id);
        if let (true, Some(writing)) = (waited, self.state.queue.iter_mut().find(|writing| writing.id == id)) {
            writing.stage = WriteStage::Failed(Fault::interrupted());
        }
    }

    fn ask_for(&mut self, purpose: Purpose) {
        if self.state.choosing.is_none() {
            self.state.choosing = Some(std::time::Instant::now());
            let at = self.state.lot.as_ref().map(|lot| lot.folder.clone()).or_else(|| self.state.prefs.recent.first().cloned());
            self.jobs.choose(purpose, at);
        }
    }

    pub(crate) fn save_charts(&mut self, folder: &Path) {
        self.state.over = None;
        let Some(lot) = &self.state.lot else { return };
        let made = std::fs::create_dir_all(folder)
            .map_err(|e| Fault::work(format!("the folder cannot be made: {e}"), "choose another one").at(folder));
        match made.and_then(|()| crate::numbers::save_charts(lot, folder)) {
            Ok(count) => self.say(Notice::good(format!("{count} files of charts written to {}", folder.display()))),
            Err(fault) => self.say(Notice::of(&fault)),
        }
    }

    fn take_up(&mut self, wanted: bool) {
        let Some(left) = self.state.left.take() else { return };
        if wanted {
            self.open(&left.folder);
            self.taking_up = Some(left);
        }
    }

    fn sheet(&mut self, act: sheet::Act) {
        let Some(lot) = &mut self.state.lot else { return };
        match sheet::apply(lot, act) {
            Ok(false) => {}
            Ok(true) => {
                self.say(Notice::good("Sheet saved"));
                self.measure();
            }
            Err(fault) => self.say(Notice::of(&fault)),
        }
    }
}

/// The day, for corrections; empty where the clock makes no sense.
fn today() -> String {
    Moment::now().map_or_else(|_| String::new(), |moment| moment.date)
}

/// Notices that are kept.
const MOST_NOTICES: usize = 4;

/// The recipe file of a lot: the one in use, else one beside the sheet.
fn recipe_path(lot: &Lot) -> PathBuf {
    let in_use = lot.batch.as_ref().and_then(|batch| batch.recipe_file.clone());
    in_use.unwrap_or_else(|| lot.folder.join("recipe.toml"))
}
