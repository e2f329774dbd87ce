//! The screens: each reads the state and pushes what is asked for. Nothing is measured or written here.

use egui::{CentralPanel, Frame, Margin, Panel, Rect, ScrollArea, Ui, UiBuilder, Vec2};

use crate::change::{Act, Acts};
use crate::command::{Command, Face};
use crate::state::State;
use crate::{Desk, theme};

mod cards;
mod choices;
pub(crate) mod focus;
mod headline;
mod notices;
mod numbers;
mod over;
mod picture;
mod scene;
mod sheet;
mod start;
mod top;
mod widgets;

pub(crate) use picture::Canvas;

/// What is being typed and has not been asked for yet, and what the screens keep from pass to pass.
#[derive(Default)]
pub(crate) struct Drafts {
    cards: cards::Draft,
    choices: choices::Draft,
    notices: notices::Draft,
    start: start::Draft,
    over: over::Draft,
    numbers: numbers::Draft,
    sheet: sheet::Draft,
}

/// Below this size of the window, points, the page takes the form for small ones.
const SMALL: Vec2 = Vec2::new(1000.0, 600.0);

/// Least height of what is shown of the lot, points: a picture of 200, and its bar. Where there is less, the page scrolls.
const LEAST: f32 = 272.0;

/// Width of the choices where they lie over the picture.
const CHOICES_OVER: f32 = 400.0;

/// Whether the window is a small one.
pub(crate) fn is_small(ctx: &egui::Context) -> bool {
    let size = ctx.content_rect().size();
    size.x < SMALL.x || size.y < SMALL.y
}

/// Everything, from top to bottom.
pub(crate) fn all(ui: &mut Ui, desk: &mut Desk, acts: &mut Acts) {
    let inks = theme::inks(ui);
    let bar = Frame::new().fill(inks.ground).inner_margin(Margin::symmetric(12, 6));
    Panel::top("top").frame(bar).show(ui, |ui| top::show(ui, &desk.state, acts));
    notices::show(ui, &desk.state, &mut desk.drafts.notices, acts);
    let page = Frame::new().fill(inks.ground).inner_margin(Margin::symmetric(12, 8));
    if desk.state.lot.is_none() {
        let opening = desk.opening.clone();
        CentralPanel::no_frame().frame(page).show(ui, |ui| start::show(ui, &desk.state, opening.as_deref(), &mut desk.drafts.start, acts));
    } else if desk.state.is_small {
        small(ui, desk, acts);
    } else {
        Panel::top("headline").frame(page).show(ui, |ui| headline::show(ui, &desk.state, acts));
        let strip = Panel::bottom("cards").exact_size(cards::HEIGHT).frame(page);
        strip.show(ui, |ui| cards::show(ui, &desk.state, &mut desk.drafts.cards, acts));
        if desk.state.shows_choices() {
            let column = Panel::right("choices").frame(page).default_size(372.0).size_range(320.0..=520.0);
            column.show(ui, |ui| choices::show(ui, &desk.state, &mut desk.drafts.choices, acts));
        }
        let ground = page.inner_margin(Margin::symmetric(12, 4));
        CentralPanel::no_frame().frame(ground).show(ui, |ui| {
            let high = ui.available_height();
            if high >= LEAST {
                face(ui, desk, acts);
            } else {
                ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                    slot(ui, LEAST, |ui| face(ui, desk, acts));
                    focus::follow(ui);
                });
            }
        });
    }
    over::show(ui, &desk.state, &mut desk.drafts.over, acts);
}

/// The page of a small window: it scrolls where it must, and the choices lie over it when they are asked for.
fn small(ui: &mut Ui, desk: &mut Desk, acts: &mut Acts) {
    let ground = Frame::new().fill(theme::inks(ui).ground).inner_margin(Margin::symmetric(12, 4));
    let below = ui.available_rect_before_wrap();
    CentralPanel::no_frame().frame(ground).show(ui, |ui| {
        let high = (ui.available_height() - headline::SMALL - cards::SMALL - 2.0 * theme::GAP).max(LEAST);
        ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
            headline::show_small(ui, &desk.state, acts);
            slot(ui, high, |ui| face(ui, desk, acts));
            cards::show_small(ui, &desk.state, acts);
            focus::follow(ui);
        });
    });
    if desk.state.shows_choices() {
        let wide = CHOICES_OVER.min(below.width());
        let at = Rect::from_min_max(egui::pos2(below.right() - wide, below.top()), below.max);
        let area =
            egui::Area::new(egui::Id::unique("choices over the picture")).order(egui::Order::Middle).fixed_pos(at.min).constrain(false);
        area.show(ui.ctx(), |ui| {
            let inks = theme::inks(ui);
            let (rect, _) = ui.allocate_exact_size(at.size(), egui::Sense::click_and_drag());
            ui.painter().rect(rect, 0, inks.ground, egui::Stroke::new(1.0, inks.edge), egui::StrokeKind::Inside);
            let inside = UiBuilder::new().max_rect(rect.shrink2(Vec2::new(12.0, 8.0)));
            ui.scope_builder(inside, |ui| choices::show(ui, &desk.state, &mut desk.drafts.choices, acts));
        });
    }
}

/// What is shown of the lot.
fn face(ui: &mut Ui, desk: &mut Desk, acts: &mut Acts) {
    match desk.state.face {
        Face::Picture => picture::show(ui, desk, acts),
        Face::Numbers => numbers::show(ui, &desk.state, &mut desk.drafts.numbers, acts),
        Face::Sheet => sheet::show(ui, &desk.state, &mut desk.drafts.sheet, acts),
    }
}

/// A part of a page that scrolls, as high as it is told.
fn slot(ui: &mut Ui, high: f32, content: impl FnOnce(&mut Ui)) {
    let rect = Rect::from_min_size(ui.cursor().min, Vec2::new(ui.available_width(), high));
    let mut inner = ui.new_child(UiBuilder::new().max_rect(rect).id_salt("slot"));
    content(&mut inner);
    ui.advance_cursor_after_rect(rect);
}

/// Keys and dropped folders.
pub(crate) fn input(ctx: &egui::Context, state: &State, acts: &mut Acts) {
    let dropped = ctx.input(|input| input.raw.dropped_files.first().map(|file| file.path().to_path_buf()));
    if let Some(path) = dropped {
        // A file stands for its folder.
        let folder = if path.is_dir() { Some(path) } else { path.parent().map(ToOwned::to_owned) };
        if let Some(folder) = folder {
            acts.push(Act::Open(folder));
        }
    }
    if state.over.is_some() {
        // Escape goes back from whatever is asked.
        if ctx.input(|input| input.key_pressed(egui::Key::Escape)) {
            acts.push(Act::Over(None));
        }
        return;
    }
    let typing = ctx.text_edit_focused();
    let lies_over = state.is_small && state.lot.is_some() && state.shows_choices();
    if lies_over && !typing && ctx.input(|input| input.key_pressed(egui::Key::Escape)) {
        acts.run(Command::Choices);
    }
    let mut keys: Vec<_> = Command::ALL
        .iter()
        .filter(|command| !(typing && command.is_typed()))
        .filter_map(|command| Some((command.key()?, *command)))
        .collect();
    // Ctrl+Z would also take Ctrl+Shift+Z.
    keys.sort_by_key(|(key, _)| !key.modifiers.shift);
    for (key, command) in keys {
        if ctx.input_mut(|input| input.consume_shortcut(&key)) {
            acts.run(command);
        }
    }
}
