//! What a person should know, in a line below the bar; what cannot be measured, in words.

use egui::{Align, Button, Frame, Layout, Margin, Panel, RichText, Ui};

use super::widgets;
use crate::change::{Act, Acts};
use crate::state::{Notice, Run, State};
use crate::theme;

pub(super) fn show(ui: &mut Ui, state: &State, acts: &mut Acts) {
    let inks = theme::inks(ui);
    let frame = Frame::new().fill(inks.raised).inner_margin(Margin::symmetric(12, 4));
    if let Some(left) = state.left.last() {
        Panel::top("left work").frame(frame).show(ui, |ui| {
            ui.horizontal_wrapped(|ui| {
                ui.label(format!("An earlier session ended with unsaved work on {}", left.folder.display()));
                if widgets::main_button(ui, "Take it up").clicked() {
                    acts.push(Act::TakeUp(true));
                }
                if ui.button("Let it go").clicked() {
                    acts.push(Act::TakeUp(false));
                }
            });
        });
    }
    let failed = state.lot.as_ref().and_then(|lot| if let Run::Failed(fault) = &lot.run { Some(Notice::of(fault)) } else { None });
    if let Some(notice) = failed {
        Panel::top("failed").frame(frame).show(ui, |ui| {
            ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                if ui.button("Measure again").clicked() {
                    acts.push(Act::Again);
                }
                ui.with_layout(Layout::left_to_right(Align::Center), |ui| words(ui, &notice));
            });
        });
    }
    for (place, notice) in state.notices.iter().enumerate() {
        Panel::top(("notice", place)).frame(frame).show(ui, |ui| {
            ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                let close = ui.add(Button::new("Close"));
                close.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, format!("Close: {}", notice.text)));
                if close.clicked() {
                    acts.push(Act::Close(place));
                }
                ui.with_layout(Layout::left_to_right(Align::Center), |ui| words(ui, notice));
            });
        });
    }
}

fn words(ui: &mut Ui, notice: &Notice) {
    let inks = theme::inks(ui);
    let lead =
        if notice.bad { RichText::new("Not done").strong().color(inks.warn) } else { RichText::new("Done").strong().color(inks.within) };
    ui.label(lead);
    let text = if notice.remedy.is_empty() { notice.text.clone() } else { format!("{}\n{}", notice.text, notice.remedy) };
    ui.add(egui::Label::new(text).wrap());
}
