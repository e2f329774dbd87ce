//! The sheet as a form: every key that a sheet may hold, with its label, unit, range and a word of help, and what a person typed made
//! into a value.
//!
//! [`ENTRIES`] is the one table. The ranges are those that the reader checks; a test holds the two against each other. `[[picture]]`,
//! `[note]` and the sections that override another (`[slides.A]`, `[microscopes.40x]`) have no rows of their own: overrides take the rows
//! of `slide` and `microscope`.

use std::collections::BTreeMap;
use std::path::Path;

use jiff::civil::Date;
use toml_edit::{Document, Item, Value};

use super::Sheet;
use crate::fault::Fault;
use crate::keep::{Edited, NewValue};
use crate::toml_file::Entry as Written;
pub use crate::toml_file::Span;
use crate::typed;

mod entries;
#[cfg(test)]
mod tests;

pub use entries::{ENTRIES, SECTIONS};

/// The name of the sheet in a lot's folder.
pub const SHEET: &str = "batch.toml";

/// What may stand in an entry.
#[derive(Clone, Copy, Debug)]
pub enum EntryKind {
    /// Any text in one line.
    Text,
    /// A number within its physical range.
    Number(Span),
    /// A whole number from this one on.
    Whole(u32),
    /// A day: year, month and day.
    Date,
    /// Yes or no.
    Flag,
    /// One of some words, each with what a person reads.
    Choice(&'static [(&'static str, &'static str)]),
    /// A picture, relative to the lot's folder.
    File,
}

/// One key of a sheet.
#[derive(Clone, Copy, Debug)]
pub struct Entry {
    /// Its section; "" for the top of the sheet.
    pub section: &'static str,
    /// The key.
    pub key: &'static str,
    /// What a person reads beside it, sentence case.
    pub label: &'static str,
    /// Unit as printed, "" for none.
    pub unit: &'static str,
    /// What may stand there.
    pub kind: EntryKind,
    /// What to enter and why it matters.
    pub help: &'static str,
    /// Whether a lot cannot be measured without it.
    pub needed: bool,
}

impl Entry {
    /// The path of its section for [`Edited::set`].
    pub fn path(&self) -> &[&'static str] {
        if self.section.is_empty() { &[] } else { std::slice::from_ref(&self.section) }
    }

    /// Sets it in a sheet, or removes it.
    ///
    /// # Errors
    /// As [`Edited::set`].
    pub fn set(&self, sheet: &mut Edited, value: Option<NewValue>) -> Result<(), Fault> {
        sheet.set(self.path(), self.key, value)
    }
}

/// The entry of a key.
pub fn entry(section: &str, key: &str) -> Option<&'static Entry> {
    ENTRIES.iter().find(|entry| entry.section == section && entry.key == key)
}

/// What a person typed as the value of an entry; `None` where nothing was typed, which removes it. Numbers may have a decimal comma and the
/// entry's unit behind them; words of a choice may be typed as a person reads them.
///
/// # Errors
/// In words what is wrong: "must be above 0".
pub fn check(entry: &Entry, text: &str) -> Result<Option<NewValue>, String> {
    let text = text.trim();
    if text.is_empty() {
        return if entry.needed { Err("must be filled in".into()) } else { Ok(None) };
    }
    let value: NewValue = match entry.kind {
        EntryKind::Text | EntryKind::File if text.contains(char::is_control) => return Err("must be in one line, without tabs".into()),
        EntryKind::Text | EntryKind::File => text.into(),
        EntryKind::Number(range) => typed::number(text, entry.unit, range)?.into(),
        EntryKind::Whole(least) => typed::whole(text, entry.unit, u64::from(least), u64::from(u32::MAX))?.into(),
        EntryKind::Date => day(text)?.into(),
        EntryKind::Flag => typed::flag(text)?.into(),
        EntryKind::Choice(words) => typed::word(text, words)?.into(),
    };
    Ok(Some(value))
}

fn day(text: &str) -> Result<Date, String> {
    let parts: Vec<&str> = text.split('-').collect();
    let digits = |part: &&str| part.bytes().all(|byte| byte.is_ascii_digit());
    let shaped = parts.iter().map(|part| part.len()).eq([4, 2, 2]) && parts.iter().all(digits);
    if !shaped {
        return Err("must be written as year, month and day: 2026-03-04".into());
    }
    text.parse().map_err(|_| "is no day of the calendar".into())
}

/// Reads a sheet that is still being written; `folder` is the lot's.
///
/// # Errors
/// As [`Sheet::read`].
pub fn check_text(text: &str, folder: &Path) -> Result<Sheet, Fault> {
    Sheet::parse(text, &folder.join(SHEET))
}

/// What a sheet says of every entry, as a person wrote it; only entries that are there. Nothing where the text is not valid TOML, which
/// [`check_text`] explains.
pub fn current(text: &str) -> BTreeMap<(&'static str, &'static str), String> {
    current_in(text, |entry| entry.path().iter().map(|name| (*name).to_owned()).collect())
}

/// The same of a section that overrides another: `current_of(text, "slides", "A")` has the keys of `[slides.A]`, by those of `slide`.
pub fn current_of(text: &str, overriding: &str, name: &str) -> BTreeMap<(&'static str, &'static str), String> {
    let path = vec![overriding.to_owned(), name.to_owned()];
    let mut found = current_in(text, |_| path.clone());
    found.retain(|(section, _), _| overriding.strip_suffix('s') == Some(section));
    found
}

fn current_in(text: &str, path: impl Fn(&Entry) -> Vec<String>) -> BTreeMap<(&'static str, &'static str), String> {
    let Ok(document) = Document::parse(text) else { return BTreeMap::new() };
    let said = |entry: &'static Entry| {
        let section = path(entry).iter().try_fold(document.as_item(), |item, name| item.as_table_like()?.get(name))?;
        let item = section.as_table_like()?.get(entry.key)?;
        Some(((entry.section, entry.key), as_written(item, text)?))
    };
    ENTRIES.iter().filter_map(said).collect()
}

/// A value without quotes; a number with the digits that it has in the file.
fn as_written(item: &Item, text: &str) -> Option<String> {
    let value = item.as_value()?;
    match value {
        Value::String(said) => Some(said.value().clone()),
        Value::Array(_) | Value::InlineTable(_) => None,
        _ => {
            let raw = value.span().and_then(|span| text.get(span)).map(|raw| raw.replace('_', ""))?;
            // Numbers of other bases are read, but not typed.
            let typed = raw.starts_with("0x") || raw.starts_with("0o") || raw.starts_with("0b");
            if typed { Written::of(item).map(|entry| entry.plain()) } else { Some(raw) }
        }
    }
}
