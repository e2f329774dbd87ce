//! Files that people write, changed by the program: one key at a time, and everything else stays as it is, to the byte.
//!
//! Comments, order, blank lines, line ends, a byte order mark, and values that are not changed are theirs who wrote them. So the text is
//! never printed anew: [`Edited::set`] finds the bytes of the value, or the place where it belongs, and puts the new ones there.

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use toml_edit::{Item, Value};

use crate::disk;
use crate::fault::Fault;
use crate::toml_file::{Entry, LARGEST_FILE, TomlFile, as_text, day_of, number_of, read_bytes};

mod splice;
#[cfg(test)]
mod tests;

use splice::Step;

const BYTE_ORDER_MARK: &str = "\u{feff}";

/// What a key is set to.
#[derive(Clone, Debug, PartialEq)]
pub enum NewValue {
    /// A text, number, whole number, flag or date.
    One(Entry),
    /// A list of words.
    Words(Vec<String>),
}

/// A TOML file and its changes.
#[derive(Clone, Debug)]
pub struct Edited {
    /// The file it was read from, and its bytes then.
    opened: Option<(PathBuf, Vec<u8>)>,
    text: String,
    marked: bool,
}

impl Edited {
    /// A file that is not there yet.
    pub fn new() -> Self {
        Self { opened: None, text: String::new(), marked: false }
    }

    /// Reads a file. `what` names it in messages: "sheet", "recipe".
    ///
    /// # Errors
    /// It cannot be read, is larger than 1 MiB, not UTF-8 or not valid TOML.
    pub fn open(path: &Path, what: &str) -> Result<Self, Fault> {
        let bytes = read_bytes(path, what, LARGEST_FILE)?;
        let marked = bytes.starts_with(BYTE_ORDER_MARK.as_bytes());
        let text = as_text(&bytes, path, what)?;
        TomlFile::parse(text.clone(), path)?;
        Ok(Self { opened: Some((path.to_path_buf(), bytes)), text, marked })
    }

    /// Begins with a text that stands in no file yet.
    ///
    /// # Errors
    /// It is not valid TOML.
    pub fn of_text(text: &str) -> Result<Self, Fault> {
        TomlFile::parse(text.to_owned(), Path::new(""))?;
        Ok(Self { text: text.to_owned(), ..Self::new() })
    }

    /// The text as it is now, without a byte order mark.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether anything differs from the file that was opened, or from an empty one.
    pub fn is_changed(&self) -> bool {
        self.opened.as_ref().map_or(!self.text.is_empty(), |(_, bytes)| self.bytes() != *bytes)
    }

    /// Sets a key of a section, or removes it. `section` is the path of the section: none for the top of the file, `["slides", "A"]` for
    /// `[slides.A]`. A key that has the value already is left as it is written. A section that is missing is made after the last one of
    /// its kind, else at the end of the file; where the file writes it as dotted keys or in braces, so is the new key. A comment behind a
    /// value that is removed stays, on a line of its own, but not in braces.
    ///
    /// # Errors
    /// The path or the key names something else in the file: a value where a section is meant, or a section where a value is. Nothing is
    /// changed then.
    #[expect(clippy::needless_pass_by_value, reason = "callers make the value for this call")]
    pub fn set(&mut self, section: &[&str], key: &str, value: Option<NewValue>) -> Result<(), Fault> {
        self.set_at(&section.iter().map(|&name| Step::Key(name)).collect::<Vec<_>>(), key, value.as_ref())
    }

    /// The same in one entry of a list of sections, `[[name]]`, from 0; the one behind the last is made.
    ///
    /// # Errors
    /// As [`Edited::set`]; also where the list is shorter.
    #[expect(clippy::needless_pass_by_value, reason = "callers make the value for this call")]
    pub fn set_in_entry(&mut self, name: &str, index: usize, key: &str, value: Option<NewValue>) -> Result<(), Fault> {
        self.set_at(&[Step::Entry(name, index)], key, value.as_ref())
    }

    /// How many entries the list of sections `[[name]]` has.
    pub fn entries(&self, name: &str) -> usize {
        let parsed = TomlFile::parse(self.text.clone(), Path::new(""));
        parsed.map_or(0, |file| match file.document().get(name) {
            Some(Item::ArrayOfTables(tables)) => tables.len(),
            Some(Item::Value(Value::Array(array))) => array.len(),
            _ => 0,
        })
    }

