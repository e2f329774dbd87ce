//! The answer: the verdict in words, and four numbers with their intervals and limits as small bars.

use egui::{Align, Frame, Label, Layout, Margin, RichText, Ui, Vec2};
use evenfilm_core::quantity::{QUANTITIES, Quantity};
use evenfilm_record::chart::{AnswerData, answer_bar};
use evenfilm_record::lot::ObjectiveOutcome;
use evenfilm_record::summary;

use super::{scene, widgets};
use crate::change::Acts;
use crate::state::{Lot, State};
use crate::theme::{self, GAP};

mod verdict;

/// Numbers that are shown.
const SHOWN: usize = 4;

/// What is shown where no limit asks for another.
const USUAL: [&str; SHOWN] = ["uncovered_area_pct", "agglomerate_fraction_pct", "x50_0_um", "x90_3_um"];

/// Height of the band, points: the same with numbers and without, so that nothing jumps.
const HEIGHT: f32 = 122.0;

/// Its height in a small window.
pub(super) const SMALL: f32 = 64.0;

/// Height of the line of caution at the foot of the band.
const CAUTION: f32 = 18.0;

pub(super) fn show(ui: &mut Ui, state: &State, acts: &mut Acts) {
    let Some(lot) = &state.lot else { return };
    let wide = ui.available_width();
    let told = (wide * 0.25).clamp(240.0, 460.0);
    ui.horizontal(|ui| {
        ui.set_height(HEIGHT);
        ui.allocate_ui_with_layout(Vec2::new(told, HEIGHT), Layout::top_down(Align::Min), |ui| {
            ui.set_width(told);
            let said = Vec2::new(told, HEIGHT - CAUTION - 2.0);
            ui.spacing_mut().item_spacing.y = 2.0;
            ui.allocate_ui_with_layout(said, Layout::top_down(Align::Min), |ui| {
                ui.set_min_size(said);
                verdict::show(ui, state, lot, acts);
            });
            caution(ui);
        });
        numbers(ui, lot, HEIGHT, number);
    });
}

/// One short row: the verdict's word, and of each number name, value with its unit, and interval.
pub(super) fn show_small(ui: &mut Ui, state: &State, acts: &mut Acts) {
    let Some(lot) = &state.lot else { return };
    let told = (ui.available_width() * 0.34).clamp(210.0, 330.0);
    ui.horizontal(|ui| {
        ui.set_height(SMALL);
        ui.allocate_ui_with_layout(Vec2::new(told, SMALL), Layout::top_down(Align::Min), |ui| {
            ui.set_width(told);
            ui.spacing_mut().item_spacing.y = 0.0;
            verdict::show_small(ui, state, lot, acts);
            caution(ui);
        });
        numbers(ui, lot, SMALL, number_small);
    });
}

/// The numbers beside each other, all as wide.
fn numbers(ui: &mut Ui, lot: &Lot, high: f32, one: impl Fn(&mut Ui, &'static Quantity, Option<&ObjectiveOutcome>, bool)) {
    let each = ((ui.available_width() - GAP * (SHOWN as f32 - 1.0)) / SHOWN as f32).max(60.0);
    let objective = lot.objective();
    for id in shown(objective) {
        ui.allocate_ui_with_layout(Vec2::new(each, high), Layout::top_down(Align::Min), |ui| {
            ui.set_width(each);
            one(ui, id, objective, lot.is_current());
        });
    }
}

/// What limits speak of comes first.
fn shown(objective: Option<&ObjectiveOutcome>) -> Vec<&'static Quantity> {
    let known = |id: &str| QUANTITIES.iter().find(|quantity| quantity.id == id);
    let limited = objective.iter().flat_map(|seen| seen.judgement.decisions.iter().filter_map(|judged| known(&judged.limit.quantity)));
    let mut ids: Vec<&Quantity> = Vec::new();
    for quantity in limited.chain(USUAL.iter().filter_map(|id| known(id))) {
        if ids.len() < SHOWN && !ids.iter().any(|one| one.id == quantity.id) {
            ids.push(quantity);
        }
    }
    ids
}

