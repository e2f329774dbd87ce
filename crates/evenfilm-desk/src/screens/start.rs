//! The first page: ways to open a lot, and what the desk is for.

use std::path::{Path, PathBuf};

use egui::{RichText, ScrollArea, Ui};
use evenfilm_record::summary::CAUTION;

use super::widgets;
use crate::change::{Act, Acts};
use crate::command::Command;
use crate::state::{State, folder_name};
use crate::theme;

/// The path that is being typed.
#[derive(Default)]
pub(crate) struct Draft {
    path: String,
}

/// Widest the page gets, points.
const WIDEST: f32 = 860.0;

pub(super) fn show(ui: &mut Ui, state: &State, opening: Option<&Path>, draft: &mut Draft, acts: &mut Acts) {
    ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
        let margin = ((ui.available_width() - WIDEST) / 2.0).max(0.0);
        ui.horizontal(|ui| {
            ui.add_space(margin);
            ui.vertical(|ui| {
                ui.set_width(WIDEST.min(ui.available_width()));
                page(ui, state, opening, draft, acts);
            });
        });
    });
}

fn page(ui: &mut Ui, state: &State, opening: Option<&Path>, draft: &mut Draft, acts: &mut Acts) {
    ui.add_space(theme::AIR * 2.0);
    ui.label(RichText::new("Which slides are to be looked at?").size(28.0));
    ui.add_space(theme::GAP);
    ui.label(widgets::quiet(
        ui,
        "A lot is a folder with its sheet (batch.toml) and the pictures of its fields. A folder of such folders opens them all.",
    ));
    ui.add_space(theme::AIR);
    if let Some(folder) = opening {
        waiting(ui, &format!("Opening {}", folder.display()));
    }
    if state.rendering {
        waiting(ui, "Rendering a sample lot: four fields of known truth, which are then measured");
    }
    ui.horizontal(|ui| {
        if widgets::main_button(ui, Command::OpenFolder.label()).on_hover_text(Command::OpenFolder.why()).clicked() {
            acts.run(Command::OpenFolder);
        }
        widgets::command(ui, Command::OpenSample, state, acts);
    });
    ui.add_space(theme::AIR);
    path_box(ui, draft, acts);
    ui.label(widgets::quiet(ui, "A folder may also be dropped onto this window."));
    ui.add_space(theme::AIR);
    recent(ui, &state.prefs.recent, acts);
    ui.add_space(theme::AIR * 2.0);
    ui.label(widgets::quiet(ui, CAUTION.replace('\n', " ")));
}

fn waiting(ui: &mut Ui, what: &str) {
    ui.horizontal(|ui| {
        ui.spinner();
        ui.label(what);
    });
}

fn path_box(ui: &mut Ui, draft: &mut Draft, acts: &mut Acts) {
    let label = ui.label("Path of the folder");
    ui.horizontal(|ui| {
        let wide = (ui.available_width() - 120.0).max(200.0);
        let edit = ui.add(widgets::line(&mut draft.path, wide)).labelled_by(label.id);
        let entered = edit.lost_focus() && ui.input(|input| input.key_pressed(egui::Key::Enter));
        let asked = ui.button("Open").clicked();
        let path = draft.path.trim().trim_matches('"');
        if (entered || asked) && !path.is_empty() {
            acts.push(Act::Open(PathBuf::from(path)));
        }
    });
}

fn recent(ui: &mut Ui, folders: &[PathBuf], acts: &mut Acts) {
    if folders.is_empty() {
        return;
    }
    ui.label(RichText::new("Opened before").strong());
    for folder in folders {
        let text = format!("{}    {}", folder_name(folder), folder.parent().unwrap_or(folder).display());
        if widgets::wide_button(ui, text).on_hover_text(folder.display().to_string()).clicked() {
            acts.push(Act::Open(folder.clone()));
        }
    }
}
