//! A typed walk over a TOML file that can say of every key in which line it stands.
//!
//! Sheet, recipe and limits are read through [`Section`]: it hands out known keys in the wanted type and range and, when
//! [`Section::finish`] is called, refuses whatever was not asked for, naming the nearest known key. [`Writer`] is the way back.

use std::cell::RefCell;
use std::fmt;
use std::fs::File;
use std::io::Read;
use std::ops::Range;
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use toml_edit::{Document, Item, TableLike, Value};

use crate::fault::Fault;

mod entry;
mod span;

pub use entry::Entry;
pub(crate) use entry::Writer;
pub use span::Span;

/// No file written by hand comes near this size.
pub(crate) const LARGEST_FILE: u64 = 1 << 20;

/// A parsed file.
pub(crate) struct TomlFile {
    path: PathBuf,
    document: Document<String>,
    line_starts: Vec<usize>,
}

impl TomlFile {
    /// Reads and parses a file. `what` names it in messages: "sheet", "recipe".
    pub(crate) fn read(path: &Path, what: &str) -> Result<Self, Fault> {
        Self::parse(read_text(path, what, LARGEST_FILE)?, path)
    }

    /// Parses text that stands for the file at `path`.
    pub(crate) fn parse(text: String, path: &Path) -> Result<Self, Fault> {
        let line_starts = std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect::<Vec<_>>();
        match Document::parse(text) {
            Ok(document) => Ok(Self { path: path.to_path_buf(), document, line_starts }),
            Err(err) => {
                let message = format!("the file is not valid TOML: {}", err.message().trim().replace('\n', ", "));
                let fault = Fault::input(message, "correct the line: every key once, texts in quotes, decimal points, not commas").at(path);
                Err(match err.span() {
                    Some(span) => fault.on_line(line_of(&line_starts, span.start)),
                    None => fault,
                })
            }
        }
    }

    /// The file as it was parsed.
    pub(crate) fn document(&self) -> &Document<String> {
        &self.document
    }

    /// The top of the file.
    pub(crate) fn top(&self) -> Section<'_> {
        Section { file: self, table: self.document.as_table(), title: String::new(), line: 1, known: RefCell::default() }
    }

    fn line(&self, span: Option<Range<usize>>) -> Option<usize> {
        span.map(|span| line_of(&self.line_starts, span.start))
    }
}

/// Line, from 1, of a byte.
fn line_of(line_starts: &[usize], at: usize) -> usize {
    line_starts.partition_point(|&start| start <= at)
}

/// A text file of bounded size as UTF-8 without a byte order mark.
pub(crate) fn read_text(path: &Path, what: &str, largest: u64) -> Result<String, Fault> {
    as_text(&read_bytes(path, what, largest)?, path, what)
}

/// A file of bounded size.
pub(crate) fn read_bytes(path: &Path, what: &str, largest: u64) -> Result<Vec<u8>, Fault> {
    let unreadable = |err: std::io::Error| {
        Fault::input(format!("the {what} cannot be read: {err}"), "check the path and the rights on the file").at(path)
    };
    let file = File::open(path).map_err(unreadable)?;
    if !file.metadata().map_err(unreadable)?.is_file() {
        return Err(Fault::input(format!("the {what} is not a file"), "give the path of a text file").at(path));
    }
    let mut bytes = Vec::new();
    file.take(largest + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.len() as u64 > largest {
        let message = format!("the {what} is larger than {} MiB", largest >> 20);
        return Err(Fault::input(message, "give a text file as a person writes it").at(path));
    }
    Ok(bytes)
}

/// Bytes as UTF-8 without a byte order mark; `path` stands in messages.
pub(crate) fn as_text(bytes: &[u8], path: &Path, what: &str) -> Result<String, Fault> {
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(text.to_owned()),
        Err(err) => {
            let line = bytes[..err.valid_up_to()].split(|&byte| byte == b'\n').count();
            let remedy = "save it as UTF-8 in a text editor";
            Err(Fault::input(format!("the {what} is not UTF-8 text"), remedy).at(path).on_line(line))
        }
    }
}

