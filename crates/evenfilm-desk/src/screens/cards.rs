//! The fields of the lot as a strip of cards.

use egui::{Color32, Label, Rect, RichText, ScrollArea, Sense, Stroke, StrokeKind, TextureOptions, Ui, Vec2};
use evenfilm_core::plane::ONE;

use super::widgets;
use crate::canvas::Thumb;
use crate::change::{Act, Acts};
use crate::command::Command;
use crate::state::{Card, CardState, Lot, State};
use crate::theme::{self, GAP};

/// Height of the strip, points: a card, what scrolls it, and its air.
pub(super) const HEIGHT: f32 = 110.0;

/// Size of a card, points.
const CARD: Vec2 = Vec2::new(196.0, 76.0);
/// Size of its picture.
const PICTURE: Vec2 = Vec2::new(80.0, 60.0);

pub(super) fn show(ui: &mut Ui, state: &State, acts: &mut Acts) {
    let Some(lot) = &state.lot else { return };
    ui.horizontal(|ui| {
        ui.vertical(|ui| {
            ui.set_width(132.0);
            ui.spacing_mut().item_spacing.y = 2.0;
            let count = lot.cards.len();
            let place = if count == 0 { String::new() } else { format!("{} of {count}", lot.field + 1) };
            ui.label(RichText::new(format!("Field {place}")).strong());
            let is_out = lot.cards.get(lot.field).is_some_and(|card| matches!(card.state, CardState::LeftOut(_)));
            widgets::named(ui, Command::LeaveOut, if is_out { "Take it back" } else { "Leave it out…" }, state, acts);
        });
        ScrollArea::horizontal().auto_shrink([false, true]).show(ui, |ui| {
            ui.horizontal(|ui| {
                for (place, card) in lot.cards.iter().enumerate() {
                    one(ui, lot, place, card, acts);
                }
            });
        });
    });
}

fn one(ui: &mut Ui, lot: &Lot, place: usize, card: &Card, acts: &mut Acts) {
    let inks = theme::inks(ui);
    let is_shown = place == lot.field;
    let (rect, response) = ui.allocate_exact_size(CARD, Sense::click());
    let words = card.state.word();
    let slide = if card.slide.is_empty() { String::new() } else { format!(", slide {}", card.slide) };
    response.widget_info(|| {
        egui::WidgetInfo::selected(egui::Role::Button, true, is_shown, format!("Field {}, {}{slide}: {words}", place + 1, card.name))
    });
    if is_shown && response.ctx.memory(|memory| memory.data.get_temp::<usize>(shown_id())) != Some(place) {
        response.scroll_to_me(None);
        response.ctx.memory_mut(|memory| memory.data.insert_temp(shown_id(), place));
    }
    let (fill, edge) = match (is_shown, response.hovered()) {
        (true, _) => (inks.raised, Stroke::new(2.5, inks.chosen)),
        (_, true) => (inks.raised, Stroke::new(1.0, inks.edge)),
        _ => (inks.raised, Stroke::new(1.0, inks.hair)),
    };
    ui.painter().rect(rect, 8, fill, edge, StrokeKind::Inside);
    if response.has_focus() {
        ui.painter().rect_stroke(rect.expand(2.0), 10, Stroke::new(2.0, inks.ink), StrokeKind::Outside);
    }
    let picture = Rect::from_min_size(rect.min + Vec2::splat(8.0), PICTURE);
    thumb(ui, card, picture);
    let text = Rect::from_min_max(egui::pos2(picture.right() + GAP, rect.top() + 8.0), rect.max - Vec2::splat(8.0));
    let mut inner = ui.new_child(egui::UiBuilder::new().max_rect(text).layout(egui::Layout::top_down(egui::Align::Min)));
    inner.spacing_mut().item_spacing.y = 1.0;
    inner.add(Label::new(RichText::new(&card.name).strong()).truncate());
    if !card.slide.is_empty() {
        inner.add(Label::new(widgets::quiet(ui, format!("slide {}", card.slide)).small()).truncate());
    }
    let ink = match card.state {
        CardState::ToCheck(_) | CardState::LeftOut(_) | CardState::SetAside(_) => inks.warn,
        _ => inks.quiet,
    };
    inner.add(Label::new(RichText::new(&words).small().color(ink)).truncate());
    let hint = hint(lot, place, card, &words);
    if response.on_hover_text(hint).clicked() {
        acts.push(Act::Field(place));
    }
}

fn shown_id() -> egui::Id {
    egui::Id::unique("the card that was scrolled to")
}

/// The card in full: names that do not fit, and what should be checked.
fn hint(lot: &Lot, place: usize, card: &Card, words: &str) -> String {
    let flags = lot.measured.as_ref().and_then(|measured| measured.fields.get(place)).map_or(&[][..], |field| &field.flags);
    let lines = flags.iter().map(|flag| format!("{}: {}", flag.id.replace('_', " "), flag.advice));
    std::iter::once(format!("{}\n{words}", card.name)).chain(lines).collect::<Vec<_>>().join("\n")
}

fn thumb(ui: &Ui, card: &Card, at: Rect) {
    let inks = theme::inks(ui);
    ui.painter().rect_filled(at, 4, inks.press);
    let Some(thumb) = &card.thumb else { return };
    // One texture for each small picture, kept as long as the picture is.
    let id = egui::Id::unique(("thumb", std::sync::Arc::as_ptr(thumb).addr()));
    let texture = ui.ctx().memory_mut(|memory| memory.data.get_temp::<egui::TextureHandle>(id)).unwrap_or_else(|| {
        let texture = ui.ctx().load_texture("thumb", image(thumb), TextureOptions::LINEAR);
        ui.ctx().memory_mut(|memory| memory.data.insert_temp(id, texture.clone()));
        texture
    });
    let size = texture.size_vec2();
    let shown = Rect::from_center_size(at.center(), size * (at.width() / size.x).min(at.height() / size.y));
    ui.painter().image(texture.id(), shown, Rect::from_min_max(egui::pos2(0.0, 0.0), egui::pos2(1.0, 1.0)), Color32::WHITE);
}

/// A small picture in grey, the film at the same grey whatever its density.
fn image(thumb: &Thumb) -> egui::ColorImage {
    let film = f32::from(thumb.film.unwrap_or(ONE)).max(1.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 255")]
    let grey = |&level: &u16| Color32::from_gray((116.0 * (f32::from(level) / film).sqrt()).min(255.0) as u8);
    egui::ColorImage::new([thumb.width, thumb.height], thumb.levels.iter().map(grey).collect())
}
