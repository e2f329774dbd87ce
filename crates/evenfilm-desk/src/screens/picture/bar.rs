//! The bar below the picture: what is read, how long things are, where the eye is, and what it is told to do.

use egui::{Align, Button, Label, Layout, Pos2, Rect, RichText, Stroke, Ui, UiBuilder, Vec2};

use super::paint::recipe_of;
use super::things::{self, Thing};
use super::{Canvas, Room, layers, overview, words};
use crate::change::Acts;
use crate::command::Command;
use crate::screens::widgets;
use crate::theme;

/// Width of the scale line with its words.
const SCALE: f32 = 172.0;

/// The same in a short bar.
const SCALE_SHORT: f32 = 100.0;

/// Width of the bar below which names are short and the overview is left off.
const SHORT: f32 = 780.0;

/// Width of the read-out below which it takes three lines.
const NARROW: f32 = 330.0;

/// Width from which everything is said in full.
const WIDE: f32 = 1250.0;

pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    (room, canvas): (&mut Room<'_>, &mut Canvas),
    (cursor, thing): (Option<[f64; 2]>, Option<Thing>),
    acts: &mut Acts,
) {
    let mut bar = ui.new_child(UiBuilder::new().max_rect(rect).layout(Layout::right_to_left(Align::Center)));
    bar.set_clip_rect(rect.expand(4.0).intersect(ui.clip_rect()));
    let (wide, short) = (rect.width() >= WIDE, rect.width() < SHORT);
    if short {
        crate::screens::top::tighten(&mut bar);
    } else {
        overview::show(&mut bar, room, canvas);
    }
    layers::button(&mut bar, room.lot, acts);
    let names = if short { ["Pixel", "Whole"] } else { ["Pixel for pixel", "Whole field"] };
    for (command, full, name) in [(Command::TrueSize, "Pixel for pixel", names[0]), (Command::Whole, "Whole field", names[1])] {
        widgets::brief(&mut bar, command, [name, full], room.state, acts);
    }
    let across = if wide {
        SCALE + 210.0
    } else if short {
        SCALE_SHORT
    } else {
        SCALE
    };
    let size = Vec2::new(across, rect.height());
    bar.allocate_ui_with_layout(size, Layout::top_down(Align::Center), |ui| {
        ui.set_min_size(size);
        scale_line(ui, room, (wide, short));
    });
    let left = bar.available_size_before_wrap();
    bar.allocate_ui_with_layout(left, Layout::top_down(Align::Min), |ui| {
        ui.set_min_size(left);
        read_out(ui, room, canvas, (cursor, thing));
    });
}

/// What is read, in two lines.
fn read_out(ui: &mut Ui, room: &Room<'_>, canvas: &Canvas, (cursor, thing): (Option<[f64; 2]>, Option<Thing>)) {
    // Where there is little room, three small lines say what two say else.
    let narrow = ui.available_width() < NARROW;
    let size = if narrow { 12.5 } else { 14.0 };
    ui.spacing_mut().item_spacing.y = if narrow { 0.0 } else { 2.0 };
    ui.add_space(if narrow { 3.0 } else { 8.0 });
    let beside = || ["Beside the picture".to_owned(), String::new()];
    let [at, light] = cursor.map_or_else(beside, |place| place_words(room, canvas, place));
    let line = if light.is_empty() { at.clone() } else { format!("{at} · {light}") };
    for text in if narrow { vec![&at, &light] } else { vec![&line] } {
        ui.add(Label::new(RichText::new(text).size(size).strong()).truncate());
    }
    let found = canvas.found().map(|(found, _)| &found.result);
    let told = match (thing, found) {
        (Some(thing), Some(result)) => words::thing(result, thing, recipe_of(room.lot)),
        (None, Some(_)) => "Nothing was found here".into(),
        (_, None) => "No numbers yet".into(),
    };
    let label = ui.add(Label::new(widgets::quiet(ui, &told).size(size)).truncate());
    label.on_hover_text(format!("{line}\n{told}"));
}

/// Where a place is, and what it shows.
fn place_words(room: &Room<'_>, canvas: &Canvas, place: [f64; 2]) -> [String; 2] {
    let um = room.picture.um_per_px;
    let at = format!("x {}, y {} µm", words::three(place[0] * um), words::three(place[1] * um));
    let Some(level) = things::level(room, canvas, place) else { return [at, String::new()] };
    let light = f64::from(level) / f64::from(evenfilm_core::plane::ONE);
    let od = things::density(level).map_or_else(|| "–".into(), words::three);
    [at, format!("light {light:.3} · OD {od} · {}", things::phase(room, canvas, place, level))]
}

/// A round length, and how large pixels are shown.
fn scale_line(ui: &mut Ui, room: &Room<'_>, (wide, is_short): (bool, bool)) {
    let zoom = room.seen().zoom;
    let um_per_point = room.picture.um_per_px * f64::from(room.scale) / zoom;
    let [full, short] = words::zoom(zoom, room.picture.um_per_px);
    let most = f64::from(if is_short { SCALE_SHORT } else { SCALE }) - 16.0;
    ui.spacing_mut().item_spacing.y = 1.0;
    ui.add_space(2.0);
    if let Some((text, length)) = words::round_length(most, um_per_point) {
        ui.add(Label::new(RichText::new(text).size(14.0).strong()));
        let (rect, _) = ui.allocate_exact_size(Vec2::new(ui.available_width(), 10.0), egui::Sense::hover());
        #[expect(clippy::cast_possible_truncation, reason = "at most as long as its room")]
        let half = length as f32 / 2.0;
        let (middle, ink) = (rect.center(), Stroke::new(2.0, theme::inks(ui).ink));
        let end = |side: f32| Pos2::new(middle.x + side * half, middle.y);
        let tick = |side: f32| [end(side) - Vec2::new(0.0, 4.0), end(side) + Vec2::new(0.0, 4.0)];
        for line in [[end(-1.0), end(1.0)], tick(-1.0), tick(1.0)] {
            ui.painter().line_segment(line, ink);
        }
    }
    // In a short bar the line of the scale says it; how large pixels are shown stands in its hint.
    let text = if wide {
        full.clone()
    } else if is_short {
        format!("{} µm a pixel", words::three(room.picture.um_per_px))
    } else {
        short
    };
    ui.add(Label::new(widgets::quiet(ui, text).size(12.5)).truncate()).on_hover_text(&full);
}

/// A button of the bar that opens something.
pub(super) fn opener(ui: &mut Ui, name: &str, hint: &str) -> egui::Response {
    ui.add(Button::new(name)).on_hover_text(hint)
}
