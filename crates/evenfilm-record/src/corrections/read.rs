//! Lines of `corrections.csv` from text (RFC 4180).

use csv::{Position, ReaderBuilder, StringRecord};
use evenfilm_core::recipe::{GapKind, Kind};

use super::{Change, Correction, is_when};
use crate::fault::Fault;
use crate::numbers;
use crate::tables::without_apostrophe;
use crate::toml_file::nearest;

/// The columns; those that may be absent come last.
const COLUMNS: [&str; 9] = ["field", "thing", "change", "reason", "x_um", "y_um", "to", "by", "at"];
const NEEDED: usize = 4;

/// Where each column stands in the file.
struct Header([Option<usize>; COLUMNS.len()]);

/// One line of the file, its cells by column.
struct Line<'a> {
    header: &'a Header,
    cells: &'a StringRecord,
    number: usize,
}

pub(super) fn lines(text: &str) -> Result<Vec<Correction>, Fault> {
    let mut reader = ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    let (mut header, mut found, mut cells) = (None, Vec::new(), StringRecord::new());
    let mut lines = Lines { text: text.as_bytes(), at: 0, number: 1 };
    while reader.read_record(&mut cells).map_err(|e| Fault::input(format!("the corrections cannot be read: {e}"), SAVE))? {
        let number = lines.number(cells.position().map_or(0, Position::byte));
        match &header {
            None => header = Some(Header::read(&cells).map_err(|fault| fault.on_line(number))?),
            Some(_) if cells.iter().all(|cell| cell.trim().is_empty()) => {}
            Some(header) => found.push(Line { header, cells: &cells, number }.read().map_err(|fault| fault.on_line(number))?),
        }
    }
    match header {
        None => Err(Fault::input("the file of corrections is empty", format!("begin it with the line {}", COLUMNS.join(",")))),
        Some(_) => Ok(found),
    }
}

/// Counts the lines of a text on the way through it. The reader's own count is one short after lines that end with CR LF.
struct Lines<'a> {
    text: &'a [u8],
    at: usize,
    number: usize,
}

impl Lines<'_> {
    /// Line, from 1, of the record that begins at a byte, or behind the line ends there.
    fn number(&mut self, begin: u64) -> usize {
        let is_end = |byte: u8| matches!(byte, b'\r' | b'\n');
        while let Some(&byte) = self.text.get(self.at).filter(|&&byte| (self.at as u64) < begin || is_end(byte)) {
            let lone = byte == b'\r' && self.text.get(self.at + 1) != Some(&b'\n');
            self.number += usize::from(byte == b'\n' || lone);
            self.at += 1;
        }
        self.number
    }
}

const SAVE: &str = "save it as CSV, UTF-8, with commas between the columns";

impl Header {
    fn read(cells: &StringRecord) -> Result<Self, Fault> {
        let mut places = [None; COLUMNS.len()];
        for (place, name) in cells.iter().map(str::trim).enumerate() {
            let Some(column) = COLUMNS.iter().position(|known| *known == name) else {
                let close = nearest(name, COLUMNS.into_iter()).unwrap_or_default();
                let remedy = if name.contains([';', '\t']) { SAVE } else { "correct or remove it" };
                return Err(Fault::input(format!("unknown column {name}; the nearest known one is {close}"), remedy));
            };
            if places[column].replace(place).is_some() {
                return Err(Fault::input(format!("the column {name} stands twice"), "remove one of the two"));
            }
        }
        match COLUMNS.iter().zip(places).take(NEEDED).find(|(_, place)| place.is_none()) {
            Some((name, _)) => Err(Fault::input(format!("the column {name} is missing"), format!("the header is {}", COLUMNS.join(",")))),
            None => Ok(Self(places)),
        }
    }
}

/// Makes sure that there are a field and a reason, and that a moment is one.
pub(super) fn is_complete(field: &str, reason: &str, at: &str) -> Result<(), Fault> {
    if field.trim().is_empty() {
        return Err(Fault::input("field is empty", "name the picture as the column file of fields.csv has it"));
    }
    if reason.trim().is_empty() {
        return Err(Fault::input("reason is empty", "say why, so that others can follow it"));
    }
    if !(at.is_empty() || is_when(at)) {
        let remedy = "write a date, 2026-03-04, or a moment with its offset, 2026-03-04T09:15:00Z";
        return Err(Fault::input(format!("at is {at}, which is no date and no moment"), remedy));
    }
    Ok(())
}

