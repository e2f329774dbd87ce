//! A record measured again: from its own pictures, sheet, recipe, limits and corrections, and its numbers beside those it holds.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use crate::archive::Staging;
use crate::disk::fault;
use crate::fault::Fault;
use crate::folder::{Batch, Options};
use crate::occasion::Occasion;
use crate::tables::without_apostrophe;
use crate::time::Moment;

use super::keep::Archive;
use super::{Job, gather};

/// Differences that are told one by one; of more only the number is.
const MOST_TOLD: usize = 100;

/// Columns that rest on what lies outside the record: the program, the place in the history, and the records of checks beside it.
const OUTSIDE: [&str; 6] = ["revision", "program_version", "verdict", "flags", "check", "check_sha256"];

/// Columns that name a row.
const NAMES: [&str; 7] = ["microscope", "quantity", "component", "field", "id", "archived_as", "thing"];

/// A number that came out otherwise.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// The table, as in `record.csv`.
    pub table: String,
    /// What names the row, as in `field 1, id 7`; empty where there is only one.
    pub row: String,
    /// The column: mostly the id of a quantity.
    pub quantity: String,
    /// What the record holds; empty for "not measured".
    pub archived: String,
    /// What came out now.
    pub again: String,
}

/// What came of measuring a record again.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Again {
    /// Cells that were compared.
    pub compared: u64,
    /// Cells, rows and tables that differ.
    pub differing: u64,
    /// The first of them.
    pub differences: Vec<Difference>,
    /// Version of the program that made the record.
    pub archived_by: String,
    /// Version of this one.
    pub measured_by: String,
}

/// Measures a record again and compares every number. Nothing is written into the record or beside it; `job.out` is a folder that can be
/// thrown away, and of the occasion only the version counts: the record's own moment holds.
///
/// # Errors
/// The record lacks something that measuring needs or cannot be read, `job.out` cannot be written, or the work was stopped.
pub fn again(record: &Path, job: &Job<'_>) -> Result<Again, Fault> {
    let data = record.join("data");
    let row = Table::open(&data.join("record.csv"))?.next()?.unwrap_or_default();
    let cell = |id: &str| row.iter().find(|(column, _)| column == id).map(|(_, text)| text.as_str()).unwrap_or_default();
    let moment =
        Moment::of_record(cell("measured_at")).ok_or_else(|| unusable("it does not say when it was measured", &data.join("record.csv")))?;
    let occasion = Occasion { moment, ..job.occasion.clone() };
    let job = Job { occasion: &occasion, ..*job };
    let options = Options { archived: archived(&data)?, ..Options::default() };
    let batch = Batch::open(&data, &options)?;
    let measured = gather(&batch, Archive::of_numbers(Staging::begin(job.out, &batch.sheet.lot, job.occasion)?), &job)?;
    let outcome = measured.seal(&job)?;
    let mut again =
        Again { archived_by: cell("program_version").to_owned(), measured_by: occasion.program_version.clone(), ..Again::default() };
    for name in tables(&outcome.record_dir.join("data"), &data)? {
        compare(&name, &[&data, &outcome.record_dir.join("data")].map(|folder| folder.join(&name)), &mut again)?;
    }
    Ok(again)
}

/// Where the pictures lie that the sheet names.
fn archived(data: &Path) -> Result<BTreeMap<String, PathBuf>, Fault> {
    let mut places = BTreeMap::new();
    let mut table = Table::open(&data.join("pictures.csv"))?;
    while let Some(row) = table.next()? {
        let cell = |id: &str| row.iter().find(|(column, _)| column == id).map(|(_, text)| text.clone());
        if let (Some(file), Some(place)) = (cell("file"), cell("archived_as")) {
            // A path that leads out of the record is none of its pictures.
            let inside = Path::new(&place).components().all(|part| matches!(part, std::path::Component::Normal(_)));
            if !inside {
                return Err(unusable("it names a picture outside of itself", &data.join("pictures.csv")));
            }
            let path = data.join(place);
            if !path.symlink_metadata().is_ok_and(|about| about.is_file()) {
                return Err(unusable("a picture is not there as a plain file", &path));
            }
            places.insert(file, path);
        }
    }
    Ok(places)
}