fn number(ui: &mut Ui, quantity: &Quantity, objective: Option<&ObjectiveOutcome>, is_current: bool) {
    let inks = theme::inks(ui);
    let frame = Frame::new().fill(inks.raised).corner_radius(8).inner_margin(Margin::symmetric(12, 8));
    let [value, interval] = parts(quantity, objective);
    let response = frame.show(ui, |ui| {
        ui.set_width(ui.available_width());
        ui.set_height(HEIGHT - 16.0);
        ui.spacing_mut().item_spacing.y = 2.0;
        ui.add(Label::new(widgets::quiet(ui, quantity.label)).truncate());
        let ink = if is_current || objective.is_none() { inks.ink } else { inks.quiet };
        // The interval stands beside the value where there is room, else below it, instead of the bar.
        let beside = ui.available_width() >= 210.0;
        ui.horizontal(|ui| {
            ui.set_height(if beside { 34.0 } else { 28.0 });
            ui.spacing_mut().item_spacing.x = 8.0;
            ui.label(RichText::new(&value).size(24.0).color(ink));
            if beside {
                ui.add(Label::new(RichText::new(&interval).color(ink)).truncate());
            }
        });
        if !beside {
            ui.add(Label::new(RichText::new(&interval).small().color(ink)).truncate());
        }
        if let Some(seen) = objective {
            let size = Vec2::new(ui.available_width(), if beside { 34.0 } else { 32.0 });
            scene::show(ui, &answer_bar(&AnswerData::of(seen, quantity.id), &scene::canvas(size)));
        }
    });
    response.response.on_hover_text(hint(quantity, &value, &interval));
}

fn number_small(ui: &mut Ui, quantity: &Quantity, objective: Option<&ObjectiveOutcome>, is_current: bool) {
    let inks = theme::inks(ui);
    let [value, interval] = parts(quantity, objective);
    let frame = Frame::new().fill(inks.raised).corner_radius(6).inner_margin(Margin::symmetric(6, 3));
    let response = frame.show(ui, |ui| {
        ui.set_width(ui.available_width());
        ui.set_height(SMALL - 6.0);
        ui.spacing_mut().item_spacing.y = 0.0;
        let ink = if is_current || objective.is_none() { inks.ink } else { inks.quiet };
        ui.add(Label::new(widgets::quiet(ui, quantity.label).size(12.0)).truncate());
        ui.add(Label::new(RichText::new(&value).size(17.0).color(ink)).truncate());
        ui.add(Label::new(RichText::new(&interval).size(12.0).color(ink)).truncate());
    });
    response.response.on_hover_text(hint(quantity, &value, &interval));
}

fn hint(quantity: &Quantity, value: &str, interval: &str) -> String {
    format!("{}: {value} {interval}\n{}\nSource: {}", quantity.label, quantity.definition, quantity.source)
}

/// The value with its unit, and its interval.
fn parts(quantity: &Quantity, objective: Option<&ObjectiveOutcome>) -> [String; 2] {
    let Some(value) = objective.and_then(|seen| seen.value(quantity.id)) else { return ["–".into(), String::new()] };
    split(&summary::value_words(value), value.unit)
}

/// Takes "12.3 % (11.0 … 14.2)" and "0.55 ± 0.10 µm" apart.
fn split(words: &str, unit: &str) -> [String; 2] {
    let with_unit = |value: &str| if unit.is_empty() { value.to_owned() } else { format!("{value} {unit}") };
    if let Some((value, interval)) = words.split_once(" (") {
        [value.to_owned(), interval.trim_end_matches(')').to_owned()]
    } else if let Some((value, half)) = words.split_once(" ± ") {
        [with_unit(value), format!("± {}", half.strip_suffix(unit).unwrap_or(half).trim_end())]
    } else {
        [words.to_owned(), String::new()]
    }
}

/// What a slide never says; in sight in every state.
fn caution(ui: &mut Ui) {
    ui.add(Label::new(widgets::quiet(ui, "No SPF, no clearance for use").small()).truncate()).on_hover_text(summary::CAUTION);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_keep_their_unit() {
        assert_eq!(split("12.3 % (11.0 … 14.2)", "%"), ["12.3 %", "11.0 … 14.2"]);
        assert_eq!(split("0.55 ± 0.10 µm", "µm"), ["0.55 µm", "± 0.10"]);
        assert_eq!(split("1.25 ± 0.10", ""), ["1.25", "± 0.10"]);
        assert_eq!(split("12 µm", "µm"), ["12 µm", ""]);
        assert_eq!(split("not measured", "%"), ["not measured", ""]);
    }
}
