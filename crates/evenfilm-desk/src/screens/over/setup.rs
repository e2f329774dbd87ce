//! Appearance, size of text, the folder of records, the code of whoever works here.

use std::path::PathBuf;

use egui::{Key, Ui};

use super::{title, widgets};
use crate::change::{Act, Acts};
use crate::prefs::{Look, Prefs, SCALES};
use crate::state::State;
use crate::theme;

/// What is being typed.
#[derive(Default)]
pub(crate) struct Draft {
    records: String,
    operator: String,
    /// The folder that the box was filled from: where another was chosen, the box follows.
    filled_from: Option<PathBuf>,
    /// Why what was typed is not taken.
    wrong: &'static str,
    /// Whether something was typed that was not taken yet.
    is_typed: bool,
}

impl Draft {
    pub(super) fn of(prefs: &Prefs) -> Self {
        let records = prefs.records.as_ref().map_or_else(String::new, |folder| folder.display().to_string());
        Self { records, operator: prefs.operator.clone(), filled_from: prefs.records.clone(), wrong: "", is_typed: false }
    }
}

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut Draft, is_new: bool, acts: &mut Acts) {
    title(ui, "Set up the desk");
    let prefs = &state.prefs;
    ui.label("Appearance");
    ui.horizontal(|ui| {
        for look in Look::ALL {
            if ui.selectable_label(prefs.look == look, look.label()).clicked() {
                acts.push(Act::Appearance(look));
            }
        }
    });
    ui.add_space(theme::GAP);
    ui.label("Size of text and buttons");
    ui.horizontal_wrapped(|ui| {
        for pct in SCALES {
            if ui.selectable_label(prefs.scale_pct == pct, format!("{pct} %")).clicked() {
                acts.push(Act::Scale(pct));
            }
        }
    });
    ui.add_space(theme::GAP);
    if draft.filled_from != prefs.records {
        let operator = std::mem::take(&mut draft.operator);
        *draft = Draft { operator, ..Draft::of(prefs) };
    }
    let mut is_typed = draft.is_typed;
    let label = ui.label("Folder of records; empty is a folder named records beside the lot");
    ui.horizontal(|ui| {
        let wide = (ui.available_width() - 120.0).max(200.0);
        let edit = ui.add(widgets::line(&mut draft.records, wide)).labelled_by(label.id);
        is_typed |= edit.changed();
        let ended = edit.lost_focus() || (edit.has_focus() && ui.input(|input| input.key_pressed(Key::Enter)));
        if ended && is_typed {
            take_folder(draft, acts);
            is_typed = false;
        }
        if ui.button("Choose…").clicked() {
            acts.push(Act::ChooseRecords);
        }
    });
    draft.is_typed = is_typed;
    if !draft.wrong.is_empty() {
        ui.add(egui::Label::new(egui::RichText::new(draft.wrong).color(theme::inks(ui).warn)).wrap());
    }
    ui.add_space(theme::GAP);
    let label = ui.label("Your code, for corrections by hand");
    let edit = ui.add(widgets::line(&mut draft.operator, 200.0)).labelled_by(label.id);
    if edit.changed() {
        acts.push(Act::Operator(draft.operator.clone()));
    }
    super::done(ui, is_new, acts);
}

/// Takes the folder that was typed, where it stands for one place whatever folder the program was started in.
fn take_folder(draft: &mut Draft, acts: &mut Acts) {
    let text = draft.records.trim();
    let folder = (!text.is_empty()).then(|| PathBuf::from(text));
    if folder.as_ref().is_some_and(|path| !path.is_absolute()) {
        draft.wrong = "Not taken: write the whole path, from the root or the drive on";
        return;
    }
    draft.wrong = "";
    if folder != draft.filled_from {
        draft.filled_from.clone_from(&folder);
        acts.push(Act::Records(folder));
    }
}