    fn set_at(&mut self, path: &[Step<'_>], key: &str, value: Option<&NewValue>) -> Result<(), Fault> {
        let named = |fault: Fault| match &self.opened {
            Some((file, _)) => fault.at(file),
            None => fault,
        };
        if matches!(value, Some(NewValue::One(Entry::Number(number))) if !number.is_finite()) {
            return Err(named(Fault::input(format!("{key} is no finite number"), "give a number")));
        }
        let parse = |text: &str| TomlFile::parse(text.to_owned(), Path::new("")).map_err(named);
        let Some(splice) = splice::plan(parse(&self.text)?.document(), &self.text, path, key, value).map_err(named)? else { return Ok(()) };
        let mut text = self.text.clone();
        text.replace_range(splice.range, &splice.text);
        // What would not say what was asked for must not get into the file, however oddly it is written.
        if !parse(&text).is_ok_and(|file| splice::holds(file.document(), path, key, value)) {
            return Err(named(Fault::input(format!("{key} cannot be changed as the file is written"), "change it in a text editor")));
        }
        self.text = text;
        Ok(())
    }

    /// Writes the file beside its place and puts it there; nothing is written where nothing changed. A link stays a link: its file is
    /// replaced.
    ///
    /// # Errors
    /// The file was changed, made or removed by somebody else since it was opened or last saved (looked at just before it is replaced), or
    /// it cannot be written.
    pub fn save(&mut self, path: &Path) -> Result<(), Fault> {
        let bytes = self.bytes();
        let before = self.opened.as_ref().filter(|(opened, _)| opened == path).map(|(_, bytes)| bytes);
        let now = match fs::read(path) {
            Ok(now) => Some(now),
            Err(e) if e.kind() == ErrorKind::NotFound => None,
            Err(e) => return Err(disk::fault("read", path, &e)),
        };
        if now.as_ref() != before {
            let what = match (before, &now) {
                (_, None) => "the file was removed since it was opened; nothing was written",
                (None, Some(_)) => "there is such a file already; nothing was written",
                (Some(_), Some(_)) => "the file was changed by somebody else since it was opened; nothing was written",
            };
            return Err(Fault::input(what, "open it again, then repeat your changes").at(path));
        }
        if now.as_ref() != Some(&bytes) {
            let target = path.canonicalize().unwrap_or_else(|_| path.to_path_buf());
            disk::replace(&target, &bytes)?;
        }
        self.opened = Some((path.to_path_buf(), bytes));
        Ok(())
    }

    fn bytes(&self) -> Vec<u8> {
        let mark = if self.marked { BYTE_ORDER_MARK } else { "" };
        [mark.as_bytes(), self.text.as_bytes()].concat()
    }
}

impl Default for Edited {
    fn default() -> Self {
        Self::new()
    }
}

impl NewValue {
    /// Whether the item of a file says the same.
    fn is(&self, item: &Item) -> bool {
        match self {
            Self::One(Entry::Text(text)) => item.as_str() == Some(text),
            Self::One(Entry::Number(number)) => number_of(item) == Some(*number),
            Self::One(Entry::Whole(whole)) => item.as_integer() == Some(*whole),
            Self::One(Entry::Flag(flag)) => item.as_bool() == Some(*flag),
            Self::One(Entry::Day(day)) => day_of(item) == Some(*day),
            Self::Words(words) => {
                item.as_array().is_some_and(|array| array.iter().map(Value::as_str).eq(words.iter().map(|w| Some(w.as_str()))))
            }
        }
    }

    /// As TOML in one line. A whole number is written without a point, as people do, unless `as_float` is asked for.
    fn written(&self, as_float: bool) -> String {
        match self {
            Self::One(Entry::Text(text)) => quoted(text),
            Self::One(Entry::Number(number)) if !as_float && number.fract() == 0.0 && number.abs() < 1e15 => format!("{number}"),
            Self::One(entry) => entry.to_string(),
            Self::Words(words) => format!("[{}]", words.iter().map(|word| quoted(word)).collect::<Vec<_>>().join(", ")),
        }
    }
}

/// A text in quotes, in one line whatever it holds: what JSON escapes is also an escape of TOML, which does not take a bare DEL.
fn quoted(text: &str) -> String {
    if text.contains(char::is_control) {
        return serde_json::Value::from(text).to_string().replace('\u{7f}', "\\u007F");
    }
    Value::from(text).to_string()
}

impl<T: Into<Entry>> From<T> for NewValue {
    fn from(value: T) -> Self {
        Self::One(value.into())
    }
}

impl From<Vec<String>> for NewValue {
    fn from(words: Vec<String>) -> Self {
        Self::Words(words)
    }
}
