//! The numbers: charts, and every value with its definition.

use egui::{Label, RichText, ScrollArea, Ui, Vec2};
use evenfilm_core::quantity::{QUANTITIES, Quantity};
use evenfilm_record::chart::{Curves, GapsBy, SizesBy};
use evenfilm_record::lot::Value;
use evenfilm_record::summary::{self, CAUTION};

use super::{scene, widgets};
use crate::change::Acts;
use crate::command::Command;
use crate::numbers::{BY_FIELD, Charted};
use crate::state::{Lot, State};
use crate::theme::{self, AIR, GAP};

/// How the charts are looked at.
#[derive(Default)]
pub(crate) struct Draft {
    sizes_by: SizesBy,
    curves: Curves,
    gaps_by: GapsBy,
    by_field: usize,
    /// Whether values that were not measured are listed too.
    all: bool,
    /// The value whose definition is shown below it.
    open: Option<&'static str>,
}

/// Narrowest chart, points.
const NARROWEST: f32 = 460.0;

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut Draft, acts: &mut Acts) {
    let Some(lot) = &state.lot else { return };
    let Some(charted) = Charted::of(lot) else {
        ui.label(widgets::quiet(ui, "The numbers come when the lot is measured."));
        return;
    };
    let view = ui.available_height();
    ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
        ui.set_width(ui.available_width() - 16.0);
        if !lot.is_current() {
            ui.label(RichText::new("These numbers are of earlier choices.").color(theme::inks(ui).warn));
        }
        ui.horizontal_wrapped(|ui| {
            widgets::command(ui, Command::CopySummary, state, acts);
            widgets::command(ui, Command::CopyValues, state, acts);
            widgets::command(ui, Command::SaveCharts, state, acts);
        });
        ui.add_space(GAP);
        ui.add(Label::new(widgets::quiet(ui, CAUTION.replace('\n', " "))).wrap());
        ui.add_space(GAP);
        charts(ui, &charted, view, draft);
        ui.add_space(AIR);
        values(ui, lot, draft);
        super::focus::follow(ui);
    });
}

/// Three charts side by side, or below each other; one is never taller than what is in view.
fn charts(ui: &mut Ui, charted: &Charted, view: f32, draft: &mut Draft) {
    let wide = ui.available_width();
    let most = (view - 2.0 * theme::TARGET - 100.0).max(230.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few columns")]
    let columns = ((wide / NARROWEST) as usize).clamp(1, 3);
    ui.columns(columns, |columns_ui| {
        let count = columns_ui.len();
        sizes(&mut columns_ui[0], charted, most, draft);
        gaps(&mut columns_ui[1 % count], charted, most, draft);
        by_field(&mut columns_ui[2 % count], charted, most, draft);
    });
}

fn size(ui: &Ui, most: f32) -> Vec2 {
    let wide = ui.available_width();
    Vec2::new(wide, (wide * 0.55).clamp(230.0, 420.0).min(most))
}

fn sizes(ui: &mut Ui, charted: &Charted, most: f32, draft: &mut Draft) {
    ui.horizontal_wrapped(|ui| {
        for (by, name) in [(SizesBy::Number, "By number"), (SizesBy::Volume, "By volume")] {
            if ui.selectable_label(draft.sizes_by == by, name).clicked() {
                draft.sizes_by = by;
            }
        }
        ui.separator();
        for (curves, name) in [(Curves::Both, "Both"), (Curves::Density, "Density"), (Curves::Cumulative, "Cumulative")] {
            if ui.selectable_label(draft.curves == curves, name).clicked() {
                draft.curves = curves;
            }
        }
    });
    let canvas = scene::canvas(size(ui, most));
    scene::show(ui, &charted.sizes(canvas, draft.sizes_by, draft.curves));
}

fn gaps(ui: &mut Ui, charted: &Charted, most: f32, draft: &mut Draft) {
    ui.horizontal_wrapped(|ui| {
        for (by, name) in [(GapsBy::Area, "Gaps by area"), (GapsBy::Number, "Gaps by number")] {
            if ui.selectable_label(draft.gaps_by == by, name).clicked() {
                draft.gaps_by = by;
            }
        }
    });
    let canvas = scene::canvas(size(ui, most));
    scene::show(ui, &charted.gaps(canvas, draft.gaps_by));
}

fn by_field(ui: &mut Ui, charted: &Charted, most: f32, draft: &mut Draft) {
    ui.horizontal_wrapped(|ui| {
        for (place, id) in BY_FIELD.iter().enumerate() {
            let label = QUANTITIES.iter().find(|quantity| quantity.id == *id).map_or(*id, |quantity| quantity.label);
            if ui.selectable_label(draft.by_field == place, label).clicked() {
                draft.by_field = place;
            }
        }
    });
    let canvas = scene::canvas(size(ui, most));
    scene::show(ui, &charted.fields(&canvas, BY_FIELD[draft.by_field.min(BY_FIELD.len() - 1)]));
}

/// Every value: pressed, it shows its definition and source.
fn values(ui: &mut Ui, lot: &Lot, draft: &mut Draft) {
    let Some(seen) = lot.objective() else { return };
    ui.horizontal(|ui| {
        ui.label(RichText::new("Every value").size(19.0));
        ui.checkbox(&mut draft.all, "also those that were not measured");
    });
    let shown: Vec<_> = QUANTITIES.iter().zip(&seen.values).filter(|(_, value)| value.value.is_some() || draft.all).collect();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few columns")]
    let columns = ((ui.available_width() / NARROWEST) as usize).clamp(1, 3);
    let rows = shown.len().div_ceil(columns).max(1);
    ui.columns(columns, |columns_ui| {
        for (ui, column) in columns_ui.iter_mut().zip(shown.chunks(rows)) {
            for &(quantity, value) in column {
                one_value(ui, quantity, value, draft);
            }
        }
    });
}

fn one_value(ui: &mut Ui, quantity: &'static Quantity, value: &Value, draft: &mut Draft) {
    let words = summary::value_words(value);
    let symbol = if quantity.symbol.is_empty() { String::new() } else { format!("  {}", quantity.symbol) };
    let hint = format!("{}\nSource: {}\nColumn {}", quantity.definition, quantity.source, quantity.id);
    let is_open = draft.open == Some(quantity.id);
    let row = egui::Button::selectable(is_open, (format!("{}{symbol}", quantity.label), egui::Atom::grow(), words.clone()))
        .min_size(Vec2::new(ui.available_width(), theme::TARGET));
    let row = ui.add(row).on_hover_text(&hint);
    row.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, format!("{}: {words}", quantity.label)));
    if row.clicked() {
        draft.open = if is_open { None } else { Some(quantity.id) };
    }
    if is_open {
        ui.add(Label::new(widgets::quiet(ui, hint)).wrap());
    }
}
