//! What the picture cannot show, in words.

use egui::{Align, Color32, FontId, Layout, Pos2, Rect, RichText, Ui, UiBuilder, Vec2};

use super::Room;
use crate::change::{Act, Acts};
use crate::screens::widgets;
use crate::state::{Lot, Run};
use crate::theme;

/// In the picture's place while there is none.
pub(super) fn no_picture(ui: &mut Ui, rect: Rect, lot: &Lot, acts: &mut Acts) {
    let inks = theme::inks(ui);
    ui.painter().rect_filled(rect, 6.0, inks.press);
    let column = Rect::from_center_size(rect.center(), Vec2::new(rect.width().min(620.0), rect.height().min(260.0)));
    let mut ui = ui.new_child(UiBuilder::new().max_rect(column).layout(Layout::top_down(Align::Center)));
    let file = lot.cards.get(lot.field).map_or("", |card| card.name.as_str());
    match (&lot.picture_fault, &lot.run) {
        (Some(fault), _) => {
            ui.label(RichText::new("The picture cannot be shown").size(18.0).strong());
            ui.label(&fault.message);
            ui.label(widgets::quiet(&ui, format!("What to do: {}", fault.remedy)));
            if widgets::main_button(&mut ui, "Read it again").clicked() {
                acts.push(Act::Again);
                acts.push(Act::Field(lot.field));
            }
        }
        (None, Run::Failed(fault)) if lot.batch.is_none() => {
            ui.label(RichText::new("The lot cannot be measured").size(18.0).strong());
            ui.label(&fault.message);
            ui.label(widgets::quiet(&ui, format!("What to do: {}", fault.remedy)));
            if widgets::main_button(&mut ui, "Try again").clicked() {
                acts.push(Act::Again);
            }
        }
        (None, Run::Stopped) if lot.batch.is_none() => {
            ui.label(RichText::new("Stopped before the lot was opened").size(18.0).strong());
            if widgets::main_button(&mut ui, "Open it").clicked() {
                acts.push(Act::Again);
            }
        }
        _ => {
            ui.add(egui::Spinner::new().size(36.0).color(inks.ink));
            let text = if file.is_empty() { format!("Opening {}…", lot.name) } else { format!("Reading {file}…") };
            ui.label(RichText::new(text).size(18.0));
            ui.label(widgets::quiet(&ui, "The picture comes first, its numbers follow"));
        }
    }
}

/// Over a corner of the picture: what its marks are of, where that is not the choices as they are.
pub(super) fn over_picture(ui: &Ui, room: &Room<'_>) {
    let lot = room.lot;
    if lot.is_current() {
        return;
    }
    let text = match (&lot.run, lot.measured.is_some()) {
        (Run::Failed(fault), false) => format!("No numbers: {}", fault.message),
        (Run::Failed(fault), true) => format!("The marks are of earlier choices; measuring failed: {}", fault.message),
        (Run::Stopped, false) => "No numbers: measuring was stopped".into(),
        (Run::Stopped, true) => "The marks are of earlier choices; measuring was stopped".into(),
        (_, false) => "No numbers yet; measuring".into(),
        (_, true) => "The marks are of earlier choices; measuring".into(),
    };
    let response =
        ui.interact(Rect::from_min_size(room.rect.right_top(), Vec2::ZERO), ui.scope_id().with("of earlier choices"), egui::Sense::hover());
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Status, true, &text));
    let painter = ui.painter().with_clip_rect(room.rect.intersect(ui.clip_rect()));
    let font = FontId::proportional(14.0);
    let text = painter.layout(text, font, Color32::WHITE, (room.rect.width() - 260.0).max(160.0));
    let size = text.size() + Vec2::new(20.0, 12.0);
    let at = Pos2::new(room.rect.right() - size.x - 10.0, room.rect.top() + 10.0);
    painter.rect_filled(Rect::from_min_size(at, size), 4.0, Color32::from_black_alpha(225));
    painter.galley(at + Vec2::new(10.0, 6.0), text, Color32::WHITE);
}
