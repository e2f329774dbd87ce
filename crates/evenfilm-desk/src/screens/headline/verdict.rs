//! The verdict in words, or why there is none.

use egui::{Label, RichText, Ui, Vec2};
use evenfilm_record::fault::Fault;
use evenfilm_record::lot::{ObjectiveOutcome, Verdict};
use evenfilm_record::sheet::Purpose;

use crate::change::{Act, Acts};
use crate::command::Command;
use crate::screens::widgets;
use crate::state::{Lot, Run, State};
use crate::theme::{self, Inks};

/// What stands in the verdict's place: one or two words, a line, and what can be done.
struct Said {
    verdict: Option<Verdict>,
    word: String,
    is_amiss: bool,
    line: String,
    press: Option<Press>,
}

/// What can be pressed beside it.
#[derive(Clone, Copy, PartialEq)]
enum Press {
    Why,
    Lock,
    Stop,
    Again,
    Save,
}

pub(super) fn show(ui: &mut Ui, state: &State, lot: &Lot, acts: &mut Acts) {
    ui.spacing_mut().item_spacing.y = 4.0;
    let said = said(lot);
    let row_press = said.press == Some(Press::Why);
    ui.horizontal(|ui| {
        ui.set_min_height(if row_press { theme::TARGET } else { 28.0 });
        word(ui, &said, 22.0);
        if row_press {
            press(ui, Press::Why, state, acts);
        }
    });
    if let Run::Going { share, .. } = &lot.run {
        progress(ui, *share);
        ui.horizontal(|ui| {
            press(ui, Press::Stop, state, acts);
            line(ui, &said.line, None);
        });
        return;
    }
    line(ui, &said.line, None);
    match said.press {
        Some(Press::Why) => identity(ui, lot),
        Some(one) => press(ui, one, state, acts),
        None if lot.may_judge() => identity(ui, lot),
        None => {}
    }
}

/// The word and the line, and beside them what can be pressed.
pub(super) fn show_small(ui: &mut Ui, state: &State, lot: &Lot, acts: &mut Acts) {
    let said = said(lot);
    ui.horizontal(|ui| {
        ui.set_height(theme::TARGET);
        crate::screens::top::tighten(ui);
        let wide = said.press.map_or(0.0, Press::width);
        let told = Vec2::new((ui.available_width() - wide - 6.0).max(60.0), theme::TARGET);
        ui.allocate_ui_with_layout(told, egui::Layout::top_down(egui::Align::Min), |ui| {
            ui.set_width(told.x);
            ui.spacing_mut().item_spacing.y = 0.0;
            ui.horizontal(|ui| {
                ui.set_height(24.0);
                word(ui, &said, 17.0);
            });
            if let Run::Going { share, .. } = &lot.run {
                progress(ui, *share);
            }
            line(ui, &said.line, Some(12.0));
        });
        if let Some(one) = said.press {
            press(ui, one, state, acts);
        }
    });
}

impl Press {
    /// Room that it takes in a small window, points.
    const fn width(self) -> f32 {
        match self {
            Self::Why | Self::Lock | Self::Stop | Self::Save => 64.0,
            Self::Again => 116.0,
        }
    }
}

/// The true state of the lot: nothing is said of numbers that are not those of locked and saved choices.
fn said(lot: &Lot) -> Said {
    let none = |word: &str, line: &str, press| Said { verdict: None, word: word.into(), is_amiss: false, line: line.into(), press };
    match &lot.run {
        Run::Going { what, .. } => {
            let word = if lot.measured.is_some() { "No verdict: measuring" } else { "Measuring" };
            return none(word, what, Some(Press::Stop));
        }
        Run::Failed(fault) => {
            return Said { is_amiss: true, ..none("Cannot be measured", &reason(fault), None) };
        }
        Run::Stopped => {
            let line = if lot.measured.is_some() { "The numbers are of earlier choices" } else { "There are no numbers" };
            return none("Stopped", line, Some(Press::Again));
        }
        Run::Idle => {}
    }
    if !lot.now.recipe.locked {
        return none("No verdict", "The choices are not locked", Some(Press::Lock));
    }
    if lot.is_unsaved() {
        return none("No verdict", "The choices are locked but not saved", Some(Press::Save));
    }
    let Some(seen) = lot.objective().filter(|_| lot.may_judge()) else {
        return none("No verdict", "The numbers are not yet those of the choices", None);
    };
    let is_check = lot.batch.as_ref().is_some_and(|batch| batch.sheet.purpose() == Purpose::Check);
    seen.judgement.verdict.map_or_else(
        || none("No limits", "limits.toml beside the sheet would tell the lot", None),
        |verdict| Said { verdict: Some(verdict), ..none(&capital(verdict.word()), &in_words(seen, verdict, is_check), Some(Press::Why)) },
    )
}

/// Why it cannot be measured, in a line: the file's name and the words.
fn reason(fault: &Fault) -> String {
    let file =
        fault.file.as_ref().and_then(|path| path.file_name()).map_or_else(String::new, |name| format!("{}: ", name.to_string_lossy()));
    format!("{file}{}", fault.message)
}

fn word(ui: &mut Ui, said: &Said, size: f32) {
    let inks = theme::inks(ui);
    let ink = match said.verdict {
        Some(verdict) => ink_of(verdict, inks),
        None if said.is_amiss => inks.warn,
        None => inks.ink,
    };
    if let Some(verdict) = said.verdict {
        shape(ui, verdict, inks);
    }
    ui.add(Label::new(RichText::new(&said.word).size(size).color(ink)).truncate());
}

fn line(ui: &mut Ui, text: &str, size: Option<f32>) {
    let words = widgets::quiet(ui, text);
    let words = if let Some(size) = size { words.size(size) } else { words };
    ui.add(Label::new(words).truncate()).on_hover_text(text);
}

fn progress(ui: &mut Ui, share: f32) {
    ui.add(egui::ProgressBar::new(share).desired_height(8.0))
        .widget_info(|| egui::WidgetInfo::labeled(egui::Role::ProgressIndicator, true, format!("Measuring, {:.0} %", 100.0 * share)));
}

fn press(ui: &mut Ui, press: Press, state: &State, acts: &mut Acts) {
    match press {
        Press::Why => drop(widgets::named(ui, Command::Why, "Why?", state, acts)),
        Press::Lock => drop(widgets::brief(ui, Command::Lock, ["Lock…", "Lock the choices…"], state, acts)),
        Press::Stop => drop(widgets::named(ui, Command::Stop, "Stop", state, acts)),
        Press::Save => drop(widgets::brief(ui, Command::SaveChoices, ["Save", "Save the locked choices"], state, acts)),
        Press::Again => {
            if ui.button("Measure again").clicked() {
                acts.push(Act::Again);
            }
        }
    }
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
