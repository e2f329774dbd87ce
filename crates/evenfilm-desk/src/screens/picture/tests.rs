//! The picture under test as a person uses it: by pointer, keys and accessible names.

use egui::{Event, Key, Modifiers, MouseWheelUnit, PointerButton, Pos2, Rect, TouchPhase, Vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};

use crate::canvas::{Camera, Layer};
use crate::state::{Lot, Run};
use crate::synthetic;
use crate::{Command, Desk};

const PICTURE: &str = "Field 1 of 4, f01.tif: 2 objects, 1 gap";

/// A window with a field of two objects and a gap.
struct Room {
    harness: Harness<'static, Desk>,
    _folder: tempfile::TempDir,
}

impl Room {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let result = synthetic::field((1600, 1200), &[(400.0, 300.0, 30.0), (1200.0, 900.0, 20.0)], &[(800.0, 600.0, 60.0)]);
        let desk = synthetic::desk(folder.path(), result);
        let harness = Harness::builder()
            .with_size([1366.0, 768.0])
            .with_step_dt(1.0 / 60.0)
            .build_ui_state(|ui, desk: &mut Desk| desk.show(ui), desk);
        let mut room = Self { harness, _folder: folder };
        room.run();
        room
    }

    fn run(&mut self) {
        self.harness.run_steps(4);
    }

    fn lot(&mut self) -> &mut Lot {
        self.harness.state_mut().state.lot.as_mut().unwrap()
    }

    fn rect(&self, name: &str) -> Rect {
        self.harness.get_by_label(name).rect()
    }

    fn view(&self) -> Rect {
        self.rect(PICTURE)
    }

    /// The place of the picture below a place of the window.
    fn place(&mut self, at: Pos2) -> [f64; 2] {
        let rect = self.view();
        let view = self.harness.state().view_px;
        let lot = self.lot();
        let seen = lot.camera.seen(view, (1600, 1200));
        let by = at - rect.min;
        seen.place([f64::from(by.x), f64::from(by.y)])
    }

    fn drag(&mut self, from: Pos2, by: Vec2) {
        self.harness.hover_at(from);
        self.run();
        self.harness.drag_at(from);
        self.run();
        for step in 1..=4_u8 {
            self.harness.hover_at(from + by * f32::from(step) / 4.0);
            self.run();
        }
        self.harness.drop_at(from + by);
        self.run();
    }

    fn says(&self, text: &str) -> bool {
        self.harness.query_all_by_label_contains(text).next().is_some()
    }

    fn press(&mut self, modifiers: Modifiers, key: Key) {
        self.harness.key_press_modifiers(modifiers, key);
        self.run();
    }

    /// Gives the picture the keyboard.
    fn focus(&mut self, name: &str) {
        self.harness.get_by_label(name).focus();
        self.run();
    }
}

fn near(a: [f64; 2], b: [f64; 2], within: f64) -> bool {
    (a[0] - b[0]).abs() < within && (a[1] - b[1]).abs() < within
}

#[test]
fn a_drag_moves_the_picture_with_the_pointer() {
    let mut room = Room::new();
    room.lot().camera = Camera { zoom: Some(2.0), centre: Some([800.0, 600.0]) };
    room.run();
    let from = room.view().center() + Vec2::new(40.0, 30.0);
    let before = room.place(from);
    room.drag(from, Vec2::new(-120.0, 60.0));
    let after = room.place(from + Vec2::new(-120.0, 60.0));
    assert!(near(before, after, 1.5), "{before:?} {after:?}");
}

