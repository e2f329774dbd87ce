//! The whole field, small, with what is seen of it.

use egui::{Pos2, Rect, Role, Sense, Stroke, StrokeKind, Ui, Vec2, WidgetInfo};

use super::{Canvas, Room, view};
use crate::theme;

/// Its largest size, points.
const LARGEST: Vec2 = Vec2::new(110.0, 54.0);

pub(super) fn show(ui: &mut Ui, room: &mut Room<'_>, canvas: &mut Canvas) {
    let (width, height) = (room.picture.size.0.max(1) as f32, room.picture.size.1.max(1) as f32);
    let by = (LARGEST.x / width).min(LARGEST.y / height);
    let size = Vec2::new((width * by).max(8.0), (height * by).max(8.0));
    // Where the field is long and thin, the target is not.
    let (target, response) = ui.allocate_exact_size(size.max(Vec2::splat(theme::TARGET)), Sense::click_and_drag());
    let whole = |at: Pos2| Pos2::new((at.x * room.scale).round() / room.scale, (at.y * room.scale).round() / room.scale);
    let from = whole(target.center() - size / 2.0);
    let rect = Rect::from_min_max(from, whole(from + size));
    response.widget_info(|| WidgetInfo::labeled(Role::Button, true, "Overview"));
    if let Some(at) = response.interact_pointer_pos().filter(|_| response.clicked() || response.dragged()) {
        let share = (at - rect.min) / rect.size();
        let place = [f64::from(share.x * width), f64::from(share.y * height)];
        room.camera.look_at(place, room.view_px(), room.picture.size);
    }
    if response.has_focus() {
        view::keys(ui, response.id, room);
    }
    canvas.paint_overview(ui, room, rect);
    let seen = room.seen();
    let (from, to) = (seen.place([0.0; 2]), seen.place(room.view_px()));
    #[expect(clippy::cast_possible_truncation, reason = "places of a window")]
    let at = |place: [f64; 2]| {
        Pos2::new(rect.left() + place[0] as f32 / width * rect.width(), rect.top() + place[1] as f32 / height * rect.height())
    };
    let frame = Rect::from_two_pos(at(from), at(to)).intersect(rect);
    let painter = ui.painter();
    let inks = theme::inks(ui);
    let frame = Rect::from_center_size(frame.center(), frame.size().max(Vec2::splat(6.0)));
    painter.rect_stroke(frame, 0.0, Stroke::new(4.0, egui::Color32::BLACK), StrokeKind::Inside);
    painter.rect_stroke(frame.shrink(1.0), 0.0, Stroke::new(2.0, egui::Color32::WHITE), StrokeKind::Inside);
    if response.has_focus() {
        painter.rect_stroke(rect.expand(3.0), 2.0, Stroke::new(3.0, inks.chosen), StrokeKind::Inside);
    }
    response.on_hover_text("The whole field; click or drag to look elsewhere");
}
