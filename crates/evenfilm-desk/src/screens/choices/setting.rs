//! One setting: its name, what may be chosen, and why one would.

use std::cell::RefCell;
use std::collections::BTreeMap;

use egui::{Button, ComboBox, DragValue, Key, Label, Response, RichText, Slider, SliderClamping, Ui};
use evenfilm_core::recipe::Recipe;
use evenfilm_record::recipe_file::form::{Choice, ChoiceKind, ChoiceValue, Slider as Range, Words};

use super::Wish;
use crate::screens::widgets;
use crate::theme;

type Wrong = BTreeMap<(&'static str, &'static str), String>;

pub(super) fn show(ui: &mut Ui, choice: &'static Choice, recipe: &Recipe, wrong: &mut Wrong, wish: &mut Wish) {
    let value = choice.get(recipe);
    let said = RefCell::new(None);
    ui.push_id((choice.section, choice.key), |ui| {
        ui.spacing_mut().item_spacing.y = 3.0;
        ui.horizontal(|ui| {
            ui.add(Label::new(RichText::new(label(choice)).strong()).truncate()).on_hover_text(choice.reason);
        });
        let next = match (choice.kind, &value) {
            (ChoiceKind::Flag, ChoiceValue::Flag(on)) => flag(ui, choice, *on),
            (ChoiceKind::Number(_, range), ChoiceValue::Number(number)) => self::number(ui, choice, *number, range, &said, wish),
            (ChoiceKind::NumberOrAuto(_, range), _) => number_or_auto(ui, choice, &value, range, &said, wish),
            (ChoiceKind::Whole(_, _, range), ChoiceValue::Whole(whole)) =>
            {
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the check below refuses what is out of range")]
                self::number(ui, choice, *whole as f64, range, &said, wish).map(|next| match next {
                    ChoiceValue::Number(number) => ChoiceValue::Whole(number.round() as u64),
                    other => other,
                })
            }
            (ChoiceKind::Words(words), ChoiceValue::Word(word)) => one_of(ui, choice, word, words),
            (ChoiceKind::Kinds(words), ChoiceValue::Words(chosen)) => any_of(ui, chosen, words),
            _ => None,
        };
        let next = below(ui, choice, &value).or(next);
        if let Some(next) = next {
            let mut changed = wish.recipe.clone().unwrap_or_else(|| recipe.clone());
            match choice.set(&mut changed, next) {
                Ok(()) => {
                    wish.recipe = Some(changed);
                    said.replace(Some(String::new()));
                }
                Err(why) => drop(said.replace(Some(why))),
            }
        }
        match said.take() {
            Some(text) if text.is_empty() => drop(wrong.remove(&(choice.section, choice.key))),
            Some(text) => drop(wrong.insert((choice.section, choice.key), text)),
            None => {}
        }
        if let Some(text) = wrong.get(&(choice.section, choice.key)) {
            ui.label(RichText::new(format!("{}: {text}", choice.label)).color(theme::inks(ui).warn));
        }
        ui.add_space(theme::GAP);
    });
}

fn label(choice: &Choice) -> String {
    if choice.unit.is_empty() { choice.label.to_owned() } else { format!("{}, {}", choice.label, choice.unit) }
}

/// Range, built-in value and reason in small letters; a button that goes back to the built-in value where another is chosen.
fn below(ui: &mut Ui, choice: &Choice, value: &ChoiceValue) -> Option<ChoiceValue> {
    let built_in = choice.built_in();
    let range = match choice.kind {
        ChoiceKind::Number(span, _) | ChoiceKind::NumberOrAuto(span, _) => format!("{span}; "),
        ChoiceKind::Whole(least, most, _) if most < u64::from(u32::MAX) => format!("{least} to {most}; "),
        ChoiceKind::Whole(least, ..) => format!("at least {least}; "),
        ChoiceKind::Flag | ChoiceKind::Words(_) | ChoiceKind::Kinds(_) => String::new(),
    };
    let text = format!("{range}built in: {}. {}", words(choice, &built_in), choice.reason);
    ui.add(Label::new(widgets::quiet(ui, text).small()).wrap());
    if *value == built_in {
        return None;
    }
    let back = ui.add(Button::new(format!("Back to {}", words(choice, &built_in))).truncate());
    named(&back, &format!("{}: back to the built-in value", choice.label));
    back.clicked().then_some(built_in)
}