#[test]
fn the_wheel_zooms_at_the_pointer_and_a_double_click_shows_all() {
    let mut room = Room::new();
    // So near that the picture fills the view, and need not be kept in its middle.
    room.lot().camera = Camera { zoom: Some(1.0), centre: Some([800.0, 600.0]) };
    room.run();
    let at = room.view().min + Vec2::new(300.0, 200.0);
    let before = room.place(at);
    room.harness.hover_at(at);
    room.run();
    let wheel = Event::MouseWheel {
        unit: MouseWheelUnit::Point,
        delta: Vec2::new(0.0, 200.0),
        modifiers: Modifiers::NONE,
        phase: TouchPhase::Move,
        source: egui::MouseWheelSource::Unknown,
    };
    room.harness.event(wheel);
    room.harness.run_steps(40);
    let zoom = room.lot().camera.zoom.unwrap();
    assert!(zoom > 1.5, "{zoom}");
    let after = room.place(at);
    assert!(near(before, after, 1e-6), "{before:?} {after:?}");
    for pressed in [true, false, true, false] {
        let button = Event::PointerButton { pos: at, button: PointerButton::Primary, pressed, modifiers: Modifiers::NONE };
        room.harness.event(button);
        room.harness.run_steps(1);
    }
    room.run();
    assert_eq!(room.lot().camera, Camera::default());
}

#[test]
fn keys_move_and_zoom_and_tab_reaches_the_picture() {
    let mut room = Room::new();
    room.focus(PICTURE);
    room.press(Modifiers::NONE, Key::Num1);
    assert_eq!(room.lot().camera.zoom, Some(1.0));
    let start = room.place(room.view().center());
    room.press(Modifiers::NONE, Key::ArrowRight);
    let right = room.place(room.view().center());
    assert!(right[0] > start[0] + 20.0 && (right[1] - start[1]).abs() < 1e-6, "{start:?} {right:?}");
    room.press(Modifiers::NONE, Key::ArrowLeft);
    assert!(near(room.place(room.view().center()), start, 1e-6));
    room.press(Modifiers::SHIFT, Key::ArrowDown);
    let down = room.place(room.view().center());
    assert!(down[1] - start[1] > 4.0 * (right[0] - start[0]), "faster: {down:?}");
    room.press(Modifiers::NONE, Key::Plus);
    assert_eq!(room.lot().camera.zoom, Some(1.5));
    room.press(Modifiers::NONE, Key::Num0);
    assert_eq!(room.lot().camera, Camera::default());
    // Tab goes on, and comes back after a while.
    let has_focus = |room: &Room| room.harness.get_by_label(PICTURE).accesskit_node().is_focused();
    assert!(has_focus(&room));
    room.press(Modifiers::NONE, Key::Tab);
    assert!(!has_focus(&room));
    let reached = (0..30).any(|_| {
        room.press(Modifiers::NONE, Key::Tab);
        has_focus(&room)
    });
    assert!(reached);
}

#[test]
fn the_grip_bares_the_original_by_pointer_and_keys() {
    let mut room = Room::new();
    let grip = room.rect("Bare the original");
    assert!(grip.width() >= 44.0 && grip.height() >= 44.0);
    room.drag(grip.center(), Vec2::new(300.0, 0.0));
    let expected = 300.0 / (room.view().width() - 44.0);
    assert!((room.lot().bared - expected).abs() < 0.01, "{} of {expected}", room.lot().bared);
    let before = room.lot().bared;
    room.focus("Bare the original");
    room.press(Modifiers::NONE, Key::ArrowRight);
    assert!((room.lot().bared - before - 0.01).abs() < 1e-4);
    room.press(Modifiers::NONE, Key::End);
    assert!((room.lot().bared - 1.0).abs() < 1e-6);
    room.press(Modifiers::NONE, Key::Home);
    assert!(room.lot().bared.abs() < 1e-6);
    // The picture below was not dragged meanwhile.
    assert_eq!(room.lot().camera, Camera::default());
}

#[test]
fn a_click_on_the_overview_looks_there() {
    let mut room = Room::new();
    room.lot().camera = Camera { zoom: Some(3.0), centre: Some([800.0, 600.0]) };
    room.run();
    let overview = room.rect("Overview");
    let at = overview.min + overview.size() * Vec2::new(0.25, 0.75);
    room.drag(at, Vec2::ZERO);
    let middle = room.place(room.view().center());
    assert!(near(middle, [400.0, 900.0], 60.0), "{middle:?}");
}

