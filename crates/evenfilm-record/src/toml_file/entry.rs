//! Values, and the canonical way to write them.

use std::fmt::{self, Write as _};

use jiff::civil::Date;
use toml_edit::{Item, Key, Value};

use super::day_of;

/// One value of a file.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// A text.
    Text(String),
    /// A number.
    Number(f64),
    /// A whole number.
    Whole(i64),
    /// True or false.
    Flag(bool),
    /// A date.
    Day(Date),
}

impl Entry {
    /// The value of an item; `None` for tables, lists, moments and numbers that are not finite.
    pub(crate) fn of(item: &Item) -> Option<Self> {
        let number = || item.as_float().filter(|value| value.is_finite()).map(Self::Number);
        let text = || item.as_str().map(|text| Self::Text(text.to_owned()));
        let date = || day_of(item).map(Self::Day);
        item.as_integer().map(Self::Whole).or_else(number).or_else(|| item.as_bool().map(Self::Flag)).or_else(text).or_else(date)
    }

    /// The value as a cell of a table shows it: a text without quotes.
    pub fn plain(&self) -> String {
        match self {
            Self::Text(text) => text.clone(),
            Self::Number(number) => number.to_string(),
            other => other.to_string(),
        }
    }
}

/// As TOML. Numbers are the shortest decimal that reads back as the same number, always with a point or an exponent.
impl fmt::Display for Entry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Text(text) => write!(f, "{}", Value::from(text.as_str())),
            Self::Number(number) => write!(f, "{number:?}"),
            Self::Whole(whole) => write!(f, "{whole}"),
            Self::Flag(flag) => write!(f, "{flag}"),
            Self::Day(day) => write!(f, "{day}"),
        }
    }
}

impl From<String> for Entry {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}
impl From<&str> for Entry {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}
impl From<f64> for Entry {
    fn from(number: f64) -> Self {
        Self::Number(number)
    }
}
impl From<u32> for Entry {
    fn from(whole: u32) -> Self {
        Self::Whole(whole.into())
    }
}
impl From<u64> for Entry {
    fn from(whole: u64) -> Self {
        Self::Whole(i64::try_from(whole).unwrap_or(i64::MAX))
    }
}
impl From<bool> for Entry {
    fn from(flag: bool) -> Self {
        Self::Flag(flag)
    }
}
impl From<Date> for Entry {
    fn from(day: Date) -> Self {
        Self::Day(day)
    }
}

/// Writes the canonical form: one key a line, sections in the order they are asked for, an empty line before each header.
#[derive(Default)]
pub(crate) struct Writer(String);

impl Writer {
    /// A section header with the dotted keys, in single or double brackets.
    pub(crate) fn header(&mut self, [open, close]: [&str; 2], keys: &[&str]) {
        let gap = if self.0.is_empty() { "" } else { "\n" };
        let name = keys.iter().map(|&key| Key::new(key).to_string()).collect::<Vec<_>>().join(".");
        // Writing to a string cannot fail.
        let _ = writeln!(self.0, "{gap}{open}{name}{close}");
    }
    /// `[a.b]`
    pub(crate) fn section(&mut self, keys: &[&str]) {
        self.header(["[", "]"], keys);
    }
    /// A key and its value.
    pub(crate) fn entry(&mut self, key: &str, value: impl Into<Entry>) {
        let _ = writeln!(self.0, "{} = {}", Key::new(key), value.into());
    }
    /// A key and a list of words.
    pub(crate) fn list(&mut self, key: &str, words: &[&str]) {
        let words = words.iter().map(|&word| Value::from(word).to_string()).collect::<Vec<_>>().join(", ");
        let _ = writeln!(self.0, "{} = [{words}]", Key::new(key));
    }
    /// A section with some entries; nothing where there are none.
    pub(crate) fn part(&mut self, keys: &[&str], entries: Vec<(&'static str, Entry)>) {
        if entries.is_empty() {
            return;
        }
        self.section(keys);
        for (key, value) in entries {
            self.entry(key, value);
        }
    }
    /// The text.
    pub(crate) fn finish(self) -> String {
        self.0
    }
}
