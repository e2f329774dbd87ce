//! Records and charts.

use std::path::{Path, PathBuf};

use super::{Desk, Notice, Over};
use crate::numbers::Charted;
use crate::state::{WriteStage, Writing};

impl Desk {
    /// Asks for a record of the lot that is shown; the choices are saved.
    pub(super) fn write_record(&mut self) {
        let Some(lot) = &self.state.lot else { return };
        let (folder, name) = (lot.folder.clone(), lot.name.clone());
        self.order(folder, name);
    }

    pub(crate) fn order(&mut self, folder: PathBuf, name: String) {
        let out = self.records_of(&folder);
        let id = self.jobs.write.ask(folder.clone(), out.clone());
        self.state.queue.push(Writing { id, folder, name, out, stage: WriteStage::Waits });
        self.state.over = Some(Over::Queue);
    }

    pub(super) fn stop_writing(&mut self, id: u64) {
        let waited = self.jobs.write.stop(id);
        if let (true, Some(writing)) = (waited, self.state.queue.iter_mut().find(|writing| writing.id == id)) {
            writing.stage = WriteStage::Stopped;
        }
    }

    /// Draws the charts of the lot and writes them, beside the window.
    pub(super) fn save_charts(&mut self, folder: &Path) {
        self.state.over = None;
        match self.state.lot.as_ref().and_then(Charted::of) {
            Some(charted) => self.jobs.save_charts(charted, folder.to_path_buf()),
            None => self.say(Notice::not_now("The charts cannot be saved until the lot is measured")),
        }
    }
}
