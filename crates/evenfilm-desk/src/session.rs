//! What was not saved yet, kept beside the settings while the desk is open, so that a kill loses nothing: the next start offers it.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

use evenfilm_core::recipe::Recipe;
use evenfilm_record::{disk, recipe_file};
use serde::{Deserialize, Serialize};

use crate::Desk;
use crate::state::{State, WriteStage, Writing, folder_name};

/// What an earlier session left.
#[derive(Clone, Debug, PartialEq)]
pub struct Left {
    /// The lot's folder.
    pub folder: PathBuf,
    /// The choices that were not saved.
    pub recipe: Option<Recipe>,
    /// The sheet that was not saved.
    pub sheet: Option<String>,
    /// Lots whose records were not written yet.
    pub writing: Vec<PathBuf>,
    /// Where it is kept until somebody takes it up or lets it go.
    file: PathBuf,
}

/// The same in a file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
struct Stored {
    folder: PathBuf,
    recipe: Option<String>,
    sheet: Option<String>,
    writing: Vec<PathBuf>,
}

/// The file of this session, locked while the program runs.
pub(crate) struct Session {
    path: PathBuf,
    /// Kept for its lock, which the system gives back however the program ends.
    _lock: File,
    written: Option<Stored>,
    /// When it was written last.
    at: Option<Instant>,
}

/// What changes faster, as while a mark is dragged, is written no more often.
const REST: Duration = Duration::from_secs(1);

const PREFIX: &str = "session-";

impl Session {
    /// Begins a session; gives what dead ones left, latest last.
    pub(crate) fn begin(folder: &Path) -> Option<(Self, Vec<Left>)> {
        fs::create_dir_all(folder).ok()?;
        let left = dead(folder);
        let stem = format!("{PREFIX}{}", std::process::id());
        let lock = File::create(folder.join(format!("{stem}.lock"))).ok()?;
        lock.try_lock().ok()?;
        Some((Self { path: folder.join(format!("{stem}.json")), _lock: lock, written: None, at: None }, left))
    }

    /// Keeps what is not saved, where it differs from what was written last; true where that must wait a little.
    pub(crate) fn keep(&mut self, state: &State) -> bool {
        let now = unsaved(state);
        if now == self.written {
            return false;
        }
        if self.at.is_some_and(|at| at.elapsed() < REST) {
            return true;
        }
        let done = match &now {
            Some(stored) => serde_json::to_vec_pretty(stored).is_ok_and(|text| disk::replace(&self.path, &text).is_ok()),
            None => fs::remove_file(&self.path).is_ok() || !self.path.exists(),
        };
        // A disk that takes nothing is tried again later, not at every pass.
        self.at = Some(Instant::now());
        if done {
            self.written = now;
        }
        !done
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
    let waits = |one: &&Writing| matches!(one.stage, WriteStage::Waits | WriteStage::Going { .. });
    let writing: Vec<PathBuf> = state.queue.iter().filter(waits).map(|one| one.folder.clone()).collect();
    let lot = state.lot.as_ref();
    let recipe = lot.filter(|lot| lot.is_unsaved()).map(|lot| recipe_file::canonical(&lot.now.recipe));
    let sheet = lot.and_then(|lot| lot.sheet.as_ref()).filter(|draft| draft.is_changed()).map(crate::sheet::Draft::text);
    let any = recipe.is_some() || sheet.is_some() || !writing.is_empty();
    let folder = lot.map(|lot| lot.folder.clone()).or_else(|| writing.first().cloned())?;
    any.then_some(Stored { folder, recipe, sheet, writing })
}

/// What dead sessions left, latest last. It stays on the disk until it is taken up or let go.
fn dead(folder: &Path) -> Vec<Left> {
    let mut found: Vec<(SystemTime, Left)> = Vec::new();
    for path in fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path()) {
        let named = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(PREFIX));
        if !named || is_held(&path.with_extension("lock")) {
            continue;
        }
        if path.extension().is_some_and(|end| end == "lock") {
            let _ = fs::remove_file(&path);
            continue;
        }
        let stored: Option<Stored> = fs::read_to_string(&path).ok().and_then(|text| serde_json::from_str(&text).ok());
        let at = fs::metadata(&path).and_then(|data| data.modified());
        if let (Some(Stored { folder, recipe, sheet, writing }), Ok(at)) = (stored, at) {
            let recipe = recipe.and_then(|text| recipe_file::parse(&text, Path::new("session")).ok());
            if recipe.is_some() || sheet.is_some() || !writing.is_empty() {
                found.push((at, Left { folder, recipe, sheet, writing, file: path }));
            }
        }
    }
    found.sort_by_key(|(at, _)| *at);
    found.into_iter().map(|(_, left)| left).collect()
}

/// Whether a running program holds a lock file.
fn is_held(path: &Path) -> bool {
    File::open(path).is_ok_and(|file| matches!(file.try_lock(), Err(TryLockError::WouldBlock)))
}

impl Left {
    /// Puts what was left into the lot that was opened for it.
    pub(crate) fn take_up(self, desk: &mut Desk) {
        let Some(lot) = desk.state.lot.as_mut().filter(|lot| lot.folder == self.folder) else { return };
        if let Some(sheet) = &self.sheet {
            lot.sheet = crate::sheet::Draft::taken_up(&lot.folder, sheet);
        }
        if let Some(recipe) = &self.recipe {
            lot.history.step(&lot.now, false);
            lot.now.recipe = recipe.clone();
            desk.measure();
        }
        if !self.writing.is_empty() {
            desk.order(self.writing.iter().map(|folder| (folder.clone(), folder_name(folder))).collect());
        }
        self.let_go();
    }

    /// Forgets it.
    pub(crate) fn let_go(&self) {
        let _ = fs::remove_file(&self.file);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_dead_sessions_left_stays_until_it_is_let_go() {
        let (folder, lot) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let stored = Stored { folder: lot.path().into(), recipe: Some(recipe_file::canonical(&Recipe::default())), ..Stored::default() };
        let text = serde_json::to_string(&stored).unwrap();
        fs::write(folder.path().join("session-1.json"), &text).unwrap();
        fs::write(folder.path().join("session-2.lock"), "").unwrap();
        let (session, left) = Session::begin(folder.path()).unwrap();
        assert_eq!(left.len(), 1);
        assert_eq!((&left[0].folder, &left[0].recipe), (&lot.path().to_path_buf(), &Some(Recipe::default())));
        assert!(!folder.path().join("session-2.lock").exists(), "locks of the dead go");
        fs::write(&session.path, &text).unwrap();
        assert_eq!(dead(folder.path()).len(), 1, "the living one is not offered, the dead one is offered again");
        left[0].let_go();
        let path = session.path.clone();
        drop(session);
        assert!(!path.exists(), "what ended well leaves nothing");
        assert!(dead(folder.path()).is_empty());
    }

    #[test]
    fn broken_files_are_nothing() {
        let folder = tempfile::tempdir().unwrap();
        for text in ["", "{", "{\"folder\": 3}", "{\"folder\": \"/no/such\"}"] {
            fs::write(folder.path().join("session-1.json"), text).unwrap();
            assert!(dead(folder.path()).is_empty(), "{text}");
        }
    }
}
