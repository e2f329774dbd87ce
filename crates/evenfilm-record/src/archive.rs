//! Records on disk: written beside, made to last, put down in the journal, then renamed into place as the next revision of their lot.
//!
//! `OUT/<lot>/.staging-<process>-<n>/` holds `bag/`, which becomes `OUT/<lot>/r<N>/`, and `lock`, which its process keeps locked. The
//! system gives the lock back when a process ends in whatever way, so a staging folder whose lock is free belongs to nobody. Whoever makes
//! one checks, once it holds the lock, that the folder is still there.
//!
//! A record is sealed once the journal names its digest. The next run of its lot looks at what a dead one left: a bag that the journal
//! names is put into its place, all else is removed. While a record is sealed, the journal stays locked, so that two programs never give
//! one number twice.

use std::fs::{self, File, TryLockError};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

use crate::bag::{Bag, TAG_MANIFEST};
use crate::digest::sha256_hex;
use crate::disk::{fault, make_folders, plain_bytes, sync_folder};
use crate::fault::Fault;
use crate::finding::Finding;
use crate::journal::{Entry, Journal};
use crate::names::{folder_name, printable};
use crate::occasion::Occasion;

/// Version of the record's layout, as `bag-info.txt` names it.
pub const RECORD_VERSION: &str = "1";

pub(crate) const STAGING: &str = ".staging-";

/// Numbers that are tried for a record before it is given up.
const MOST_TRIES: u32 = 64;

