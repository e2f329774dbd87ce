//! The picture and the bar below it.

use std::sync::Arc;

use egui::{Id, Pos2, Rect, Ui, Vec2};

use crate::Desk;
use crate::canvas::{Camera, Detail, FieldPicture, Seen};
use crate::change::{Act, Acts};
use crate::command::Command;
use crate::state::{Lot, State};

mod bar;
mod flags;
mod grip;
mod layers;
mod overview;
mod paint;
mod part;
mod states;
mod things;
mod view;
mod words;

#[cfg(test)]
mod tests;

pub(crate) use paint::Canvas;

/// Least height of the picture, points.
const LEAST: f32 = 200.0;

/// Height of the bar below the picture, points.
const BAR: f32 = 56.0;

impl Canvas {
    /// Takes in a part of a picture that is not held in memory.
    pub(crate) fn detail(&mut self, detail: Detail) {
        self.parts.take(detail);
    }
}

/// What every part of the screen needs to know.
struct Room<'a> {
    state: &'a State,
    lot: &'a Lot,
    picture: &'a Arc<FieldPicture>,
    /// Where the picture is, points.
    rect: Rect,
    /// Physical pixels to a point.
    scale: f32,
    /// Where the eye is in this pass.
    camera: Camera,
}

impl Room<'_> {
    /// Size of the view, physical pixels.
    fn view_px(&self) -> [f64; 2] {
        [self.rect.width(), self.rect.height()].map(|side| f64::from((side * self.scale).round().max(1.0)))
    }

    fn seen(&self) -> Seen {
        self.camera.seen(self.view_px(), self.picture.size)
    }

    /// The place of the picture below a place of the window; `None` beside the picture.
    fn place(&self, at: Pos2) -> Option<[f64; 2]> {
        let place = self.seen().place(self.within(at));
        let within = |place: f64, side: u32| place >= 0.0 && place < f64::from(side);
        (within(place[0], self.picture.size.0) && within(place[1], self.picture.size.1)).then_some(place)
    }

    /// A place of the window in physical pixels of the view.
    fn within(&self, at: Pos2) -> [f64; 2] {
        let by = (at - self.rect.min) * self.scale;
        [f64::from(by.x), f64::from(by.y)]
    }

    /// The place of the window above a place of the picture.
    #[expect(clippy::cast_possible_truncation, reason = "places of a window")]
    fn on_screen(&self, place: [f64; 2]) -> Pos2 {
        let [x, y] = self.seen().on_screen(place).map(|at| at as f32);
        self.rect.min + Vec2::new(x, y) / self.scale
    }
}

pub(super) fn show(ui: &mut Ui, desk: &mut Desk, acts: &mut Acts) {
    let Desk { state, canvas, jobs, view_px, pointed, .. } = desk;
    *pointed = None;
    let Some(lot) = &state.lot else { return };
    let all = ui.available_rect_before_wrap();
    let scale = ui.ctx().pixels_per_point();
    let whole = |at: Pos2| Pos2::new((at.x * scale).round() / scale, (at.y * scale).round() / scale);
    let bottom = (all.bottom() - BAR - crate::theme::GAP).max(all.top() + LEAST);
    // Pixels of the picture are pixels of the screen, so its corner lies on one.
    let rect = Rect::from_min_max(whole(all.min), whole(Pos2::new(all.right(), bottom)));
    let below = Rect::from_min_max(Pos2::new(all.left(), rect.bottom() + crate::theme::GAP), all.max);
    ui.advance_cursor_after_rect(all);
    let Some(picture) = &lot.picture else {
        canvas.forget();
        states::no_picture(ui, rect, lot, acts);
        return;
    };
    let mut room = Room { state, lot, picture, rect, scale, camera: lot.camera };
    *view_px = room.view_px();
    canvas.look_at(ui.ctx(), lot);
    let response = view::input(ui, &mut room, canvas);
    let bared = grip::input(ui, &room, acts);
    canvas.ask_for_part(&room, &jobs.detail);
    canvas.paint(ui, &room, bared);
    let cursor = view::cursor(ui, &room, &response);
    let thing = things::under(&room, canvas, cursor);
    *pointed = thing.and_then(|thing| things::pointed(&room, canvas, thing));
    if response.secondary_clicked() {
        acts.run(Command::Kind);
    }
    view::over(ui, &room, &response, (cursor, thing));
    grip::paint(ui, &room, bared);
    flags::show(ui, &room, canvas);
    states::over_picture(ui, &room);
    bar::show(ui, below, (&mut room, canvas), (cursor, thing), acts);
    if room.camera != lot.camera {
        acts.push(Act::Eye(room.camera));
        ui.ctx().request_repaint();
    }
}

/// Whether a thing paints its own frame when it has the keyboard.
pub(super) fn has_own_ring(id: Id) -> bool {
    id == view_id() || id == grip::id()
}

/// The id of the picture, which keys and tests find it by.
fn view_id() -> Id {
    Id::unique("the picture of the field")
}
