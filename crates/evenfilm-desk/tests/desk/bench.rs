//! A desk on a bench: a window without a screen, and lots in a folder of their own.

use std::fs;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use evenfilm_desk::{Desk, Places};
use tempfile::TempDir;

/// A desk and its folders.
pub(crate) struct Bench {
    pub(crate) window: Harness<'static, Desk>,
    pub(crate) folder: TempDir,
}

/// Longest that anything may take on the slowest of machines.
const PATIENCE: Duration = Duration::from_mins(2);

/// A lot of the project's samples, copied so that it can be changed.
pub(crate) fn sample(name: &str, to: &Path) -> PathBuf {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../sample-images");
    let lot = to.join(name);
    fs::create_dir_all(&lot).unwrap();
    for entry in fs::read_dir(from.join(name)).unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), lot.join(entry.file_name())).unwrap();
    }
    for shared in ["recipe.toml", "limits.toml"] {
        if from.join(shared).is_file() {
            fs::copy(from.join(shared), to.join(shared)).unwrap();
        }
    }
    lot
}

impl Bench {
    /// A desk without a lot, as after the first time.
    pub(crate) fn empty() -> Self {
        Self::on(tempfile::tempdir().unwrap(), None)
    }

    /// A desk with a sample lot that is measured.
    pub(crate) fn with(name: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let lot = sample(name, &folder.path().join("lots"));
        let mut bench = Self::on(folder, Some(lot));
        bench.settle();
        bench
    }

    /// A desk whose settings lie in a folder.
    pub(crate) fn on(folder: TempDir, open: Option<PathBuf>) -> Self {
        let places = Places { settings: folder.path().join("settings"), data: folder.path().join("data") };
        // Not the first time, so that no sample lot is rendered.
        fs::create_dir_all(&places.settings).unwrap();
        let settings = places.settings.join("settings.json");
        if !settings.exists() {
            fs::write(settings, "{}").unwrap();
        }
        let desk = Desk::new(&places, open);
        let window =
            Harness::builder().with_size([1366.0, 768.0]).with_max_steps(40).build_ui_state(|ui, desk: &mut Desk| desk.show(ui), desk);
        Self { window, folder }
    }

    /// Goes on until nothing is going on.
    pub(crate) fn settle(&mut self) {
        self.until("the desk to settle", |desk| !desk.is_busy());
        // What has grown finds its place.
        self.window.run_steps(12);
    }

    /// Goes on until something holds.
    pub(crate) fn until(&mut self, what: &str, holds: impl Fn(&Desk) -> bool) {
        let start = Instant::now();
        loop {
            self.window.step();
            if holds(self.window.state()) {
                return;
            }
            assert!(start.elapsed() < PATIENCE, "waited in vain for {what}");
            thread::sleep(Duration::from_millis(3));
        }
    }

    /// Makes everything larger or smaller, as the set-up does.
    pub(crate) fn scale(&mut self, pct: u16) {
        self.key(egui::Modifiers::COMMAND, egui::Key::Comma);
        self.press(&format!("{pct} %"));
        self.key(egui::Modifiers::NONE, egui::Key::Escape);
        self.window.run_steps(6);
        assert_eq!(self.window.state().state().prefs.scale_pct, pct);
    }

    /// Presses what has this name.
    pub(crate) fn press(&mut self, name: &str) {
        self.window.get_by_label(name).click();
        self.window.run_steps(5);
    }

    /// Scrolls to what has this name.
    pub(crate) fn reveal(&mut self, name: &str) {
        self.window.get_by_label(name).scroll_to_me();
        self.window.run_steps(30);
    }

    /// Presses what has a name that begins so.
    pub(crate) fn press_starting(&mut self, start: &str) {
        self.window.get_by(|node| node.label().is_some_and(|label| label.starts_with(start))).click();
        self.window.run_steps(5);
    }

    /// Types into what has this name, in place of what stands there.
    pub(crate) fn type_into(&mut self, name: &str, text: &str) {
        self.window.get_by_label(name).focus();
        self.window.run_steps(2);
        self.window.key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::A);
        self.window.run_steps(1);
        self.window.get_by_label(name).type_text(text);
        self.window.run_steps(2);
    }

    /// Presses keys.
    pub(crate) fn key(&mut self, modifiers: egui::Modifiers, key: egui::Key) {
        self.window.key_press_modifiers(modifiers, key);
        self.window.run_steps(4);
    }

    /// Moves the mark of gaps a step, as the keyboard does.
    pub(crate) fn change_a_choice(&mut self) {
        self.window.get_by_label("Gaps begin above").focus();
        self.window.run_steps(2);
        self.key(egui::Modifiers::NONE, egui::Key::ArrowRight);
    }

    /// Whether some words can be read anywhere.
    pub(crate) fn reads(&self, words: &str) -> bool {
        let holds = |text: Option<String>| text.is_some_and(|text| text.contains(words));
        self.window.query_all_by(|node| holds(node.label()) || holds(node.value())).next().is_some()
    }

    /// Goes on until some words can be read.
    pub(crate) fn wait_to_read(&mut self, words: &str) {
        let start = Instant::now();
        while !self.reads(words) {
            assert!(start.elapsed() < PATIENCE, "waited in vain for the words {words}");
            thread::sleep(Duration::from_millis(3));
            self.window.step();
        }
    }

    /// The lot that is shown.
    pub(crate) fn lot(&self) -> &evenfilm_desk::Lot {
        self.window.state().state().lot.as_ref().unwrap()
    }

    /// A quantity of the lot, to the bit.
    pub(crate) fn quantity(&self, id: &str) -> Option<f64> {
        self.lot().measured.as_ref().unwrap().objectives[0].value(id).and_then(|value| value.value)
    }
}
