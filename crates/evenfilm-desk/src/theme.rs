//! Ink, ground and sizes of the desk, light and dark.
//!
//! Contrast by WCAG 2.1 AA: text at least 4.5 to 1 against its ground, lines that carry meaning 3 to 1; a test computes it. Nothing is told
//! by colour alone: verdicts have words and shapes, lines on the picture dashes and hatches.

use std::sync::Arc;

use egui::style::{Selection, WidgetVisuals};
use egui::{Color32, CornerRadius, FontData, FontDefinitions, FontFamily, FontId, Margin, Stroke, Style, TextStyle, Theme, Vec2, Visuals};

use crate::prefs::{Look, Prefs};

/// Side of whatever is pressed, points: the target size of WCAG 2.1 (2.5.5).
pub(crate) const TARGET: f32 = 44.0;

/// Space between things that belong together, and between those that do not.
pub(crate) const GAP: f32 = 8.0;
pub(crate) const AIR: f32 = 16.0;

/// The colours of one look.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Inks {
    /// Behind everything.
    pub(crate) ground: Color32,
    /// Raised: cards, fields to type in.
    pub(crate) raised: Color32,
    /// What is pressed, at rest.
    pub(crate) press: Color32,
    /// Text.
    pub(crate) ink: Color32,
    /// Text that matters less.
    pub(crate) quiet: Color32,
    /// Edges of what is pressed.
    pub(crate) edge: Color32,
    /// Hairlines between things.
    pub(crate) hair: Color32,
    /// What is chosen or has the keyboard.
    pub(crate) chosen: Color32,
    /// Text on what is chosen.
    pub(crate) on_chosen: Color32,
    /// What must be seen to.
    pub(crate) warn: Color32,
    /// What lies within.
    pub(crate) within: Color32,
}

pub(crate) const LIGHT: Inks = Inks {
    ground: Color32::from_rgb(0xF3, 0xF1, 0xEA),
    raised: Color32::from_rgb(0xFF, 0xFE, 0xFB),
    press: Color32::from_rgb(0xE4, 0xE1, 0xD6),
    ink: Color32::from_rgb(0x1F, 0x23, 0x2B),
    quiet: Color32::from_rgb(0x55, 0x59, 0x60),
    edge: Color32::from_rgb(0x7A, 0x78, 0x70),
    hair: Color32::from_rgb(0xCF, 0xCB, 0xBE),
    chosen: Color32::from_rgb(0x2B, 0x4A, 0x7E),
    on_chosen: Color32::WHITE,
    warn: Color32::from_rgb(0x9A, 0x2E, 0x12),
    within: Color32::from_rgb(0x1C, 0x5F, 0x4C),
};

pub(crate) const DARK: Inks = Inks {
    ground: Color32::from_rgb(0x1A, 0x1D, 0x22),
    raised: Color32::from_rgb(0x25, 0x29, 0x30),
    press: Color32::from_rgb(0x33, 0x38, 0x41),
    ink: Color32::from_rgb(0xEE, 0xEB, 0xE3),
    quiet: Color32::from_rgb(0xB4, 0xB3, 0xAD),
    edge: Color32::from_rgb(0x8C, 0x8F, 0x96),
    hair: Color32::from_rgb(0x3D, 0x42, 0x4B),
    chosen: Color32::from_rgb(0xF0, 0xC9, 0x88),
    on_chosen: Color32::from_rgb(0x1A, 0x1D, 0x22),
    warn: Color32::from_rgb(0xFF, 0xA8, 0x8C),
    within: Color32::from_rgb(0x8F, 0xD6, 0xBE),
};

/// The inks of a look.
pub(crate) fn inks(ui: &egui::Ui) -> &'static Inks {
    of(ui.visuals().dark_mode)
}

pub(crate) const fn of(dark: bool) -> &'static Inks {
    if dark { &DARK } else { &LIGHT }
}

/// Letters that the window's own font lacks: superscripts, arrows, Greek with accents, Cyrillic. What this one lacks too (as Chinese,
/// Japanese, Korean) comes from the system's fonts.
pub(crate) static MORE_LETTERS: &[u8] = include_bytes!("../../../assets/fonts/DejaVuSans.ttf");

/// Gives the window its letters; once.
pub(crate) fn add_letters(ctx: &egui::Context) {
    let mut fonts = FontDefinitions::default();
    fonts.font_data.insert("more letters".into(), Arc::new(FontData::from_static(MORE_LETTERS)));
    for family in [FontFamily::Proportional, FontFamily::Monospace] {
        // After the text's own font, before the one of pictures.
        let list = fonts.families.entry(family).or_default();
        list.insert(1.min(list.len()), "more letters".into());
    }
    ctx.set_fonts(fonts);
}

/// Makes the window look as a person set it up.
pub(crate) fn apply(ctx: &egui::Context, prefs: &Prefs) {
    for (theme, inks) in [(Theme::Light, LIGHT), (Theme::Dark, DARK)] {
        ctx.set_style_of(theme, style(theme, &inks));
    }
    ctx.set_theme(match prefs.look {
        Look::System => egui::ThemePreference::System,
        Look::Light => egui::ThemePreference::Light,
        Look::Dark => egui::ThemePreference::Dark,
    });
    ctx.set_zoom_factor(f32::from(prefs.scale_pct) / 100.0);
}