impl Line<'_> {
    fn cell(&self, name: &str) -> &str {
        let column = COLUMNS.iter().position(|known| *known == name);
        column.and_then(|column| self.cells.get(self.header.0[column]?)).unwrap_or_default()
    }

    fn word(&self, name: &str) -> &str {
        self.cell(name).trim()
    }

    fn text(&self, name: &str) -> String {
        without_apostrophe(self.cell(name)).to_owned()
    }

    fn unknown<'w>(&self, name: &str, known: impl Iterator<Item = &'w str> + Clone) -> Fault {
        let found = self.word(name);
        let words = known.clone().collect::<Vec<_>>().join(", ");
        let close = nearest(found, known).unwrap_or_default();
        let what = if found.is_empty() { format!("{name} is empty") } else { format!("{name} is {found}") };
        Fault::input(format!("{what}; known are {words}"), format!("the nearest is {close}"))
    }

    fn read(&self) -> Result<Correction, Fault> {
        let columns = self.header.0.iter().flatten().max().map_or(0, |last| last + 1);
        if self.cells.len() != columns {
            let message = format!("the line has {} cells, the header {columns}", self.cells.len());
            return Err(Fault::input(message, "put texts with commas into quotes, and leave empty cells empty"));
        }
        let change = self.change()?;
        let [field, reason, by, at] = ["field", "reason", "by", "at"].map(|name| self.text(name));
        let at = at.trim().to_owned();
        is_complete(&field, &reason, &at)?;
        Ok(Correction { line: self.number, field, change, reason, by, at })
    }

    fn change(&self) -> Result<Change, Fault> {
        const THINGS: [&str; 3] = ["object", "gap", "field"];
        const CHANGES: [&str; 2] = ["kind", "leave_out"];
        match (self.word("thing"), self.word("change")) {
            ("object", "kind") => {
                let kind = Kind::from_word(self.word("to")).ok_or_else(|| self.unknown("to", Kind::ALL.iter().map(|k| k.word())))?;
                Ok(Change::Object(self.place()?, kind))
            }
            ("gap", "kind") => {
                let kind = GapKind::from_word(self.word("to")).ok_or_else(|| self.unknown("to", GapKind::ALL.iter().map(|k| k.word())))?;
                Ok(Change::Gap(self.place()?, kind))
            }
            ("field", "leave_out") => {
                let stray = ["x_um", "y_um", "to"].into_iter().find(|name| !self.word(name).is_empty());
                stray.map_or(Ok(Change::LeaveOut), |name| {
                    Err(Fault::input(format!("{name} means nothing where a whole field is left out"), "leave it empty"))
                })
            }
            ("field", "kind") => Err(Fault::input("a field has no kind", "write leave_out to reject it, or name an object or a gap")),
            (thing @ ("object" | "gap"), "leave_out") => {
                let remedy = "give it a kind that does not count: hollow, fibre, crystal or dust";
                Err(Fault::input(format!("leave_out is for fields, not for an {thing}").replace("an gap", "a gap"), remedy))
            }
            (thing, _) if !THINGS.contains(&thing) => Err(self.unknown("thing", THINGS.into_iter())),
            _ => Err(self.unknown("change", CHANGES.into_iter())),
        }
    }

    fn place(&self) -> Result<[f64; 2], Fault> {
        let number = |name: &str| {
            let text = self.word(name);
            // As a record would have it, so that reading it again gives the same place.
            let value = text.parse().ok().filter(|value: &f64| value.is_finite()).and_then(numbers::rounded);
            let found = if text.is_empty() { format!("{name} is empty") } else { format!("{name} is {text}") };
            value.ok_or_else(|| Fault::input(format!("{found}; wanted is a number of µm"), "write it with a point for the decimals: 12.5"))
        };
        Ok([number("x_um")?, number("y_um")?])
    }
}
