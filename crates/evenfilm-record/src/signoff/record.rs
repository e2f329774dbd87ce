//! What of a record a sign-off names.

use std::path::Path;

use crate::archive;
use crate::fault::Fault;
use crate::tables::without_apostrophe;
use crate::toml_file::{LARGEST_FILE, as_text, read_bytes};

/// A record's lot, revision and digest, and the moment before which nobody can have signed it.
#[derive(Clone, Debug)]
pub(super) struct Head {
    pub(super) lot: String,
    pub(super) revision: u32,
    pub(super) tag_manifest_sha256: String,
    /// When it was sealed, else measured.
    pub(super) sealed_at: String,
}

impl Head {
    /// Reads it from a record's files.
    ///
    /// # Errors
    /// The folder is no record, or its name is not that of its revision: its sign-offs would be named after another.
    pub(super) fn of_record(record: &Path) -> Result<Self, Fault> {
        let no_record = |what: &str| {
            let message = format!("this is no record: {what}");
            Fault::input(message, "name the folder of a sealed record: OUT/LOT/r1").at(record)
        };
        let tag_manifest_sha256 = archive::tag_digest(record).ok_or_else(|| no_record("it has no tag manifest"))?;
        let info = read_bytes(&record.join("bag-info.txt"), "bag's information", LARGEST_FILE)
            .and_then(|bytes| as_text(&bytes, record, "bag's information"))
            .map_err(|_| no_record("its bag-info.txt cannot be read"))?;
        let said = |label: &str| info.lines().find_map(|line| line.strip_prefix(label)?.strip_prefix(": ").map(str::to_owned));
        let revision = said("Evenfilm-Revision").and_then(|n| n.parse::<u32>().ok());
        let revision = revision.ok_or_else(|| no_record("its bag-info.txt names no revision"))?;
        if record.file_name().and_then(|name| name.to_str()) != Some(&format!("r{revision}")) {
            let message = format!("the record is revision {revision}, and its folder has another name");
            return Err(Fault::input(message, "name the record where it is kept: OUT/LOT/rN").at(record));
        }
        let [lot, measured_at] = cells(&record.join("data/record.csv")).ok_or_else(|| no_record("its data/record.csv cannot be read"))?;
        let sealed_at = said("Evenfilm-Sealed-At").unwrap_or(measured_at);
        Ok(Self { lot, revision, tag_manifest_sha256, sealed_at })
    }
}

/// Lot and moment of measuring, from the first row of `record.csv`.
fn cells(table: &Path) -> Option<[String; 2]> {
    let bytes = read_bytes(table, "record", 16 * LARGEST_FILE).ok()?;
    let mut reader = csv::Reader::from_reader(&bytes[..]);
    let header = reader.headers().ok()?.clone();
    let row = reader.records().next()?.ok()?;
    let cell = |id: &str| row.get(header.iter().position(|column| column == id)?).map(|cell| without_apostrophe(cell).to_owned());
    Some([cell("lot")?, cell("measured_at")?])
}
