//! Opening: a lot, several, none.

use std::fs;

use egui::{Key, Modifiers};

use crate::bench::{Bench, sample};

#[test]
fn a_lot_is_opened_by_its_path_and_measured() {
    let mut bench = Bench::empty();
    let lot = sample("TS-0402", &bench.folder.path().join("lots"));
    bench.type_into("Path of the folder", &lot.display().to_string());
    bench.key(Modifiers::NONE, Key::Enter);
    bench.settle();
    assert_eq!(bench.lot().name, "TS-0402");
    assert!(bench.lot().is_current());
    assert!(bench.quantity("objects").unwrap() > 10.0);
    assert!(bench.reads("Uncovered area"));
    assert!(bench.reads("No SPF"), "the caution stands where results are shown");
    // It is offered again.
    bench.press("Slides");
    assert!(bench.reads("TS-0402"), "the start page offers what was opened before");
}

#[test]
fn a_folder_of_lots_offers_them_all() {
    let mut bench = Bench::empty();
    let lots = bench.folder.path().join("lots");
    sample("TS-0402", &lots);
    sample("TS-0401", &lots);
    bench.type_into("Path of the folder", &format!(" \"{}\" ", lots.display()));
    bench.press("Open");
    bench.settle();
    assert_eq!(bench.lot().name, "TS-0401");
    bench.key(Modifiers::COMMAND, Key::PageDown);
    bench.settle();
    assert_eq!(bench.lot().name, "TS-0402");
    // Beyond the last there is none, and that is said.
    bench.key(Modifiers::COMMAND, Key::PageDown);
    assert!(bench.reads("there is no other lot"));
    assert_eq!(bench.lot().name, "TS-0402");
}

#[test]
fn a_folder_without_a_lot_is_told() {
    let mut bench = Bench::empty();
    for (path, words) in [(bench.folder.path().join("nowhere"), "nowhere"), (bench.folder.path().to_path_buf(), "batch.toml")] {
        bench.type_into("Path of the folder", &path.display().to_string());
        bench.press("Open");
        bench.settle();
        assert!(bench.reads(words), "{words}");
        assert!(bench.window.state().state().lot.is_none());
    }
}

#[test]
fn a_lot_that_cannot_be_measured_says_where_and_why() {
    let mut bench = Bench::empty();
    let lot = sample("TS-0402", &bench.folder.path().join("lots"));
    let sheet = fs::read_to_string(lot.join("batch.toml")).unwrap();
    fs::write(lot.join("batch.toml"), sheet.replace("um_per_px =", "um_per_pix =")).unwrap();
    bench.type_into("Path of the folder", &lot.display().to_string());
    bench.press("Open");
    bench.settle();
    assert!(bench.reads("um_per_pix"), "the wrong key is named");
    assert!(bench.reads("um_per_px"), "and the nearest known one");
    // Mended elsewhere, it is measured.
    fs::write(lot.join("batch.toml"), sheet).unwrap();
    bench.press("Open");
    bench.settle();
    assert!(bench.lot().is_current());
}

#[test]
fn the_first_start_renders_and_measures_a_lot() {
    let folder = tempfile::tempdir().unwrap();
    let places = evenfilm_desk::Places { settings: folder.path().join("settings"), data: folder.path().join("data") };
    let desk = evenfilm_desk::Desk::new(&places, None);
    let window = egui_kittest::Harness::builder()
        .with_size([1366.0, 768.0])
        .build_ui_state(|ui, desk: &mut evenfilm_desk::Desk| desk.show(ui), desk);
    let mut bench = Bench { window, folder };
    bench.settle();
    assert_eq!(bench.lot().cards.len(), 4);
    assert!(bench.lot().is_current());
    // The truth of the film lies beside it.
    assert!(bench.lot().folder.join("truth.json").is_file());
}

#[test]
fn fields_are_cards() {
    let mut bench = Bench::with("TS-0402");
    let names: Vec<String> = bench.lot().cards.iter().map(|card| card.name.clone()).collect();
    assert!(names.len() > 1);
    bench.press_starting("Field 2, ");
    bench.settle();
    assert_eq!(bench.lot().field, 1);
    assert_eq!(bench.lot().picture.as_ref().unwrap().field, 1);
    bench.key(Modifiers::NONE, Key::PageUp);
    bench.settle();
    assert_eq!(bench.lot().field, 0);
}

#[test]
fn long_and_foreign_names_are_kept() {
    let mut bench = Bench::empty();
    let lot = sample("TS-0402", &bench.folder.path().join("lots"));
    let name = "Λοτ ζινκ-οξείδιο 0412 with a name that is as long as some laboratories make them, 2026-03-04, second try";
    let sheet = fs::read_to_string(lot.join("batch.toml")).unwrap().replace("lot = \"TS-0402\"", &format!("lot = \"{name}\""));
    fs::write(lot.join("batch.toml"), sheet).unwrap();
    bench.type_into("Path of the folder", &lot.display().to_string());
    bench.press("Open");
    bench.settle();
    assert_eq!(bench.lot().name, name);
    assert!(bench.reads(name));
}