/// A value as people read it.
fn words(choice: &Choice, value: &ChoiceValue) -> String {
    let of = |list: Words, word: &str| {
        list.iter().find(|(known, _)| *known == word).map_or_else(|| word.to_owned(), |(_, label)| (*label).to_owned())
    };
    match (choice.kind, value) {
        (_, ChoiceValue::Flag(on)) => if *on { "yes" } else { "no" }.into(),
        (_, ChoiceValue::Number(number)) => plain(*number),
        (_, ChoiceValue::Auto) => "automatic".into(),
        (_, ChoiceValue::Whole(whole)) => format!("{whole}"),
        (ChoiceKind::Words(list), ChoiceValue::Word(word)) => of(list, word).to_lowercase(),
        (ChoiceKind::Kinds(list), ChoiceValue::Words(chosen)) if !chosen.is_empty() => {
            chosen.iter().map(|word| of(list, word).to_lowercase()).collect::<Vec<_>>().join(", ")
        }
        _ => "none".into(),
    }
}

fn flag(ui: &mut Ui, choice: &Choice, on: bool) -> Option<ChoiceValue> {
    let mut next = on;
    let box_ = ui.checkbox(&mut next, if on { "yes" } else { "no" });
    box_.widget_info(|| egui::WidgetInfo::selected(egui::Role::CheckBox, true, next, choice.label));
    (next != on).then_some(ChoiceValue::Flag(next))
}

fn number(ui: &mut Ui, choice: &Choice, now: f64, range: Range, said: &RefCell<Option<String>>, wish: &mut Wish) -> Option<ChoiceValue> {
    let mut next = now;
    ui.horizontal(|ui| {
        ui.spacing_mut().slider_width = (ui.available_width() - TYPED - 18.0).max(100.0);
        let ends = range.low.min(now)..=range.high.max(now);
        let mut slid = now;
        let slider = ui.add(Slider::new(&mut slid, ends).step_by(range.step).clamping(SliderClamping::Never).show_value(false));
        named_value(&slider, choice.label, now);
        // A slider also rounds what nobody touched; only what a person did with it counts.
        if slid.to_bits() != now.to_bits() && is_moved(ui, &slider) {
            next = in_steps(slid, range.step);
        }
        let shown = plain(now);
        let parse = |text: &str| match choice.check(text) {
            _ if text == shown => Some(now),
            Ok(ChoiceValue::Number(number)) => Some(number),
            Ok(ChoiceValue::Whole(whole)) => Some(whole as f64),
            Ok(_) => None,
            Err(why) => {
                said.replace(Some(why));
                None
            }
        };
        let mut typed = now;
        let value = DragValue::new(&mut typed)
            .speed(0.0)
            .custom_parser(parse)
            .custom_formatter(|value, _| plain(value))
            .update_while_editing(false);
        let typing = ui.add_sized([TYPED, theme::TARGET], value);
        named_value(&typing, &format!("{}, typed", choice.label), now);
        if typed.to_bits() != now.to_bits() {
            next = typed;
        }
        if let (true, ChoiceValue::Number(built_in)) = (slider.double_clicked(), choice.built_in()) {
            next = built_in;
        }
        wish.goes_on |= slider.dragged();
        wish.ended |= slider.drag_stopped();
    });
    // Bits, since what was not touched must not count as changed.
    (next.to_bits() != now.to_bits()).then_some(ChoiceValue::Number(next))
}

/// Width of the box beside a slider, points.
const TYPED: f32 = 92.0;

