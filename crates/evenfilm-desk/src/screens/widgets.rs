//! Small parts that several screens share.

use egui::{Button, Response, RichText, TextEdit, Ui, Vec2};

use crate::change::{Acts, barred};
use crate::command::Command;
use crate::state::State;
use crate::theme;

/// A button that asks for a command: its name, its reason and key on hover, grey with the reason where it can do nothing.
pub(crate) fn command(ui: &mut Ui, command: Command, state: &State, acts: &mut Acts) -> Response {
    named(ui, command, command.label(), state, acts)
}

/// The same under a shorter name.
pub(crate) fn named(ui: &mut Ui, command: Command, name: &str, state: &State, acts: &mut Acts) -> Response {
    let why_not = barred(command, state);
    let response = ui.add_enabled(why_not.is_none(), Button::new(name));
    if response.clicked() {
        acts.run(command);
    }
    let key = command.key_words(ui.ctx());
    let hint = if key.is_empty() { command.why().to_owned() } else { format!("{}\n{key}", command.why()) };
    response.on_hover_text(hint).on_disabled_hover_text(why_not.unwrap_or_default())
}

/// A button that stands out: the one thing to do next.
pub(crate) fn main_button(ui: &mut Ui, name: &str) -> Response {
    let inks = theme::inks(ui);
    ui.add(Button::new(RichText::new(name).color(inks.on_chosen)).fill(inks.chosen))
}

/// Text that matters less.
pub(crate) fn quiet(ui: &Ui, text: impl Into<String>) -> RichText {
    RichText::new(text).color(theme::inks(ui).quiet)
}

/// A line to type in, as tall as what is pressed.
pub(crate) fn line(text: &mut String, width: f32) -> TextEdit<'_> {
    TextEdit::singleline(text).desired_width(width).align(egui::Align2::LEFT_CENTER).min_size(Vec2::new(0.0, theme::TARGET))
}

/// Text that must be seen to.
pub(crate) fn warning(ui: &mut Ui, text: impl Into<String>) {
    let ink = theme::inks(ui).warn;
    // In columns text would be stretched to both edges.
    ui.with_layout(egui::Layout::top_down(egui::Align::Min), |ui| ui.add(egui::Label::new(RichText::new(text).color(ink)).wrap()));
}

/// A button as wide as what is left.
pub(crate) fn wide_button(ui: &mut Ui, name: impl Into<egui::WidgetText>) -> Response {
    let size = Vec2::new(ui.available_width(), theme::TARGET);
    ui.add_sized(size, Button::new(name.into()).truncate())
}

/// The same under a shorter name where there is little room; to those who listen it is the full one.
pub(crate) fn brief(ui: &mut Ui, command: Command, [brief, full]: [&str; 2], state: &State, acts: &mut Acts) -> Response {
    let response = named(ui, command, brief, state, acts);
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, barred(command, state).is_none(), full));
    response
}

/// A button that keeps its state in sight, as of what is shown.
pub(crate) fn toggle(ui: &mut Ui, command: Command, name: &str, is_on: bool, state: &State) -> Response {
    let why_not = barred(command, state);
    let key = command.key_words(ui.ctx());
    let button = Button::selectable(is_on, name);
    ui.add_enabled(why_not.is_none(), button)
        .on_hover_text(format!("{}\n{key}", command.why()))
        .on_disabled_hover_text(why_not.unwrap_or_default())
}
