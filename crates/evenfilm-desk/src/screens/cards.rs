//! The fields of the lot as a strip of cards.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use egui::{Color32, Label, Rect, RichText, ScrollArea, Sense, Stroke, StrokeKind, TextureHandle, TextureOptions, Ui, Vec2};
use evenfilm_core::plane::ONE;
use evenfilm_record::corrections::Change;

use super::{focus, top, widgets};
use crate::canvas::Thumb;
use crate::change::{Act, Acts};
use crate::command::Command;
use crate::state::{Card, CardState, Lot, State};
use crate::theme::{self, GAP};

/// Height of the strip, points: a card, what scrolls it, and its air.
pub(super) const HEIGHT: f32 = 110.0;

/// Its height in a small window, where one field is shown in words.
pub(super) const SMALL: f32 = theme::TARGET;

/// Size of a card, points.
const CARD: Vec2 = Vec2::new(196.0, 76.0);
/// Size of its picture.
const PICTURE: Vec2 = Vec2::new(80.0, 60.0);

/// Small pictures of one lot, by field, with what each was made from.
#[derive(Default)]
pub(crate) struct Draft {
    folder: PathBuf,
    small: BTreeMap<usize, (Arc<Thumb>, TextureHandle)>,
    /// The card that was scrolled to last.
    shown: Option<usize>,
}

impl Draft {
    /// Lets go of what is of another lot.
    fn of_lot(&mut self, lot: &Lot) {
        if self.folder != lot.folder {
            *self = Self { folder: lot.folder.clone(), ..Self::default() };
        }
        self.small.retain(|&place, _| place < lot.cards.len());
    }

    fn texture(&mut self, ui: &Ui, place: usize, thumb: &Arc<Thumb>) -> &TextureHandle {
        if self.small.get(&place).is_none_or(|(from, _)| !Arc::ptr_eq(from, thumb)) {
            let texture = ui.ctx().load_texture("small picture of a field", image(thumb), TextureOptions::LINEAR);
            self.small.insert(place, (Arc::clone(thumb), texture));
        }
        &self.small[&place].1
    }
}

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut Draft, acts: &mut Acts) {
    let Some(lot) = &state.lot else { return };
    draft.of_lot(lot);
    ui.horizontal(|ui| {
        ui.vertical(|ui| {
            ui.set_width(132.0);
            ui.spacing_mut().item_spacing.y = 2.0;
            ui.label(RichText::new(place(lot)).strong());
            widgets::named(ui, Command::LeaveOut, leave_or_take(lot), state, acts);
        });
        ScrollArea::horizontal().auto_shrink([false, true]).show(ui, |ui| {
            ui.horizontal(|ui| {
                for (place, card) in lot.cards.iter().enumerate() {
                    one(ui, lot, (place, card), draft, acts);
                }
            });
            focus::follow(ui);
        });
    });
}

/// The shown field in words, with its neighbours one press away.
pub(super) fn show_small(ui: &mut Ui, state: &State, acts: &mut Acts) {
    let Some(lot) = &state.lot else { return };
    ui.horizontal(|ui| {
        ui.set_height(SMALL);
        top::tighten(ui);
        widgets::brief(ui, Command::PreviousField, ["Previous", "Previous field"], state, acts);
        widgets::brief(ui, Command::NextField, ["Next", "Next field"], state, acts);
        let left = if top::has_lot(ui) { 0.0 } else { (ui.available_width() * 0.3).clamp(80.0, 300.0) };
        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
            if left > 0.0 {
                ui.allocate_ui_with_layout(Vec2::new(left, SMALL), egui::Layout::left_to_right(egui::Align::Center), |ui| {
                    ui.set_width(left);
                    top::lots(ui, state, acts);
                });
            }
            widgets::named(ui, Command::LeaveOut, leave_or_take(lot), state, acts);
            ui.with_layout(egui::Layout::top_down(egui::Align::Min), |ui| {
                ui.spacing_mut().item_spacing.y = 0.0;
                ui.add_space(3.0);
                ui.add(Label::new(RichText::new(place(lot)).strong()).truncate());
                if let Some(card) = lot.cards.get(lot.field) {
                    let text = format!("{}: {}", card.name, card.state.word());
                    let hint = hint(lot, lot.field, card, &card.state.word());
                    ui.add(Label::new(RichText::new(text).small().color(ink_of(&card.state, theme::inks(ui)))).truncate())
                        .on_hover_text(hint);
                }
            });
        });
    });
}

/// "Field 2 of 4".
fn place(lot: &Lot) -> String {
    let count = lot.cards.len();
    if count == 0 { "No field yet".into() } else { format!("Field {} of {count}", lot.field + 1) }
}

