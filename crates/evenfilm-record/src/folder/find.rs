//! Lots below a folder, in natural order.

use std::cmp::Ordering;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use super::SHEET;
use crate::fault::Fault;

/// The folder itself if it has a sheet, else those below that have one. `taken` are lots of the call so far, by their real path.
pub(super) fn lots(folder: &Path, taken: &mut BTreeSet<PathBuf>) -> Result<Vec<PathBuf>, Fault> {
    if !folder.is_dir() {
        let message = if folder.exists() { "this is a file, not a folder" } else { "there is no such folder" };
        return Err(Fault::input(message, format!("give the folder that holds {SHEET} and the pictures")).at(folder));
    }
    let mut found = Vec::new();
    walk(folder, &mut BTreeSet::new(), &mut found)?;
    if found.is_empty() {
        return Err(no_sheet(folder)?);
    }
    found.retain(|lot| lot.canonicalize().is_ok_and(|real| taken.insert(real)));
    Ok(found)
}

/// Depth first. `seen` are real paths: a link that leads back up is not followed twice.
fn walk(folder: &Path, seen: &mut BTreeSet<PathBuf>, found: &mut Vec<PathBuf>) -> Result<(), Fault> {
    let real = folder.canonicalize().map_err(|err| unreadable(folder, &err))?;
    if !seen.insert(real) {
        return Ok(());
    }
    if folder.join(SHEET).is_file() {
        found.push(folder.to_path_buf());
        return Ok(());
    }
    // A record holds the sheet it was made from and is no lot to measure.
    if folder.join("bagit.txt").is_file() {
        return Ok(());
    }
    for name in names(folder)? {
        let below = folder.join(&name);
        if below.is_dir() {
            walk(&below, seen, found)?;
        }
    }
    Ok(())
}

/// Names in a folder that are not hidden, in natural order.
pub(super) fn names(folder: &Path) -> Result<Vec<String>, Fault> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(|err| unreadable(folder, &err))? {
        let name = entry.map_err(|err| unreadable(folder, &err))?.file_name();
        let Some(name) = name.to_str() else {
            let shown = folder.join(&name);
            return Err(Fault::input("the name of the file is not Unicode text", "rename it").at(shown));
        };
        if !name.starts_with('.') {
            names.push(name.to_owned());
        }
    }
    names.sort_by(|a, b| natural_order(a, b));
    Ok(names)
}

fn unreadable(folder: &Path, err: &std::io::Error) -> Fault {
    Fault::input(format!("the folder cannot be read: {err}"), "check the rights on the folder").at(folder)
}

fn no_sheet(folder: &Path) -> Result<Fault, Fault> {
    let names = names(folder)?;
    let example = "write one with at least: lot = \"TS-0412\", and below [microscope]: um_per_px = 0.25";
    if names.is_empty() {
        let remedy = "give a folder with a sheet batch.toml and the pictures of a lot";
        return Ok(Fault::input("the folder is empty", remedy).at(folder));
    }
    let message = format!("there is no sheet {SHEET} in the folder or below it");
    let close = names.iter().find(|name| name.to_lowercase().starts_with("batch"));
    let remedy = close.map_or_else(|| example.to_owned(), |name| format!("rename {name} to {SHEET}"));
    Ok(Fault::input(message, remedy).at(folder))
}

/// Compares names as people count: "f2" before "f10". Digits compare as numbers, all else by Unicode order.
pub fn natural_order(a: &str, b: &str) -> Ordering {
    let (mut rest_a, mut rest_b) = (a, b);
    while let (Some(first_a), Some(first_b)) = (rest_a.chars().next(), rest_b.chars().next()) {
        let order = if first_a.is_ascii_digit() && first_b.is_ascii_digit() {
            let (number_a, number_b) = (digits(&mut rest_a), digits(&mut rest_b));
            number_a.len().cmp(&number_b.len()).then_with(|| number_a.cmp(number_b))
        } else {
            rest_a = &rest_a[first_a.len_utf8()..];
            rest_b = &rest_b[first_b.len_utf8()..];
            first_a.cmp(&first_b)
        };
        if order.is_ne() {
            return order;
        }
    }
    rest_a.len().cmp(&rest_b.len()).then_with(|| a.cmp(b))
}

/// Takes the leading digits off and gives them without leading zeros.
fn digits<'t>(rest: &mut &'t str) -> &'t str {
    let end = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
    let (number, after) = rest.split_at(end);
    *rest = after;
    number.trim_start_matches('0')
}
