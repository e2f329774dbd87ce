//! Corrections by hand: `corrections.csv` beside the sheet, made by whoever looked at the overlays.
//!
//! A line gives an object or a gap another kind, or rejects a field. Lines hold in their order: of two for one thing the later counts.
//! [`Corrections::csv`] is the way back.

use std::fs;
use std::path::Path;

use evenfilm_core::field::FieldResult;
use evenfilm_core::place::{gap_at, object_at};
use evenfilm_core::recipe::{GapKind, Kind, Recipe, Reject};
use jiff::Timestamp;
use jiff::civil::Date;

use crate::disk;
use crate::fault::Fault;
use crate::folder::Field;
use crate::numbers;
use crate::tables;
use crate::toml_file::{nearest, read_text};

mod read;
#[cfg(test)]
mod tests;

/// Name of the file.
pub const CORRECTIONS: &str = "corrections.csv";

/// Largest file that is read, bytes: some hundred thousand lines.
const LARGEST_FILE: u64 = 16 << 20;

/// What a line changes. Places are in µm from the upper left corner of the field, as in `objects.csv`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// The object at a place is of this kind.
    Object([f64; 2], Kind),
    /// The gap at a place is of this kind.
    Gap([f64; 2], GapKind),
    /// The field is rejected.
    LeaveOut,
}

/// One line.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// Its line in the file, from 1.
    pub line: usize,
    /// The picture, as `fields.csv` names it.
    pub field: String,
    /// What is changed.
    pub change: Change,
    /// Why; never empty.
    pub reason: String,
    /// Who; empty where the file does not say.
    pub by: String,
    /// When: a date, or a moment as RFC 3339 has it; empty where the file does not say.
    pub at: String,
}

/// The lines of a file, in their order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Corrections {
    /// The lines.
    pub lines: Vec<Correction>,
}

impl Corrections {
    /// Reads the corrections of a lot's folder; none where there is no such file.
    ///
    /// # Errors
    /// The file cannot be read, or as [`Corrections::parse`].
    pub fn beside(folder: &Path) -> Result<Self, Fault> {
        let path = folder.join(CORRECTIONS);
        if path.symlink_metadata().is_err() {
            return Ok(Self::default());
        }
        Self::parse(&read_text(&path, "file of corrections", LARGEST_FILE)?, &path)
    }

    /// Reads corrections from text; `path` stands in messages.
    ///
    /// # Errors
    /// No header, unknown or missing columns, unknown words, a place that is no place, no reason, a moment that is none; each with its
    /// line.
    pub fn parse(text: &str, path: &Path) -> Result<Self, Fault> {
        read::lines(text).map(|lines| Self { lines }).map_err(|fault| fault.at(path))
    }

    /// The corrections as a table: every column in its order, numbers as everywhere in a record. Reading it gives the same corrections.
    pub fn csv(&self) -> Vec<u8> {
        tables::corrections().csv(&self.lines)
    }

    /// Leaves a field out, in place of what was said of that before. `reason` says why; `by` who and `at` when, a date or a moment as RFC 3339
    /// has it, both may be empty. Whether the field leaves the numbers hangs on the reason: see [`decides`].
    ///
    /// # Errors
    /// No field, no reason, or a moment that is none.
    pub fn leave_out(&mut self, field: &str, reason: &str, by: &str, at: &str) -> Result<(), Fault> {
        let [field, reason, by, at] = [field, reason, by, at].map(|text| text.trim().to_owned());
        read::is_complete(&field, &reason, &at)?;
        self.take_back(&field);
        let line = self.lines.iter().map(|line| line.line).max().unwrap_or(1) + 1;
        self.lines.push(Correction { line, field, change: Change::LeaveOut, reason, by, at });
        Ok(())
    }

    /// Takes back that a field is left out; what was said of its objects and gaps stays. Gives whether there was anything to take back.
    pub fn take_back(&mut self, field: &str) -> bool {
        let before = self.lines.len();
        self.lines.retain(|line| line.field != field || line.change != Change::LeaveOut);
        self.lines.len() < before
    }

    /// Writes the file of a lot's folder beside its place and puts it there. Where no line is left the file goes, if it is one of corrections;
    /// nothing is written where it says the same already. What somebody else wrote since these were read is lost: [`Corrections::change`]
    /// reads first.
    ///
    /// # Errors
    /// The file that is there is none of corrections, or it cannot be written or removed.
    pub fn save(&self, folder: &Path) -> Result<(), Fault> {
        let path = folder.join(CORRECTIONS);
        let is_there = path.symlink_metadata().is_ok();
        let said = Self::beside(folder)?;
        match (is_there, self.lines.is_empty()) {
            (false, true) => Ok(()),
            (true, true) => fs::remove_file(&path).map_err(|e| disk::fault("remove", &path, &e)).and_then(|()| disk::sync_folder(folder)),
            (true, false) if said.csv() == self.csv() => Ok(()),
            // A link stays a link: its file is replaced.
            _ => disk::replace(&path.canonicalize().unwrap_or(path), &self.csv()),
        }
    }

