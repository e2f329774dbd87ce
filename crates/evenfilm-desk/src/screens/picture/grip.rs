//! The line that is pulled across the picture and bares the original.

use egui::{Color32, CursorIcon, EventFilter, Id, Key, Pos2, Rect, Sense, Stroke, StrokeKind, Ui, Vec2, WidgetInfo, accesskit};

use super::Room;
use super::view::twice;
use crate::change::{Act, Acts};
use crate::theme;

/// What an arrow key moves it by, and with Shift: shares of the width.
const STEPS: [f32; 2] = [0.01, 0.1];

pub(super) fn id() -> Id {
    Id::unique("bare the original")
}

/// Where the grip is.
fn target(room: &Room<'_>, bared: f32) -> Rect {
    let half = theme::TARGET / 2.0;
    // Within the picture also where the line is at its side.
    let x = room.rect.left() + half + bared * (room.rect.width() - theme::TARGET);
    Rect::from_center_size(Pos2::new(x, room.rect.center().y), Vec2::splat(theme::TARGET))
}

/// Takes in what is done with the grip; how much is bared in this pass.
pub(super) fn input(ui: &mut Ui, room: &Room<'_>, acts: &mut Acts) -> f32 {
    let before = if room.lot.bared.is_finite() { room.lot.bared.clamp(0.0, 1.0) } else { 0.0 };
    let response = ui.interact(target(room, before), id(), Sense::click_and_drag());
    let mut bared = before;
    if response.drag_started() || response.clicked() {
        response.request_focus();
    }
    if let Some(at) = response.interact_pointer_pos().filter(|_| response.dragged()) {
        bared = (at.x - room.rect.left() - theme::TARGET / 2.0) / (room.rect.width() - theme::TARGET).max(1.0);
    }
    if response.has_focus() {
        bared += keys(ui, &response);
    }
    bared += 0.05 * asked(ui, response.id);
    bared = bared.clamp(0.0, 1.0);
    if response.hovered() || response.dragged() {
        ui.ctx().set_cursor_icon(CursorIcon::ResizeHorizontal);
    }
    response.widget_info(|| WidgetInfo::slider(true, f64::from((bared * 100.0).round()), "Bare the original"));
    response
        .on_hover_text("Bare the original: pull the line across to see the picture as it was photographed\nB bares and covers all of it");
    if bared.to_bits() != room.lot.bared.to_bits() {
        acts.push(Act::Bare(bared));
    }
    bared
}

fn keys(ui: &Ui, response: &egui::Response) -> f32 {
    let filter = EventFilter { horizontal_arrows: true, ..EventFilter::default() };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
    ui.input(|input| {
        let step = STEPS[usize::from(input.modifiers.shift)];
        let press = |key: Key| f32::from(u8::from(input.key_pressed(key)));
        step * (press(Key::ArrowRight) - press(Key::ArrowLeft)) + press(Key::End) - press(Key::Home)
    })
}

/// Steps that an aid for the eyes or hands asked for.
fn asked(ui: &Ui, id: Id) -> f32 {
    ui.input(|input| {
        let count = |action| input.num_accesskit_action_requests(id, action) as f32;
        count(accesskit::Action::Increment) - count(accesskit::Action::Decrement)
    })
}

/// Paints the line and its grip.
pub(super) fn paint(ui: &Ui, room: &Room<'_>, bared: f32) {
    let painter = ui.painter().with_clip_rect(room.rect.intersect(ui.clip_rect()));
    let x = room.rect.left() + bared * room.rect.width();
    if bared > 0.0 && bared < 1.0 {
        twice(&painter, &[Pos2::new(x, room.rect.top()), Pos2::new(x, room.rect.bottom())]);
    }
    let inks = theme::inks(ui);
    // The plate stands on the line; at the sides of the picture it says which way it goes.
    let half = 13.0;
    let centre = x.clamp(room.rect.left() + half, (room.rect.right() - half).max(room.rect.left() + half));
    let plate = Rect::from_center_size(Pos2::new(centre, room.rect.center().y), Vec2::new(2.0 * half, theme::TARGET));
    let has_focus = ui.memory(|memory| memory.has_focus(id()));
    painter.rect_filled(plate, 6.0, inks.raised);
    let stroke = if has_focus { Stroke::new(3.0, inks.chosen) } else { Stroke::new(1.5, inks.edge) };
    painter.rect_stroke(plate, 6.0, stroke, StrokeKind::Inside);
    let arrow = |way: f32| {
        let tip = plate.center() + Vec2::new(8.0 * way, 0.0);
        let wing = |up: f32| tip + Vec2::new(-5.0 * way, 6.0 * up);
        painter.add(egui::Shape::line(vec![wing(-1.0), tip, wing(1.0)], Stroke::new(2.0, inks.ink)));
    };
    if bared < 1.0 {
        arrow(1.0);
    }
    if bared > 0.0 {
        arrow(-1.0);
        label(&painter, Pos2::new(x, room.rect.top()));
    }
}

/// Says what the bared part is.
fn label(painter: &egui::Painter, at: Pos2) {
    let font = egui::FontId::proportional(13.0);
    let text = painter.layout_no_wrap("as photographed".into(), font, Color32::WHITE);
    let size = text.size() + Vec2::new(12.0, 6.0);
    let plate = Rect::from_min_size(Pos2::new(at.x - size.x - 6.0, painter.clip_rect().bottom() - size.y - 8.0), size);
    if plate.left() > painter.clip_rect().left() {
        painter.rect_filled(plate, 4.0, Color32::from_black_alpha(220));
        painter.galley(plate.min + Vec2::new(6.0, 3.0), text, Color32::WHITE);
    }
}
