//! What is drawn over the picture, and how strongly.

use egui::{Popup, PopupCloseBehavior, Slider, Ui};

use super::bar;
use crate::canvas::Layer;
use crate::change::{Act, Acts};
use crate::state::Lot;
use crate::theme;

/// The button and what it opens.
pub(super) fn button(ui: &mut Ui, lot: &Lot, acts: &mut Acts) {
    let response = bar::opener(ui, "Layers", "What is drawn over the picture, and how strongly");
    let popup = Popup::menu(&response)
        .close_behavior(PopupCloseBehavior::CloseOnClickOutside)
        .width(420.0)
        .accessible_name("Layers of the picture");
    popup.show(|ui| {
        for layer in Layer::ALL {
            row(ui, lot, layer, acts);
        }
        ui.label(crate::screens::widgets::quiet(ui, "B or the line on the picture bares the original"));
    });
}

fn row(ui: &mut Ui, lot: &Lot, layer: Layer, acts: &mut Acts) {
    let before = lot.layers.of(layer);
    ui.horizontal(|ui| {
        ui.set_min_height(theme::TARGET);
        let mut shown = before > 0.0;
        ui.allocate_ui(egui::Vec2::new(190.0, theme::TARGET), |ui| {
            ui.set_min_width(190.0);
            if ui.checkbox(&mut shown, layer.label()).on_hover_text(why(layer)).changed() {
                acts.push(Act::Layer(layer, f32::from(u8::from(shown))));
            }
        });
        let mut percent = (before * 100.0).round();
        ui.spacing_mut().slider_width = 130.0;
        let slider = Slider::new(&mut percent, 0.0..=100.0).step_by(5.0).suffix(" %").max_decimals(0);
        let response = ui.add(slider).on_hover_text("How strongly it is drawn");
        response.widget_info(|| egui::WidgetInfo::slider(true, f64::from(percent), format!("{}, strength", layer.label())));
        if response.changed() {
            acts.push(Act::Layer(layer, percent / 100.0));
        }
    });
}

const fn why(layer: Layer) -> &'static str {
    match layer {
        Layer::Light => "The light made even, as it is measured; without it the picture is as photographed",
        Layer::Phases => "Particles light, gaps dark, film as it is",
        Layer::Outlines => "Solid: counted. Dotted: too small to count",
        Layer::Constituents => "Beads along the necks where objects were split",
        Layer::Agglomerates => "Slanting lines over what the choices call an agglomerate",
        Layer::Gaps => "Dark and light dashes around gaps, and the largest circle in each. Dotted: too small to count",
        Layer::LeftOut => "Long dashes: of a kind that does not count",
        Layer::Flags => "What should be looked at, in words",
    }
}
