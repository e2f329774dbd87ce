//! The frame around what has the keyboard: one for everything, so that nothing is without, and what has it scrolls into view.

use egui::{Context, Rect, Stroke, StrokeKind, Ui};

use super::picture;
use crate::theme;

/// Space between a thing and its frame, and the frame's width, points.
pub(crate) const RING: [f32; 2] = [1.5, 3.0];

/// Paints the frame, above all that was painted in this pass.
pub(crate) fn ring(ctx: &Context) {
    let Some(id) = ctx.memory(egui::Memory::focused).filter(|&id| !picture::has_own_ring(id)) else { return };
    let Some(response) = ctx.read_response(id).filter(|response| response.interact_rect.is_positive()) else { return };
    let inks = theme::of(ctx.global_style().visuals.dark_mode);
    let reach = RING[0] + RING[1];
    let painter = egui::Painter::new(ctx.clone(), response.layer_id, response.interact_rect.expand(reach + 1.0));
    let around = response.rect.expand(RING[0]);
    painter.rect_stroke(around, 7, Stroke::new(RING[1], inks.chosen), StrokeKind::Outside);
}

/// Scrolls to what has just got the keyboard, where it lies in this area; called last in each area that scrolls.
pub(super) fn follow(ui: &Ui) {
    let Some(id) = ui.memory(egui::Memory::focused) else { return };
    let Some(response) = ui.ctx().read_response(id).filter(egui::Response::gained_focus) else { return };
    let within = |rect: Rect| ui.min_rect().expand(1.0).contains_rect(rect);
    if response.layer_id == ui.layer_id() && within(response.rect) && !picture::has_own_ring(id) {
        ui.scroll_to_rect(response.rect.expand(theme::GAP), None);
    }
}
