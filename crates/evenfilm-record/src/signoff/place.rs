//! Where sign-offs lie, and how two programs at once get two places.
//!
//! Whoever writes holds a lock on the folder, which the system gives back however a program ends. The signature comes first, then the
//! statement, under the first number that has no statement. A signature that a dead program left alone is replaced by the next one.

use std::fs::{self, File};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use crate::disk::{self, Readers, fault, make_folders, sync_folder};
use crate::fault::Fault;

const FOLDER: &str = "signoffs";
const LOCK: &str = ".lock";

/// The folder of a record's sign-offs, and of those of the other revisions of its lot.
pub(super) fn folder_of(record: &Path) -> PathBuf {
    record.parent().unwrap_or(record).join(FOLDER)
}

/// The place of a statement.
pub(super) fn statement_file(folder: &Path, revision: u32, number: u32) -> PathBuf {
    folder.join(format!("r{revision}-{number}.json"))
}

/// The place of its signature: the same name with `.sig`, as ssh-keygen has it.
pub(super) fn signature_file(statement: &Path) -> PathBuf {
    let mut name = statement.as_os_str().to_owned();
    name.push(".sig");
    PathBuf::from(name)
}

/// The numbers of a revision's statements, in order.
///
/// # Errors
/// The folder is there and cannot be read.
pub(super) fn numbers(folder: &Path, revision: u32) -> Result<Vec<u32>, Fault> {
    let entries = match fs::read_dir(folder) {
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        entries => entries.map_err(|e| fault("read", folder, &e))?,
    };
    let begin = format!("r{revision}-");
    let mut numbers = Vec::new();
    for entry in entries {
        let name = entry.map_err(|e| fault("read", folder, &e))?.file_name();
        let digits = name.to_str().and_then(|name| name.strip_prefix(&begin)?.strip_suffix(".json"));
        numbers.extend(digits.and_then(|digits| digits.parse().ok().filter(|n: &u32| *n > 0 && n.to_string() == digits)));
    }
    numbers.sort_unstable();
    Ok(numbers)
}

/// Puts a statement and its signature under the next free number.
pub(super) fn put(folder: &Path, revision: u32, text: &str, signature: Option<&str>) -> Result<PathBuf, Fault> {
    make_folders(folder)?;
    let lock = lock(folder);
    let mut number = 0;
    loop {
        number = first_free(folder, revision, number + 1)?;
        let statement = statement_file(folder, revision, number);
        if !put_signature(&statement, signature, lock.is_some())? {
            continue;
        }
        if disk::create(&statement, text.as_bytes(), Readers::All)? {
            return Ok(statement);
        }
    }
}

/// The first number from `from` on without a statement.
fn first_free(folder: &Path, revision: u32, from: u32) -> Result<u32, Fault> {
    let taken = numbers(folder, revision)?;
    Ok((from..u32::MAX).find(|number| taken.binary_search(number).is_err()).unwrap_or(u32::MAX))
}

/// Puts the signature in its place, or takes away one that was left there; false where the place may be another program's.
pub(super) fn put_signature(statement: &Path, signature: Option<&str>, is_locked: bool) -> Result<bool, Fault> {
    let file = signature_file(statement);
    match (signature, is_locked) {
        // Under the lock nobody else writes, so that what lies there is a dead program's.
        (Some(text), true) => disk::replace(&file, text.as_bytes()).map(|()| true),
        (Some(text), false) => disk::create(&file, text.as_bytes(), Readers::All),
        (None, true) => match fs::remove_file(&file) {
            Err(e) if e.kind() == ErrorKind::NotFound => Ok(true),
            removed => removed
                .map_err(|e| fault("remove", &file, &e))
                .and_then(|()| sync_folder(statement.parent().unwrap_or(statement)))
                .map(|()| true),
        },
        (None, false) => Ok(file.symlink_metadata().is_err()),
    }
}

/// The lock of the folder; `None` where the file system has none, or it is not ours to open.
fn lock(folder: &Path) -> Option<File> {
    let path = folder.join(LOCK);
    let opened = File::options().read(true).write(true).create(true).truncate(false).open(&path);
    let file = opened.or_else(|_| File::open(&path)).ok()?;
    file.lock().ok().map(|()| file)
}
