//! The sign-offs of a record: who says what of it, since when, and what stands behind it.

use egui::{Frame, Label, Margin, RichText, Ui};
use evenfilm_record::names::printable;
use evenfilm_record::signoff::{Found, TYPED};

use super::widgets;
use crate::state::moment;
use crate::theme;

pub(super) fn show(ui: &mut Ui, all: &[Found], made: Option<u32>) {
    if all.is_empty() {
        ui.label("Nobody has signed it yet.");
    }
    for found in all {
        one(ui, found, made == Some(found.number));
    }
}

fn one(ui: &mut Ui, found: &Found, is_new: bool) {
    let inks = theme::inks(ui);
    let edge = if is_new { egui::Stroke::new(2.0, inks.chosen) } else { egui::Stroke::new(1.0, inks.hair) };
    let frame = Frame::new().fill(inks.ground).stroke(edge).corner_radius(6).inner_margin(Margin::symmetric(10, 6));
    frame.show(ui, |ui| {
        ui.set_width(ui.available_width());
        ui.spacing_mut().item_spacing.y = 2.0;
        ui.add(Label::new(RichText::new(who(found)).strong()).wrap());
        if let Some(comment) = found.statement.as_ref().and_then(|said| said.comment.as_deref()) {
            ui.add(Label::new(format!("“{}”", printable(comment))).wrap());
        }
        ui.add(Label::new(widgets::quiet(ui, stands_on(found))).wrap().selectable(true));
        for finding in &found.findings {
            let words = format!("{}. What to do: {}", finding.message, finding.remedy);
            if finding.is_fault {
                widgets::warning(ui, format!("Amiss: {words}"));
            } else {
                ui.add(Label::new(words).wrap());
            }
        }
    });
}

fn who(found: &Found) -> String {
    found.statement.as_ref().map_or_else(
        || if found.number == 0 { "The sign-offs".to_owned() } else { format!("Sign-off {}", found.number) },
        |said| format!("{} by {}, {}", said.meaning, printable(&said.name), moment(&said.signed_at)),
    )
}

/// The key that signed it, or that none did.
fn stands_on(found: &Found) -> String {
    match (&found.key, &found.statement) {
        (Some(key), _) => format!("signed with {}", key.fingerprint()),
        (None, Some(said)) if said.signature.is_none() => TYPED.to_owned(),
        _ => "no signature that holds".to_owned(),
    }
}
