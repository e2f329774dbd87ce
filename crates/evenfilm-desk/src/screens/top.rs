//! The bar at the top: rooms, the lot, and what is done with it.

use egui::{Align, ComboBox, Layout, RichText, Ui};

use super::widgets;
use crate::change::{Act, Acts};
use crate::command::{Command, Face};
use crate::state::{State, WriteStage};
use crate::theme;

/// Width from which undo and redo have buttons; below, they have their keys and the search for commands.
const WITH_UNDO: f32 = 1260.0;

/// Width below which the lot stands beside its fields.
const WITH_LOT: f32 = 1000.0;

pub(super) fn show(ui: &mut Ui, state: &State, acts: &mut Acts) {
    let small = state.is_small;
    let wide = ui.available_width();
    if small {
        tighten(ui);
    }
    ui.horizontal(|ui| {
        if !small {
            ui.label(RichText::new("Evenfilm").size(18.0).strong());
            ui.add_space(theme::GAP);
        }
        // The one room so far; it leads back to the start.
        if widgets::named(ui, Command::CloseLot, "Slides", state, acts).clicked() {
            ui.ctx().memory_mut(egui::Memory::stop_text_input);
        }
        if state.lot.is_some() {
            faces(ui, state, acts);
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let find = if small { "Find" } else { "Commands" };
            widgets::named(ui, Command::Find, find, state, acts);
            queue(ui, state, acts);
            if state.lot.is_some() {
                let write = if small { "Write" } else { "Write the record" };
                widgets::brief(ui, Command::WriteRecord, [write, "Write the record"], state, acts);
                if wide >= WITH_UNDO {
                    for (command, name) in [(Command::Redo, "Redo"), (Command::Undo, "Undo")] {
                        widgets::named(ui, command, name, state, acts);
                    }
                }
                if wide >= WITH_LOT {
                    ui.with_layout(Layout::left_to_right(Align::Center), |ui| lots(ui, state, acts));
                }
            }
        });
    });
}

/// Less air in buttons, where there is little room.
pub(super) fn tighten(ui: &mut Ui) {
    ui.spacing_mut().button_padding.x = 8.0;
    ui.spacing_mut().item_spacing.x = 6.0;
}

/// Whether the lot stands in the bar, not beside its fields.
pub(super) fn has_lot(ui: &Ui) -> bool {
    ui.ctx().content_rect().width() - 24.0 >= WITH_LOT
}

/// The lot that is shown; a list where its folder holds several.
pub(super) fn lots(ui: &mut Ui, state: &State, acts: &mut Acts) {
    let Some(lot) = &state.lot else { return };
    let wide = (ui.available_width() - theme::GAP).min(360.0);
    if wide < 40.0 {
        return;
    }
    if state.lots.len() < 2 {
        let name = egui::Label::new(RichText::new(&lot.name).strong()).truncate();
        ui.add_sized([wide.min(name_width(ui, &lot.name)), theme::TARGET], name).on_hover_text(lot.folder.display().to_string());
        return;
    }
    let shown = ComboBox::from_id_salt("lots").width(wide).truncate().selected_text(&lot.name).show_ui(ui, |ui| {
        for (place, listed) in state.lots.iter().enumerate() {
            let amiss = if listed.fault.is_some() { "  (cannot be measured)" } else { "" };
            let text = format!("{}{amiss}", listed.label());
            if ui.selectable_label(listed.folder == lot.folder, text).clicked() {
                acts.push(Act::Lot(place));
            }
        }
    });
    let count = state.lots.len();
    shown.response.on_hover_text(format!("{}\n{}\nOne of {count} lots in this folder", lot.name, lot.folder.display()));
}

fn name_width(ui: &Ui, name: &str) -> f32 {
    let font = egui::TextStyle::Body.resolve(ui.style());
    ui.fonts_mut(|fonts| fonts.layout_no_wrap(name.to_owned(), font, egui::Color32::WHITE).size().x) + 16.0
}

/// What is shown of the lot, and whether the choices are.
fn faces(ui: &mut Ui, state: &State, acts: &mut Acts) {
    for (face, name, command) in
        [(Face::Picture, "Picture", Command::Picture), (Face::Numbers, "Numbers", Command::Numbers), (Face::Sheet, "Sheet", Command::Sheet)]
    {
        if widgets::toggle(ui, command, name, state.face == face, state).clicked() {
            acts.push(Act::Face(face));
        }
    }
    if widgets::toggle(ui, Command::Choices, "Choices", state.shows_choices(), state).clicked() {
        acts.run(Command::Choices);
    }
}

/// What is being written, in a word.
fn queue(ui: &mut Ui, state: &State, acts: &mut Acts) {
    let count = |test: fn(&WriteStage) -> bool| state.queue.iter().filter(|one| test(&one.stage)).count();
    let going = count(|stage| matches!(stage, WriteStage::Going { .. } | WriteStage::Waits));
    let failed = count(|stage| matches!(stage, WriteStage::Failed(_)));
    let text = match (going, failed, state.queue.len()) {
        (_, _, 0) => return,
        (0, 0, 1) => "1 record".into(),
        (0, 0, n) => format!("{n} records"),
        (0, failed, _) => format!("{failed} failed"),
        (going, _, _) => format!("Writing {going}…"),
    };
    widgets::named(ui, Command::Queue, &text, state, acts);
}
