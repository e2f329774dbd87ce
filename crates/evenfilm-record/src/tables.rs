//! The tables of a record. Each column is defined once, with its unit, definition, source and the way to its value; header, rows and
//! metadata ([`crate::csvw`]) all come from that definition.
//!
//! CSV is RFC 4180 in UTF-8: lines end with CR LF, what holds a comma, a quote or a line break is quoted. Numbers are written as
//! [`crate::numbers`] says. A text cell that a spreadsheet would run as a formula (it begins with `=`, `+`, `-`, `@`, a tab or a line
//! break) gets an apostrophe in front; numbers never do.

use std::borrow::Cow;

use crate::numbers;

mod proof;
mod rows;
#[cfg(test)]
mod tests;

pub use proof::{DecisionRow, PictureRow, UncertaintyRow, decisions, pictures, uncertainty};
pub use rows::{
    FieldRow, GapRow, ObjectRow, RecordRow, corrections, fields, gaps, objects, record, record_uncorrected, record_without_rejected,
};

/// What stands in a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cell<'a> {
    /// Text.
    Text(&'a str),
    /// A number; `None` is "not measured".
    Number(Option<f64>),
    /// A whole number.
    Whole(u64),
    /// Yes or no: `true`, `false`.
    Flag(bool),
    /// Nothing.
    Empty,
}

/// What a column holds, as W3C CSV on the Web names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Datatype {
    /// Any text.
    Text,
    /// A number.
    Number,
    /// A whole number.
    Whole,
    /// true or false.
    Flag,
    /// As in `2026-03-04`.
    Date,
    /// As in `2026-03-04T09:15:00Z`.
    DateTime,
}

impl Datatype {
    /// The name of the datatype in metadata.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Text => "string",
            Self::Number => "double",
            Self::Whole => "integer",
            Self::Flag => "boolean",
            Self::Date => "date",
            Self::DateTime => "dateTime",
        }
    }
}

/// The way from a row to a cell.
enum Value<R> {
    /// A function of the row.
    Of(fn(&R) -> Cell<'_>),
    /// A function of the row and the column's name.
    Named(for<'r> fn(&'r R, &str) -> Cell<'r>),
    /// A place in a list of numbers.
    At(fn(&R) -> &[Option<f64>], usize),
}

/// One column of a table whose rows come from an `R`.
pub struct Column<R> {
    /// Header.
    pub id: Cow<'static, str>,
    /// Unit as printed, "" for what has none.
    pub unit: &'static str,
    /// Symbol as printed, "" for what has none.
    pub symbol: &'static str,
    /// What it holds.
    pub datatype: Datatype,
    /// One-line definition.
    pub definition: Cow<'static, str>,
    /// Where the definition comes from, "" for what needs none.
    pub source: &'static str,
    value: Value<R>,
}

impl<R> Column<R> {
    /// What stands in this column in the line of `row`.
    pub fn cell<'r>(&self, row: &'r R) -> Cell<'r> {
        match self.value {
            Value::Of(value) => value(row),
            Value::Named(value) => value(row, &self.id),
            Value::At(values, place) => Cell::Number(values(row).get(place).copied().flatten()),
        }
    }
}

/// A table: its name (`objects` becomes `objects.csv`), what it is, and its columns.
pub struct Table<R> {
    /// Name of the file without its ending.
    pub name: &'static str,
    /// What a row is.
    pub about: &'static str,
    /// The columns in their order.
    pub columns: Vec<Column<R>>,
}

impl<R> Table<R> {
    /// The header line.
    pub fn header(&self) -> Vec<u8> {
        let mut out = Vec::new();
        for column in &self.columns {
            push_text(&mut out, &column.id);
            out.push(b',');
        }
        end_line(&mut out);
        out
    }

    /// Appends the lines of some rows.
    pub fn push_rows<'r>(&self, out: &mut Vec<u8>, rows: impl IntoIterator<Item = &'r R>)
    where
        R: 'r,
    {
        for row in rows {
            for column in &self.columns {
                push_cell(out, column.cell(row));
                out.push(b',');
            }
            end_line(out);
        }
    }

    /// The whole file.
    pub fn csv<'r>(&self, rows: impl IntoIterator<Item = &'r R>) -> Vec<u8>
    where
        R: 'r,
    {
        let mut out = self.header();
        self.push_rows(&mut out, rows);
        out
    }
}

/// Turns the comma after the last cell into the end of the line.
fn end_line(out: &mut Vec<u8>) {
    out.pop();
    out.extend_from_slice(b"\r\n");
}

fn push_cell(out: &mut Vec<u8>, cell: Cell<'_>) {
    match cell {
        Cell::Text(text) => push_text(out, text),
        Cell::Number(Some(value)) => numbers::push(out, value),
        Cell::Whole(value) => numbers::push_whole(out, value),
        Cell::Flag(yes) => out.extend_from_slice(if yes { b"true" } else { b"false" }),
        Cell::Number(None) | Cell::Empty => {}
    }
}

/// What a spreadsheet would run.
fn is_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n'])
}

/// A text cell as it was before an apostrophe kept it from being run.
pub(crate) fn without_apostrophe(cell: &str) -> &str {
    cell.strip_prefix('\'').filter(|text| is_formula(text)).unwrap_or(cell)
}

fn push_text(out: &mut Vec<u8>, text: &str) {
    let formula = is_formula(text);
    let quoted = text.contains([',', '"', '\r', '\n']);
    if quoted {
        out.push(b'"');
    }
    if formula {
        out.push(b'\'');
    }
    if text.contains('"') {
        out.extend_from_slice(text.replace('"', "\"\"").as_bytes());
    } else {
        out.extend_from_slice(text.as_bytes());
    }
    if quoted {
        out.push(b'"');
    }
}
