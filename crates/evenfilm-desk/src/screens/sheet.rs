//! The sheet as a form.

use std::collections::BTreeMap;

use egui::{ComboBox, Label, RichText, ScrollArea, Ui};
use evenfilm_record::sheet::form::{ENTRIES, Entry, EntryKind, SECTIONS};

use super::widgets;
use crate::change::{Act, Acts};
use crate::sheet;
use crate::state::{Lot, State};
use crate::theme::{self, AIR, GAP};

/// What stands in the boxes while they are typed into.
#[derive(Default)]
pub(crate) struct Draft {
    boxes: BTreeMap<sheet::Key, String>,
}

/// Narrowest column of the form, points.
const COLUMN: f32 = 520.0;

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut Draft, acts: &mut Acts) {
    let Some(lot) = &state.lot else { return };
    let Some(sheet) = &lot.sheet else {
        draft.boxes.clear();
        match &lot.sheet_fault {
            None => acts.push(Act::Sheet(sheet::Act::Begin)),
            Some(fault) => cannot(ui, fault, acts),
        }
        return;
    };
    head(ui, lot, sheet, acts);
    ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
        let wide = ui.available_width() - 16.0;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few columns")]
        let count = ((wide / COLUMN) as usize).clamp(1, 3);
        let columns = spread(count);
        ui.set_width(wide);
        ui.columns(count, |columns_ui| {
            for (ui, sections) in columns_ui.iter_mut().zip(columns) {
                for (section, title) in sections {
                    ui.label(RichText::new(title).size(19.0));
                    for entry in ENTRIES.iter().filter(|entry| entry.section == section) {
                        one(ui, entry, sheet, draft, acts);
                    }
                    ui.add_space(AIR);
                }
            }
        });
        super::focus::follow(ui);
    });
}

/// Sections over columns, in order, about as many rows in each.
fn spread(count: usize) -> Vec<Vec<(&'static str, &'static str)>> {
    let rows = |section: &str| 2 + ENTRIES.iter().filter(|entry| entry.section == section).count();
    let all: usize = SECTIONS.iter().map(|(section, _)| rows(section)).sum();
    let (mut columns, mut filled) = (vec![Vec::new(); count], 0);
    for &(section, title) in SECTIONS {
        // The middle of the section decides where it goes.
        let place = ((filled + rows(section) / 2) * count / all.max(1)).min(count - 1);
        columns[place].push((section, title));
        filled += rows(section);
    }
    columns
}

fn cannot(ui: &mut Ui, fault: &evenfilm_record::fault::Fault, acts: &mut Acts) {
    ui.label(RichText::new("The sheet cannot be shown as a form").size(19.0));
    ui.add(Label::new(fault.to_string()).wrap());
    if ui.button("Read it again").clicked() {
        acts.push(Act::Sheet(sheet::Act::Begin));
    }
}

fn head(ui: &mut Ui, lot: &Lot, sheet: &sheet::Draft, acts: &mut Acts) {
    ui.horizontal(|ui| {
        let changed = sheet.is_changed();
        let save = ui.add_enabled_ui(changed && !sheet.is_wrong(), |ui| widgets::main_button(ui, "Save the sheet")).inner;
        if save.on_hover_text("Writes batch.toml; comments and order stay").clicked() {
            acts.push(Act::Sheet(sheet::Act::Save));
        }
        if ui.add_enabled(changed, egui::Button::new("Forget what was typed")).clicked() {
            acts.push(Act::Sheet(sheet::Act::Discard));
        }
        let told = if sheet.is_wrong() {
            "something typed here cannot be taken"
        } else if changed {
            "not saved"
        } else {
            "as in the file"
        };
        ui.label(told);
        ui.add(Label::new(widgets::quiet(ui, elsewhere(lot))).truncate());
    });
    ui.add_space(GAP);
}