    /// Reads the corrections of a lot's folder, changes them and writes them again. Gives them as they are then.
    ///
    /// # Errors
    /// As [`Corrections::beside`], the change itself, and [`Corrections::save`].
    pub fn change(folder: &Path, change: impl FnOnce(&mut Self) -> Result<(), Fault>) -> Result<Self, Fault> {
        let mut corrections = Self::beside(folder)?;
        change(&mut corrections)?;
        corrections.save(folder)?;
        Self::beside(folder)
    }

    /// Makes sure that every line speaks of a field of the lot, and of a place within it. `um_per_px` gives the scale of a field.
    ///
    /// # Errors
    /// The first line that does not.
    pub fn check(&self, path: &Path, fields: &[Field], um_per_px: impl Fn(usize) -> f64) -> Result<(), Fault> {
        for line in &self.lines {
            let Some(number) = fields.iter().position(|field| line.is_of(field)) else {
                let close = nearest(&line.field, fields.iter().map(|field| field.source.name.as_str())).unwrap_or_default();
                let message = format!("the lot has no field {}; the nearest is {close}", line.field);
                return Err(Fault::input(message, "write the name as the column file of fields.csv has it").at(path).on_line(line.line));
            };
            let (Change::Object([x, y], _) | Change::Gap([x, y], _)) = line.change else { continue };
            let info = &fields[number].source.info;
            let [width, height] = [info.width, info.height].map(|px| f64::from(px) * um_per_px(number));
            // Numbers of a record are rounded: the last digit may lie beyond the side.
            let within = |value: f64, end: f64| (0.0..=end * (1.0 + 1e-8)).contains(&value);
            if !(within(x, width) && within(y, height)) {
                let end = [width, height].map(|um| numbers::text(Some(um)));
                let message = format!("the place {x} µm, {y} µm lies outside {}, which is {} × {} µm", line.field, end[0], end[1]);
                return Err(Fault::input(message, "give x_um and y_um as in objects.csv or gaps.csv").at(path).on_line(line.line));
            }
        }
        Ok(())
    }

    /// The lines that change one field.
    pub fn of_field<'a>(&'a self, field: &'a Field) -> impl Iterator<Item = &'a Correction> {
        self.lines.iter().filter(|line| line.is_of(field))
    }

    /// Why a field is rejected, by the last line that does so.
    pub fn rejected<'a>(&'a self, field: &'a Field) -> Option<&'a Correction> {
        self.of_field(field).filter(|line| line.change == Change::LeaveOut).last()
    }
}

impl Correction {
    fn is_of(&self, field: &Field) -> bool {
        self.field == field.source.name
    }

    /// Whether the field leaves the numbers that decide: see [`decides`].
    pub fn decides(&self, recipe: &Recipe) -> bool {
        decides(&self.reason, recipe)
    }

    /// The object or gap of a measured field that it speaks of; `None` for a line that rejects the field.
    ///
    /// # Errors
    /// There is none at the place.
    pub fn thing(&self, field: &FieldResult, path: &Path) -> Result<Option<usize>, Fault> {
        let px = |um: [f64; 2]| um.map(|um| um / field.um_per_px);
        let (what, found, [x, y]) = match self.change {
            Change::Object(at, _) => ("object", object_at(field, px(at)), at),
            Change::Gap(at, _) => ("gap", gap_at(field, px(at)), at),
            Change::LeaveOut => return Ok(None),
        };
        let none = || {
            let message = format!("there is no {what} at {x} µm, {y} µm of {}", self.field);
            Fault::input(message, format!("copy x_um and y_um of the {what} from {what}s.csv, or give a place upon it"))
                .at(path)
                .on_line(self.line)
        };
        found.map(Some).ok_or_else(none)
    }
}

/// Whether a field rejected for this reason leaves the numbers that decide: its first word, up to the end or a colon, is one of
/// `[fields] reject` of the recipe, where "overlap" is the only one there is: "overlap: shows f03 again". Fields rejected for any other reason
/// stay in the numbers, or nobody could be kept from rejecting the worst; they get the flag `rejected_by_hand`, and the record has the numbers
/// without them too, in `record-without-rejected.csv`.
pub fn decides(reason: &str, recipe: &Recipe) -> bool {
    let word = reason.split(':').next().unwrap_or_default().trim();
    Reject::from_word(word).is_some_and(|word| recipe.fields.reject.contains(&word))
}

/// Whether a text is a date, or a moment with its offset (RFC 3339).
fn is_when(text: &str) -> bool {
    if text.len() == 10 { text.parse::<Date>().is_ok() } else { text.contains(['T', 't', ' ']) && text.parse::<Timestamp>().is_ok() }
}
