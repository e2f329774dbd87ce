//! What should be looked at in the field, as short words over a corner of the picture.

use egui::{Color32, FontId, Pos2, Rect, Role, Sense, Ui, Vec2, WidgetInfo};

use super::{Canvas, Room, words};
use crate::canvas::Layer;

/// Flags that have room; the others are counted.
const MOST: usize = 6;

pub(super) fn show(ui: &mut Ui, room: &Room<'_>, canvas: &Canvas) {
    let share = room.lot.layers.of(Layer::Flags);
    let Some((field, _)) = canvas.found().filter(|_| share > 0.0) else { return };
    let mut top = room.rect.top() + 10.0;
    let left_out = words::left_out(room.lot);
    let flags = field.flags.iter().map(|flag| (words::flag(flag.id), value_and_advice(flag)));
    let mut all: Vec<(String, String)> = left_out.into_iter().chain(flags).collect();
    if all.len() > MOST {
        let more = all.split_off(MOST - 1);
        let hint = more.iter().map(|(word, advice)| format!("{word}: {advice}")).collect::<Vec<_>>().join("\n");
        all.push((format!("and {} more", more.len()), hint));
    }
    for (place, (word, advice)) in all.into_iter().enumerate() {
        let at = Pos2::new(room.rect.left() + 10.0, top);
        top = plate(ui, (place, at), &word, &advice, share).bottom() + 4.0;
    }
}

fn value_and_advice(flag: &evenfilm_core::quality::Flag) -> String {
    let found = flag.value.map_or_else(String::new, |value| format!("found {}", words::three(value)));
    let limit = flag.limit.map_or_else(String::new, |limit| format!(", held against {}", words::three(limit)));
    if found.is_empty() { flag.advice.to_string() } else { format!("{}\n{found}{limit}", flag.advice) }
}

fn plate(ui: &mut Ui, (place, at): (usize, Pos2), word: &str, advice: &str, share: f32) -> Rect {
    let text = ui.painter().layout_no_wrap(word.to_owned(), FontId::proportional(14.0), Color32::WHITE);
    let rect = Rect::from_min_size(at, text.size() + Vec2::new(34.0, 10.0));
    let response = ui.interact(rect, ui.scope_id().with(("flag", place)), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, format!("{word}: {advice}")));
    let painter = ui.painter();
    painter.rect_filled(rect, 4.0, Color32::from_black_alpha(225).gamma_multiply(share));
    let ink = Color32::WHITE.gamma_multiply(share);
    let pole = at + Vec2::new(10.0, 7.0);
    let flag = [pole, pole + Vec2::new(10.0, 4.0), pole + Vec2::new(0.0, 8.0)];
    painter.add(egui::Shape::convex_polygon(flag.to_vec(), ink, egui::Stroke::NONE));
    painter.line_segment([pole, pole + Vec2::new(0.0, 14.0)], egui::Stroke::new(1.5, ink));
    painter.galley(at + Vec2::new(26.0, 5.0), text, ink);
    response.on_hover_text(advice);
    rect
}