/// What the command would do: as the corrections have it now, measured or not.
fn leave_or_take(lot: &Lot) -> &'static str {
    let name = lot.cards.get(lot.field).map(|card| card.name.as_str());
    let is_out = lot.now.corrections.lines.iter().any(|line| Some(line.field.as_str()) == name && line.change == Change::LeaveOut);
    if is_out { "Take it back" } else { "Leave it out…" }
}

const fn ink_of(state: &CardState, inks: &theme::Inks) -> Color32 {
    match state {
        CardState::ToCheck(_) | CardState::LeftOut(_) | CardState::SetAside(_) => inks.warn,
        _ => inks.quiet,
    }
}

fn one(ui: &mut Ui, lot: &Lot, (place, card): (usize, &Card), draft: &mut Draft, acts: &mut Acts) {
    let inks = theme::inks(ui);
    let is_shown = place == lot.field;
    let (rect, response) = ui.allocate_exact_size(CARD, Sense::click());
    let words = card.state.word();
    let slide = if card.slide.is_empty() { String::new() } else { format!(", slide {}", card.slide) };
    response.widget_info(|| {
        egui::WidgetInfo::selected(egui::Role::Button, true, is_shown, format!("Field {}, {}{slide}: {words}", place + 1, card.name))
    });
    if is_shown && draft.shown.replace(place) != Some(place) {
        response.scroll_to_me(None);
    }
    let (fill, edge) = match (is_shown, response.hovered()) {
        (true, _) => (inks.raised, Stroke::new(2.5, inks.chosen)),
        (_, true) => (inks.raised, Stroke::new(1.0, inks.edge)),
        _ => (inks.raised, Stroke::new(1.0, inks.hair)),
    };
    ui.painter().rect(rect, 8, fill, edge, StrokeKind::Inside);
    let picture = Rect::from_min_size(rect.min + Vec2::splat(8.0), PICTURE);
    thumb(ui, (place, card), picture, draft);
    mark(ui, &card.state, picture);
    let text = Rect::from_min_max(egui::pos2(picture.right() + GAP, rect.top() + 8.0), rect.max - Vec2::splat(8.0));
    let mut inner = ui.new_child(egui::UiBuilder::new().max_rect(text).layout(egui::Layout::top_down(egui::Align::Min)));
    inner.spacing_mut().item_spacing.y = 1.0;
    inner.add(Label::new(RichText::new(&card.name).strong()).truncate());
    if !card.slide.is_empty() {
        inner.add(Label::new(widgets::quiet(ui, format!("slide {}", card.slide)).small()).truncate());
    }
    let ink = ink_of(&card.state, inks);
    inner.add(Label::new(RichText::new(&words).small().color(ink)).truncate());
    let hint = hint(lot, place, card, &words);
    if response.on_hover_text(hint).clicked() {
        acts.push(Act::Field(place));
    }
}

/// The card in full: names that do not fit, and what should be checked.
fn hint(lot: &Lot, place: usize, card: &Card, words: &str) -> String {
    let flags = lot.measured.as_ref().and_then(|measured| measured.fields.get(place)).map_or(&[][..], |field| &field.flags);
    let lines = flags.iter().map(|flag| format!("{}: {}", flag.id.replace('_', " "), flag.advice));
    std::iter::once(format!("{}\n{words}", card.name)).chain(lines).collect::<Vec<_>>().join("\n")
}

/// A mark over the small picture: a line across what is left out, a ring with a bar on what is set aside and still counted.
fn mark(ui: &Ui, state: &CardState, at: Rect) {
    let painter = ui.painter().with_clip_rect(at.intersect(ui.clip_rect()));
    let strokes = [Stroke::new(5.0, Color32::BLACK), Stroke::new(2.5, Color32::WHITE)];
    match state {
        CardState::LeftOut(_) => {
            for stroke in strokes {
                painter.line_segment([at.left_bottom(), at.right_top()], stroke);
            }
        }
        CardState::SetAside(_) => {
            let centre = at.right_top() + Vec2::new(-13.0, 13.0);
            for stroke in strokes {
                painter.circle_stroke(centre, 8.0, stroke);
                painter.line_segment([centre - Vec2::new(0.0, 5.0), centre + Vec2::new(0.0, 5.0)], stroke);
            }
        }
        _ => {}
    }
}

fn thumb(ui: &Ui, (place, card): (usize, &Card), at: Rect, draft: &mut Draft) {
    let inks = theme::inks(ui);
    ui.painter().rect_filled(at, 4, inks.press);
    let Some(thumb) = &card.thumb else { return };
    let texture = draft.texture(ui, place, thumb);
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
