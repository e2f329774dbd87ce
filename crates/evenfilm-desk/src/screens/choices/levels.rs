//! The levels of the field that is shown, with marks that can be dragged: where particles and gaps begin.

use egui::{CursorIcon, EventFilter, Key, Pos2, Rect, Response, Sense, Stroke, Ui, Vec2};
use evenfilm_core::plane::ONE;
use evenfilm_core::recipe::{Detect, Recipe};
use evenfilm_record::chart::{Frame, LevelData, LevelHeight, LevelOptions, level_frame, level_histogram};

use super::Wish;
use crate::canvas::FieldPicture;
use crate::screens::{scene, widgets};
use crate::state::Lot;
use crate::theme;

/// Height of the histogram, points.
const HEIGHT: f32 = 150.0;

/// Relative light at the right end of its axis.
const MOST_LIGHT: f64 = 1.25;

/// How far an arrow key moves a mark, in relative light; with Shift, ten times as far.
const KEY_STEP: f64 = 0.005;

pub(super) fn show(ui: &mut Ui, lot: &Lot, wish: &mut Wish) {
    let Some(picture) = &lot.picture else {
        ui.add_space(4.0);
        ui.label(widgets::quiet(ui, "The levels of light come with the picture."));
        return;
    };
    let options = LevelOptions {
        canvas: scene::canvas(Vec2::new(ui.available_width(), HEIGHT)),
        height: LevelHeight::Root,
        light: [0.0, MOST_LIGHT],
    };
    let step = 2.0 / picture.levels_seen.len().max(1) as f64;
    let chart = scene::show(ui, &level_histogram(&LevelData { bins: picture.levels_seen.clone(), from: 0.0, step }, &options));
    let frame = level_frame(&options);
    let place = Place { origin: chart.rect.min, frame };
    let marks = Marks::of(picture, &lot.now.recipe);
    still(ui, &place, marks.film, "film");
    if picture.bare_known {
        still(ui, &place, 1.0, "bare");
    }
    let mut recipe = wish.recipe.clone().unwrap_or_else(|| lot.now.recipe.clone());
    let before = recipe.clone();
    if let Some(light) = dragged(ui, &place, "Particles begin below", marks.particle, true, wish) {
        recipe.particles.detect = Detect::Fixed;
        recipe.particles.fixed_level = to_share(light / marks.film);
    }
    if let Some(light) = marks.gap.and_then(|gap| dragged(ui, &place, "Gaps begin above", gap, false, wish)) {
        recipe.gaps.edge = to_share((light - marks.film) / (1.0 - marks.film));
    }
    if recipe != before {
        wish.recipe = Some(recipe);
    }
    ui.label(
        widgets::quiet(ui, "Drag a mark, or reach it with Tab and use the arrows. P: particles begin below. G: gaps begin above.").small(),
    );
}

/// Where things lie on the axis, in relative light.
struct Marks {
    film: f64,
    particle: f64,
    gap: Option<f64>,
}

impl Marks {
    fn of(picture: &FieldPicture, recipe: &Recipe) -> Self {
        let one = f64::from(ONE);
        let cuts = picture.cuts(recipe);
        let film = picture.film.map_or(one, |film| f64::from(film.level));
        // A film as light as the empty slide has no room for a mark between the two.
        let gap = cuts.gap.filter(|_| film < 0.98 * one).map(|_| cuts.gap_level(film) / one);
        Self { film: film / one, particle: film * cuts.particle / one, gap }
    }
}

/// A share that the recipe takes: inside 0 and 1, to three decimals.
fn to_share(share: f64) -> f64 {
    (share.clamp(0.01, 0.99) * 1000.0).round() / 1000.0
}

/// The chart on the screen.
struct Place {
    origin: Pos2,
    frame: Frame,
}

impl Place {
    #[expect(clippy::cast_possible_truncation, reason = "places on a screen")]
    fn x(&self, light: f64) -> f32 {
        self.origin.x + self.frame.x_of(light.clamp(0.0, MOST_LIGHT)) as f32
    }

    #[expect(clippy::cast_possible_truncation, reason = "places on a screen")]
    fn ends(&self) -> [f32; 2] {
        [self.origin.y + self.frame.top as f32, self.origin.y + self.frame.bottom as f32]
    }

