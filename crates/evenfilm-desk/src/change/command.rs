//! What each command does, and when it cannot.

use evenfilm_record::corrections::Change;
use evenfilm_record::summary;

use super::{Act, Appearance, Camera, Command, Face, Lot, Next, Notice, Over, Purpose, Run};
use crate::Desk;
use crate::numbers;
use crate::state::{State, WriteStage};

/// How much a key enlarges.
const ZOOM_STEP: f64 = 1.5;

/// Why a command can do nothing now; `None` where it can.
pub(crate) fn barred(command: Command, state: &State) -> Option<&'static str> {
    let lot = state.lot.as_ref();
    let needs_lot = lot.is_none().then_some("open a lot first");
    let needs_batch = needs_lot.or_else(|| lot.is_some_and(|lot| lot.batch.is_none()).then_some("the lot cannot be measured as it is"));
    let needs_numbers = || lot.and_then(|lot| lot.measured.as_ref()).is_none().then_some("wait until the lot is measured");
    let at = |step: isize| match (lot, state.lots.len()) {
        (None, _) => Some("open a lot first"),
        (Some(lot), count) => {
            let here = state.lots.iter().position(|one| one.folder == lot.folder);
            let there = here.and_then(|here| here.checked_add_signed(step)).filter(|&there| there < count);
            there.is_none().then_some("there is no other lot in this direction")
        }
    };
    match command {
        Command::NextLot => at(1),
        Command::PreviousLot => at(-1),
        Command::Undo => needs_lot.or_else(|| lot.is_some_and(|lot| !lot.history.can_undo()).then_some("nothing was changed")),
        Command::Redo => needs_lot.or_else(|| lot.is_some_and(|lot| !lot.history.can_redo()).then_some("nothing was undone")),
        Command::SaveChoices => needs_batch.or_else(|| lot.is_some_and(|lot| !lot.is_unsaved()).then_some("the choices are saved")),
        Command::LeaveOut | Command::Lock | Command::WriteRecord => needs_batch,
        Command::WriteAll if state.lots.is_empty() => Some("open a folder first"),
        Command::WriteAll => lot.is_some_and(|lot| !lot.unsaved().is_empty()).then_some("save the lot that is shown first"),
        Command::LargestObject | Command::LargestGap | Command::Kind => {
            needs_lot.or_else(needs_numbers).or_else(|| (state.face != Face::Picture).then_some("show the picture first"))
        }
        Command::Why => needs_lot.or_else(|| lot.is_some_and(|lot| !lot.may_judge()).then_some("lock the choices first")),
        Command::CopySummary | Command::CopyValues | Command::SaveCharts => {
            needs_lot.or_else(|| lot.is_some_and(|lot| !lot.is_current()).then_some("wait until the numbers are those of the choices"))
        }
        Command::Stop => (!lot.is_some_and(|lot| matches!(lot.run, Run::Going { .. }))).then_some("nothing is being measured"),
        Command::StopRecords => {
            let writing = state.queue.iter().any(|one| matches!(one.stage, WriteStage::Waits | WriteStage::Going { .. }));
            (!writing).then_some("no record is being written")
        }
        Command::CloseLot
        | Command::SignRecord
        | Command::NextField
        | Command::PreviousField
        | Command::Picture
        | Command::Numbers
        | Command::Sheet
        | Command::Choices
        | Command::Larger
        | Command::Smaller
        | Command::Whole
        | Command::TrueSize
        | Command::Original => needs_lot,
        Command::OpenSample => state.rendering.then_some("the sample lot is being rendered"),
        Command::OpenFolder
        | Command::Queue
        | Command::OpenRecords
        | Command::Setup
        | Command::Bigger
        | Command::LessBig
        | Command::Light
        | Command::Find
        | Command::Quit
        | Command::Keys => None,
    }
}

