//! What a person should know, below the bar; what cannot be measured, in words.

use std::time::Instant;

use egui::{Button, Frame, Label, Layout, Margin, Panel, RichText, ScrollArea, Ui};

use super::{focus, widgets};
use crate::change::{Act, Acts};
use crate::command::Command;
use crate::state::{Notice, Run, State, Tone};
use crate::theme;

/// Since when each notice has been seen, on the window's clock.
#[derive(Default)]
pub(crate) struct Draft {
    since: Vec<(Instant, f64)>,
}

/// How long what went well stays, seconds.
const STAYS: f64 = 6.0;

/// Most of the window's height that notices take.
const MOST: f32 = 0.3;

/// Room for the button beside a notice, points.
const BUTTON: f32 = 150.0;

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut Draft, acts: &mut Acts) {
    let failed = state.lot.as_ref().and_then(|lot| if let Run::Failed(fault) = &lot.run { Some(Notice::of(fault)) } else { None });
    let not_put_down = state.lot.as_ref().and_then(|lot| lot.not_put_down.as_ref()).map(not_put_down);
    if state.left.is_empty() && failed.is_none() && not_put_down.is_none() && state.notices.is_empty() {
        draft.since.clear();
        return;
    }
    let inks = theme::inks(ui);
    let frame = Frame::new().fill(inks.raised).inner_margin(Margin::symmetric(12, 4));
    let most = (ui.ctx().content_rect().height() * MOST).max(theme::TARGET);
    Panel::top("notices").frame(frame).show(ui, |ui| {
        ScrollArea::vertical().max_height(most).min_scrolled_height(most).auto_shrink([false, true]).show(ui, |ui| {
            if let Some(left) = state.left.last() {
                line(ui, 260.0, |ui| drop(ui.add(Label::new(left_words(left)).wrap())), |ui| take_up(ui, acts));
            }
            if let Some(notice) = failed {
                let again = |ui: &mut Ui| {
                    if ui.button("Measure again").clicked() {
                        acts.push(Act::Again);
                    }
                };
                line(ui, BUTTON, |ui| words(ui, &notice), again);
            }
            if let Some(notice) = not_put_down {
                let mend = |ui: &mut Ui| {
                    if ui.button("Try again").clicked() {
                        acts.push(Act::Again);
                    }
                    if ui.button("Choose a folder…").on_hover_text("In the set-up of the desk").clicked() {
                        acts.run(Command::Setup);
                    }
                };
                line(ui, 300.0, |ui| words(ui, &notice), mend);
            }
            notices(ui, state, draft, acts);
            focus::follow(ui);
        });
    });
}

/// What is told as long as nothing keeps the numbers that are shown.
fn not_put_down(fault: &evenfilm_record::fault::Fault) -> Notice {
    let Notice { text, remedy, .. } = Notice::of(fault);
    let text = format!("The numbers shown are put down nowhere: {text}");
    // On the desk the output folder is the folder of records.
    let said = remedy.replace("output folder", "folder of records");
    let first = if said == remedy { "choose another folder of records; or " } else { "" };
    Notice::failed(text, format!("{first}{said}, then try again"))
}

/// What was said, each with a button that closes it.
fn notices(ui: &mut Ui, state: &State, draft: &mut Draft, acts: &mut Acts) {
    let now = ui.input(|input| input.time);
    draft.since.retain(|(said, _)| state.notices.iter().any(|notice| notice.said == *said));
    let mut over = Vec::new();
    for (place, notice) in state.notices.iter().enumerate() {
        let mut is_used = false;
        let close = |ui: &mut Ui| {
            let close = ui.add(Button::new("Close"));
            close.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, format!("Close: {}", notice.text)));
            is_used = close.has_focus() || close.hovered();
            if close.clicked() {
                over.push(place);
            }
        };
        line(ui, BUTTON, |ui| words(ui, notice), close);
        let at = draft.since.iter().position(|(said, _)| *said == notice.said).unwrap_or_else(|| {
            draft.since.push((notice.said, now));
            draft.since.len() - 1
        });
        if notice.tone != Tone::Done {
            continue;
        }
        if is_used {
            // Whoever has the keyboard on it, or points at it, keeps it.
            draft.since[at].1 = now;
        }
        let left = STAYS - (now - draft.since[at].1);
        if left <= 0.0 {
            over.push(place);
        } else {
            ui.ctx().request_repaint_after(std::time::Duration::from_secs_f64(left));
        }
    }
    over.sort_unstable();
    over.dedup();
    for place in over.into_iter().rev() {
        acts.push(Act::Close(place));
    }
}

/// Words that wrap, and buttons at the right.
fn line(ui: &mut Ui, buttons: f32, words: impl FnOnce(&mut Ui), press: impl FnOnce(&mut Ui)) {
    ui.horizontal(|ui| {
        let wide = (ui.available_width() - buttons - theme::GAP).max(120.0);
        ui.allocate_ui_with_layout([wide, theme::TARGET].into(), Layout::left_to_right(egui::Align::Center).with_main_wrap(true), |ui| {
            ui.set_min_width(wide);
            words(ui);
        });
        press(ui);
    });
}

fn left_words(left: &crate::session::Left) -> String {
    format!("An earlier session ended with unsaved work on {}", left.folder.display())
}

fn take_up(ui: &mut Ui, acts: &mut Acts) {
    if widgets::main_button(ui, "Take it up").clicked() {
        acts.push(Act::TakeUp(true));
    }
    if ui.button("Let it go").clicked() {
        acts.push(Act::TakeUp(false));
    }
}

fn words(ui: &mut Ui, notice: &Notice) {
    let inks = theme::inks(ui);
    let (lead, ink) = match notice.tone {
        Tone::Done => ("Done", inks.within),
        Tone::NotNow => ("Not now", inks.ink),
        Tone::Failed => ("Failed", inks.warn),
    };
    ui.spacing_mut().interact_size.y = 20.0;
    let text = if notice.remedy.is_empty() { notice.text.clone() } else { format!("{}. What to do: {}", notice.text, notice.remedy) };
    let mut job = egui::text::LayoutJob::default();
    let font = egui::TextStyle::Body.resolve(ui.style());
    RichText::new(format!("{lead}  ")).strong().color(ink).append_to(
        &mut job,
        ui.style(),
        egui::FontSelection::Default,
        egui::Align::BOTTOM,
    );
    job.append(&text, 0.0, egui::TextFormat::simple(font, inks.ink));
    ui.add(Label::new(job).wrap());
}