/// Whether a person moves a slider in this pass, by pointer, key or a helper that reads the screen.
fn is_moved(ui: &Ui, slider: &Response) -> bool {
    let by_key =
        || ui.input(|input| [Key::ArrowLeft, Key::ArrowRight, Key::ArrowUp, Key::ArrowDown].iter().any(|key| input.key_pressed(*key)));
    let by_helper = || {
        use egui::accesskit::Action::{Decrement, Increment, SetValue};
        ui.input(|input| [Decrement, Increment, SetValue].iter().any(|action| input.has_accesskit_action_request(slider.id, *action)))
    };
    slider.dragged() || slider.drag_stopped() || slider.clicked() || (slider.has_focus() && by_key()) || by_helper()
}

/// The nearest step, without the dust of binary fractions.
fn in_steps(value: f64, step: f64) -> f64 {
    let stepped = if step > 0.0 { (value / step).round() * step } else { value };
    (stepped * 1e9).round() / 1e9
}

/// A number with at most six decimals, none of them idle.
fn plain(value: f64) -> String {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn number_or_auto(
    ui: &mut Ui,
    choice: &Choice,
    value: &ChoiceValue,
    range: Range,
    said: &RefCell<Option<String>>,
    wish: &mut Wish,
) -> Option<ChoiceValue> {
    let was_auto = *value == ChoiceValue::Auto;
    let mut auto = was_auto;
    let box_ = ui.checkbox(&mut auto, "automatic");
    box_.widget_info(|| egui::WidgetInfo::selected(egui::Role::CheckBox, true, auto, format!("{}, automatic", choice.label)));
    match (was_auto, auto, value) {
        (false, true, _) => Some(ChoiceValue::Auto),
        (true, false, _) => Some(ChoiceValue::Number(range.low)),
        (false, false, ChoiceValue::Number(now)) => number(ui, choice, *now, range, said, wish),
        _ => None,
    }
}

fn one_of(ui: &mut Ui, choice: &Choice, now: &str, words: Words) -> Option<ChoiceValue> {
    let mut next = None;
    let label = words.iter().find(|(word, _)| *word == now).map_or(now, |(_, label)| *label);
    let wide = ui.available_width();
    let shown = ComboBox::from_id_salt(choice.key).width(wide).truncate().selected_text(label).show_ui(ui, |ui| {
        for (word, label) in words {
            if ui.selectable_label(*word == now, *label).clicked() && *word != now {
                next = Some(ChoiceValue::Word(word));
            }
        }
    });
    shown.response.widget_info(|| {
        let mut info = egui::WidgetInfo::labeled(egui::Role::ComboBox, true, choice.label);
        info.current_text_value = Some(label.to_owned());
        info
    });
    next
}

fn any_of(ui: &mut Ui, chosen: &[&'static str], words: Words) -> Option<ChoiceValue> {
    let mut next = None;
    ui.horizontal_wrapped(|ui| {
        for (word, label) in words {
            let was = chosen.contains(word);
            let mut is = was;
            ui.checkbox(&mut is, *label);
            if is != was {
                next = Some(words.iter().map(|(one, _)| *one).filter(|one| if one == word { is } else { chosen.contains(one) }).collect());
            }
        }
    });
    next.map(ChoiceValue::Words)
}

fn named(response: &Response, name: &str) {
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, name));
}

fn named_value(response: &Response, name: &str, value: f64) {
    response.widget_info(|| egui::WidgetInfo::slider(true, value, name));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_plain() {
        assert_eq!([0.29, 0.1 + 0.2, 6.0, 250.0, 0.000_001].map(plain), ["0.29", "0.3", "6", "250", "0.000001"]);
        assert_eq!(in_steps(0.287, 0.01).to_bits(), 0.29_f64.to_bits());
        assert_eq!(in_steps(7.26, 0.5).to_bits(), 7.5_f64.to_bits());
    }
}