/// Names of the tables in either folder, sorted.
fn tables(one: &Path, other: &Path) -> Result<Vec<String>, Fault> {
    let mut names = std::collections::BTreeSet::new();
    for folder in [one, other] {
        for entry in fs::read_dir(folder).map_err(|e| fault("read", folder, &e))?.flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            if Path::new(&name).extension().is_some_and(|ending| ending == "csv") {
                names.insert(name);
            }
        }
    }
    Ok(names.into_iter().collect())
}

/// Compares two tables, the archived one first.
fn compare(name: &str, paths: &[PathBuf; 2], again: &mut Again) -> Result<(), Fault> {
    if let Some(missing) = paths.iter().position(|path| !path.is_file()) {
        let told = if missing == 0 { ["", "a table"] } else { ["a table", ""] };
        again.tell(name, String::new(), "", told);
        return Ok(());
    }
    let [mut old, mut new] = [Table::open(&paths[0])?, Table::open(&paths[1])?];
    for column in old.columns.iter().filter(|column| !new.columns.contains(column)) {
        again.tell(name, String::new(), column, ["a column", ""]);
    }
    for column in new.columns.iter().filter(|column| !old.columns.contains(column)) {
        again.tell(name, String::new(), column, ["", "a column"]);
    }
    loop {
        match (old.next()?, new.next()?) {
            (Some(old), Some(new)) => compare_rows(name, [&old, &new], again),
            (None, None) => return Ok(()),
            (Some(row), None) => again.tell(name, row_name(&row), "", ["a row", ""]),
            (None, Some(row)) => again.tell(name, row_name(&row), "", ["", "a row"]),
        }
    }
}

type Row = Vec<(String, String)>;

fn compare_rows(table: &str, [old, new]: [&Row; 2], again: &mut Again) {
    let outside = if table.starts_with("record") { &OUTSIDE[..] } else { &[] };
    for (column, archived) in old.iter().filter(|(column, _)| !outside.contains(&column.as_str())) {
        let Some((_, found)) = new.iter().find(|(other, _)| other == column) else { continue };
        again.compared += 1;
        if archived != found {
            again.tell(table, row_name(old), column, [archived, found]);
        }
    }
}

/// What names a row.
fn row_name(row: &Row) -> String {
    let named = row.iter().filter(|(column, text)| NAMES.contains(&column.as_str()) && !text.is_empty());
    named.map(|(column, text)| format!("{column} {text}")).collect::<Vec<_>>().join(", ")
}

impl Again {
    fn tell(&mut self, table: &str, row: String, quantity: &str, [archived, again]: [&str; 2]) {
        self.differing += 1;
        if self.differences.len() < MOST_TOLD {
            let [archived, again] = [archived, again].map(str::to_owned);
            self.differences.push(Difference { table: table.to_owned(), row, quantity: quantity.to_owned(), archived, again });
        }
    }
}

/// A table that is read row by row.
struct Table {
    path: PathBuf,
    columns: Vec<String>,
    rows: csv::StringRecordsIntoIter<File>,
}

impl Table {
    fn open(path: &Path) -> Result<Self, Fault> {
        if path.symlink_metadata().is_ok_and(|about| !about.is_file()) {
            return Err(unusable("a table is no plain file", path));
        }
        let mut reader = csv::Reader::from_path(path).map_err(|e| broken(path, e))?;
        let columns = reader.headers().map_err(|e| broken(path, e))?.iter().map(str::to_owned).collect();
        Ok(Self { path: path.to_path_buf(), columns, rows: reader.into_records() })
    }

    fn next(&mut self) -> Result<Option<Row>, Fault> {
        let Some(row) = self.rows.next().transpose().map_err(|e| broken(&self.path, e))? else { return Ok(None) };
        Ok(Some(self.columns.iter().cloned().zip(row.iter().map(|cell| without_apostrophe(cell).to_owned())).collect()))
    }
}

fn broken(path: &Path, error: csv::Error) -> Fault {
    match error.into_kind() {
        csv::ErrorKind::Io(e) if e.kind() == io::ErrorKind::NotFound => unusable("a table that it needs is not there", path),
        csv::ErrorKind::Io(e) => fault("read", path, &e),
        _ => unusable("a table is no CSV of its header's columns", path),
    }
}

fn unusable(what: &str, file: &Path) -> Fault {
    let message = format!("the record cannot be measured again: {what}");
    Fault::input(message, "look with evenfilm verify whether it is whole; records before pictures.csv cannot be measured again").at(file)
}
