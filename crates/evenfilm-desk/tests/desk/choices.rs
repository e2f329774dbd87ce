//! Choices: changed, undone, saved, locked.

use std::fs;

use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable;
use evenfilm_record::recipe_file;

use crate::bench::Bench;

const CTRL: Modifiers = Modifiers::COMMAND;
const CTRL_SHIFT: Modifiers = Modifiers::COMMAND.plus(Modifiers::SHIFT);

#[test]
fn a_mark_is_dragged_and_the_drag_is_one_step() {
    let mut bench = Bench::with("TS-0402");
    let before = (bench.lot().now.clone(), bench.quantity("uncovered_area_pct"));
    let mark = bench.window.get_by_label("Gaps begin above").rect();
    let from = mark.center() + egui::vec2(0.0, -30.0);
    bench.window.drag_at(from);
    bench.window.run_steps(1);
    for step in 1..=4 {
        bench.window.hover_at(from + egui::vec2(3.0 * step as f32, 0.0));
        bench.window.run_steps(1);
    }
    let edge = bench.lot().now.recipe.gaps.edge;
    assert!(edge > before.0.recipe.gaps.edge, "the choice follows the mark: {edge}");
    bench.window.drop_at(from + egui::vec2(12.0, 0.0));
    bench.settle();
    assert!(bench.lot().is_current());
    let after = bench.lot().now.clone();
    assert_ne!(bench.quantity("uncovered_area_pct"), before.1, "the numbers follow");
    // One step back is all of the drag.
    bench.key(CTRL, Key::Z);
    bench.settle();
    assert_eq!(bench.lot().now, before.0);
    assert_eq!(bench.quantity("uncovered_area_pct"), before.1);
    bench.key(CTRL_SHIFT, Key::Z);
    bench.settle();
    assert_eq!(bench.lot().now, after);
}

#[test]
fn a_lock_comes_off_with_a_change_and_the_verdict_goes() {
    let mut bench = Bench::with("TS-0402");
    assert!(bench.lot().may_judge(), "the sample recipe is locked");
    assert!(bench.reads("Locked: "));
    let identity = bench.lot().identity().unwrap();
    bench.change_a_choice();
    bench.settle();
    assert!(!bench.lot().may_judge());
    assert!(bench.reads("No verdict"), "hidden, not grey");
    assert_ne!(bench.lot().identity().unwrap(), identity);
    // Locked again under another version, it is saved and told.
    bench.key(CTRL, Key::L);
    bench.type_into("Version", "7");
    bench.press("Lock and save");
    bench.settle();
    assert!(bench.lot().may_judge() && !bench.lot().is_unsaved());
    let file = bench.lot().batch.as_ref().unwrap().recipe_file.clone().unwrap();
    let saved = recipe_file::read(&file).unwrap();
    assert_eq!(saved, bench.lot().now.recipe);
    assert_eq!((saved.version.as_str(), saved.locked), ("7", true));
}

#[test]
fn saving_keeps_what_a_lab_wrote() {
    let mut bench = Bench::with("TS-0402");
    let file = bench.lot().batch.as_ref().unwrap().recipe_file.clone().unwrap();
    let text = fs::read_to_string(&file).unwrap() + "\n# agreed with the customer\n";
    fs::write(&file, &text).unwrap();
    bench.change_a_choice();
    assert!(bench.lot().is_unsaved());
    bench.key(CTRL, Key::S);
    bench.settle();
    assert!(!bench.lot().is_unsaved());
    assert!(fs::read_to_string(&file).unwrap().contains("# agreed with the customer"));
    assert_eq!(recipe_file::read(&file).unwrap(), bench.lot().now.recipe);
}

#[test]
fn numbers_may_be_typed_with_a_comma_and_wrong_ones_are_told() {
    let mut bench = Bench::with("TS-0402");
    bench.reveal("What is a clump?");
    bench.press("What is a clump?");
    // It unfolds.
    bench.window.run_steps(30);
    bench.reveal("Depth of a neck, typed");
    // It unfolds.
    bench.window.run_steps(30);
    bench.reveal("Depth of a neck, typed");
    bench.type_into("Depth of a neck, typed", "0,25");
    bench.key(Modifiers::NONE, Key::Enter);
    bench.settle();
    assert!((bench.lot().now.recipe.objects.split_depth_um - 0.25).abs() < 1e-12);
    bench.type_into("Depth of a neck, typed", "deep");
    bench.key(Modifiers::NONE, Key::Enter);
    bench.settle();
    assert!(bench.reads("must be a number"));
    assert!((bench.lot().now.recipe.objects.split_depth_um - 0.25).abs() < 1e-12);
}

