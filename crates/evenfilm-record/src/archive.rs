//! Records on disk: written beside, made to last, then renamed into place as the next revision of their lot.
//!
//! `OUT/<lot>/.staging-<process>-<n>/` holds `bag/`, which becomes `OUT/<lot>/r<N>/`, and `lock`, which its process keeps locked. The
//! system gives the lock back when a process ends in whatever way, so a staging folder whose lock is free belongs to nobody and is
//! removed by the next run. Whoever makes one checks, once it holds the lock, that the folder is still there.

use std::fs::{self, File, TryLockError};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

use crate::bag::{Bag, TAG_MANIFEST};
use crate::digest::sha256_hex;
use crate::disk::{fault, make_folders, sync_folder};
use crate::fault::Fault;
use crate::names::folder_name;

/// Version of the record's layout, as `bag-info.txt` names it.
pub const RECORD_VERSION: &str = "1";

const STAGING: &str = ".staging-";

/// The record of a lot while it is being written. Dropped without being sealed, it takes back all that it wrote.
#[derive(Debug)]
pub struct Staging {
    /// What is being filled.
    pub bag: Bag,
    lot_folder: PathBuf,
    folder: PathBuf,
    /// Kept for its lock.
    lock: Option<File>,
    /// Folders that were missing before, outermost first.
    made: Vec<PathBuf>,
}

/// The place of a record in the history of its lot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Revision {
    /// From 1.
    pub number: u32,
    /// The latest one before: its number and the SHA-256 of its tag manifest, `None` where that cannot be read.
    pub previous: Option<(u32, Option<String>)>,
}

/// Lines of `bag-info.txt`: label and value.
pub type Info = Vec<(&'static str, String)>;

/// A record in its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sealed {
    /// Its folder, absolute.
    pub folder: PathBuf,
    /// Its revision.
    pub revision: u32,
    /// SHA-256 of its tag manifest.
    pub tag_manifest_sha256: String,
}

impl Staging {
    /// Begins the record of a lot below `out`; removes what dead runs left beside it.
    ///
    /// # Errors
    /// The folder cannot be made or written.
    pub fn begin(out: &Path, lot: &str) -> Result<Self, Fault> {
        let out = std::path::absolute(out).map_err(|e| fault("find the output folder", out, &e))?;
        let lot_folder = out.join(folder_name(lot));
        let mut made = Vec::new();
        // Another run that gives up may remove an empty folder under our hands: then once more.
        for _ in 0..16 {
            made.extend(make_folders(&lot_folder)?);
            remove_leftovers(&lot_folder);
            match claim(&lot_folder) {
                Ok((folder, lock)) => match Bag::begin(&folder.join("bag")) {
                    Ok(bag) => return Ok(Self { bag, lot_folder, folder, lock: Some(lock), made }),
                    Err(fault) => {
                        let _ = fs::remove_dir_all(&folder);
                        remove_empty(&made);
                        return Err(fault);
                    }
                },
                Err(e) if e.kind() == ErrorKind::NotFound => {}
                Err(e) => {
                    remove_empty(&made);
                    return Err(fault("write a record", &lot_folder, &e));
                }
            }
        }
        Err(Fault::work("the output folder keeps disappearing", "let no other program clean it up meanwhile").at(lot_folder))
    }

    /// Makes the record last and gives it the next free revision. `finish` writes what depends on the revision and gives the lines of
    /// `bag-info.txt`; it is called again where another program takes the number first.
    ///
    /// # Errors
    /// Those of `finish`, and what cannot be written or renamed.
    pub fn seal(mut self, finish: &mut dyn FnMut(&mut Bag, &Revision) -> Result<Info, Fault>) -> Result<Sealed, Fault> {
        loop {
            let revision = next_revision(&self.lot_folder)?;
            let mut info = finish(&mut self.bag, &revision)?;
            info.extend(history(&revision));
            let tag_manifest_sha256 = self.bag.close(&info)?;
            let target = self.lot_folder.join(format!("r{}", revision.number));
            if rename_new(&self.folder.join("bag"), &target).map_err(|e| fault("put the record in its place", &target, &e))? {
                self.keep()?;
                return Ok(Sealed { folder: target, revision: revision.number, tag_manifest_sha256 });
            }
        }
    }

    /// Makes the new names last: after this nothing is taken back.
    fn keep(&mut self) -> Result<(), Fault> {
        let made = std::mem::take(&mut self.made);
        sync_folder(&self.lot_folder)?;
        made.iter().rev().filter_map(|folder| folder.parent()).try_for_each(sync_folder)
    }
}

