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
}

impl Draft {
    pub(super) fn of(prefs: &Prefs) -> Self {
        let records = prefs.records.as_ref().map_or_else(String::new, |folder| folder.display().to_string());
        Self { records, operator: prefs.operator.clone() }
    }
}

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut Draft, acts: &mut Acts) {
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
    let label = ui.label("Folder of records; empty is a folder named records beside the lot");
    ui.horizontal(|ui| {
        let wide = (ui.available_width() - 120.0).max(200.0);
        let edit = ui.add(widgets::line(&mut draft.records, wide)).labelled_by(label.id);
        if edit.lost_focus() || (edit.has_focus() && ui.input(|input| input.key_pressed(Key::Enter))) {
            let text = draft.records.trim();
            acts.push(Act::Records((!text.is_empty()).then(|| PathBuf::from(text))));
        }
        if ui.button("Choose…").clicked() {
            acts.push(Act::ChooseRecords);
        }
    });
    ui.add_space(theme::GAP);
    let label = ui.label("Your code, for corrections by hand");
    let edit = ui.add(widgets::line(&mut draft.operator, 200.0)).labelled_by(label.id);
    if edit.changed() {
        acts.push(Act::Operator(draft.operator.clone()));
    }
    super::done(ui, acts);
}