impl Desk {
    /// Does what a person asked for by name.
    pub(super) fn command(&mut self, command: Command) {
        if let Some(why) = barred(command, &self.state) {
            self.say(Notice::not_now(format!("{}: {why}", command.label())));
            return;
        }
        match command {
            Command::OpenFolder => self.ask_for(Purpose::Lot),
            Command::OpenSample => self.open_sample(),
            Command::CloseLot => self.leave(Next::Start),
            Command::NextLot => self.step_lot(1),
            Command::PreviousLot => self.step_lot(-1),
            Command::NextField => self.step_field(1),
            Command::PreviousField => self.step_field(-1),
            Command::LeaveOut => self.leave_out_or_take_back(),
            Command::Picture => self.state.face = Face::Picture,
            Command::Numbers => self.state.face = Face::Numbers,
            Command::Sheet => self.state.face = Face::Sheet,
            Command::Choices => self.state.toggle_choices(),
            Command::Larger => self.zoom(ZOOM_STEP),
            Command::Smaller => self.zoom(1.0 / ZOOM_STEP),
            Command::Whole => self.of_lot(|lot| lot.camera = Camera::default()),
            Command::TrueSize => self.true_size(),
            Command::LargestObject => self.look_at_largest(false),
            Command::LargestGap => self.look_at_largest(true),
            Command::Original => self.of_lot(|lot| lot.bared = if lot.bared > 0.0 { 0.0 } else { 1.0 }),
            Command::Kind => self.state.over = self.pointed.clone().map(Over::Kind),
            Command::Undo => self.step_choices(|lot| lot.history.undo(&mut lot.now)),
            Command::Redo => self.step_choices(|lot| lot.history.redo(&mut lot.now)),
            Command::SaveChoices => drop(self.save_choices()),
            Command::Lock => self.lock_or_unlock(),
            Command::WriteRecord => self.ask_to_write(),
            Command::WriteAll => self.write_all(),
            Command::SignRecord => self.sign_latest(),
            Command::Why => self.state.over = Some(Over::Why),
            Command::Queue => self.state.over = Some(Over::Queue),
            Command::Setup => self.state.over = Some(Over::Setup),
            Command::Stop => self.stop(),
            Command::StopRecords => self.stop_records(),
            Command::CopySummary => self.copy_summary(),
            Command::CopyValues => self.copy_values(),
            Command::SaveCharts => self.state.over = Some(Over::Charts),
            Command::OpenRecords => self.open_records(),
            Command::Bigger => self.state.prefs.step_scale(true),
            Command::LessBig => self.state.prefs.step_scale(false),
            Command::Light => self.state.prefs.look = next_look(self.state.prefs.look),
            Command::Find => self.state.over = Some(Over::Find),
            Command::Keys => self.state.over = Some(Over::Keys),
            Command::Quit => self.wants_to_close = true,
        }
    }

    fn open_sample(&mut self) {
        let folder = self.data.join("sample lot");
        if folder.join("batch.toml").is_file() {
            return self.leave(Next::Folder(folder));
        }
        self.state.rendering = true;
        self.jobs.render_sample(folder);
    }

    fn step_lot(&mut self, step: isize) {
        let here = self.state.lot.as_ref().and_then(|lot| self.state.lots.iter().position(|one| one.folder == lot.folder));
        if let Some(there) = here.and_then(|here| here.checked_add_signed(step)) {
            self.apply(Act::Lot(there));
        }
    }

    fn step_field(&mut self, step: isize) {
        if let Some(there) = self.state.lot.as_ref().and_then(|lot| lot.field.checked_add_signed(step)) {
            self.apply(Act::Field(there));
        }
    }

    fn leave_out_or_take_back(&mut self) {
        let Some(lot) = &mut self.state.lot else { return };
        let Some(field) = lot.cards.get(lot.field).map(|card| card.name.clone()) else { return };
        let is_out = lot.now.corrections.lines.iter().any(|line| line.field == field && line.change == Change::LeaveOut);
        if is_out {
            lot.history.step(&lot.now, false);
            lot.now.corrections.take_back(&field);
            self.changed(false);
        } else {
            self.state.over = Some(Over::LeaveOut);
        }
    }

    fn zoom(&mut self, factor: f64) {
        let view = self.view_px;
        self.of_lot(|lot| {
            if let Some(picture) = &lot.picture {
                lot.camera.zoom_at(factor, [view[0] / 2.0, view[1] / 2.0], view, picture.size);
            }
        });
    }

    fn true_size(&mut self) {
        let view = self.view_px;
        self.of_lot(|lot| {
            if let Some(picture) = &lot.picture {
                let zoom = lot.camera.seen(view, picture.size).zoom;
                lot.camera.zoom_at(1.0 / zoom, [view[0] / 2.0, view[1] / 2.0], view, picture.size);
            }
        });
    }

