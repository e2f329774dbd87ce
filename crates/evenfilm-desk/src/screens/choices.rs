//! The choices as plain questions, each answered by settings that show unit, range, built-in value and reason.

use std::collections::BTreeMap;

use egui::{CollapsingHeader, Label, RichText, ScrollArea, Ui};
use evenfilm_core::recipe::Recipe;
use evenfilm_record::recipe_file::form::{CHOICES, Question};

use super::widgets;
use crate::change::{Act, Acts};
use crate::command::Command;
use crate::state::{Lot, State};
use crate::theme;

mod levels;
mod setting;

/// What was typed and cannot be taken, in words, by section and key.
#[derive(Default)]
pub(crate) struct Draft {
    wrong: BTreeMap<(&'static str, &'static str), String>,
}

/// What the settings of a pass ask for: the choices as they would be, and whether the gesture goes on or has just ended.
#[derive(Default)]
struct Wish {
    recipe: Option<Recipe>,
    goes_on: bool,
    ended: bool,
}

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut Draft, acts: &mut Acts) {
    let Some(lot) = &state.lot else { return };
    if lot.batch.is_none() {
        ui.add(Label::new(widgets::quiet(ui, "The choices come when the lot can be opened.")).wrap());
        return;
    }
    let mut wish = Wish::default();
    ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
        ui.set_width(ui.available_width() - 8.0);
        recipe(ui, lot, state, acts);
        levels::show(ui, lot, &mut wish);
        for &question in Question::ALL {
            let open = matches!(question, Question::Particle | Question::Bare);
            let title = RichText::new(question.words()).size(17.0);
            CollapsingHeader::new(title).id_salt(question.words()).default_open(open).show_unindented(ui, |ui| {
                for choice in CHOICES.iter().filter(|choice| choice.question == question) {
                    setting::show(ui, choice, &lot.now.recipe, &mut draft.wrong, &mut wish);
                }
            });
        }
        super::focus::follow(ui);
    });
    let Wish { recipe, goes_on, ended } = wish;
    if let Some(recipe) = recipe {
        acts.push(Act::Choose(Box::new(recipe), goes_on));
    }
    if ended {
        acts.push(Act::Chosen);
    }
}

/// Which recipe it is, whether it is saved, and whether it is locked.
fn recipe(ui: &mut Ui, lot: &Lot, state: &State, acts: &mut Acts) {
    let recipe = &lot.now.recipe;
    let kept = match (lot.is_unsaved(), lot.batch.as_ref().and_then(|batch| batch.recipe_file.as_ref())) {
        (true, _) => "not saved".to_owned(),
        (false, Some(_)) => "saved".to_owned(),
        (false, None) => "built in".to_owned(),
    };
    let lock = if recipe.locked { "locked" } else { "not locked" };
    let file = lot.batch.as_ref().and_then(|batch| batch.recipe_file.as_ref()).map_or_else(String::new, |path| path.display().to_string());
    let text = format!("Choices: {} {}, {lock}, {kept}", recipe.name, recipe.version);
    let identity = lot.identity().map_or_else(String::new, |identity| format!("\nIdentity (SHA-256) {identity}"));
    ui.add(Label::new(RichText::new(&text).strong()).truncate()).on_hover_text(format!("{text}\n{file}{identity}"));
    ui.horizontal(|ui| {
        widgets::named(ui, Command::SaveChoices, "Save", state, acts);
        widgets::named(ui, Command::Lock, if recipe.locked { "Unlock" } else { "Lock…" }, state, acts);
        let [name, version, author] = [&recipe.name, &recipe.version, &recipe.author].map(String::clone);
        let built_in = Recipe { name, version, author, ..Recipe::default() };
        let differs = Recipe { locked: false, ..recipe.clone() } != built_in;
        if ui.add_enabled(differs, egui::Button::new("All built in")).on_hover_text("Put every choice back to its built-in value").clicked()
        {
            acts.push(Act::Choose(Box::new(built_in), false));
        }
    });
    if lot.shares_recipe() {
        shared(ui, lot, acts);
    }
    ui.add_space(theme::GAP);
}

/// Whom the choices are saved for, where other lots use the same file.
fn shared(ui: &mut Ui, lot: &Lot, acts: &mut Acts) {
    ui.horizontal_wrapped(|ui| {
        ui.label("Saved for");
        for (only, name) in [(false, "all lots here"), (true, "this lot")] {
            if ui
                .selectable_label(lot.own_recipe == only, name)
                .on_hover_text("The recipe file lies above the lot, and others use it too")
                .clicked()
            {
                acts.push(Act::OnlyThisLot(only));
            }
        }
    });
}
