//! Sizes of the window and of everything in it: what can be pressed can be reached, and nothing lies over another thing.

use egui::accesskit::Role;
use egui::{Key, Modifiers, Rect, Vec2};
use egui_kittest::kittest::{NodeT, Queryable};
use evenfilm_desk::Face;

use crate::bench::Bench;

/// Scales in percent of a window of 1366 × 768 points, and a large window.
const WINDOWS: [(u16, [f32; 2]); 6] = [
    (75, [1366.0, 768.0]),
    (100, [1366.0, 768.0]),
    (125, [1366.0, 768.0]),
    (150, [1366.0, 768.0]),
    (200, [1366.0, 768.0]),
    (100, [2560.0, 1440.0]),
];

/// What can be pressed, by name and place.
fn pressed(bench: &Bench) -> Vec<(String, Rect)> {
    let is_pressed = |role| matches!(role, Role::Button | Role::CheckBox | Role::ComboBox | Role::Slider | Role::TextInput);
    let nodes = bench.window.query_all_by(move |node| is_pressed(node.role()) && node.raw_bounds().is_some());
    nodes.map(|node| (node.accesskit_node().label().unwrap_or_default(), node.rect())).collect()
}

/// The places of the window's own and of what lies in it are told in the same points.
fn window(bench: &Bench) -> Rect {
    bench.window.ctx.content_rect()
}

fn check(bench: &Bench, what: &str) {
    let all = pressed(bench);
    let within = window(bench).expand(0.5);
    assert!(all.len() >= 8, "{what}: {all:?}");
    for (place, (name, rect)) in all.iter().enumerate() {
        // The strip of fields scrolls along, the page down.
        let is_card = name.starts_with("Field ");
        assert!(rect.left() >= within.left() && rect.top() >= within.top(), "{what}: {name} at {rect}");
        assert!(is_card || rect.right() <= within.right(), "{what}: {name} at {rect} beside {within}");
        let is_grip = name == "Bare the original";
        for (other, twin) in &all[..place] {
            let both = rect.intersect(*twin);
            let over = both.width() > 1.0 && both.height() > 1.0;
            assert!(!over || is_grip || is_card, "{what}: {name} at {rect} over {other} at {twin}");
        }
    }
}

#[test]
fn nothing_lies_over_another_thing_whatever_the_size() {
    let mut bench = Bench::with("TS-0402");
    for (pct, size) in WINDOWS {
        bench.scale(100);
        bench.window.set_size(Vec2::from(size));
        bench.window.run_steps(2);
        bench.scale(pct);
        let what = format!("{pct} % of {size:?}");
        let points = f32::from(pct) / 100.0;
        let found = window(&bench).size();
        assert!((found.x - size[0] / points).abs() < 1.5, "{what}: the scale takes effect, {found}");
        let small = found.x < 1000.0 || found.y < 600.0;
        assert_eq!(bench.window.state().state().is_small, small, "{what}");
        if bench.window.state().state().shows_choices() {
            bench.key(Modifiers::NONE, Key::F6);
        }
        bench.window.run_steps(6);
        check(&bench, &what);
        let picture =
            bench.window.get_by(|node| node.role() == Role::Image && node.label().is_some_and(|label| label.starts_with("Field "))).rect();
        assert!(picture.height() >= 199.0, "{what}: a picture of {picture}");
        // The values have their units, and the caution is there.
        for words in ["Uncovered area", " %", " µm", "No SPF"] {
            assert!(bench.reads(words), "{what}: {words}");
        }
        for name in ["Slides", "Numbers", "Choices", "Write the record"] {
            assert!(bench.window.query_by_label(name).is_some(), "{what}: {name}");
        }
        // Choices can be asked for and sent away by a button.
        bench.press("Choices");
        assert!(bench.window.state().state().shows_choices(), "{what}");
        assert!(bench.reads("What is a particle?"), "{what}");
        bench.press("Choices");
        assert!(!bench.window.state().state().shows_choices(), "{what}");
        assert_eq!(bench.window.state().state().face, Face::Picture);
    }
}

#[test]
fn in_a_small_window_fields_are_stepped_through() {
    let mut bench = Bench::with("TS-0402");
    bench.scale(200);
    assert!(bench.reads("Field 1 of 4"));
    bench.reveal("Next field");
    bench.press("Next field");
    bench.settle();
    assert_eq!(bench.lot().field, 1);
    assert!(bench.reads("Field 2 of 4"));
    bench.reveal("Previous field");
    bench.press("Previous field");
    bench.settle();
    assert_eq!(bench.lot().field, 0);
    // Every dialog fits: its button lies in the window.
    for (key, button) in [(Key::F1, "Close"), (Key::F7, "Close"), (Key::F8, "Close"), (Key::Delete, "Cancel")] {
        bench.key(Modifiers::NONE, key);
        bench.reveal(button);
        let rect = bench.window.get_by_label(button).rect();
        assert!(window(&bench).contains_rect(rect), "{key:?}: {rect}");
        bench.key(Modifiers::NONE, Key::Escape);
        assert!(bench.window.state().state().over.is_none());
    }
}
