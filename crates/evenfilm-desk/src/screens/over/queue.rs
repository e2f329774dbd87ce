//! What is being written: progress, time left, summaries, folders.

use egui::{Label, ProgressBar, RichText, ScrollArea, Ui};
use evenfilm_record::summary;

use super::{title, widgets};
use crate::change::{Act, Acts};
use crate::command::Command;
use crate::state::{State, WriteStage, Writing};
use crate::theme;

pub(super) fn show(ui: &mut Ui, state: &State, is_new: bool, acts: &mut Acts) {
    title(ui, "Records of this session");
    if state.queue.is_empty() {
        ui.label("None was asked for yet.");
    }
    ScrollArea::vertical().max_height(super::inner_height(ui)).show(ui, |ui| {
        for writing in state.queue.iter().rev() {
            one(ui, writing, acts);
            ui.separator();
        }
    });
    ui.label(widgets::quiet(ui, summary::CAUTION.replace('\n', " ")));
    ui.add_space(theme::GAP);
    ui.horizontal(|ui| {
        if super::with_keys(widgets::main_button(ui, "Close"), is_new).clicked() {
            acts.push(Act::Over(None));
        }
        widgets::command(ui, Command::OpenRecords, state, acts);
        widgets::command(ui, Command::SignRecord, state, acts);
    });
}

fn one(ui: &mut Ui, writing: &Writing, acts: &mut Acts) {
    let inks = theme::inks(ui);
    ui.add(Label::new(RichText::new(&writing.name).strong()).truncate());
    match &writing.stage {
        WriteStage::Waits => {
            ui.horizontal(|ui| {
                ui.label("waits");
                stop(ui, writing, acts);
            });
        }
        WriteStage::Going { share, what, since_s } => {
            ui.add(ProgressBar::new(*share).desired_height(10.0));
            ui.horizontal(|ui| {
                stop(ui, writing, acts);
                ui.label(format!("{what}{}", left(*share, *since_s)));
            });
        }
        WriteStage::Written(outcome) => {
            let text = summary::of_lot(outcome);
            // Before the summary, which is long.
            ui.horizontal(|ui| {
                let sign = ui.button("Sign this record…");
                let name = format!("Sign this record… {} revision {}", outcome.lot, outcome.revision);
                sign.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, &name));
                if sign.clicked() {
                    acts.push(Act::AskToSign(outcome.record_dir.clone()));
                }
                if ui.button("Copy the summary").clicked() {
                    acts.push(Act::Copy(format!("{text}\n{}\n", summary::CAUTION), "Summary"));
                }
            });
            egui::CollapsingHeader::new(format!("Revision {}: summary", outcome.revision)).id_salt(writing.id).default_open(true).show(
                ui,
                |ui| {
                    let text = Label::new(RichText::new(&text).monospace().size(13.0)).selectable(true).extend();
                    ScrollArea::horizontal().id_salt(("text", writing.id)).show(ui, |ui| ui.add(text));
                },
            );
        }
        WriteStage::Stopped => drop(ui.label("stopped; nothing was left behind")),
        WriteStage::Failed(fault) => {
            ui.label(RichText::new("Not written").color(inks.warn).strong());
            ui.add(Label::new(fault.to_string()).wrap());
        }
    }
}

fn stop(ui: &mut Ui, writing: &Writing, acts: &mut Acts) {
    let button = ui.button("Stop");
    button.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, format!("Stop writing {}", writing.name)));
    if button.clicked() {
        acts.push(Act::StopWriting(writing.id));
    }
}

/// Time left, where enough has passed to tell.
fn left(share: f32, since_s: f64) -> String {
    if share < 0.05 || since_s < 1.0 {
        return String::new();
    }
    let left = since_s * f64::from((1.0 - share) / share);
    if left < 60.0 { format!(", about {left:.0} s left") } else { format!(", about {:.0} min left", left / 60.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_left_is_told_once_it_can_be() {
        assert_eq!(left(0.01, 10.0), "");
        assert_eq!(left(0.5, 0.5), "");
        assert_eq!(left(0.25, 10.0), ", about 30 s left");
        assert_eq!(left(0.1, 60.0), ", about 9 min left");
    }
}
