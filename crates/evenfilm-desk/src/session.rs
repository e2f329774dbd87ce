//! What was not saved yet, kept beside the settings while the desk is open, so that a kill loses nothing: the next start offers it.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

use evenfilm_core::recipe::Recipe;
use evenfilm_record::{disk, recipe_file};
use serde::{Deserialize, Serialize};

use crate::Desk;
use crate::state::State;

/// What an earlier session left.
#[derive(Clone, Debug, PartialEq)]
pub struct Left {
    /// The lot's folder.
    pub folder: PathBuf,
    /// The choices that were not saved.
    pub recipe: Option<Recipe>,
    /// The sheet that was not saved.
    pub sheet: Option<String>,
}

/// The same in a file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
struct Stored {
    folder: PathBuf,
    recipe: Option<String>,
    sheet: Option<String>,
}

/// The file of this session, locked while the program runs.
pub(crate) struct Session {
    path: PathBuf,
    /// Kept for its lock, which the system gives back however the program ends.
    _lock: File,
    written: Option<Stored>,
}

const PREFIX: &str = "session-";

impl Session {
    /// Begins a session; gives what a dead one left, if any.
    pub(crate) fn begin(folder: &Path) -> Option<(Self, Option<Left>)> {
        fs::create_dir_all(folder).ok()?;
        let left = dead(folder);
        let stem = format!("{PREFIX}{}", std::process::id());
        let lock = File::create(folder.join(format!("{stem}.lock"))).ok()?;
        lock.try_lock().ok()?;
        Some((Self { path: folder.join(format!("{stem}.json")), _lock: lock, written: None }, left))
    }

    /// Keeps what is not saved; writes only where it differs from what was written last.
    pub(crate) fn keep(&mut self, state: &State) {
        let now = unsaved(state);
        if now == self.written {
            return;
        }
        let done = match &now {
            Some(stored) => serde_json::to_vec_pretty(stored).is_ok_and(|text| disk::replace(&self.path, &text).is_ok()),
            None => fs::remove_file(&self.path).is_ok() || !self.path.exists(),
        };
        if done {
            self.written = now;
        }
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        // A session that ends well leaves nothing.
        let _ = fs::remove_file(&self.path);
        let _ = fs::remove_file(self.path.with_extension("lock"));
    }
}

/// What is not saved; `None` where all is.
fn unsaved(state: &State) -> Option<Stored> {
    let lot = state.lot.as_ref()?;
    let recipe = (lot.batch.is_some() && lot.is_unsaved()).then(|| recipe_file::canonical(&lot.now.recipe));
    let sheet = lot.sheet.as_ref().filter(|draft| draft.is_changed()).map(crate::sheet::Draft::text);
    (recipe.is_some() || sheet.is_some()).then(|| Stored { folder: lot.folder.clone(), recipe, sheet })
}

/// What the latest session left whose program is gone; its files, and those of all dead ones, are removed.
fn dead(folder: &Path) -> Option<Left> {
    let mut found: Vec<(std::time::SystemTime, Stored)> = Vec::new();
    for entry in fs::read_dir(folder).ok()?.flatten() {
        let path = entry.path();
        let named = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(PREFIX));
        if !named || path.extension().is_none_or(|end| end != "json") || is_held(&path.with_extension("lock")) {
            continue;
        }
        let stored = fs::read_to_string(&path).ok().and_then(|text| serde_json::from_str(&text).ok());
        if let (Some(stored), Ok(at)) = (stored, entry.metadata().and_then(|data| data.modified())) {
            found.push((at, stored));
        }
        let _ = fs::remove_file(&path);
        let _ = fs::remove_file(path.with_extension("lock"));
    }
    found.sort_by_key(|(at, _)| *at);
    let (_, Stored { folder, recipe, sheet }) = found.pop()?;
    let recipe = recipe.and_then(|text| recipe_file::parse(&text, Path::new("session")).ok());
    Some(Left { folder, recipe, sheet }).filter(|left| left.folder.is_dir() && (left.recipe.is_some() || left.sheet.is_some()))
}

/// Whether a running program holds a lock file.
fn is_held(path: &Path) -> bool {
    File::open(path).is_ok_and(|file| matches!(file.try_lock(), Err(TryLockError::WouldBlock)))
}

impl Left {
    /// Puts what was left into the lot that was opened for it.
    pub(crate) fn take_up(self, desk: &mut Desk) {
        let Some(lot) = desk.state.lot.as_mut().filter(|lot| lot.folder == self.folder) else { return };
        if let Some(sheet) = self.sheet {
            lot.sheet = crate::sheet::Draft::taken_up(&lot.folder, &sheet);
        }
        if let Some(recipe) = self.recipe {
            lot.history.step(&lot.now, false);
            lot.now.recipe = recipe;
            desk.measure();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dead_session_is_found_once_and_a_living_one_is_not() {
        let (folder, lot) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let stored = Stored { folder: lot.path().into(), recipe: Some(recipe_file::canonical(&Recipe::default())), sheet: None };
        let text = serde_json::to_string(&stored).unwrap();
        fs::write(folder.path().join("session-1.json"), &text).unwrap();
        let (session, left) = Session::begin(folder.path()).unwrap();
        assert_eq!(left, Some(Left { folder: lot.path().into(), recipe: Some(Recipe::default()), sheet: None }));
        fs::write(&session.path, &text).unwrap();
        assert_eq!(dead(folder.path()), None, "this one lives");
        let path = session.path.clone();
        drop(session);
        assert!(!path.exists(), "what ended well leaves nothing");
        assert_eq!(dead(folder.path()), None, "found once");
    }

    #[test]
    fn broken_files_are_nothing() {
        let folder = tempfile::tempdir().unwrap();
        for text in ["", "{", "{\"folder\": 3}", "{\"folder\": \"/no/such\", \"sheet\": \"x\"}"] {
            fs::write(folder.path().join("session-1.json"), text).unwrap();
            assert_eq!(dead(folder.path()), None, "{text}");
        }
    }
}
