//! The records that a path stands for.

use std::fs;
use std::path::{Path, PathBuf};

use super::place::revision_number;
use crate::bag::{BAG_INFO, DECLARATION_FILE, PAYLOAD_MANIFEST, TAG_MANIFEST};
use crate::fault::Fault;
use crate::folder::natural_order;

/// What tells that a folder is a record, or was one: any of its tag files.
const MARKS: [&str; 4] = [DECLARATION_FILE, BAG_INFO, PAYLOAD_MANIFEST, TAG_MANIFEST];

/// The records below a path, in natural order: the folder of a record stands for itself, that of a lot or of an output folder for all
/// records below. Links are followed where `path` is one, and nowhere below; hidden folders are skipped.
///
/// # Errors
/// There is nothing, a folder cannot be read, or it holds no record.
pub fn find(path: &Path) -> Result<Vec<PathBuf>, Fault> {
    let remedy = "name the folder of a record (r1, r2, …), of a lot, or of several lots";
    let real = if path.is_symlink() { fs::canonicalize(path) } else { std::path::absolute(path) };
    let real = match real.and_then(|real| fs::metadata(&real).map(|metadata| (real, metadata.is_dir()))) {
        Ok((real, true)) => real,
        Ok((_, false)) => return Err(Fault::input("this is a file, not the folder of a record", remedy).at(path)),
        Err(e) => return Err(Fault::input(format!("cannot find it: {e}"), remedy).at(path)),
    };
    let mut found = Vec::new();
    add(&real, &mut found)?;
    if found.is_empty() { Err(Fault::input("there is no record here", remedy).at(path)) } else { Ok(found) }
}

fn add(folder: &Path, found: &mut Vec<PathBuf>) -> Result<(), Fault> {
    if MARKS.iter().any(|mark| folder.join(mark).symlink_metadata().is_ok()) {
        found.push(folder.to_path_buf());
        return Ok(());
    }
    let entries = fs::read_dir(folder).and_then(Iterator::collect::<Result<Vec<_>, _>>);
    let entries = entries.map_err(|e| Fault::input(format!("cannot read the folder: {e}"), "see that you may read it").at(folder))?;
    let mut inner: Vec<(String, fs::FileType)> = entries
        .iter()
        .filter_map(|entry| Some((entry.file_name().into_string().ok()?, entry.file_type().ok()?)))
        .filter(|(name, _)| !name.starts_with('.'))
        .collect();
    // A revision that has lost all its tag files is a record still; a lot may be named like a revision.
    let named = folder.file_name().and_then(|name| revision_number(&name.to_string_lossy())).is_some();
    if named && !inner.iter().any(|(name, kind)| kind.is_dir() && revision_number(name).is_some()) {
        found.push(folder.to_path_buf());
        return Ok(());
    }
    inner.sort_by(|(a, _), (b, _)| natural_order(a, b));
    for (name, kind) in inner {
        if kind.is_dir() {
            add(&folder.join(&name), found)?;
        } else if kind.is_symlink() && revision_number(&name).is_some() {
            // Not followed, but not passed over either: it is where a record should be.
            found.push(folder.join(&name));
        }
    }
    Ok(())
}
