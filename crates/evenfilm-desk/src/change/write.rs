//! Records and charts.

use std::path::{Path, PathBuf};

use super::{Desk, Notice, Over};
use crate::numbers::Charted;
use crate::state::{Again, Before, Ordered, WriteStage, Writing};

impl Desk {
    /// Asks for a record of the lot that is shown; the choices are saved.
    pub(super) fn write_record(&mut self) {
        let Some(lot) = &self.state.lot else { return };
        let (folder, name) = (lot.folder.clone(), lot.name.clone());
        self.order(vec![(folder, name)]);
    }

    /// Asks for records of lots, by folder and name. They are queued when it is known what there was before.
    pub(crate) fn order(&mut self, lots: Vec<(PathBuf, String)>) {
        let ordered = |(folder, name): (PathBuf, String)| Ordered { out: self.records_of(&folder), folder, name, before: None };
        let ordered = lots.into_iter().map(ordered).collect();
        self.state.looking_back += 1;
        self.jobs.look_back(ordered);
    }

    /// Queues records, or asks first why they are made although there are earlier ones.
    pub(super) fn looked_back(&mut self, mut ordered: Vec<Ordered>, is_required: bool) {
        self.state.looking_back = self.state.looking_back.saturating_sub(1);
        let queued = |one: &Ordered| self.state.queue.iter().any(|writing| writing.is_before(one));
        for one in ordered.iter_mut().filter(|one| one.before.is_none()) {
            // Whoever asks twice in a row makes two records.
            one.before = queued(one).then_some(Before { revision: None, at: String::new() });
        }
        let asks = ordered.iter().any(|one| one.before.is_some());
        if !asks && self.state.again.ordered.is_empty() {
            return self.queue(ordered, None);
        }
        self.state.again.ordered.extend(ordered);
        self.state.again.is_required |= is_required;
        // Whatever else is shown is not taken away; the question comes after it.
        if matches!(self.state.over, None | Some(Over::Queue)) {
            self.state.over = Some(Over::Again);
        }
    }

    /// Queues the records that waited for a reason.
    pub(super) fn queue_again(&mut self, reason: &str) {
        let Again { ordered, .. } = std::mem::take(&mut self.state.again);
        let reason = reason.trim();
        self.queue(ordered, (!reason.is_empty()).then_some(reason));
    }

    fn queue(&mut self, ordered: Vec<Ordered>, reason: Option<&str>) {
        for Ordered { folder, name, out, before } in ordered {
            let reason = reason.filter(|_| before.is_some()).map(str::to_owned);
            let id = self.jobs.write.ask(folder.clone(), out.clone(), reason);
            self.state.queue.push(Writing { id, folder, name, out, stage: WriteStage::Waits });
        }
        if matches!(self.state.over, None | Some(Over::Again)) {
            self.state.over = Some(Over::Queue);
        }
    }

    /// Another folder for records: what is shown is put down there too, and checks are looked for there.
    pub(super) fn records_go_to(&mut self, folder: Option<PathBuf>) {
        let before = std::mem::replace(&mut self.state.prefs.records, folder);
        if before != self.state.prefs.records && self.state.lot.is_some() {
            self.measure();
        }
    }

    pub(super) fn stop_writing(&mut self, id: u64) {
        let waited = self.jobs.write.stop(id);
        if let (true, Some(writing)) = (waited, self.state.queue.iter_mut().find(|writing| writing.id == id)) {
            writing.stage = WriteStage::Stopped;
        }
    }

    /// Draws the charts of the lot and writes them, beside the window.
    pub(super) fn save_charts(&mut self, folder: &Path) {
        self.show_over(None);
        match self.state.lot.as_ref().and_then(Charted::of) {
            Some(charted) => self.jobs.save_charts(charted, folder.to_path_buf()),
            None => self.say(Notice::not_now("The charts cannot be saved until the lot is measured")),
        }
    }
}
