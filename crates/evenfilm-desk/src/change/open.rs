//! Opening and leaving lots.

use std::path::{Path, PathBuf};

use super::{Desk, Lot, Next, Over, Purpose};

impl Desk {
    /// Goes on from a lot; asks first where something of it is not saved.
    pub(crate) fn leave(&mut self, next: Next) {
        if self.state.lot.as_ref().is_some_and(|lot| !lot.unsaved().is_empty()) {
            self.state.over = Some(Over::Leave(next));
        } else {
            self.go(&next);
        }
    }

    pub(crate) fn go(&mut self, next: &Next) {
        self.show_over(None);
        match next {
            Next::Start => {
                self.close_lot();
                self.state.lots.clear();
            }
            Next::Lot(place) => self.show_lot(*place),
            Next::Folder(folder) => self.open(folder),
        }
    }

    /// Opens a folder. What is shown stays until the folder is known to hold a lot.
    pub(crate) fn open(&mut self, folder: &Path) {
        let folder = std::path::absolute(folder).unwrap_or_else(|_| folder.to_path_buf());
        self.opening = Some(folder.clone());
        self.jobs.list.ask(folder);
    }

    pub(crate) fn close_lot(&mut self) {
        self.jobs.measure.stop();
        self.jobs.picture.stop();
        self.jobs.thumbs.stop();
        self.state.lot = None;
    }

    /// Shows a lot of the open folder.
    pub(super) fn show_lot(&mut self, place: usize) {
        let Some(listed) = self.state.lots.get(place).cloned() else { return };
        self.jobs.picture.stop();
        self.jobs.thumbs.stop();
        self.state.lot = Some(Lot::new(&listed));
        if listed.name.is_some() || listed.fault.is_none() {
            self.state.prefs.opened(&listed.folder);
        }
        self.ask_to_measure(None, None);
    }

    /// Where records of a lot go: the folder of the settings, else `records` beside it.
    pub(crate) fn records_of(&self, lot: &Path) -> PathBuf {
        self.state.prefs.records.clone().unwrap_or_else(|| lot.parent().unwrap_or(lot).join("records"))
    }

    pub(super) fn take_up(&mut self, wanted: bool) {
        let Some(left) = self.state.left.pop() else { return };
        if wanted {
            self.open(&left.folder);
            self.taking_up = Some(left);
        } else {
            left.let_go();
        }
    }

    /// Lets the system ask for a folder.
    pub(super) fn ask_for(&mut self, purpose: Purpose) {
        if self.state.choosing.is_none() {
            self.state.choosing = Some(std::time::Instant::now());
            let at = self.state.lot.as_ref().map(|lot| lot.folder.clone()).or_else(|| self.state.prefs.recent.first().cloned());
            self.jobs.choose(purpose, at);
        }
    }
}
