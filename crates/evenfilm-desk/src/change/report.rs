//! What the jobs tell, applied.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use evenfilm_record::fault::{Fault, FaultKind};
use evenfilm_record::lot::Inspected;

use super::{Desk, Look, Lot, Notice, Purpose, Run};
use crate::jobs::{Report, Shown};
use crate::state::{Card, CardState, Listed, WriteStage};
use std::time::Duration;

use crate::jobs::{Opened, Thumbs};

impl Desk {
    /// Applies what a job told; what comes too late is dropped.
    pub(crate) fn report(&mut self, report: Report) {
        match report {
            Report::Listed(number, folder, lots) if self.jobs.list.is_latest(number) => self.listed(&folder, lots),
            Report::Opened(number, opened) if self.jobs.measure.is_latest(number) => self.opened(*opened),
            Report::Going(number, share, what, field) if self.jobs.measure.is_latest(number) => self.going(share, what, field),
            Report::Measured(number, result, with) if self.jobs.measure.is_latest(number) => {
                let Some(lot) = &mut self.state.lot else { return };
                match *result {
                    Ok(Shown { inspected, not_put_down }) => {
                        judge_cards(lot, &inspected);
                        lot.not_put_down = not_put_down;
                        (lot.measured, lot.measured_with, lot.run) = (Some(Arc::new(inspected)), Some(*with), Run::Idle);
                        lot.measured_batch.clone_from(&lot.batch);
                    }
                    Err(fault) => lot.run = Run::Failed(fault),
                }
            }
            Report::Pictured(number, picture) if self.jobs.picture.is_latest(number) => {
                let Some(lot) = &mut self.state.lot else { return };
                match *picture {
                    Ok(picture) => lot.picture = Some(Arc::new(picture)),
                    Err(fault) => lot.picture_fault = Some(fault),
                }
            }
            Report::Detailed(number, detail) if self.jobs.picture.is_latest(number) => self.canvas.detail(detail),
            Report::Thumbed(number, field, thumb) if self.jobs.thumbs.is_latest(number) => {
                let card = self.state.lot.as_mut().and_then(|lot| lot.cards.get_mut(field));
                if let Some(card) = card {
                    card.thumb = Some(Arc::new(thumb));
                }
            }
            Report::Chosen(folder, purpose) => self.folder_chosen(folder, purpose),
            Report::Rendered(result) => {
                self.state.rendering = false;
                match result {
                    Ok(folder) => self.open(&folder),
                    Err(fault) => self.say(Notice::of(&fault)),
                }
            }
            Report::Charted(folder, result) => match result {
                Ok(count) => self.say(Notice::good(format!("{count} files of charts written to {}", folder.display()))),
                Err(fault) => self.say(Notice::of(&fault)),
            },
            Report::LookedBack(ordered, is_required) => self.looked_back(ordered, is_required),
            Report::Latest(record) => self.latest_found(record),
            Report::Signoffs(record, result) => self.signoffs(&record, result),
            Report::NotPutDown(fault) => self.say(Notice::of(&fault)),
            Report::Writing(id, share, what, since_s) => {
                if let Some(one) = self.state.queue.iter_mut().find(|one| one.id == id) {
                    one.stage = WriteStage::Going { share, what, since_s };
                }
            }
            Report::Written(id, result) => {
                if let Some(one) = self.state.queue.iter_mut().find(|one| one.id == id) {
                    one.stage = match *result {
                        Ok(outcome) => WriteStage::Written(Box::new(outcome)),
                        Err(fault) if fault.kind == FaultKind::Interrupted => WriteStage::Stopped,
                        Err(fault) => WriteStage::Failed(fault),
                    };
                }
            }
            _ => {}
        }
    }

