//! Another kind for an object or a gap.

use egui::{Key, Ui};
use evenfilm_core::recipe::{GapKind, Kind};

use super::{title, widgets};
use crate::change::{Act, Acts};
use crate::state::Pointed;
use crate::theme;

/// What is being said of it.
#[derive(Default)]
pub(crate) struct Draft {
    kind: Option<&'static str>,
    reason: String,
}

pub(super) fn show(ui: &mut Ui, thing: &Pointed, draft: &mut Draft, is_new: bool, acts: &mut Acts) {
    let [x, y] = thing.at_um;
    title(ui, if thing.gap { "What is this gap?" } else { "What is this object?" });
    ui.label(format!("{}, at x {x:.1}, y {y:.1} µm; taken for: {}", thing.field, thing.kind));
    ui.label("It is written to corrections.csv beside the sheet; the record keeps the numbers without it too.");
    ui.add_space(theme::GAP);
    let words: Vec<&'static str> =
        if thing.gap { GapKind::ALL.iter().map(|kind| kind.word()).collect() } else { Kind::ALL.iter().map(|kind| kind.word()).collect() };
    let mut first = is_new;
    ui.horizontal_wrapped(|ui| {
        for word in words {
            let chosen = draft.kind == Some(word);
            let button = ui.add_enabled(word != thing.kind, egui::Button::selectable(chosen, word));
            if button.clicked() {
                draft.kind = Some(word);
            }
            if word != thing.kind && std::mem::take(&mut first) {
                button.request_focus();
            }
        }
    });
    let label = ui.label("How do you know?");
    let wide = ui.available_width();
    let edit = ui.add(widgets::line(&mut draft.reason, wide)).labelled_by(label.id);
    let entered = edit.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
    let reason = draft.reason.trim().to_owned();
    ui.add_space(theme::GAP);
    ui.horizontal(|ui| {
        let ready = !reason.is_empty() && draft.kind.is_some();
        let asked = ui.add_enabled_ui(ready, |ui| widgets::main_button(ui, "Give it this kind").clicked()).inner;
        if let (Some(kind), true) = (draft.kind, ready && (asked || entered)) {
            acts.push(Act::Kind(thing.clone(), kind, reason));
        }
        super::cancel(ui, acts);
    });
}