/// What the sheet holds that the form does not show.
fn elsewhere(lot: &Lot) -> String {
    let Some(batch) = &lot.batch else { return String::new() };
    let of = |n: usize, what: &str| (n > 0).then(|| format!("{n} {what}{}", if n == 1 { "" } else { "s" }));
    let sheet = &batch.sheet;
    let parts = [
        of(sheet.pictures.len(), "picture"),
        of(sheet.slides.len(), "slide"),
        of(sheet.microscopes.len(), "other microscope"),
        of(sheet.notes.len(), "note"),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    if parts.is_empty() { String::new() } else { format!("Also in batch.toml, and kept: {}", parts.join(", ")) }
}

fn one(ui: &mut Ui, entry: &'static Entry, sheet: &sheet::Draft, draft: &mut Draft, acts: &mut Acts) {
    let inks = theme::inks(ui);
    let needed = if entry.needed { " (needed)" } else { "" };
    let unit = if entry.unit.is_empty() { String::new() } else { format!(", {}", entry.unit) };
    ui.push_id((entry.section, entry.key), |ui| {
        ui.horizontal(|ui| {
            let label_width = (ui.available_width() * 0.45).min(260.0);
            let label = ui.allocate_ui_with_layout(
                egui::vec2(label_width, theme::TARGET),
                egui::Layout::left_to_right(egui::Align::Center),
                |ui| {
                    ui.set_width(label_width);
                    ui.add(Label::new(format!("{}{unit}{needed}", entry.label)).truncate())
                },
            );
            let label = label.inner.on_hover_text(entry.help);
            let response = match entry.kind {
                EntryKind::Choice(words) => choice(ui, entry, sheet, words, acts),
                EntryKind::Flag => choice(ui, entry, sheet, &[("true", "Yes"), ("false", "No")], acts),
                _ => text(ui, entry, sheet, draft, acts),
            };
            response.labelled_by(label.id).on_hover_text(entry.help);
        });
        if let Some(why) = sheet.wrong(entry) {
            ui.label(RichText::new(format!("{}: {why}", entry.label)).color(inks.warn));
        }
    });
}

fn text(ui: &mut Ui, entry: &'static Entry, sheet: &sheet::Draft, draft: &mut Draft, acts: &mut Acts) -> egui::Response {
    let held = draft.boxes.entry((entry.section, entry.key)).or_default();
    let wide = ui.available_width() - 12.0;
    let id = ui.make_persistent_id("box");
    if !ui.memory(|memory| memory.has_focus(id)) && held != sheet.typed(entry) {
        sheet.typed(entry).clone_into(held);
    }
    let response = ui.add(widgets::line(held, wide).id(id));
    if response.changed() {
        acts.push(Act::Sheet(sheet::Act::Type(entry, held.clone())));
    }
    response
}

fn choice(
    ui: &mut Ui,
    entry: &'static Entry,
    sheet: &sheet::Draft,
    words: &[(&'static str, &'static str)],
    acts: &mut Acts,
) -> egui::Response {
    let now = sheet.typed(entry);
    let shown = words.iter().find(|(word, _)| *word == now).map_or("–", |(_, label)| *label);
    let wide = ui.available_width() - 12.0;
    let response = ComboBox::from_id_salt("choice").width(wide).truncate().selected_text(shown).show_ui(ui, |ui| {
        let mut pick = |ui: &mut Ui, word: &str, label: &str| {
            if ui.selectable_label(word == now, label).clicked() && word != now {
                acts.push(Act::Sheet(sheet::Act::Type(entry, word.to_owned())));
            }
        };
        if !entry.needed {
            pick(ui, "", "–");
        }
        for (word, label) in words {
            pick(ui, word, label);
        }
    });
    response.response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_section_of_the_table_has_its_place_once() {
        for entry in ENTRIES {
            assert!(SECTIONS.iter().any(|(section, _)| *section == entry.section), "{}", entry.section);
        }
        for count in 1..=3 {
            assert_eq!(spread(count).concat(), SECTIONS);
        }
    }
}