#[test]
fn layers_are_switched_and_faded_by_name() {
    let mut room = Room::new();
    room.harness.get_by_label("Layers").click();
    room.run();
    for layer in Layer::ALL {
        room.harness.get_by_label(layer.label());
        room.harness.get_by_label(&format!("{}, strength", layer.label()));
    }
    room.harness.get_by_label("Outlines").click();
    room.run();
    assert!(room.lot().layers.of(Layer::Outlines).abs() < 1e-6);
    room.harness.get_by_label("Outlines").click();
    room.run();
    assert!((room.lot().layers.of(Layer::Outlines) - 1.0).abs() < 1e-6);
}

#[test]
fn the_bar_reads_what_is_below_the_pointer() {
    let mut room = Room::new();
    let view = room.harness.state().view_px;
    let rect = room.view();
    let look = |room: &mut Room, place: [f64; 2]| {
        let [x, y] = room.lot().camera.seen(view, (1600, 1200)).on_screen(place);
        #[expect(clippy::cast_possible_truncation, reason = "a place of a window")]
        let at = rect.min + Vec2::new(x as f32, y as f32);
        room.harness.hover_at(at);
        room.run();
    };
    look(&mut room, [400.0, 300.0]);
    // 2 · 30 px at 0.25 µm; level 3000 of 32768.
    assert!(room.says("light 0.092") && room.says("OD 1.04") && room.says("particle"), "particle");
    assert!(room.says("Agglomerate of powder 15.0 µm") && room.says("· counted"));
    look(&mut room, [800.0, 600.0]);
    assert!(room.says("gap") && room.says("Round gap 30.0 µm") && room.says("largest circle 30.0 µm"));
    look(&mut room, [100.0, 1000.0]);
    assert!(room.says("film") && room.says("Nothing was found here"));
    assert!(room.says("µm a pixel") || room.says("a screen dot is"));
}

#[test]
fn what_is_amiss_is_said_in_words() {
    let mut room = Room::new();
    assert!(!room.says("measuring"));
    assert!(room.harness.query_by_label("Whole field").is_some() && room.harness.query_by_label("Pixel for pixel").is_some());
    let _ = Command::Whole;
    room.lot().now.recipe.particles.noise_factor = 4.0;
    room.lot().run = Run::Going { share: 0.1, what: "field 1 of 4".into() };
    room.run();
    assert!(room.says("The marks are of earlier choices; measuring"));
    room.lot().measured = None;
    room.run();
    assert!(room.says("No numbers yet; measuring") && room.says("no numbers yet"));
    room.lot().picture = None;
    room.lot().picture_fault = Some(evenfilm_record::fault::Fault::input("f01.tif ends too early", "copy it again"));
    room.run();
    assert!(room.says("The picture cannot be shown") && room.says("f01.tif ends too early") && room.says("copy it again"));
    room.lot().picture_fault = None;
    room.run();
    assert!(room.says("Reading f01.tif"));
}

#[test]
fn flags_stand_over_the_picture_with_their_advice() {
    let folder = tempfile::tempdir().unwrap();
    let mut result = synthetic::field((300, 200), &[], &[]);
    let flag = evenfilm_core::quality::FlagId::FewPixels.flag(0.5, 0.4);
    let words = format!("Few pixels: {}", flag.advice);
    result.flags = vec![flag; 9];
    let desk = synthetic::desk(folder.path(), result);
    let mut harness = Harness::builder().with_size([1000.0, 700.0]).build_ui_state(|ui, desk: &mut Desk| desk.show(ui), desk);
    harness.run_steps(4);
    assert_eq!(harness.query_all_by_label_contains(&words).count(), 6, "five, and the rest in one");
    assert!(harness.query_all_by_label_contains("and 4 more").next().is_some());
}
