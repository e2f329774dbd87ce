//! The records that a path stands for.

use std::fs;
use std::path::{Path, PathBuf};

use crate::archive::revision_number;
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

#[cfg(test)]
mod tests {
    use super::*;

    fn made(files: &[&str]) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        for file in files {
            let path = folder.path().join(file);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, "").unwrap();
        }
        folder
    }

    fn below(folder: &tempfile::TempDir, path: &str) -> Vec<String> {
        let names = |path: PathBuf| path.strip_prefix(folder.path()).unwrap().to_str().unwrap().replace('\\', "/");
        find(&folder.path().join(path)).unwrap().into_iter().map(names).collect()
    }

    #[test]
    fn records_lots_and_folders_of_lots() {
        let folder = made(&[
            "L10/r1/bagit.txt",
            "L2/r10/bag-info.txt",
            "L2/r2/bagit.txt",
            "L2/r2/data/r1/bagit.txt",
            "L2/.staging-1-0/bag/bagit.txt",
            "L2/signoffs/r2-1.json",
            "r1/r1/bagit.txt",
            "journal.jsonl",
            "copy/bagit.txt",
        ]);
        // Without a single tag file it is a record still.
        fs::create_dir(folder.path().join("L2/r3")).unwrap();
        assert_eq!(below(&folder, "L2"), ["L2/r2", "L2/r3", "L2/r10"]);
        assert_eq!(below(&folder, "L2/r2"), ["L2/r2"]);
        assert_eq!(below(&folder, ""), ["L2/r2", "L2/r3", "L2/r10", "L10/r1", "copy", "r1/r1"]);
    }

    #[test]
    fn nothing_is_an_input_fault() {
        let folder = made(&["a/b/c.txt"]);
        for (path, message) in [("", "no record"), ("a/b/c.txt", "is a file"), ("none", "cannot find")] {
            let fault = find(&folder.path().join(path)).unwrap_err();
            assert_eq!(fault.kind, crate::fault::FaultKind::Input);
            assert!(fault.message.contains(message) && fault.remedy.contains("r1"), "{fault}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn links_are_followed_at_the_top_only() {
        let folder = made(&["L/r1/bagit.txt"]);
        let link = |to: &str, name: &str| std::os::unix::fs::symlink(to, folder.path().join(name)).unwrap();
        link("..", "L/loop");
        link("r1", "L/r2");
        link("L", "latest");
        link("nowhere", "gone");
        assert_eq!(below(&folder, ""), ["L/r1", "L/r2"]);
        let found = find(&folder.path().join("latest")).unwrap();
        assert!(found[0].ends_with("L/r1") && found.len() == 2, "{found:?}");
        assert!(find(&folder.path().join("gone")).is_err());
    }
}
