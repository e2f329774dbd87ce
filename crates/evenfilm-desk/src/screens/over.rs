//! What lies over everything else: one thing at a time, closed by Escape.

use egui::{Id, Key, Modal, Response, RichText, ScrollArea, Ui};

use super::{focus, widgets};
use crate::change::{Act, Acts};
use crate::state::{Lot, Next, Over, State};
use crate::theme;

mod again;
mod find;
mod kind;
mod queue;
mod setup;
mod sign;
mod signoffs;
mod why;

/// What is being typed into it.
#[derive(Default)]
pub(crate) struct Draft {
    find: find::Draft,
    reason: String,
    kind: kind::Draft,
    name: String,
    version: String,
    charts: String,
    /// What was shown in the pass before: a thing that has just come takes the keyboard.
    shown: Option<Over>,
    setup: setup::Draft,
    again: String,
    sign: sign::Draft,
}

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut Draft, acts: &mut Acts) {
    if state.over != Some(Over::Sign) {
        // What was typed goes with the box, a passphrase before all.
        draft.sign = sign::Draft::default();
    }
    let Some(over) = state.over.clone() else {
        draft.shown = None;
        return;
    };
    let is_new = draft.shown.as_ref() != Some(&over);
    if is_new {
        begin(state, draft);
    }
    draft.shown = Some(over.clone());
    let lot = state.lot.as_ref();
    let response = Modal::new(Id::unique(("over", std::mem::discriminant(&over))))
        .frame(egui::Frame::window(ui.style()).inner_margin(20))
        .show(ui.ctx(), |ui| {
            let room = ui.ctx().content_rect().size();
            ui.set_max_width(720.0_f32.min(room.x - 80.0));
            // What grows while it is shown takes the room at once.
            let high = room.y - 64.0;
            let scroll = ScrollArea::vertical().id_salt("over").max_height(high).min_scrolled_height(high);
            scroll.show(ui, |ui| {
                content(ui, (state, lot), &over, draft, is_new, acts);
                focus::follow(ui);
            });
        });
    if response.backdrop_response.clicked() && over != Over::Closing {
        acts.push(Act::Over(None));
    }
}

/// Room for a list that scrolls within what lies over the desk, points.
pub(super) fn inner_height(ui: &Ui) -> f32 {
    (ui.ctx().content_rect().height() - 240.0).max(120.0)
}

fn content(ui: &mut Ui, (state, lot): (&State, Option<&Lot>), over: &Over, draft: &mut Draft, is_new: bool, acts: &mut Acts) {
    match (over, lot) {
        (Over::Find, _) => find::show(ui, state, &mut draft.find, is_new, acts),
        (Over::Keys, _) => find::keys(ui, is_new, acts),
        (Over::Why, Some(lot)) => why::show(ui, lot, is_new, acts),
        (Over::Queue, _) => queue::show(ui, state, is_new, acts),
        (Over::Setup, _) => setup::show(ui, state, &mut draft.setup, is_new, acts),
        (Over::LeaveOut, Some(lot)) => leave_out(ui, lot, draft, is_new, acts),
        (Over::Kind(thing), _) => kind::show(ui, thing, &mut draft.kind, is_new, acts),
        (Over::Lock, Some(_)) => lock(ui, draft, is_new, acts),
        (Over::Again, _) => again::show(ui, &state.again, &mut draft.again, is_new, acts),
        (Over::Sign, _) => sign::show(ui, state, &mut draft.sign, is_new, acts),
        (Over::Charts, Some(_)) => charts(ui, draft, is_new, acts),
        (Over::SaveFirst, lot) => save_first(ui, lot, is_new, acts),
        (Over::Leave(next), lot) => leave(ui, lot, next, is_new, acts),
        (Over::Closing, _) => closing(ui, is_new, acts),
        (Over::LeaveOut | Over::Lock | Over::Why | Over::Charts, None) => acts.push(Act::Over(None)),
    }
}

/// Fills what is typed into with what holds now.
fn begin(state: &State, draft: &mut Draft) {
    draft.find = find::Draft::default();
    draft.setup = setup::Draft::of(&state.prefs);
    draft.reason = "overlap".into();
    draft.kind = kind::Draft::default();
    draft.again.clear();
    draft.sign = sign::Draft::of(&state.prefs);
    if let Some(lot) = &state.lot {
        draft.name.clone_from(&lot.now.recipe.name);
        draft.version.clone_from(&lot.now.recipe.version);
        draft.charts = lot.folder.parent().unwrap_or(&lot.folder).join("charts").display().to_string();
    }
}

pub(super) fn title(ui: &mut Ui, text: &str) {
    ui.label(RichText::new(text).size(22.0));
    ui.add_space(theme::GAP);
}

/// The same where a name in it may be long.
pub(super) fn title_wrapped(ui: &mut Ui, text: &str) {
    ui.add(egui::Label::new(RichText::new(text).size(22.0)).wrap());
    ui.add_space(theme::GAP);
}

/// Reasons that are met often.
const REASONS: [&str; 4] = ["overlap", "out of focus", "bubbles", "edge of the film"];

