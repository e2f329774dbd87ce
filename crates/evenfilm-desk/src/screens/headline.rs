//! The answer: the verdict in words, and four numbers with their intervals and limits as small bars.

use egui::{Align, Frame, Label, Layout, Margin, RichText, Ui, Vec2};
use evenfilm_core::quantity::{QUANTITIES, Quantity};
use evenfilm_record::chart::{AnswerData, answer_bar};
use evenfilm_record::lot::{ObjectiveOutcome, Verdict};
use evenfilm_record::sheet::Purpose;
use evenfilm_record::summary;

use super::{scene, widgets};
use crate::change::Acts;
use crate::command::Command;
use crate::state::{Lot, Run, State};
use crate::theme::{self, GAP, Inks};

/// Numbers that are shown.
const SHOWN: usize = 4;

/// What is shown where no limit asks for another.
const USUAL: [&str; SHOWN] = ["uncovered_area_pct", "agglomerate_fraction_pct", "x50_0_um", "x90_3_um"];

/// Height of the band, points: the same with numbers and without, so that nothing jumps.
const HEIGHT: f32 = 118.0;

pub(super) fn show(ui: &mut Ui, state: &State, acts: &mut Acts) {
    let Some(lot) = &state.lot else { return };
    let wide = ui.available_width();
    let told = (wide * 0.25).clamp(240.0, 460.0);
    ui.horizontal(|ui| {
        ui.set_height(HEIGHT);
        ui.allocate_ui_with_layout(Vec2::new(told, HEIGHT), Layout::top_down(Align::Min), |ui| {
            ui.set_width(told);
            verdict(ui, state, lot, acts);
        });
        let each = (ui.available_width() - GAP * (SHOWN as f32 - 1.0)) / SHOWN as f32;
        let objective = lot.objective();
        for id in shown(objective) {
            ui.allocate_ui_with_layout(Vec2::new(each, HEIGHT), Layout::top_down(Align::Min), |ui| {
                ui.set_width(each);
                number(ui, id, objective, lot.is_current());
            });
        }
    });
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
    let response = frame.show(ui, |ui| {
        ui.set_width(ui.available_width());
        ui.set_height(HEIGHT - 16.0);
        ui.spacing_mut().item_spacing.y = 2.0;
        ui.add(Label::new(widgets::quiet(ui, quantity.label)).truncate());
        let value = objective.and_then(|seen| seen.value(quantity.id));
        let words = value.map_or_else(|| "–".into(), evenfilm_record::summary::value_words);
        let (large, rest) = split(&words);
        ui.horizontal(|ui| {
            let ink = if is_current || objective.is_none() { inks.ink } else { inks.quiet };
            ui.spacing_mut().item_spacing.x = 6.0;
            ui.label(RichText::new(large).size(26.0).color(ink));
            ui.add(Label::new(RichText::new(rest).color(ink)).truncate());
        });
        if let Some(seen) = objective {
            let size = Vec2::new(ui.available_width(), 34.0);
            scene::show(ui, &answer_bar(&AnswerData::of(seen, quantity.id), &scene::canvas(size)));
        }
    });
    response.response.on_hover_text(format!("{}\n{}\nSource: {}", quantity.label, quantity.definition, quantity.source));
}

/// The value, and what stands behind it.
fn split(words: &str) -> (&str, &str) {
    if words == "not measured" { (words, "") } else { words.split_once(' ').unwrap_or((words, "")) }
}

fn verdict(ui: &mut Ui, state: &State, lot: &Lot, acts: &mut Acts) {
    let inks = theme::inks(ui);
    ui.spacing_mut().item_spacing.y = 4.0;
    match &lot.run {
        Run::Going { share, what } => return going(ui, *share, what, lot.measured.is_some(), state, acts),
        Run::Failed(_) => {
            ui.label(RichText::new("Cannot be measured").size(22.0).color(inks.warn));
            ui.label("The line above says why, and what to do.");
            return;
        }
        Run::Stopped => {
            ui.label(RichText::new("Stopped").size(22.0));
            ui.label("The numbers are of earlier choices, or missing.");
            if ui.button("Measure again").clicked() {
                acts.push(crate::change::Act::Again);
            }
            return;
        }
        Run::Idle => {}
    }
    if !lot.now.recipe.locked {
        ui.label(RichText::new("No verdict").size(22.0));
        ui.add(Label::new(widgets::quiet(ui, "The choices are not locked.")).truncate());
        widgets::named(ui, Command::Lock, "Lock the choices…", state, acts);
        return;
    }
    let is_check = lot.batch.as_ref().is_some_and(|batch| batch.sheet.purpose() == Purpose::Check);
    let Some(seen) = lot.objective() else { return };
    if let Some(verdict) = seen.judgement.verdict {
        ui.horizontal(|ui| {
            shape(ui, verdict, inks);
            ui.label(RichText::new(capital(verdict.word())).size(22.0).color(ink_of(verdict, inks)));
            widgets::named(ui, Command::Why, "Why?", state, acts);
        });
        ui.add(Label::new(in_words(seen, verdict, is_check)).truncate());
    } else {
        ui.label(RichText::new("No limits").size(22.0));
        ui.add(Label::new(widgets::quiet(ui, "limits.toml beside the sheet would tell the lot")).truncate());
    }
    identity(ui, lot);
    caution(ui);
}

