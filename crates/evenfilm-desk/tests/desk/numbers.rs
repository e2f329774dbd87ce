//! Numbers, as they are read and as they leave the desk; kinds by hand.

use std::fs;

use egui::{Key, Modifiers};
use egui_kittest::kittest::{NodeT, Queryable};

use crate::bench::Bench;

#[test]
fn values_have_definitions_and_are_copied() {
    let mut bench = Bench::with("TS-0402");
    bench.key(Modifiers::NONE, Key::F3);
    bench.window.run_steps(5);
    bench.press("Copy every value");
    let text = bench.window.state().copied().to_owned();
    let x50 = bench.quantity("x50_0_um").unwrap();
    assert!(text.lines().any(|line| line.starts_with(&format!("x50_0_um\t{x50}\tµm\t"))), "{text}");
    bench.press("Copy the summary");
    let text = bench.window.state().copied().to_owned();
    assert!(text.contains("x50 by number of objects") && text.contains("gives no SPF"), "{text}");
    // On a key: the value has the keyboard, and Enter shows its definition.
    let label = bench
        .window
        .get_by(|node| node.label().is_some_and(|label| label.starts_with("Uncovered area: ")))
        .accesskit_node()
        .label()
        .unwrap();
    bench.reveal(&label);
    bench.window.get_by_label(&label).focus();
    bench.window.run_steps(2);
    bench.key(Modifiers::NONE, Key::Enter);
    assert!(bench.reads("Column uncovered_area_pct"));
}

#[test]
fn charts_are_saved_as_svg_and_png() {
    let mut bench = Bench::with("TS-0402");
    bench.key(Modifiers::NONE, Key::F3);
    bench.window.run_steps(5);
    bench.press("Save the charts…");
    let folder = bench.folder.path().join("charts");
    bench.type_into("Folder of the charts", &folder.display().to_string());
    bench.press("Save them there");
    bench.wait_to_read("files of charts written");
    let names: Vec<String> =
        fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    assert_eq!(names.len(), 12, "{names:?}");
    for name in names {
        let bytes = fs::read(folder.join(&name)).unwrap();
        if bytes.starts_with(b"<?xml") {
            let text = String::from_utf8_lossy(&bytes);
            assert!(text.contains("<svg") && text.contains("gives no SPF"), "{name}");
        } else {
            assert!(bytes.starts_with(b"\x89PNG\r\n") && bytes.len() > 5_000, "{name}: {} bytes", bytes.len());
        }
    }
}

#[test]
fn a_kind_is_given_by_hand_and_taken_back() {
    let mut bench = Bench::with("TS-0402");
    let (objects, area) = (bench.quantity("objects"), bench.quantity("particle_area_pct"));
    bench.key(Modifiers::NONE, Key::O);
    bench.key(Modifiers::NONE, Key::K);
    assert!(bench.reads("What is this object?"));
    bench.press("crystal");
    bench.type_into("How do you know?", "seen between crossed polars");
    bench.press("Give it this kind");
    bench.settle();
    assert!(bench.quantity("objects") < objects && bench.quantity("particle_area_pct") < area);
    let text = fs::read_to_string(bench.lot().folder.join("corrections.csv")).unwrap();
    assert!(text.contains("crystal") && text.contains("seen between crossed polars"), "{text}");
    bench.key(Modifiers::COMMAND, Key::Z);
    bench.settle();
    assert_eq!((bench.quantity("objects"), bench.quantity("particle_area_pct")), (objects, area));
}
