//! The bar at the top: rooms, the lot, and what is done with it.

use egui::{Align, Button, ComboBox, Layout, RichText, Ui};

use super::widgets;
use crate::change::{Act, Acts};
use crate::command::{Command, Face};
use crate::state::{State, WriteStage};
use crate::theme;

pub(super) fn show(ui: &mut Ui, state: &State, acts: &mut Acts) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("Evenfilm").size(18.0).strong());
        ui.add_space(theme::GAP);
        // The one room so far; it leads back to the start.
        if widgets::named(ui, Command::CloseLot, "Slides", state, acts).clicked() {
            ui.ctx().memory_mut(egui::Memory::stop_text_input);
        }
        if state.lot.is_some() {
            lots(ui, state, acts);
            faces(ui, state, acts);
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            widgets::named(ui, Command::Find, "Commands", state, acts);
            queue(ui, state, acts);
            if state.lot.is_some() {
                write(ui, state, acts);
            }
        });
    });
}

/// The lot that is shown; a list where its folder holds several.
fn lots(ui: &mut Ui, state: &State, acts: &mut Acts) {
    let Some(lot) = &state.lot else { return };
    let wide = (ui.available_width() * 0.28).clamp(120.0, 360.0);
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
    shown.response.on_hover_text(format!("{}\nOne of {count} lots in this folder", lot.folder.display()));
}

fn name_width(ui: &Ui, name: &str) -> f32 {
    let font = egui::TextStyle::Body.resolve(ui.style());
    ui.fonts_mut(|fonts| fonts.layout_no_wrap(name.to_owned(), font, egui::Color32::WHITE).size().x) + 16.0
}

/// What is shown of the lot.
fn faces(ui: &mut Ui, state: &State, acts: &mut Acts) {
    for (face, name, command) in
        [(Face::Picture, "Picture", Command::Picture), (Face::Numbers, "Numbers", Command::Numbers), (Face::Sheet, "Sheet", Command::Sheet)]
    {
        let button = Button::selectable(state.face == face, name);
        let key = command.key_words(ui.ctx());
        if ui.add(button).on_hover_text(format!("{}\n{key}", command.why())).clicked() {
            acts.push(Act::Face(face));
        }
    }
}

fn write(ui: &mut Ui, state: &State, acts: &mut Acts) {
    widgets::named(ui, Command::WriteRecord, "Write the record", state, acts);
    for (command, name) in [(Command::Redo, "Redo"), (Command::Undo, "Undo")] {
        widgets::named(ui, command, name, state, acts);
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
