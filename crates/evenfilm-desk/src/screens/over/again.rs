//! Why records are made although there are earlier ones.

use egui::{Key, Label, ScrollArea, Ui};

use super::widgets;
use crate::change::{Act, Acts};
use crate::state::{Again, Ordered};
use crate::theme;

/// Height of the list of lots, points.
const LIST: f32 = 180.0;

pub(super) fn show(ui: &mut Ui, again: &Again, reason: &mut String, is_new: bool, acts: &mut Acts) {
    let earlier: Vec<&Ordered> = again.ordered.iter().filter(|one| one.before.is_some()).collect();
    ui.spacing_mut().interact_size.y = 24.0;
    if let [one] = earlier.as_slice() {
        super::title_wrapped(ui, &format!("Why another record of {}?", one.name));
        let words = one.before.as_ref().map_or_else(String::new, crate::state::Before::words);
        ui.label(format!("There is {words} already. It stays as it is."));
    } else {
        super::title_wrapped(ui, &format!("Why other records of {} lots?", earlier.len()));
        list(ui, &earlier);
    }
    let new = again.ordered.len() - earlier.len();
    if new > 0 {
        ui.label(format!("Lots without a record yet: {new}. They are written too."));
    }
    ui.add_space(theme::GAP);
    let label =
        ui.label(if earlier.len() == 1 { "The reason, kept in the new record" } else { "The reason, kept in each of the new records" });
    let wide = ui.available_width();
    let edit = ui.add(widgets::line(reason, wide)).labelled_by(label.id);
    if is_new {
        edit.request_focus();
    }
    let entered = edit.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
    let is_said = !reason.trim().is_empty();
    let waits = match (is_said, again.is_required) {
        (true, _) => "Enter writes it.",
        (false, true) => REQUIRED,
        (false, false) => "Without one the record says that nobody said why, and is flagged.",
    };
    ui.add(Label::new(widgets::quiet(ui, waits)).wrap());
    ui.add_space(theme::GAP);
    ui.horizontal(|ui| {
        ui.spacing_mut().interact_size.y = theme::TARGET;
        let name = if is_said || again.is_required { "Write with this reason" } else { "Write without a reason" };
        let ready = is_said || !again.is_required;
        let pressed = ui.add_enabled_ui(ready, |ui| widgets::main_button(ui, name)).inner;
        let pressed = pressed.on_disabled_hover_text(REQUIRED).clicked();
        // Enter alone keeps nothing without a reason: that takes the button.
        if (ready && pressed) || (is_said && entered) {
            acts.push(Act::Because(reason.clone()));
        }
        super::cancel(ui, acts);
    });
}

/// Why the button waits.
const REQUIRED: &str = "The lab's settings ask for a reason; the button waits for it";

fn list(ui: &mut Ui, earlier: &[&Ordered]) {
    ui.label("There are records already. They stay as they are.");
    ScrollArea::vertical().id_salt("earlier").max_height(LIST).show(ui, |ui| {
        ui.spacing_mut().item_spacing.y = 2.0;
        for one in earlier {
            let words = one.before.as_ref().map_or_else(String::new, crate::state::Before::words);
            ui.add(Label::new(format!("{}: {words}", one.name)).truncate());
        }
    });
}