fn style(theme: Theme, inks: &Inks) -> Style {
    let mut style = theme.default_style();
    let size = |points| FontId::new(points, FontFamily::Proportional);
    style.text_styles = [
        (TextStyle::Small, size(13.0)),
        (TextStyle::Body, size(15.0)),
        (TextStyle::Button, size(15.0)),
        (TextStyle::Heading, size(21.0)),
        (TextStyle::Monospace, FontId::new(14.0, FontFamily::Monospace)),
    ]
    .into();
    let spacing = &mut style.spacing;
    spacing.interact_size = Vec2::splat(TARGET);
    spacing.item_spacing = Vec2::splat(GAP);
    spacing.button_padding = Vec2::new(14.0, 8.0);
    spacing.icon_width = 22.0;
    spacing.icon_width_inner = 14.0;
    spacing.combo_height = 400.0;
    spacing.slider_width = 180.0;
    spacing.menu_margin = Margin::same(8);
    spacing.window_margin = Margin::same(20);
    spacing.tooltip_width = 420.0;
    spacing.scroll = egui::style::ScrollStyle::solid();
    spacing.scroll.bar_width = 12.0;
    style.interaction.tooltip_delay = 0.3;
    style.interaction.selectable_labels = false;
    style.visuals = visuals(theme, inks);
    style
}

fn visuals(theme: Theme, inks: &Inks) -> Visuals {
    let mut v = theme.default_visuals();
    let at = |fill, edge: Color32, width, ink| WidgetVisuals {
        bg_fill: fill,
        weak_bg_fill: fill,
        bg_stroke: Stroke::new(width, edge),
        corner_radius: CornerRadius::same(6),
        fg_stroke: Stroke::new(1.5, ink),
        expansion: 0.0,
    };
    v.widgets.noninteractive = at(inks.ground, inks.hair, 1.0, inks.ink);
    v.widgets.inactive = at(inks.press, inks.edge, 1.0, inks.ink);
    v.widgets.hovered = at(inks.raised, inks.chosen, 1.5, inks.ink);
    v.widgets.active = at(inks.raised, inks.chosen, 2.5, inks.ink);
    v.widgets.open = at(inks.raised, inks.edge, 1.0, inks.ink);
    v.selection = Selection { bg_fill: inks.chosen, stroke: Stroke::new(2.0, inks.on_chosen) };
    v.override_text_color = None;
    v.weak_text_color = Some(inks.quiet);
    v.hyperlink_color = inks.chosen;
    v.faint_bg_color = inks.raised;
    v.extreme_bg_color = inks.raised;
    v.text_edit_bg_color = Some(inks.raised);
    v.warn_fg_color = inks.warn;
    v.error_fg_color = inks.warn;
    v.panel_fill = inks.ground;
    v.window_fill = inks.raised;
    v.window_stroke = Stroke::new(1.0, inks.edge);
    v.window_corner_radius = CornerRadius::same(10);
    v.menu_corner_radius = CornerRadius::same(8);
    v
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast ratio, WCAG 2.1, definitions "relative luminance" and "contrast ratio".
    fn contrast(a: Color32, b: Color32) -> f64 {
        let channel = |c: u8| {
            let s = f64::from(c) / 255.0;
            if s <= 0.03928 { s / 12.92 } else { ((s + 0.055) / 1.055).powi(2) * ((s + 0.055) / 1.055).powf_ref(0.4) }
        };
        let luminance = |c: Color32| 0.2126 * channel(c.r()) + 0.7152 * channel(c.g()) + 0.0722 * channel(c.b());
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    trait PowRef {
        fn powf_ref(self, by: f64) -> f64;
    }
    impl PowRef for f64 {
        #[expect(clippy::disallowed_methods, reason = "a test of colours; no bytes hang on it")]
        fn powf_ref(self, by: f64) -> f64 {
            self.powf(by)
        }
    }

    #[test]
    fn black_on_white_is_21_to_1() {
        assert!((contrast(Color32::BLACK, Color32::WHITE) - 21.0).abs() < 1e-9);
    }

    #[test]
    fn text_and_lines_stand_out() {
        for inks in [LIGHT, DARK] {
            for ground in [inks.ground, inks.raised, inks.press] {
                for text in [inks.ink, inks.quiet, inks.warn, inks.within] {
                    let found = contrast(text, ground);
                    assert!(found >= 4.5, "{text:?} on {ground:?}: {found:.2}");
                }
                for line in [inks.chosen, inks.edge] {
                    let found = contrast(line, ground);
                    assert!(found >= 3.0, "{line:?} on {ground:?}: {found:.2}");
                }
            }
            assert!(contrast(inks.on_chosen, inks.chosen) >= 4.5);
        }
    }

    /// As the window is given them: text on what it stands on, the edge of what is pressed, the frame of what has the keyboard.
    #[test]
    fn what_is_pressed_and_what_has_the_keyboard_stand_out() {
        for (theme, inks) in [(Theme::Light, LIGHT), (Theme::Dark, DARK)] {
            let v = visuals(theme, &inks);
            for state in [&v.widgets.inactive, &v.widgets.hovered, &v.widgets.active, &v.widgets.open] {
                assert!(contrast(state.fg_stroke.color, state.weak_bg_fill) >= 4.5, "{theme:?}");
                assert!(
                    contrast(state.bg_stroke.color, inks.ground) >= 3.0 && contrast(state.bg_stroke.color, inks.raised) >= 3.0,
                    "{theme:?}"
                );
            }
            assert!(contrast(v.selection.stroke.color, v.selection.bg_fill) >= 4.5, "{theme:?}: what is selected");
            // The frame stands apart from what it is around, on the ground, on a card, and around what is chosen itself.
            for ground in [v.panel_fill, v.window_fill, inks.press] {
                assert!(contrast(inks.chosen, ground) >= 3.0, "{theme:?}: the frame on {ground:?}");
            }
        }
        let [apart, wide] = crate::screens::focus::RING;
        assert!(apart >= 1.0 && wide >= 2.0, "at least 2 points thick: WCAG 2.2, 2.4.13, from memory");
    }
}
