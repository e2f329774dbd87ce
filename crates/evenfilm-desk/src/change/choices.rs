//! Choices, corrections and the sheet: changed, and saved.

use evenfilm_core::recipe::{GapKind, Kind, Recipe};
use evenfilm_record::corrections::{Change, Correction};
use evenfilm_record::recipe_file;
use evenfilm_record::time::Moment;

use super::{Desk, Lot, Notice, Pointed, sheet};
use crate::jobs::write_corrections;

impl Desk {
    /// Changes choices: one step back and forth, and a new run.
    pub(super) fn choose(&mut self, recipe: Recipe, more: bool) {
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
    pub(super) fn changed(&mut self, light: bool) {
        if light {
            self.forget_picture();
        }
        self.measure();
    }

    pub(super) fn leave_out(&mut self, reason: &str) {
        self.show_over(None);
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

    pub(super) fn give_kind(&mut self, thing: &Pointed, kind: &str, reason: &str) {
        self.show_over(None);
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

    pub(super) fn lock(&mut self, name: String, version: String) {
        self.show_over(None);
        let Some(lot) = &mut self.state.lot else { return };
        lot.history.step(&lot.now, false);
        let recipe = &mut lot.now.recipe;
        (recipe.name, recipe.version, recipe.locked) = (name, version, true);
        // What cannot be saved is not locked.
        if !self.save_choices() {
            self.of_lot(|lot| _ = lot.history.undo(&mut lot.now));
        }
        self.measure();
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

    /// Writes everything of the lot that is not saved; false, and a notice, where that fails.
    pub(super) fn save_all(&mut self) -> bool {
        let choices = self.state.lot.as_ref().is_some_and(Lot::is_unsaved);
        self.save_sheet() && self.save_corrections() && (!choices || self.save_choices())
    }

    /// Writes corrections that no run has written yet.
    fn save_corrections(&mut self) -> bool {
        let Some(lot) = &mut self.state.lot else { return false };
        if !lot.corrections_wait() {
            return true;
        }
        let written = write_corrections(&lot.folder, &lot.on_disk.corrections, &lot.now.corrections);
        match written {
            Ok(true) => {
                lot.on_disk.corrections = lot.now.corrections.clone();
                true
            }
            Ok(false) => {
                self.say(Notice::overtaken());
                false
            }
            Err(fault) => {
                self.say(Notice::of(&fault));
                false
            }
        }
    }

    /// Writes the choices to the recipe file; false, and a notice, where that fails.
    pub(super) fn save_choices(&mut self) -> bool {
        let Some(lot) = &mut self.state.lot else { return false };
        let path = lot.recipe_path();
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

    pub(super) fn sheet(&mut self, act: sheet::Act) {
        let Some(lot) = &mut self.state.lot else { return };
        match sheet::apply(lot, act) {
            Ok(false) => {}
            Ok(true) => {
                self.say(Notice::good("Sheet saved"));
                // Scale, light and names may be others now.
                self.measure_anew();
            }
            Err(fault) => self.say(Notice::of(&fault)),
        }
    }
}

/// The day, for corrections; empty where the clock makes no sense.
fn today() -> String {
    Moment::now().map_or_else(|_| String::new(), |moment| moment.date)
}