    /// Brings the largest object or gap of the shown field into the middle, a third as large as the view.
    fn look_at_largest(&mut self, gap: bool) {
        let view = self.view_px;
        let Some(lot) = &mut self.state.lot else { return };
        let (Some(picture), Some(measured)) = (&lot.picture, &lot.measured) else { return };
        let Some(found) = measured.fields.get(lot.field).map(|field| &field.result) else { return };
        let objects = found.objects.iter().map(|object| (object.area_px2[1], object.centroid_px, object.at));
        let gaps = found.gaps.iter().map(|gap| (gap.area_px2[1], gap.centroid_px, gap.at));
        let largest = if gap { gaps.max_by(|a, b| a.0.total_cmp(&b.0)) } else { objects.max_by(|a, b| a.0.total_cmp(&b.0)) };
        match largest {
            Some((_, middle, at)) => {
                let side = f64::from(at.width.max(at.height).max(1));
                lot.camera = Camera { centre: None, zoom: Some((view[1] / side / 3.0).clamp(0.5, 16.0)) };
                lot.camera.look_at(middle, view, picture.size);
            }
            None => self.say(Notice::not_now("None was found in this field")),
        }
    }

    fn step_choices(&mut self, step: impl FnOnce(&mut Lot) -> bool) {
        let Some(lot) = &mut self.state.lot else { return };
        let light = lot.now.recipe.light;
        if step(lot) {
            let light = light != lot.now.recipe.light;
            self.changed(light);
        }
    }

    fn lock_or_unlock(&mut self) {
        let Some(lot) = &mut self.state.lot else { return };
        if lot.now.recipe.locked {
            lot.history.step(&lot.now, false);
            lot.now.recipe.locked = false;
            self.changed(false);
        } else {
            self.state.over = Some(Over::Lock);
        }
    }

    fn ask_to_write(&mut self) {
        if self.state.lot.as_ref().is_some_and(|lot| !lot.unsaved().is_empty()) {
            self.state.over = Some(Over::SaveFirst);
        } else {
            self.write_record();
        }
    }

    fn write_all(&mut self) {
        // Lots rest on checks, whose records come first.
        let mut lots: Vec<_> =
            self.state.lots.iter().filter(|one| one.fault.is_none()).map(|one| (one.folder.clone(), one.label())).collect();
        lots.sort_by_cached_key(|(folder, _)| !crate::sheet::is_check(folder));
        self.order(lots);
    }

    fn stop(&mut self) {
        self.jobs.measure.stop();
        self.of_lot(|lot| lot.run = Run::Stopped);
    }

    fn stop_records(&mut self) {
        let going = self.state.queue.iter().filter(|one| matches!(one.stage, WriteStage::Waits | WriteStage::Going { .. }));
        for id in going.map(|one| one.id).collect::<Vec<_>>() {
            self.stop_writing(id);
        }
    }

    fn copy_summary(&mut self) {
        if let Some(text) = self.state.lot.as_ref().and_then(summary_of) {
            self.apply(Act::Copy(text, "Summary"));
        }
    }

    fn copy_values(&mut self) {
        if let Some(text) = self.state.lot.as_ref().and_then(|lot| lot.objective()).map(numbers::as_table) {
            self.apply(Act::Copy(text, "Values"));
        }
    }

    fn open_records(&mut self) {
        let folder = match &self.state.lot {
            Some(lot) => self.records_of(&lot.folder),
            None => self.state.prefs.records.clone().unwrap_or_else(|| self.data.clone()),
        };
        let shown =
            if folder.is_dir() { opener::open(&folder).map_err(|e| e.to_string()) } else { Err("no record was written yet".into()) };
        if let Err(why) = shown {
            let text = format!("The folder of records cannot be shown: {why}");
            self.say(Notice::failed(text, format!("it is {}", folder.display())));
        }
    }
}

/// The summary of the lot as it is shown, in the words of the command line. While the choices are not locked, its verdict is provisional.
pub(crate) fn summary_of(lot: &Lot) -> Option<String> {
    let (measured, batch) = (lot.measured.as_ref()?, lot.batch.as_ref()?);
    let is_check = batch.sheet.purpose() == evenfilm_record::sheet::Purpose::Check;
    Some(format!("{}\n{}\n", summary::of_objectives(&lot.name, is_check, &measured.objectives, None), summary::CAUTION))
}

const fn next_look(look: Appearance) -> Appearance {
    match look {
        Appearance::System => Appearance::Light,
        Appearance::Light => Appearance::Dark,
        Appearance::Dark => Appearance::System,
    }
}