fn leave_out(ui: &mut Ui, lot: &Lot, draft: &mut Draft, is_new: bool, acts: &mut Acts) {
    let name = lot.cards.get(lot.field).map_or("", |card| card.name.as_str());
    title(ui, &format!("Why is {name} left out?"));
    ui.label("A field that overlaps another leaves the numbers. For any other reason it stays in the numbers that decide, is flagged, and the numbers without it stand beside.");
    ui.add_space(theme::GAP);
    ui.horizontal_wrapped(|ui| {
        for reason in REASONS {
            if ui.selectable_label(draft.reason == reason, reason).clicked() {
                draft.reason = reason.into();
            }
        }
    });
    let label = ui.label("Reason");
    let wide = ui.available_width();
    let edit = ui.add(widgets::line(&mut draft.reason, wide)).labelled_by(label.id);
    if is_new {
        edit.request_focus();
    }
    let entered = edit.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
    let reason = draft.reason.trim().to_owned();
    ui.add_space(theme::GAP);
    ui.horizontal(|ui| {
        let ready = !reason.is_empty();
        let asked = ui.add_enabled_ui(ready, |ui| widgets::main_button(ui, "Leave it out").clicked()).inner;
        if ready && (asked || entered) {
            acts.push(Act::LeaveOut(reason));
        }
        cancel(ui, acts);
    });
}

fn lock(ui: &mut Ui, draft: &mut Draft, is_new: bool, acts: &mut Acts) {
    title(ui, "Lock the choices");
    ui.label("A verdict rests on choices that were fixed before the numbers were seen. A lock saves them to the recipe file; any change takes it off again.");
    ui.add_space(theme::GAP);
    let wide = ui.available_width();
    let label = ui.label("Name of the recipe");
    let edit = ui.add(widgets::line(&mut draft.name, wide)).labelled_by(label.id);
    if is_new {
        edit.request_focus();
    }
    let label = ui.label("Version");
    let version = ui.add(widgets::line(&mut draft.version, wide)).labelled_by(label.id);
    let entered = version.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
    let (name, version) = (draft.name.trim().to_owned(), draft.version.trim().to_owned());
    let ready = !name.is_empty() && !version.is_empty();
    ui.add_space(theme::GAP);
    ui.horizontal(|ui| {
        let asked = ui.add_enabled_ui(ready, |ui| widgets::main_button(ui, "Lock and save").clicked()).inner;
        if ready && (asked || entered) {
            acts.push(Act::Lock { name, version });
        }
        cancel(ui, acts);
    });
}

fn charts(ui: &mut Ui, draft: &mut Draft, is_new: bool, acts: &mut Acts) {
    title(ui, "Save the charts");
    ui.label("Each chart as SVG and as PNG, light, named after the lot.");
    let label = ui.label("Folder of the charts");
    let edit = ui.horizontal(|ui| {
        let wide = (ui.available_width() - 120.0).max(200.0);
        let edit = ui.add(widgets::line(&mut draft.charts, wide)).labelled_by(label.id);
        if ui.button("Choose…").clicked() {
            acts.push(Act::ChooseCharts);
        }
        edit
    });
    let edit = edit.inner;
    if is_new {
        edit.request_focus();
    }
    let entered = edit.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
    let folder = draft.charts.trim().to_owned();
    ui.add_space(theme::GAP);
    ui.horizontal(|ui| {
        let asked = ui.add_enabled_ui(!folder.is_empty(), |ui| widgets::main_button(ui, "Save them there").clicked()).inner;
        if !folder.is_empty() && (asked || entered) {
            acts.push(Act::SaveCharts(folder.into()));
        }
        cancel(ui, acts);
    });
}

fn save_first(ui: &mut Ui, lot: Option<&Lot>, is_new: bool, acts: &mut Acts) {
    title(ui, "Not everything is saved");
    ui.label(format!("Not saved: {}.", lot.map_or_else(String::new, Lot::unsaved)));
    ui.label("A record is made from the files of the lot, so that it can be made again: they are saved first.");
    ui.add_space(theme::GAP);
    ui.horizontal(|ui| {
        if widgets::main_button(ui, "Save and write the record").clicked() {
            acts.push(Act::SaveAndWrite);
        }
        with_keys(cancel(ui, acts), is_new);
    });
}

fn leave(ui: &mut Ui, lot: Option<&Lot>, next: &Next, is_new: bool, acts: &mut Acts) {
    title(ui, "Leave the lot without saving?");
    ui.label(format!("Not saved: {}.", lot.map_or_else(String::new, Lot::unsaved)));
    ui.add_space(theme::GAP);
    ui.horizontal(|ui| {
        if with_keys(widgets::main_button(ui, "Go back"), is_new).clicked() {
            acts.push(Act::Over(None));
        }
        if ui.button("Leave without saving").clicked() {
            acts.push(Act::Leave(next.clone()));
        }
    });
}

fn closing(ui: &mut Ui, is_new: bool, acts: &mut Acts) {
    title(ui, "Something is not done yet");
    ui.label("Choices or a sheet are not saved, or a record is still being written. A record that is given up leaves nothing behind.");
    ui.add_space(theme::GAP);
    ui.horizontal(|ui| {
        if with_keys(widgets::main_button(ui, "Go back"), is_new).clicked() {
            acts.push(Act::Over(None));
        }
        if ui.button("Close without it").clicked() {
            acts.push(Act::CloseAnyway);
        }
    });
}

/// Gives the keyboard to what is safe to press when a question has just come.
fn with_keys(response: Response, is_new: bool) -> Response {
    if is_new {
        response.request_focus();
    }
    response
}

fn cancel(ui: &mut Ui, acts: &mut Acts) -> Response {
    let response = ui.button("Cancel");
    if response.clicked() {
        acts.push(Act::Over(None));
    }
    response
}

/// A button that closes what is shown.
pub(super) fn done(ui: &mut Ui, is_new: bool, acts: &mut Acts) {
    ui.add_space(theme::GAP);
    if with_keys(widgets::main_button(ui, "Close"), is_new).clicked() {
        acts.push(Act::Over(None));
    }
}
