//! What goes wrong is told in words, and nothing is lost.

use std::fs;

use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable;
use evenfilm_desk::Run;

use crate::bench::{Bench, sample};

#[test]
fn measuring_is_stopped_and_taken_up_again() {
    let folder = tempfile::tempdir().unwrap();
    let lot = sample("TS-0402", &folder.path().join("lots"));
    let mut bench = Bench::on(folder, Some(lot));
    bench.until("the run to begin", |desk| {
        desk.state().lot.as_ref().is_some_and(|lot| lot.batch.is_some() && matches!(lot.run, Run::Going { .. }))
    });
    bench.key(Modifiers::COMMAND, Key::Period);
    bench.settle();
    assert!(matches!(bench.lot().run, Run::Stopped) || bench.lot().is_current(), "stopped, or over before it could be");
    if matches!(bench.lot().run, Run::Stopped) {
        assert!(bench.lot().measured.is_none());
        bench.press("Measure again");
        bench.settle();
    }
    assert!(bench.lot().is_current());
}

#[test]
fn a_damaged_picture_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let lot = sample("TS-0402", &folder.path().join("lots"));
    let picture =
        fs::read_dir(&lot).unwrap().map(|entry| entry.unwrap().path()).find(|path| path.to_string_lossy().contains("f02")).unwrap();
    let bytes = fs::read(&picture).unwrap();
    fs::write(&picture, &bytes[..bytes.len() / 2]).unwrap();
    let mut bench = Bench::on(folder, Some(lot));
    bench.settle();
    assert!(matches!(bench.lot().run, Run::Failed(_)));
    assert!(bench.reads("f02"), "the file is named");
    assert!(bench.reads("copy it again"), "and what to do");
    fs::write(&picture, bytes).unwrap();
    bench.press("Measure again");
    bench.settle();
    assert!(bench.lot().is_current());
}

#[test]
fn a_record_that_cannot_be_written_says_so() {
    let mut bench = Bench::with("TS-0402");
    let records = bench.lot().folder.parent().unwrap().join("records");
    // The journal began it.
    fs::remove_dir_all(&records).unwrap();
    fs::write(&records, "a file in the way").unwrap();
    bench.press("Write the record");
    bench.settle();
    assert!(bench.reads("Not written"));
    assert!(bench.reads("a file stands where a folder is needed"));
}

#[test]
fn choices_that_were_not_saved_are_offered_after_a_kill() {
    let mut bench = Bench::with("TS-0402");
    bench.change_a_choice();
    bench.settle();
    let edge = bench.lot().now.recipe.gaps.edge;
    // A kill: what lies on the disk stays, nobody cleans up, and the lock is free.
    let settings = bench.folder.path().join("settings");
    let kept = fs::read_dir(&settings)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().is_some_and(|end| end == "json") && path.to_string_lossy().contains("session-"))
        .unwrap();
    let text = fs::read(&kept).unwrap();
    let Bench { window, folder } = bench;
    drop(window);
    assert!(!kept.exists(), "an orderly end leaves nothing");
    fs::write(settings.join("session-1.json"), text).unwrap();
    let mut bench = Bench::on(folder, None);
    bench.window.run_steps(2);
    bench.press("Take it up");
    bench.settle();
    assert!((bench.lot().now.recipe.gaps.edge - edge).abs() < 1e-12);
    assert!(bench.lot().is_unsaved() && bench.lot().is_current());
}

#[test]
fn a_lot_that_cannot_be_measured_cannot_be_locked_over() {
    let folder = tempfile::tempdir().unwrap();
    let lot = sample("TS-0402", &folder.path().join("lots"));
    let recipe = "version = \"7\"\n[particles]\nnoise_factor = 8.0\n";
    fs::write(lot.join("recipe.toml"), recipe).unwrap();
    let sheet = fs::read_to_string(lot.join("batch.toml")).unwrap();
    fs::write(lot.join("batch.toml"), sheet.replace("blank", "blanck")).unwrap();
    let mut bench = Bench::on(folder, Some(lot.clone()));
    bench.settle();
    for key in [Key::L, Key::S] {
        bench.key(Modifiers::COMMAND, key);
        bench.key(Modifiers::NONE, Key::Enter);
        bench.settle();
    }
    assert_eq!(fs::read_to_string(lot.join("recipe.toml")).unwrap(), recipe);
}

#[test]
fn typing_is_not_taken_for_commands() {
    let mut bench = Bench::with("TS-0402");
    bench.change_a_choice();
    bench.settle();
    let chosen = bench.lot().now.clone();
    bench.key(Modifiers::NONE, Key::F4);
    bench.window.run_steps(5);
    bench.type_into("Operator", "B");
    bench.key(Modifiers::COMMAND, Key::Z);
    bench.key(Modifiers::NONE, Key::B);
    bench.settle();
    assert_eq!(bench.lot().now, chosen, "undo in a box is the box's own");
}

#[test]
fn notices_say_how_it_went_and_good_ones_leave_by_themselves() {
    let mut bench = Bench::with("TS-0402");
    bench.key(Modifiers::COMMAND, Key::Z);
    assert!(bench.reads("Not now") && bench.reads("nothing was changed"), "a refusal is no deed");
    bench.key(Modifiers::COMMAND.plus(Modifiers::SHIFT), Key::C);
    assert!(bench.reads("Summary copied"));
    let from = bench.window.ctx.input(|input| input.time);
    while bench.window.ctx.input(|input| input.time) < from + 3.0 {
        bench.window.step();
    }
    assert!(bench.reads("Summary copied"), "it stays a while");
    // Not while the keyboard is on it.
    bench.window.get_by_label("Close: Summary copied").focus();
    while bench.window.ctx.input(|input| input.time) < from + 9.0 {
        bench.window.step();
    }
    assert!(bench.reads("Summary copied"));
    bench.window.get_by_label("Choices").focus();
    bench.window.step();
    let from = bench.window.ctx.input(|input| input.time);
    while bench.window.ctx.input(|input| input.time) < from + 7.0 {
        bench.window.step();
    }
    assert!(!bench.reads("Summary copied"), "then it goes");
    assert!(bench.reads("nothing was changed"), "what was refused stays until it is closed");
}
