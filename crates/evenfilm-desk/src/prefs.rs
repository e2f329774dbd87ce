//! What a person set up once and finds again: appearance, folders, the window. A small JSON file; what it does not say is as built in.

use std::fs;
use std::path::{Path, PathBuf};

use evenfilm_record::disk;
use evenfilm_record::fault::Fault;
use serde::{Deserialize, Serialize};

/// Folders that the start page offers again.
const RECENT: usize = 8;

/// Smallest and largest scale of everything, in percent.
pub(crate) const SCALES: [u16; 8] = [75, 90, 100, 110, 125, 150, 175, 200];

/// Light, dark, or as the system is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Look {
    /// As the system is.
    #[default]
    System,
    /// Dark ink on light ground.
    Light,
    /// Light ink on dark ground.
    Dark,
}

impl Look {
    pub(crate) const ALL: [Self; 3] = [Self::System, Self::Light, Self::Dark];

    pub(crate) const fn label(self) -> &'static str {
        match self {
            Self::System => "As the system",
            Self::Light => "Light",
            Self::Dark => "Dark",
        }
    }
}

/// All of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Prefs {
    /// Light or dark.
    pub look: Look,
    /// Scale of everything, %.
    pub scale_pct: u16,
    /// Folders opened before, latest first.
    pub recent: Vec<PathBuf>,
    /// Where records go; `None` is a folder `records` beside the lot.
    pub records: Option<PathBuf>,
    /// Width and height of the window, points at 100 %.
    pub window: [f32; 2],
    /// Whether the window fills the screen.
    pub maximized: bool,
    /// Whether the column of choices is shown.
    pub choices_shown: bool,
    /// The code of whoever works here, for corrections.
    pub operator: String,
    /// The file of the key that was signed with last.
    pub key: Option<PathBuf>,
}

impl Default for Prefs {
    fn default() -> Self {
        Self {
            look: Look::System,
            scale_pct: 100,
            recent: Vec::new(),
            records: None,
            window: [1280.0, 800.0],
            maximized: false,
            choices_shown: true,
            operator: String::new(),
            key: None,
        }
    }
}

impl Prefs {
    /// Reads them; as built in where there is no such file or it makes no sense.
    pub(crate) fn read(folder: &Path) -> Self {
        let text = fs::read_to_string(file(folder)).unwrap_or_default();
        serde_json::from_str::<Self>(&text).unwrap_or_default().sane()
    }

    /// Writes them, whole or not at all.
    pub(crate) fn write(&self, folder: &Path) -> Result<(), Fault> {
        let text = serde_json::to_string_pretty(self).map_err(|e| Fault::work(format!("settings cannot be written: {e}"), ""))?;
        disk::replace(&file(folder), text.as_bytes())
    }

    /// A folder that was opened goes to the front of those that are offered.
    pub(crate) fn opened(&mut self, folder: &Path) {
        self.recent.retain(|one| one != folder);
        self.recent.insert(0, folder.to_path_buf());
        self.recent.truncate(RECENT);
    }

    /// The next scale up or down.
    pub(crate) fn step_scale(&mut self, up: bool) {
        let at = SCALES.iter().position(|&pct| pct >= self.scale_pct).unwrap_or(SCALES.len() - 1);
        let next = if up { at + 1 } else { at.saturating_sub(1) };
        self.scale_pct = SCALES[next.min(SCALES.len() - 1)];
    }

    fn sane(mut self) -> Self {
        self.scale_pct = self.scale_pct.clamp(SCALES[0], SCALES[SCALES.len() - 1]);
        let sane = |side: f32, least: f32| if side.is_finite() { side.clamp(least, 20_000.0) } else { least };
        self.window = [sane(self.window[0], 900.0), sane(self.window[1], 600.0)];
        self
    }
}

fn file(folder: &Path) -> PathBuf {
    folder.join("settings.json")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read() {
        let folder = tempfile::tempdir().unwrap();
        let mut prefs = Prefs { scale_pct: 125, look: Look::Dark, ..Prefs::default() };
        prefs.opened(Path::new("/a"));
        prefs.opened(Path::new("/b"));
        prefs.opened(Path::new("/a"));
        assert_eq!(prefs.recent, [Path::new("/a"), Path::new("/b")]);
        prefs.write(folder.path()).unwrap();
        assert_eq!(Prefs::read(folder.path()), prefs);
    }

    #[test]
    fn nonsense_is_as_built_in() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(Prefs::read(folder.path()), Prefs::default());
        for text in ["", "{", "[]", "{\"scale_pct\": \"big\"}"] {
            fs::write(file(folder.path()), text).unwrap();
            assert_eq!(Prefs::read(folder.path()), Prefs::default(), "{text}");
        }
        fs::write(file(folder.path()), "{\"scale_pct\": 7, \"window\": [1e30, -4], \"later\": true}").unwrap();
        let read = Prefs::read(folder.path());
        assert_eq!((read.scale_pct, read.window), (75, [20_000.0, 600.0]));
    }

    #[test]
    fn scales_go_in_steps() {
        let mut prefs = Prefs::default();
        prefs.step_scale(true);
        assert_eq!(prefs.scale_pct, 110);
        for _ in 0..20 {
            prefs.step_scale(false);
        }
        assert_eq!(prefs.scale_pct, 75);
        for _ in 0..20 {
            prefs.step_scale(true);
        }
        assert_eq!(prefs.scale_pct, 200);
    }
}