#[test]
fn a_field_is_left_out_and_taken_back() {
    let mut bench = Bench::with("TS-0402");
    let (objects, fields) = (bench.quantity("objects"), bench.quantity("fields"));
    bench.key(Modifiers::NONE, Key::Delete);
    bench.press("Leave it out");
    bench.settle();
    assert_eq!(bench.quantity("fields"), fields.map(|n| n - 1.0));
    assert!(bench.quantity("objects") < objects);
    assert!(bench.reads("left out: overlap"));
    let file = bench.lot().folder.join("corrections.csv");
    assert!(fs::read_to_string(&file).unwrap().contains("leave_out"));
    // Undone, it is in again, and the file is as it was: not there.
    bench.key(CTRL, Key::Z);
    bench.settle();
    assert_eq!(bench.quantity("objects"), objects);
    assert!(!file.exists());
    bench.key(CTRL_SHIFT, Key::Z);
    bench.settle();
    assert!(bench.quantity("objects") < objects);
    bench.press("Take it back");
    bench.settle();
    assert_eq!(bench.quantity("objects"), objects);
}

#[test]
fn looking_at_the_choices_changes_none() {
    // Values off the sliders' steps and beyond their ends, in a locked recipe.
    let mut bench = Bench::empty();
    let lot = crate::bench::sample("TS-0402", &bench.folder.path().join("lots"));
    let text = "locked = true\n[particles]\nnoise_factor = 46.123\nedge = 0.456789\nmin_diameter_um = 1.23456789\n[objects]\nsplit_depth_um = 3.3333\n";
    fs::write(lot.join("recipe.toml"), text).unwrap();
    bench.type_into("Path of the folder", &lot.display().to_string());
    bench.press("Open");
    bench.settle();
    for question in ["What is a clump?", "Which fields count?"] {
        bench.reveal(question);
        bench.press(question);
        bench.window.run_steps(20);
    }
    bench.settle();
    assert!(bench.lot().now.recipe.locked && !bench.lot().is_unsaved());
    assert_eq!(bench.lot().now.recipe, recipe_file::read(&lot.join("recipe.toml")).unwrap());
    // A key on a slider is one step.
    bench.reveal("Depth of a neck");
    bench.window.get_by_label("Depth of a neck").focus();
    bench.window.run_steps(2);
    bench.key(Modifiers::NONE, Key::ArrowLeft);
    bench.settle();
    assert!((bench.lot().now.recipe.objects.split_depth_um - 3.3).abs() < 0.051, "{}", bench.lot().now.recipe.objects.split_depth_um);
}

#[test]
fn unsaved_choices_are_not_lost_by_opening_another_lot() {
    let mut bench = Bench::with("TS-0402");
    bench.change_a_choice();
    bench.settle();
    let chosen = bench.lot().now.clone();
    bench.key(CTRL, Key::W);
    assert!(bench.reads("Leave the lot without saving?") && bench.reads("Not saved: choices"));
    bench.press("Go back");
    assert_eq!(bench.lot().now, chosen);
    // The sheet is saved beside them, and they stay.
    bench.key(Modifiers::NONE, Key::F4);
    bench.window.run_steps(5);
    bench.type_into("Operator", "R9");
    bench.press("Save the sheet");
    bench.settle();
    assert_eq!(bench.lot().now, chosen);
    assert!(bench.lot().is_unsaved());
}

#[test]
fn choices_may_be_saved_for_one_lot_alone() {
    let mut bench = Bench::with("TS-0402");
    let shared = bench.lot().folder.parent().unwrap().join("recipe.toml");
    let before = fs::read(&shared).unwrap();
    bench.change_a_choice();
    bench.settle();
    bench.press("this lot");
    bench.key(CTRL, Key::S);
    bench.settle();
    assert_eq!(fs::read(&shared).unwrap(), before);
    assert_eq!(recipe_file::read(&bench.lot().folder.join("recipe.toml")).unwrap(), bench.lot().now.recipe);
    assert!(!bench.lot().is_unsaved());
}

#[test]
fn corrections_of_others_stand() {
    let mut bench = Bench::with("TS-0402");
    let file = bench.lot().folder.join("corrections.csv");
    fs::write(&file, "field,thing,change,reason\nf02.png,field,leave_out,overlap\n").unwrap();
    bench.key(Modifiers::NONE, Key::Delete);
    bench.press("Leave it out");
    bench.settle();
    assert!(bench.reads("corrections.csv was changed by somebody else"));
    let text = fs::read_to_string(&file).unwrap();
    assert!(text.contains("f02.png") && !text.contains("f01.png"), "{text}");
    assert_eq!(bench.lot().now.corrections.lines.len(), 1);
}