    fn light(&self, x: f32) -> f64 {
        self.frame.at_x(f64::from(x - self.origin.x)).clamp(0.0, MOST_LIGHT)
    }
}

/// A mark that only shows where something lies.
fn still(ui: &Ui, place: &Place, light: f64, name: &str) {
    let inks = theme::inks(ui);
    let (x, [top, bottom]) = (place.x(light), place.ends());
    let line = [Pos2::new(x, top), Pos2::new(x, bottom)];
    ui.painter().extend(egui::Shape::dashed_line(&line, Stroke::new(1.5, inks.quiet), 4.0, 3.0));
    let font = egui::FontId::proportional(12.0);
    ui.painter().text(Pos2::new(x + 3.0, top + 2.0), egui::Align2::LEFT_TOP, name, font, inks.quiet);
}

/// A mark that is dragged or moved by keys; gives its new place where it was.
fn dragged(ui: &mut Ui, place: &Place, name: &str, light: f64, below: bool, wish: &mut Wish) -> Option<f64> {
    let (x, [top, bottom]) = (place.x(light), place.ends());
    // As wide as a finger with a glove on.
    let target = Rect::from_min_max(Pos2::new(x - theme::TARGET / 2.0, top), Pos2::new(x + theme::TARGET / 2.0, bottom));
    let response = ui.interact(target, ui.scope_id().with(name), Sense::click_and_drag()).on_hover_cursor(CursorIcon::ResizeHorizontal);
    response.widget_info(|| egui::WidgetInfo::slider(true, light, name));
    ui.memory_mut(|memory| {
        let arrows = EventFilter { horizontal_arrows: true, ..EventFilter::default() };
        memory.set_focus_lock_filter(response.id, arrows);
    });
    draw(ui, [x, top, bottom], &response, below);
    wish.goes_on |= response.dragged();
    wish.ended |= response.drag_stopped();
    let density = if light > 0.0 { format!(", optical density {:.3}", -log10(light)) } else { String::new() };
    let response = response.on_hover_text(format!("{name} {light:.3} of the empty slide's light{density}"));
    if response.dragged() {
        return response.interact_pointer_pos().filter(|_| response.drag_delta().x != 0.0).map(|at| place.light(at.x));
    }
    if response.has_focus() {
        let (left, right, shift) =
            ui.input(|input| (input.num_presses(Key::ArrowLeft), input.num_presses(Key::ArrowRight), input.modifiers.shift));
        let steps = right as f64 - left as f64;
        if steps != 0.0 {
            return Some(light + steps * KEY_STEP * if shift { 10.0 } else { 1.0 });
        }
    }
    None
}

fn draw(ui: &Ui, [x, top, bottom]: [f32; 3], response: &Response, below: bool) {
    let inks = theme::inks(ui);
    let strong = response.hovered() || response.dragged() || response.has_focus();
    let ink = if strong { inks.chosen } else { inks.ink };
    ui.painter().line_segment([Pos2::new(x, top), Pos2::new(x, bottom)], Stroke::new(if strong { 3.0 } else { 2.0 }, ink));
    // A grip with a letter; the side that it begins on is told by where the grip hangs.
    let grip =
        Rect::from_center_size(Pos2::new(if below { x - 11.0 } else { x + 11.0 }, f32::midpoint(top, bottom)), Vec2::new(22.0, 26.0));
    ui.painter().rect_filled(grip, 4, ink);
    let ground = if strong { inks.on_chosen } else { inks.raised };
    ui.painter().text(grip.center(), egui::Align2::CENTER_CENTER, if below { "P" } else { "G" }, egui::FontId::proportional(14.0), ground);
    if response.has_focus() {
        ui.painter().rect_stroke(grip.expand(3.0), 6, Stroke::new(2.0, inks.ink), egui::StrokeKind::Outside);
    }
}

#[expect(clippy::disallowed_methods, reason = "a hint on the screen; no record holds it")]
fn log10(light: f64) -> f64 {
    light.log10()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_stay_inside() {
        assert_eq!([to_share(-3.0), to_share(0.512_345), to_share(7.0)].map(f64::to_bits), [0.01, 0.512, 0.99].map(f64::to_bits));
    }
}
