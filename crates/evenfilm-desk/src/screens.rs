//! The screens: each reads the state and pushes what is asked for. Nothing is measured or written here.

use egui::{CentralPanel, Frame, Margin, Panel, Ui};

use crate::change::{Act, Acts};
use crate::command::{Command, Face};
use crate::state::{Over, State};
use crate::{Desk, theme};

mod cards;
mod choices;
mod headline;
mod notices;
mod numbers;
mod over;
mod picture;
mod scene;
mod sheet;
mod start;
mod top;
mod widgets;

pub(crate) use picture::Canvas;

/// What is being typed and has not been asked for yet.
#[derive(Default)]
pub(crate) struct Drafts {
    choices: choices::Draft,
    start: start::Draft,
    over: over::Draft,
    numbers: numbers::Draft,
    sheet: sheet::Draft,
}

/// Everything, from top to bottom.
pub(crate) fn all(ui: &mut Ui, desk: &mut Desk, acts: &mut Acts) {
    let inks = theme::inks(ui);
    let bar = Frame::new().fill(inks.ground).inner_margin(Margin::symmetric(12, 6));
    Panel::top("top").frame(bar).show(ui, |ui| top::show(ui, &desk.state, acts));
    notices::show(ui, &desk.state, acts);
    let page = Frame::new().fill(inks.ground).inner_margin(Margin::symmetric(12, 8));
    if desk.state.lot.is_some() {
        Panel::top("headline").frame(page).show(ui, |ui| headline::show(ui, &desk.state, acts));
        Panel::bottom("cards").exact_size(cards::HEIGHT).frame(page).show(ui, |ui| cards::show(ui, &desk.state, acts));
        match desk.state.face {
            Face::Picture => {
                if desk.state.prefs.choices_shown {
                    let column = Panel::right("choices").frame(page).default_size(372.0).size_range(320.0..=520.0);
                    column.show(ui, |ui| choices::show(ui, &desk.state, &mut desk.drafts.choices, acts));
                }
                let ground = Frame::new().fill(inks.ground).inner_margin(Margin { left: 12, right: 12, top: 4, bottom: 4 });
                CentralPanel::no_frame().frame(ground).show(ui, |ui| picture::show(ui, desk, acts));
            }
            Face::Numbers => {
                CentralPanel::no_frame().frame(page).show(ui, |ui| numbers::show(ui, &desk.state, &mut desk.drafts.numbers, acts));
            }
            Face::Sheet => {
                CentralPanel::no_frame().frame(page).show(ui, |ui| sheet::show(ui, &desk.state, &mut desk.drafts.sheet, acts));
            }
        }
    } else {
        let opening = desk.opening.clone();
        CentralPanel::no_frame().frame(page).show(ui, |ui| start::show(ui, &desk.state, opening.as_deref(), &mut desk.drafts.start, acts));
    }
    over::show(ui, &desk.state, &mut desk.drafts.over, acts);
}

/// Keys and dropped folders.
pub(crate) fn input(ctx: &egui::Context, state: &State, acts: &mut Acts) {
    let dropped = ctx.input(|input| input.raw.dropped_files.first().map(|file| file.path().to_path_buf()));
    if let Some(path) = dropped {
        // A file stands for its folder.
        let folder = if path.is_dir() { Some(path) } else { path.parent().map(ToOwned::to_owned) };
        if let Some(folder) = folder {
            acts.push(Act::Open(folder));
        }
    }
    if state.over.is_some() {
        if ctx.input(|input| input.key_pressed(egui::Key::Escape)) && state.over != Some(Over::Closing) {
            acts.push(Act::Over(None));
        }
        return;
    }
    let typing = ctx.text_edit_focused();
    let mut keys: Vec<_> = Command::ALL
        .iter()
        .filter(|command| !(typing && command.is_typed()))
        .filter_map(|command| Some((command.key()?, *command)))
        .collect();
    // Ctrl+Z would also take Ctrl+Shift+Z.
    keys.sort_by_key(|(key, _)| !key.modifiers.shift);
    for (key, command) in keys {
        if ctx.input_mut(|input| input.consume_shortcut(&key)) {
            acts.run(command);
        }
    }
}