impl Drop for Staging {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.folder);
        drop(self.lock.take());
        remove_empty(&self.made);
    }
}

/// The record's place in the lot's history, for `bag-info.txt`.
fn history(revision: &Revision) -> Info {
    let mut lines = vec![("Evenfilm-Record-Version", RECORD_VERSION.to_owned()), ("Evenfilm-Revision", revision.number.to_string())];
    if let Some((number, digest)) = &revision.previous {
        let digest = digest.clone().unwrap_or_else(|| format!("unreadable in r{number}"));
        lines.push(("Previous-Tag-Manifest-SHA256", digest));
    }
    lines
}

/// A new staging folder of ours and its lock.
fn claim(lot_folder: &Path) -> io::Result<(PathBuf, File)> {
    static COUNTER: AtomicU32 = AtomicU32::new(0);
    loop {
        let n = COUNTER.fetch_add(1, Ordering::Relaxed);
        let folder = lot_folder.join(format!("{STAGING}{}-{n}", std::process::id()));
        match fs::create_dir(&folder) {
            Err(e) if e.kind() == ErrorKind::AlreadyExists && folder.is_dir() => continue,
            made => made?,
        }
        let lock = match File::create_new(folder.join("lock")) {
            Err(e) if e.kind() == ErrorKind::NotFound => continue,
            Err(e) => {
                let _ = fs::remove_dir(&folder);
                return Err(e);
            }
            Ok(lock) => lock,
        };
        // Where the file system knows no locks, nobody takes leftovers away and nothing is to be feared.
        let _ = lock.lock();
        if folder.join("lock").exists() {
            return Ok((folder, lock));
        }
    }
}

/// Removes staging folders whose process is gone. What cannot be removed stays; it does no harm.
fn remove_leftovers(lot_folder: &Path) {
    let Ok(entries) = fs::read_dir(lot_folder) else { return };
    for entry in entries.flatten().filter(|e| e.file_name().to_string_lossy().starts_with(STAGING)) {
        match File::options().write(true).open(entry.path().join("lock")) {
            Ok(lock) => match lock.try_lock() {
                Ok(()) => drop(fs::remove_dir_all(entry.path())),
                Err(TryLockError::WouldBlock | TryLockError::Error(_)) => {}
            },
            // Made a moment ago, or left before its lock was made: only an empty folder goes.
            Err(_) => drop(fs::remove_dir(entry.path())),
        }
    }
}

fn remove_empty(folders: &[PathBuf]) {
    folders.iter().rev().for_each(|folder| drop(fs::remove_dir(folder)));
}

/// The latest record of a lot below `out`: its revision and folder.
pub fn latest(out: &Path, lot: &str) -> Option<(u32, PathBuf)> {
    let lot_folder = out.join(folder_name(lot));
    let number = latest_in(&lot_folder).ok()??;
    Some((number, lot_folder.join(format!("r{number}"))))
}

/// SHA-256 of the tag manifest of a record; `None` where it cannot be read.
pub fn tag_digest(record: &Path) -> Option<String> {
    fs::read(record.join(TAG_MANIFEST)).ok().map(|bytes| sha256_hex(&bytes))
}

fn latest_in(lot_folder: &Path) -> io::Result<Option<u32>> {
    Ok(fs::read_dir(lot_folder)?.flatten().filter_map(|e| revision_number(&e.file_name().to_string_lossy())).max())
}

/// The revision after the latest one.
fn next_revision(lot_folder: &Path) -> Result<Revision, Fault> {
    let latest = latest_in(lot_folder).map_err(|e| fault("read", lot_folder, &e))?;
    let previous = latest.map(|number| (number, tag_digest(&lot_folder.join(format!("r{number}")))));
    Ok(Revision { number: latest.unwrap_or(0) + 1, previous })
}

/// The number of a revision's folder.
fn revision_number(name: &str) -> Option<u32> {
    let digits = name.strip_prefix('r')?;
    let number: u32 = digits.parse().ok()?;
    (number > 0 && number < u32::MAX && number.to_string() == digits).then_some(number)
}

/// Renames a folder to a name that nothing has yet; false where something has it. A bag is never empty, so that even when two programs
/// pass the first look together, the system lets only one of them through.
fn rename_new(from: &Path, to: &Path) -> io::Result<bool> {
    if to.symlink_metadata().is_ok() {
        return Ok(false);
    }
    match fs::rename(from, to) {
        Ok(()) => Ok(true),
        Err(_) if to.symlink_metadata().is_ok() => Ok(false),
        Err(e) => Err(e),
    }
}

#[cfg(test)]
mod tests;
