//! Moving and looking: drag, wheel, pinch, double click and keys.

use egui::{CursorIcon, EventFilter, Key, Pos2, Rect, Response, Role, Sense, Stroke, StrokeKind, Ui, Vec2, WidgetInfo};

use super::things::Thing;
use super::{Canvas, Room, view_id, words};
use crate::canvas::Camera;
use crate::theme;

/// Share of the view that an arrow key moves by, and with Shift.
const STEPS: [f32; 2] = [0.1, 0.5];

/// How much the wheel enlarges: e-fold in so many points.
const WHEEL: f64 = 260.0;

/// Takes in what is done with the picture.
pub(super) fn input(ui: &mut Ui, room: &mut Room<'_>, canvas: &Canvas) -> Response {
    let response = ui.interact(room.rect, view_id(), Sense::click_and_drag());
    let (view, size) = (room.view_px(), room.picture.size);
    let name = words::name(room.lot, canvas);
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &name));
    if response.clicked() || response.drag_started() {
        response.request_focus();
    }
    if response.double_clicked() {
        room.camera = Camera::default();
    } else if response.dragged() {
        let by = response.drag_delta() * room.scale;
        room.camera.drag([f64::from(by.x), f64::from(by.y)], view, size);
    }
    if let Some(at) = response.hover_pos().filter(|_| response.contains_pointer()) {
        let (wheel, pinch) = ui.input(|input| (f64::from(input.smooth_scroll_delta().y), f64::from(input.zoom_delta())));
        let factor = pinch * libm::exp(wheel / WHEEL);
        if (factor - 1.0).abs() > 1e-6 {
            room.camera.zoom_at(factor, room.within(at), view, size);
        }
        // The page below the picture does not scroll with it.
        ui.input_mut(|input| input.smooth_scroll_delta = Vec2::ZERO);
        ui.ctx().set_cursor_icon(if response.dragged() { CursorIcon::Grabbing } else { CursorIcon::Crosshair });
    }
    if response.has_focus() {
        keys(ui, response.id, room);
    }
    response
}

/// Arrow keys move the eye.
pub(super) fn keys(ui: &Ui, id: egui::Id, room: &mut Room<'_>) {
    let filter = EventFilter { horizontal_arrows: true, vertical_arrows: true, ..EventFilter::default() };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(id, filter));
    let (by, shift) = ui.input(|input| {
        let presses = |key: Key| input.events.iter().filter(|event| is_press(event, key)).count() as f32;
        let by = Vec2::new(presses(Key::ArrowLeft) - presses(Key::ArrowRight), presses(Key::ArrowUp) - presses(Key::ArrowDown));
        (by, input.modifiers.shift)
    });
    if by != Vec2::ZERO {
        let step = room.rect.size().min_elem() * STEPS[usize::from(shift)] * room.scale;
        room.camera.drag([f64::from(by.x * step), f64::from(by.y * step)], room.view_px(), room.picture.size);
    }
}

fn is_press(event: &egui::Event, wanted: Key) -> bool {
    matches!(event, egui::Event::Key { key, pressed: true, modifiers, .. } if *key == wanted && !modifiers.command && !modifiers.alt)
}

/// Where the read-out reads: below the pointer, else in the middle of the view.
pub(super) fn cursor(ui: &Ui, room: &Room<'_>, response: &Response) -> Option<[f64; 2]> {
    let hovered = response.hover_pos().filter(|_| response.contains_pointer() && ui.input(|input| input.pointer.has_pointer()));
    room.place(hovered.unwrap_or_else(|| room.rect.center()))
}

/// What lies over the picture: the frame of what has the keyboard, the middle for its read-out, corners around what is read.
pub(super) fn over(ui: &Ui, room: &Room<'_>, response: &Response, (cursor, thing): (Option<[f64; 2]>, Option<Thing>)) {
    let inks = theme::inks(ui);
    let painter = ui.painter().with_clip_rect(room.rect.intersect(ui.clip_rect()));
    if let Some(thing) = thing {
        let at = thing.at;
        let from = room.on_screen([f64::from(at.x), f64::from(at.y)]);
        let to = room.on_screen([f64::from(at.right()), f64::from(at.bottom())]);
        corners(&painter, Rect::from_min_max(from, to).expand(5.0));
    }
    if response.has_focus() {
        if let Some(middle) = cursor.filter(|_| !response.contains_pointer()) {
            cross(&painter, room.on_screen(middle));
        }
        painter.rect_stroke(room.rect, 0.0, Stroke::new(5.0, inks.ground), StrokeKind::Inside);
        painter.rect_stroke(room.rect.shrink(1.0), 0.0, Stroke::new(3.0, inks.chosen), StrokeKind::Inside);
    } else {
        painter.rect_stroke(room.rect, 0.0, Stroke::new(1.0, inks.edge), StrokeKind::Inside);
    }
}

/// A light line in a dark one, seen on any picture.
pub(super) fn twice(painter: &egui::Painter, line: &[Pos2]) {
    let (dark, light) = (Stroke::new(4.0, egui::Color32::BLACK), Stroke::new(2.0, egui::Color32::WHITE));
    for stroke in [dark, light] {
        painter.add(egui::Shape::line(line.to_vec(), stroke));
    }
}

fn corners(painter: &egui::Painter, around: Rect) {
    let reach = (around.size().min_elem() * 0.3).clamp(4.0, 16.0);
    for (corner, dx, dy) in [
        (around.left_top(), 1.0, 1.0),
        (around.right_top(), -1.0, 1.0),
        (around.left_bottom(), 1.0, -1.0),
        (around.right_bottom(), -1.0, -1.0),
    ] {
        twice(painter, &[corner + Vec2::new(0.0, dy * reach), corner, corner + Vec2::new(dx * reach, 0.0)]);
    }
}

fn cross(painter: &egui::Painter, at: Pos2) {
    for by in [Vec2::new(1.0, 0.0), Vec2::new(-1.0, 0.0), Vec2::new(0.0, 1.0), Vec2::new(0.0, -1.0)] {
        twice(painter, &[at + by * 5.0, at + by * 14.0]);
    }
}
