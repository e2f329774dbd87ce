//! The search for commands, and the list of keys.

use egui::{Grid, Key, RichText, ScrollArea, Ui};

use super::{title, widgets};
use crate::change::{Act, Acts, barred};
use crate::command::{self, Command};
use crate::state::State;
use crate::theme;

/// The words, and which of the commands found is chosen.
#[derive(Default)]
pub(crate) struct Draft {
    words: String,
    chosen: usize,
}

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut Draft, is_new: bool, acts: &mut Acts) {
    let label = ui.label(RichText::new("What do you want to do?").size(22.0));
    let wide = ui.available_width();
    let (up, down, enter) =
        ui.input(|input| (input.key_pressed(Key::ArrowUp), input.key_pressed(Key::ArrowDown), input.key_pressed(Key::Enter)));
    let edit = ui.add(widgets::line(&mut draft.words, wide)).labelled_by(label.id);
    if is_new || (!edit.has_focus() && !enter) {
        edit.request_focus();
    }
    if edit.changed() {
        draft.chosen = 0;
    }
    let found = command::find(&draft.words);
    let last = found.len().saturating_sub(1);
    if up {
        draft.chosen = draft.chosen.saturating_sub(1);
    }
    if down {
        draft.chosen += 1;
    }
    draft.chosen = draft.chosen.min(last);
    if found.is_empty() {
        ui.label(widgets::quiet(ui, "Nothing answers to these words."));
    }
    ScrollArea::vertical().max_height(super::inner_height(ui)).show(ui, |ui| {
        for (place, &command) in found.iter().enumerate() {
            let key = command.key_words(ui.ctx());
            let why_not = barred(command, state);
            let text = if key.is_empty() { command.label().to_owned() } else { format!("{}    {key}", command.label()) };
            let button = egui::Button::selectable(place == draft.chosen, text).min_size([wide - 20.0, theme::TARGET].into());
            let response =
                ui.add_enabled(why_not.is_none(), button).on_hover_text(command.why()).on_disabled_hover_text(why_not.unwrap_or_default());
            if place == draft.chosen && (up || down) {
                response.scroll_to_me(None);
            }
            if response.clicked() || (enter && place == draft.chosen && why_not.is_none()) {
                acts.push(Act::Over(None));
                acts.run(command);
            }
        }
    });
}

/// Keys that belong to a place rather than to a command.
const OF_PLACES: [(&str, &str); 6] = [
    ("Tab, Shift+Tab", "Go to the next or the previous thing that can be pressed"),
    ("Space, Enter", "Press it"),
    ("Escape", "Close what lies over the desk"),
    ("Arrows", "On the picture: move it; with Shift, faster. On a setting or a mark: change it"),
    ("Wheel, two fingers", "On the picture: enlarge at the pointer"),
    ("Double click", "On the picture: show all of it. On a setting: back to the built-in value"),
];

pub(super) fn keys(ui: &mut Ui, is_new: bool, acts: &mut Acts) {
    title(ui, "What the keyboard does");
    ScrollArea::vertical().max_height(super::inner_height(ui)).show(ui, |ui| {
        ui.spacing_mut().interact_size.y = 20.0;
        Grid::new("keys").num_columns(2).spacing([24.0, 6.0]).show(ui, |ui| {
            for &command in Command::ALL {
                let key = command.key_words(ui.ctx());
                if key.is_empty() {
                    continue;
                }
                line(ui, &key, command.label());
            }
            for (key, what) in OF_PLACES {
                line(ui, key, what);
            }
        });
    });
    super::done(ui, is_new, acts);
}

fn line(ui: &mut Ui, key: &str, what: &str) {
    ui.label(RichText::new(key).strong());
    ui.add(egui::Label::new(what).wrap());
    ui.end_row();
}