    fn listed(&mut self, folder: &Path, lots: Vec<Listed>) {
        self.opening = None;
        match lots.as_slice() {
            // A folder that holds none is told where it was asked for, and the start page stays.
            [one] if one.name.is_none() && one.fault.is_some() => {
                let fault = one.fault.clone().unwrap_or_else(Fault::interrupted);
                self.say(Notice::of(&fault));
            }
            _ => {
                if lots.len() > 1 {
                    self.state.prefs.opened(folder);
                }
                self.close_lot();
                self.state.lots = lots;
                self.show_lot(0);
            }
        }
    }

    fn opened(&mut self, opened: Result<Opened, Fault>) {
        let left = self.taking_up.take();
        let Some(lot) = &mut self.state.lot else { return };
        match opened {
            Ok(Opened { batch, chosen, on_disk, overtaken }) => {
                if overtaken {
                    self.say(Notice::overtaken());
                }
                let Some(lot) = &mut self.state.lot else { return };
                let first = lot.batch.is_none();
                (lot.name, lot.on_disk) = (batch.sheet.lot.clone(), on_disk);
                // The file's lines are numbered anew; what they say is the same.
                lot.now = chosen;
                let same = lot
                    .cards
                    .iter()
                    .map(|card| (&card.name, &card.slide))
                    .eq(batch.fields.iter().map(|field| (&field.source.name, &field.slide)));
                if first || !same {
                    let card = |field: &evenfilm_record::folder::Field| Card {
                        name: field.source.name.clone(),
                        slide: field.slide.clone(),
                        ..Card::default()
                    };
                    lot.cards = batch.fields.iter().map(card).collect();
                    lot.field = lot.field.min(lot.cards.len().saturating_sub(1));
                    self.jobs.thumbs.ask(Thumbs { batch: Arc::clone(&batch), fields: (0..batch.fields.len()).collect() });
                }
                let Some(lot) = &mut self.state.lot else { return };
                lot.cards.iter_mut().for_each(|card| card.state = CardState::Waiting);
                let needs_picture = lot.picture.is_none();
                lot.batch = Some(Arc::clone(&batch));
                if needs_picture {
                    self.jobs.picture.ask(Look { batch, field: lot.field });
                }
            }
            Err(fault) => {
                if lot.batch.is_none() {
                    lot.measured = None;
                }
                if lot.picture.is_none() {
                    lot.picture_fault = Some(fault.clone());
                }
                lot.run = Run::Failed(fault);
            }
        }
        if let Some(left) = left {
            left.take_up(self);
        }
    }

    fn going(&mut self, share: f32, what: String, field: Option<(usize, bool)>) {
        let Some(lot) = &mut self.state.lot else { return };
        lot.run = Run::Going { share, what };
        if let Some((card, done)) = field.and_then(|(place, done)| Some((lot.cards.get_mut(place)?, done))) {
            card.state = if done { CardState::Measured } else { CardState::Measuring };
        }
    }

    fn folder_chosen(&mut self, folder: Option<PathBuf>, purpose: Purpose) {
        let soon = self.state.choosing.take().is_some_and(|since| since.elapsed() < SOON);
        let Some(folder) = folder else {
            // Nobody is so quick to change their mind: the system has no such window.
            if soon {
                let text = "This system shows no window for choosing a folder or a file";
                self.say(Notice::failed(text, "type the path"));
            }
            return;
        };
        match purpose {
            Purpose::Lot => self.open(&folder),
            Purpose::Records => self.records_go_to(Some(folder)),
            Purpose::Key => self.state.prefs.key = Some(folder),
            Purpose::Charts => self.save_charts(&folder),
        }
    }
}

/// Faster than anybody closes a window that has just opened.
const SOON: Duration = Duration::from_millis(400);

/// What became of each field, on its card.
fn judge_cards(lot: &mut Lot, inspected: &Inspected) {
    for field in &inspected.fields {
        let Some(card) = lot.cards.get_mut(field.number - 1) else { continue };
        card.state = match (field.rejected.as_str(), field.flags.len()) {
            ("", 0) => CardState::Measured,
            ("", n) => CardState::ToCheck(n),
            (why, _) if field.stays => CardState::SetAside(why.into()),
            (why, _) => CardState::LeftOut(why.into()),
        };
    }
}