/// One table of a file.
pub(crate) struct Section<'a> {
    file: &'a TomlFile,
    table: &'a dyn TableLike,
    title: String,
    line: usize,
    known: RefCell<Vec<&'static str>>,
}

impl<'a> Section<'a> {
    /// The line of a key, or of the section where the key is absent.
    pub(crate) fn line_of(&self, key: &str) -> usize {
        let found = self.table.get_key_value(key);
        found.and_then(|(key, item)| self.file.line(key.span().or_else(|| item.span()))).unwrap_or(self.line)
    }

    /// Whether it holds the key.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// The key with its section, as messages name it.
    pub(crate) fn name_of(&self, key: &str) -> String {
        if self.title.is_empty() { key.to_owned() } else { format!("{key} in {}", self.title) }
    }

    /// An error at a key.
    pub(crate) fn fault(&self, key: &str, message: impl Into<String>, remedy: impl Into<String>) -> Fault {
        Fault::input(message, remedy).at(&self.file.path).on_line(self.line_of(key))
    }

    fn item(&self, key: &'static str) -> Option<&'a Item> {
        self.known.borrow_mut().push(key);
        self.table.get(key).filter(|item| !item.is_none())
    }

    fn wrong_type(&self, key: &str, item: &Item, wanted: &str) -> Fault {
        let found = item.type_name();
        self.fault(key, format!("{} is of type {found}; wanted is {wanted}", self.name_of(key)), format!("write {wanted}"))
    }

    fn out_of_range(&self, key: &str, found: impl fmt::Display, range: impl fmt::Display) -> Fault {
        self.fault(key, format!("{} is {found}; it must be {range}", self.name_of(key)), "correct the value")
    }

    /// A text.
    pub(crate) fn text(&self, key: &'static str) -> Result<Option<String>, Fault> {
        let Some(item) = self.item(key) else { return Ok(None) };
        item.as_str().map(|text| Some(text.to_owned())).ok_or_else(|| self.wrong_type(key, item, "a text in quotes"))
    }

    /// A text that is not empty.
    pub(crate) fn name(&self, key: &'static str) -> Result<Option<String>, Fault> {
        let text = self.text(key)?;
        if text.as_ref().is_some_and(|text| text.trim().is_empty()) {
            return Err(self.fault(key, format!("{} is empty", self.name_of(key)), "give a text or remove the key"));
        }
        Ok(text)
    }

    /// A number within its physical range.
    pub(crate) fn number(&self, key: &'static str, range: Span) -> Result<Option<f64>, Fault> {
        let Some(item) = self.item(key) else { return Ok(None) };
        let value = number_of(item).ok_or_else(|| self.wrong_type(key, item, "a number"))?;
        if range.holds(value) { Ok(Some(value)) } else { Err(self.out_of_range(key, value, range)) }
    }

    /// A number, or `None` for the word "auto"; `built_in` where the key is absent.
    pub(crate) fn number_or_auto(&self, key: &'static str, range: Span, built_in: Option<f64>) -> Result<Option<f64>, Fault> {
        match self.item(key) {
            None => Ok(built_in),
            Some(item) if item.as_str() == Some("auto") => Ok(None),
            Some(item) if number_of(item).is_none() => Err(self.wrong_type(key, item, "a number or \"auto\"")),
            Some(_) => self.number(key, range),
        }
    }

    /// A whole number of at least `least`.
    pub(crate) fn whole(&self, key: &'static str, least: u32) -> Result<Option<u32>, Fault> {
        self.whole_within(key, least, u32::MAX)
    }

    /// A whole number of at least `least` and at most `most`.
    pub(crate) fn whole_within(&self, key: &'static str, least: u32, most: u32) -> Result<Option<u32>, Fault> {
        let Some(item) = self.item(key) else { return Ok(None) };
        let value = item.as_integer().ok_or_else(|| self.wrong_type(key, item, "a whole number"))?;
        match u32::try_from(value) {
            Ok(value) if (least..=most).contains(&value) => Ok(Some(value)),
            _ => Err(self.out_of_range(key, value, format!("a whole number from {least} to {most}"))),
        }
    }

    /// A whole number of any size from 0.
    pub(crate) fn seed(&self, key: &'static str) -> Result<Option<u64>, Fault> {
        let Some(item) = self.item(key) else { return Ok(None) };
        let value = item.as_integer().ok_or_else(|| self.wrong_type(key, item, "a whole number"))?;
        u64::try_from(value).map(Some).map_err(|_| self.out_of_range(key, value, "a whole number from 0"))
    }

    /// True or false.
    pub(crate) fn flag(&self, key: &'static str) -> Result<Option<bool>, Fault> {
        let Some(item) = self.item(key) else { return Ok(None) };
        item.as_bool().map(Some).ok_or_else(|| self.wrong_type(key, item, "true or false"))
    }

    /// A date without a time, written as a TOML date or as a text.
    pub(crate) fn day(&self, key: &'static str) -> Result<Option<Date>, Fault> {
        let Some(item) = self.item(key) else { return Ok(None) };
        let wanted = "a date such as 2026-03-04";
        if !(item.is_datetime() || item.is_str()) {
            return Err(self.wrong_type(key, item, wanted));
        }
        day_of(item).map(Some).ok_or_else(|| {
            let found = item.as_value().map(|value| value.to_string().trim().to_owned()).unwrap_or_default();
            self.fault(key, format!("{} is {found}; wanted is {wanted}", self.name_of(key)), "write year, month and day alone")
        })
    }

    /// One word of several.
    pub(crate) fn choice<T: Copy>(&self, key: &'static str, all: &[T], word: fn(T) -> &'static str) -> Result<Option<T>, Fault> {
        let Some(found) = self.text(key)? else { return Ok(None) };
        self.chosen(key, &found, all, word).map(Some)
    }

    /// Some words of several.
    pub(crate) fn choices<T: Copy>(&self, key: &'static str, all: &[T], word: fn(T) -> &'static str) -> Result<Option<Vec<T>>, Fault> {
        let Some(item) = self.item(key) else { return Ok(None) };
        let words = item.as_array().map(|array| array.iter().map(Value::as_str).collect::<Option<Vec<_>>>());
        let words = words.flatten().ok_or_else(|| self.wrong_type(key, item, "a list of texts in quotes"))?;
        words.into_iter().map(|found| self.chosen(key, found, all, word)).collect::<Result<_, _>>().map(Some)
    }

    fn chosen<T: Copy>(&self, key: &str, found: &str, all: &[T], word: fn(T) -> &'static str) -> Result<T, Fault> {
        if let Some(&choice) = all.iter().find(|&&choice| word(choice) == found) {
            return Ok(choice);
        }
        let words = all.iter().map(|&choice| format!("\"{}\"", word(choice))).collect::<Vec<_>>().join(", ");
        let close = nearest(found, all.iter().map(|&choice| word(choice))).unwrap_or_default();
        let message = format!("{} is \"{found}\"; known are {words}", self.name_of(key));
        Err(self.fault(key, message, format!("the nearest is \"{close}\"")))
    }

    /// A table below this one.
    pub(crate) fn section(&self, key: &'static str) -> Result<Option<Section<'a>>, Fault> {
        let Some(item) = self.item(key) else { return Ok(None) };
        let wanted = format!("a section headed [{key}]");
        let table = item.as_table_like().ok_or_else(|| self.wrong_type(key, item, &wanted))?;
        Ok(Some(self.below(table, format!("[{key}]"), self.file.line(item.span()).unwrap_or_else(|| self.line_of(key)))))
    }

    /// The tables `[key.NAME]` with their names.
    pub(crate) fn named_sections(&self, key: &'static str) -> Result<Vec<(String, Section<'a>)>, Fault> {
        let Some(all) = self.section(key)? else { return Ok(Vec::new()) };
        all.table
            .iter()
            .map(|(name, item)| {
                let wanted = format!("a section headed [{key}.{name}]");
                let table = item.as_table_like().ok_or_else(|| all.wrong_type(name, item, &wanted))?;
                Ok((name.to_owned(), self.below(table, format!("[{key}.{name}]"), all.line_of(name))))
            })
            .collect()
    }

    /// The tables `[[key]]`.
    pub(crate) fn sections(&self, key: &'static str) -> Result<Vec<Section<'a>>, Fault> {
        let Some(item) = self.item(key) else { return Ok(Vec::new()) };
        let title = format!("[[{key}]]");
        if let Some(tables) = item.as_array_of_tables() {
            let each = tables.iter().map(|table| {
                let line = self.file.line(table.span()).unwrap_or(self.line);
                self.below(table, title.clone(), line)
            });
            return Ok(each.collect());
        }
        let wanted = format!("sections headed {title}");
        let array = item.as_array().ok_or_else(|| self.wrong_type(key, item, &wanted))?;
        array
            .iter()
            .map(|value| {
                let table = value.as_inline_table().ok_or_else(|| self.wrong_type(key, item, &wanted))?;
                Ok(self.below(table, title.clone(), self.file.line(value.span()).unwrap_or(self.line)))
            })
            .collect()
    }

    fn below(&self, table: &'a dyn TableLike, title: String, line: usize) -> Section<'a> {
        Section { file: self.file, table, title, line, known: RefCell::default() }
    }

    /// Every key with its value, whatever the keys are: texts, numbers, true or false, dates.
    pub(crate) fn anything(&self) -> Result<Vec<(String, Entry)>, Fault> {
        self.table
            .iter()
            .map(|(key, item)| {
                let wanted = "a text, a number, true or false, or a date";
                Entry::of(item).map(|entry| (key.to_owned(), entry)).ok_or_else(|| self.wrong_type(key, item, wanted))
            })
            .collect()
    }

    /// Refuses keys that were not asked for.
    pub(crate) fn finish(&self) -> Result<(), Fault> {
        let known = self.known.borrow();
        let Some((stray, _)) = self.table.iter().find(|(key, item)| !item.is_none() && !known.contains(key)) else { return Ok(()) };
        let close = nearest(stray, known.iter().copied()).unwrap_or_default();
        let message = format!("unknown key {}; the nearest known one is {close}", self.name_of(stray));
        Err(self.fault(stray, message, "correct or remove it"))
    }
}

/// The known word that is nearest to a misspelt one.
pub(crate) fn nearest<'w>(found: &str, known: impl Iterator<Item = &'w str>) -> Option<&'w str> {
    let likeness = |word: &str| strsim::normalized_damerau_levenshtein(&found.to_lowercase(), word);
    known.map(|word| (likeness(word), word)).reduce(|best, next| if next.0 > best.0 { next } else { best }).map(|(_, word)| word)
}

pub(crate) fn number_of(item: &Item) -> Option<f64> {
    item.as_float().or_else(|| item.as_integer().map(|whole| whole as f64))
}

pub(crate) fn day_of(item: &Item) -> Option<Date> {
    if let Some(text) = item.as_str() {
        let text = text.trim();
        return if text.len() == 10 { text.parse().ok() } else { None };
    }
    let moment = item.as_datetime()?;
    let date = moment.date.filter(|_| moment.time.is_none() && moment.offset.is_none())?;
    Date::new(i16::try_from(date.year).ok()?, i8::try_from(date.month).ok()?, i8::try_from(date.day).ok()?).ok()
}
