//! The sheet as a form.

use std::fs;

use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable;

use crate::bench::Bench;

#[test]
fn what_is_typed_is_saved_and_measured_and_comments_stay() {
    let mut bench = Bench::with("TS-0402");
    let path = bench.lot().folder.join("batch.toml");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, format!("# kept in the ring binder\n{text}")).unwrap();
    bench.key(Modifiers::NONE, Key::F4);
    bench.window.run_steps(5);
    bench.type_into("Operator", "R7");
    bench.reveal("Scale, µm per pixel");
    bench.type_into("Scale, µm per pixel", "0,5");
    assert!(bench.reads("not saved"));
    let before = bench.quantity("x50_0_um").unwrap();
    bench.press("Save the sheet");
    bench.settle();
    let saved = fs::read_to_string(&path).unwrap();
    assert!(
        saved.starts_with("# kept in the ring binder\n") && saved.contains("operator = \"R7\"") && saved.contains("um_per_px = 0.5"),
        "{saved}"
    );
    let after = bench.quantity("x50_0_um").unwrap();
    assert!(after > 1.5 * before, "pixels twice as wide: {before} became {after}");
}

#[test]
fn what_cannot_be_is_told_beside_its_box() {
    let mut bench = Bench::with("TS-0402");
    let path = bench.lot().folder.join("batch.toml");
    let text = fs::read_to_string(&path).unwrap();
    bench.key(Modifiers::NONE, Key::F4);
    bench.window.run_steps(5);
    bench.reveal("Scale, µm per pixel");
    bench.type_into("Scale, µm per pixel", "-3");
    assert!(bench.reads("must be above 0"));
    // A lot is not closed over it without being asked.
    bench.key(Modifiers::NONE, Key::Escape);
    bench.key(Modifiers::COMMAND, Key::W);
    assert!(bench.reads("Leave the lot without saving?"));
    bench.press("Go back");
    bench.press("Forget what was typed");
    bench.window.run_steps(5);
    assert!(bench.window.query_by_label("must be above 0").is_none());
    assert_eq!(fs::read_to_string(&path).unwrap(), text);
}