/// Of what the verdict speaks, and how sure it is.
fn in_words(seen: &ObjectiveOutcome, verdict: Verdict, is_check: bool) -> String {
    let of = match (is_check, seen.scope()) {
        (true, _) => "of a check, which says nothing of a lot",
        (false, "lot") => "of the lot",
        (false, _) => "of this slide, not the lot",
    };
    match (verdict, seen.judgement.would_be) {
        (Verdict::Provisional, Some(would_be)) => format!("{of}; it would be {}", would_be.word()),
        _ => format!("{of}, by this method"),
    }
}

fn going(ui: &mut Ui, share: f32, what: &str, again: bool, state: &State, acts: &mut Acts) {
    ui.label(RichText::new(if again { "Measuring again" } else { "Measuring" }).size(22.0));
    ui.add(egui::ProgressBar::new(share).desired_height(10.0))
        .widget_info(|| egui::WidgetInfo::labeled(egui::Role::ProgressIndicator, true, format!("Measuring, {:.0} %", 100.0 * share)));
    ui.horizontal(|ui| {
        widgets::named(ui, Command::Stop, "Stop", state, acts);
        ui.add(Label::new(widgets::quiet(ui, what)).truncate());
    });
}

/// The identity of locked choices.
fn identity(ui: &mut Ui, lot: &Lot) {
    let recipe = &lot.now.recipe;
    let identity = lot.identity().unwrap_or_default();
    let short = identity.get(..12).unwrap_or_default();
    ui.horizontal(|ui| {
        ui.spacing_mut().button_padding.x = 8.0;
        let text = format!("Locked: {} {} · {short}", recipe.name, recipe.version);
        ui.add(Label::new(text).truncate()).on_hover_text(format!("Identity of the choices (SHA-256)\n{identity}"));
    });
}

fn caution(ui: &mut Ui) {
    ui.add(Label::new(widgets::quiet(ui, "No SPF, no clearance for use").small()).truncate()).on_hover_text(summary::CAUTION);
}

/// A shape that tells verdicts apart without colour: a full disc, a crossed square, a half disc, a dashed ring.
fn shape(ui: &mut Ui, verdict: Verdict, inks: &Inks) {
    let (rect, _) = ui.allocate_exact_size(Vec2::splat(22.0), egui::Sense::hover());
    let (centre, r) = (rect.center(), 9.0);
    let stroke = egui::Stroke::new(2.5, ink_of(verdict, inks));
    let painter = ui.painter();
    match verdict {
        Verdict::Within => drop(painter.circle_filled(centre, r, stroke.color)),
        Verdict::Outside => {
            let square = egui::Rect::from_center_size(centre, Vec2::splat(2.0 * r));
            painter.rect_stroke(square, 0, stroke, egui::StrokeKind::Inside);
            painter.line_segment([square.left_top(), square.right_bottom()], stroke);
            painter.line_segment([square.right_top(), square.left_bottom()], stroke);
        }
        Verdict::Undecided => {
            painter.circle_stroke(centre, r, stroke);
            let half: Vec<egui::Pos2> =
                (0..=16).map(|i| egui::Vec2::angled((90.0 + 180.0 * i as f32 / 16.0).to_radians())).map(|v| centre + r * v).collect();
            painter.add(egui::Shape::convex_polygon(half, stroke.color, egui::Stroke::NONE));
        }
        Verdict::Provisional => {
            let ring: Vec<egui::Pos2> = (0..=32).map(|i| centre + r * egui::Vec2::angled((360.0 * i as f32 / 32.0).to_radians())).collect();
            painter.extend(egui::Shape::dashed_line(&ring, stroke, 5.0, 4.0));
        }
    }
}

const fn ink_of(verdict: Verdict, inks: &Inks) -> egui::Color32 {
    match verdict {
        Verdict::Within => inks.within,
        Verdict::Outside => inks.warn,
        Verdict::Undecided | Verdict::Provisional => inks.ink,
    }
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