/// The record of a lot while it is being written. Dropped without being sealed, it takes back all that it wrote.
#[derive(Debug)]
pub struct Staging {
    /// What is being filled.
    pub bag: Bag,
    /// Folder of all records.
    out: PathBuf,
    /// Name of the lot.
    lot: String,
    lot_folder: PathBuf,
    folder: PathBuf,
    /// Kept for its lock.
    lock: Option<File>,
    /// Whether the journal may name it already: then only the next run decides what becomes of it.
    named: bool,
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

/// What is said of a record when it is sealed.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// Lines of `bag-info.txt`.
    pub info: Info,
    /// What goes into the journal before it.
    pub before: Vec<Entry>,
    /// What the journal says of it, beside lot, revision and digests.
    pub entry: Entry,
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
    /// Begins the record of a lot below `out`; puts into their places the records that dead runs had sealed, and removes what else they left.
    ///
    /// # Errors
    /// The folder cannot be made or written.
    pub fn begin(out: &Path, lot: &str, occasion: &Occasion) -> Result<Self, Fault> {
        let out = std::path::absolute(out).map_err(|e| fault("find the output folder", out, &e))?;
        let lot_folder = out.join(folder_name(lot));
        let mut made = Vec::new();
        // Another run that gives up may remove an empty folder under our hands: then once more.
        for _ in 0..16 {
            made.extend(make_folders(&lot_folder)?);
            tidy(&out, &lot_folder, occasion)?;
            // A journal that cannot be written is told before anybody waits for numbers.
            drop(Journal::open_existing(&out, occasion)?);
            match claim(&lot_folder) {
                Ok((folder, lock)) => match Bag::begin(&folder.join("bag")) {
                    Ok(bag) => return Ok(Self { bag, out, lot: lot.to_owned(), lot_folder, folder, lock: Some(lock), named: false, made }),
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

    /// Makes the record last, puts it down in the journal and gives it the next free revision. `finish` writes what depends on the revision and
    /// says what is to be said of it; it is called again where another program that knows no locks takes the number first.
    ///
    /// # Errors
    /// Those of `finish`, and what cannot be written or renamed.
    pub fn seal(
        mut self,
        occasion: &Occasion,
        finish: &mut dyn FnMut(&mut Bag, &Revision, &Journal) -> Result<Said, Fault>,
    ) -> Result<Sealed, Fault> {
        let mut journal = Journal::open(&self.out, occasion)?;
        for _ in 0..MOST_TRIES {
            let revision = next_revision(&self.lot_folder, journal.latest(&self.lot)?)?;
            let target = self.lot_folder.join(format!("r{}", revision.number));
            let Said { mut info, before, entry } = finish(&mut self.bag, &revision, &journal)?;
            info.extend(history(&revision));
            let tag_manifest_sha256 = self.bag.close(&info)?;
            if target.symlink_metadata().is_ok() {
                continue;
            }
            self.sync_places()?;
            before.iter().try_for_each(|entry| journal.append(entry, occasion).map(drop))?;
            let previous = revision.previous.as_ref().and_then(|(_, digest)| digest.as_deref());
            let entry = entry
                .with("lot", self.lot.as_str())
                .with("revision", revision.number)
                .with("tag_manifest_sha256", tag_manifest_sha256.as_str())
                .with("previous_tag_manifest_sha256", previous);
            self.named = true;
            journal.append(&entry, occasion)?;
            match rename_new(&self.folder.join("bag"), &target) {
                Ok(true) => {
                    self.keep()?;
                    return Ok(Sealed { folder: target, revision: revision.number, tag_manifest_sha256 });
                }
                taken => {
                    let lost = Entry::new("not_sealed").with("lot", self.lot.as_str()).with("revision", revision.number);
                    journal.append(&lost.with("tag_manifest_sha256", tag_manifest_sha256), occasion)?;
                    self.named = false;
                    taken.map_err(|e| fault("put the record in its place", &target, &e))?;
                }
            }
        }
        let message = "every number for this record is taken by something that is no record";
        Err(Fault::work(message, "look into the folder of the lot, and move away what does not belong there").at(&self.lot_folder))
    }

    /// Makes the names of the staging folder and of all above it last, so that a record that the journal names can be found.
    fn sync_places(&self) -> Result<(), Fault> {
        sync_folder(&self.folder)?;
        sync_folder(&self.lot_folder)?;
        self.made.iter().rev().filter_map(|folder| folder.parent()).try_for_each(sync_folder)
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
        if self.named && self.folder.join("bag").exists() {
            return;
        }
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

/// Sees to staging folders whose process is gone: a sealed record goes into its place, what else there is away. What cannot be removed
/// stays; it does no harm.
fn tidy(out: &Path, lot_folder: &Path, occasion: &Occasion) -> Result<(), Fault> {
    let Ok(entries) = fs::read_dir(lot_folder) else { return Ok(()) };
    for entry in entries.flatten().filter(|e| e.file_name().to_string_lossy().starts_with(STAGING)) {
        match File::options().write(true).open(entry.path().join("lock")) {
            Ok(lock) => match lock.try_lock() {
                Ok(()) => {
                    if finish_sealing(out, lot_folder, &entry.path().join("bag"), occasion)? {
                        drop(fs::remove_dir_all(entry.path()));
                    }
                }
                Err(TryLockError::WouldBlock | TryLockError::Error(_)) => {}
            },
            // Made a moment ago, or left before its lock was made: only an empty folder goes.
            Err(_) => drop(fs::remove_dir(entry.path())),
        }
    }
    Ok(())
}

/// Puts a bag that the journal calls sealed into its place. Gives whether the rest may go: a bag that could be sealed stays as long as there is
/// no journal to ask.
fn finish_sealing(out: &Path, lot_folder: &Path, bag: &Path, occasion: &Occasion) -> Result<bool, Fault> {
    let Some(digest) = tag_digest(bag) else { return Ok(true) };
    let Some(mut journal) = Journal::open_existing(out, occasion)? else { return Ok(false) };
    let Some((lot, revision)) = journal.sealed(&digest)? else { return Ok(true) };
    let target = lot_folder.join(format!("r{revision}"));
    if lot_folder.file_name() != Some(folder_name(&lot).as_ref()) || target.symlink_metadata().is_ok() {
        return Ok(tag_digest(&target).as_ref() == Some(&digest));
    }
    if rename_new(bag, &target).map_err(|e| fault("put a record in its place", &target, &e))? {
        sync_folder(lot_folder)?;
        let entry = Entry::new("recovered").with("lot", lot).with("revision", revision).with("tag_manifest_sha256", digest);
        journal.append(&entry, occasion)?;
    }
    Ok(true)
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
    plain_bytes(&record.join(TAG_MANIFEST)).map(|bytes| sha256_hex(&bytes))
}

/// What is wrong with the place of a record that the journal calls sealed; nothing where it lies there.
pub(crate) fn gone(out: &Path, lot: &str, revision: u32, digest: &str) -> Option<Finding> {
    let lot_folder = out.join(folder_name(lot));
    let place = lot_folder.join(format!("r{revision}"));
    let name = format!("{}/r{revision}", printable(&folder_name(lot)));
    match tag_digest(&place) {
        Some(found) if found == digest => None,
        Some(_) => Some(Finding::fault("record_differs", "is not the record that the journal names by its digest", COPY).at(name)),
        None => {
            let entries = fs::read_dir(&lot_folder).into_iter().flatten().flatten();
            let waits = entries.filter(|entry| entry.file_name().to_string_lossy().starts_with(STAGING));
            if waits.into_iter().any(|entry| tag_digest(&entry.path().join("bag")).as_deref() == Some(digest)) {
                let message = "was sealed when its run was stopped, and waits for its place";
                return Some(Finding::note("record_waits", message, "the next measurement of the lot puts it there").at(name));
            }
            Some(Finding::fault("record_gone", "is gone, though the journal names it", COPY).at(name))
        }
    }
}

const COPY: &str = "take it from a backup, and find out who or what changed or removed it";

fn latest_in(lot_folder: &Path) -> io::Result<Option<u32>> {
    Ok(fs::read_dir(lot_folder)?.flatten().filter_map(|e| revision_number(&e.file_name().to_string_lossy())).max())
}

/// The revision after the latest one that lies in the lot's folder or that the journal knows.
fn next_revision(lot_folder: &Path, in_journal: Option<(u32, String)>) -> Result<Revision, Fault> {
    let there = latest_in(lot_folder).map_err(|e| fault("read", lot_folder, &e))?;
    let there = there.map(|number| (number, tag_digest(&lot_folder.join(format!("r{number}")))));
    // One that was taken away keeps its number and its place in the chain.
    let gone = in_journal.map(|(number, digest)| (number, Some(digest)));
    let previous = [there, gone].into_iter().flatten().max_by_key(|(number, digest)| (*number, digest.is_some()));
    Ok(Revision { number: previous.as_ref().map_or(0, |(number, _)| *number).saturating_add(1), previous })
}

/// The number in the name of a revision's folder: `r`, and a number from 1 without zeros in front.
pub(crate) fn revision_number(name: &str) -> Option<u32> {
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
