//! The keyboard alone.

use egui::{Key, Modifiers};
use egui_kittest::kittest::{NodeT, Queryable};
use evenfilm_desk::Face;

use crate::bench::{Bench, sample};

#[test]
fn a_lot_is_opened_looked_at_and_written_by_keys_alone() {
    let mut bench = Bench::empty();
    let lot = sample("TS-0402", &bench.folder.path().join("lots"));
    // Tab goes to the path box, whatever comes before it.
    let mut tabs = 0;
    while !bench.window.get_by_label("Path of the folder").is_focused() {
        bench.key(Modifiers::NONE, Key::Tab);
        tabs += 1;
        assert!(tabs < 30, "the path box cannot be reached");
    }
    bench.window.get_by_label("Path of the folder").type_text(&lot.display().to_string());
    bench.window.run_steps(2);
    bench.key(Modifiers::NONE, Key::Enter);
    bench.settle();
    assert_eq!(bench.lot().name, "TS-0402");
    for (key, face) in [(Key::F3, Face::Numbers), (Key::F4, Face::Sheet), (Key::F2, Face::Picture)] {
        bench.key(Modifiers::NONE, key);
        assert_eq!(bench.window.state().state().face, face);
    }
    bench.key(Modifiers::COMMAND, Key::Enter);
    bench.settle();
    assert!(lot.parent().unwrap().join("records/TS-0402/r1/bagit.txt").is_file());
    bench.key(Modifiers::NONE, Key::Escape);
    assert!(bench.window.state().state().over.is_none());
}

#[test]
#[expect(clippy::redundant_closure_for_method_calls, reason = "the method's lifetimes are narrower than asked for")]
fn everything_that_can_be_pressed_is_reached_by_tab_and_has_a_name() {
    let mut bench = Bench::with("TS-0402");
    for key in [Key::F2, Key::F3, Key::F4] {
        bench.key(Modifiers::NONE, key);
        let mut reached = std::collections::BTreeSet::new();
        for _ in 0..400 {
            bench.key(Modifiers::NONE, Key::Tab);
            let focused = bench
                .window
                .query_all_by(|node| node.is_focused())
                .map(|node| (node.accesskit_node().label(), node.accesskit_node().value()))
                .next();
            let Some((label, value)) = focused else { continue };
            let name = label.or(value).unwrap_or_default();
            assert!(!name.trim().is_empty(), "something without a name has the keyboard");
            reached.insert(name);
        }
        assert!(reached.len() >= 8, "{key:?}: only {reached:?}");
    }
}

#[test]
fn commands_are_found_by_words() {
    let mut bench = Bench::with("TS-0402");
    bench.key(Modifiers::COMMAND, Key::K);
    bench.window.get_by_label("What do you want to do?").type_text("show the numbers");
    bench.window.run_steps(2);
    bench.key(Modifiers::NONE, Key::Enter);
    assert_eq!(bench.window.state().state().face, Face::Numbers);
    assert!(bench.window.state().state().over.is_none());
    bench.key(Modifiers::NONE, Key::F1);
    assert!(bench.reads("What the keyboard does"));
}

#[test]
fn sizes_and_looks() {
    let mut bench = Bench::with("TS-0402");
    for pct in [75, 100, 200] {
        bench.key(Modifiers::COMMAND, Key::Comma);
        bench.press(&format!("{pct} %"));
        bench.press("Close");
        bench.window.run_steps(3);
        assert_eq!(bench.window.state().state().prefs.scale_pct, pct);
    }
    // Settings are written when they have come to rest, at the latest when the desk is closed.
    let crate::bench::Bench { window, folder } = bench;
    drop(window);
    let text = std::fs::read_to_string(folder.path().join("settings/settings.json")).unwrap();
    assert!(text.contains("200"), "the settings are kept: {text}");
}

#[test]
#[expect(clippy::redundant_closure_for_method_calls, reason = "the method's lifetimes are narrower than asked for")]
fn whatever_has_the_keyboard_has_a_frame() {
    let mut bench = Bench::with("TS-0402");
    let ring = [egui::Color32::from_rgb(0x2B, 0x4A, 0x7E), egui::Color32::from_rgb(0xF0, 0xC9, 0x88)];
    for key in [Key::F2, Key::F4] {
        bench.key(Modifiers::NONE, key);
        let mut seen = 0;
        for _ in 0..60 {
            bench.key(Modifiers::NONE, Key::Tab);
            let focused = bench.window.query_all_by(|node| node.is_focused() && node.raw_bounds().is_some()).map(|node| node.rect()).next();
            let Some(rect) = focused.filter(|rect| bench.window.ctx.content_rect().contains_rect(*rect)) else { continue };
            let frames = |shape: &egui::epaint::ClippedShape| match &shape.shape {
                egui::Shape::Rect(frame) => {
                    frame.stroke.width >= 2.0 && ring.contains(&frame.stroke.color) && (frame.rect.center() - rect.center()).length() < 2.0
                }
                _ => false,
            };
            let has_own = bench.window.output().shapes.iter().any(frames);
            let name = bench.window.query_all_by(|node| node.is_focused()).next().and_then(|node| node.accesskit_node().label());
            // The grip is painted on the line that it pulls.
            assert!(has_own || name.as_deref() == Some("Bare the original"), "{name:?} at {rect} has no frame");
            seen += 1;
        }
        assert!(seen > 20, "{key:?}: {seen}");
    }
}

#[test]
fn a_folder_of_records_is_a_whole_path() {
    let mut bench = Bench::empty();
    let label = "Folder of records; empty is a folder named records beside the lot";
    bench.key(Modifiers::COMMAND, Key::Comma);
    bench.type_into(label, "records");
    bench.key(Modifiers::NONE, Key::Enter);
    assert!(bench.reads("write the whole path"));
    assert_eq!(bench.window.state().state().prefs.records, None);
    let whole = bench.folder.path().join("all records");
    bench.type_into(label, &whole.display().to_string());
    bench.key(Modifiers::NONE, Key::Enter);
    assert!(!bench.reads("write the whole path"));
    assert_eq!(bench.window.state().state().prefs.records, Some(whole));
    bench.key(Modifiers::NONE, Key::Escape);
    assert!(bench.window.state().state().over.is_none());
}
