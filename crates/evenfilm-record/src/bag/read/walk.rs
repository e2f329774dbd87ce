//! What lies in a folder, without following a link or opening anything.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, DirEntry};
use std::io;
use std::path::{Path, PathBuf};

use super::RESTORE;
use crate::finding::Finding;
use crate::names::printable;

/// Plain files and folders below a root, by path with `/` between names.
#[derive(Debug, Default)]
pub(super) struct Tree {
    pub(super) files: BTreeMap<String, u64>,
    pub(super) folders: BTreeSet<String>,
    /// What is neither, in the order of paths.
    pub(super) found: Vec<Finding>,
}

/// Walks a folder. Folders that wait take no stack, however deep they lie.
pub(super) fn walk(root: &Path) -> Tree {
    let mut tree = Tree::default();
    let mut empty = Vec::new();
    let mut waiting = vec![String::new()];
    while let Some(folder) = waiting.pop() {
        let entries = match fs::read_dir(place(root, &folder)) {
            Ok(entries) => entries,
            Err(e) => {
                let finding = unreadable(&e);
                tree.found.push(if folder.is_empty() { finding } else { finding.at(folder) });
                continue;
            }
        };
        let mut any = false;
        for entry in entries {
            any = true;
            match entry {
                Ok(entry) => tree.enter(&entry, &folder, root, &mut waiting),
                Err(e) => tree.found.push(unreadable(&e).at(folder.clone())),
            }
        }
        if !any && !folder.is_empty() && folder != "data" {
            empty.push(Finding::note("empty_folder", "is an empty folder, which no manifest can list", "ask who made it").at(folder));
        }
    }
    tree.found.extend(empty);
    tree.found.sort_by(|a, b| a.file.cmp(&b.file));
    tree
}

impl Tree {
    fn enter(&mut self, entry: &DirEntry, folder: &str, root: &Path, waiting: &mut Vec<String>) {
        let name = entry.file_name();
        let shown = if folder.is_empty() { String::new() } else { format!("{folder}/") };
        let Some(name) = name.to_str() else {
            let path = shown + &printable(&name.to_string_lossy());
            self.found.push(Finding::fault("name_not_text", "has a name that is no text, so no manifest can list it", RESTORE).at(path));
            return;
        };
        let path = shown + name;
        let (kind, length) = match entry.metadata() {
            // Of a link, not of what it leads to.
            Ok(metadata) => (metadata.file_type(), metadata.len()),
            Err(e) => {
                self.found.push(unreadable(&e).at(path));
                return;
            }
        };
        if kind.is_symlink() {
            let message = if leads_out(root, &entry.path()) { "is a link that leads out of the record" } else { "is a link" };
            let message = format!("{message}; a record holds files only");
            self.found.push(Finding::fault("symlink", message, RESTORE).at(path));
        } else if kind.is_dir() {
            self.folders.insert(path.clone());
            waiting.push(path);
        } else if kind.is_file() {
            self.files.insert(path, length);
        } else {
            self.found.push(Finding::fault("special_file", "is no plain file; it was not opened", RESTORE).at(path));
        }
    }
}

/// Whether a link leads out of the bag, or nowhere.
fn leads_out(root: &Path, link: &Path) -> bool {
    let inside = fs::canonicalize(root).and_then(|root| Ok(fs::canonicalize(link)?.starts_with(root)));
    !inside.unwrap_or(false)
}

/// The place of a path below a root.
pub(super) fn place(root: &Path, path: &str) -> PathBuf {
    path.split('/').filter(|name| !name.is_empty()).fold(root.to_path_buf(), |folder, name| folder.join(name))
}

/// What the system says when it does not let something be read.
pub(super) fn unreadable(e: &io::Error) -> Finding {
    let remedy = "see that you may read it and that the disk is well; then look again";
    Finding::fault("unreadable", format!("cannot be read: {e}"), remedy)
}
