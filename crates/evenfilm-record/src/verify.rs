//! Whether a record is whole, and what it must be: `evenfilm verify`.
//!
//! What is found here is accident and clumsy change. Whoever can write everything can also make all digests and the chain anew; that is
//! found only against what lies elsewhere.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use crate::archive;
use crate::bag::BAG_INFO;
use crate::bag::read::info::Element;
use crate::bag::read::{self, Contents};
use crate::disk::plain_bytes;
use crate::fault::Fault;
use crate::finding::{Finding, Findings};
use crate::journal::Known;
use crate::rfc4180::{LineEnd, Row, Rows};
use crate::tables::without_apostrophe;

mod beside;
mod find;
mod labels;
mod layout;
mod pictures;
mod place;
mod table;
mod verdict;

pub use find::find;

/// What was found of one record.
#[derive(Clone, Debug)]
pub struct Verified {
    /// Its folder, absolute.
    pub folder: PathBuf,
    /// Name of the lot; `None` where nothing says it.
    pub lot: Option<String>,
    /// Its revision; `None` where nothing says it.
    pub revision: Option<u32>,
    /// SHA-256 of its tag manifest, which stands for the whole record; `None` where it cannot be read.
    pub tag_manifest_sha256: Option<String>,
    /// Files of the payload.
    pub files: usize,
    /// Bytes of the payload.
    pub bytes: u64,
    /// Faults and notes, in a fixed order.
    pub findings: Vec<Finding>,
}

impl Verified {
    /// Whether there is no fault.
    pub fn is_whole(&self) -> bool {
        self.faults().next().is_none()
    }

    /// What makes it not as it must be.
    pub fn faults(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|finding| finding.is_fault)
    }

    /// What is worth knowing.
    pub fn notes(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|finding| !finding.is_fault)
    }
}

/// Lot, revision and digest of a record, as far as its labels say; `None` where they do not.
pub(crate) fn identity(folder: &Path) -> Option<(String, u32, String)> {
    let text = String::from_utf8(plain_bytes(&folder.join(BAG_INFO))?).ok()?;
    let said = |label: &str| text.lines().find_map(|line| line.strip_prefix(label)?.strip_prefix(": "));
    let (lot, revision) = (said(labels::LOT)?, said(labels::REVISION)?);
    Some((lot.to_owned(), revision.parse().ok()?, archive::tag_digest(folder)?))
}

/// A record as far as it can be read, for the checks.
struct Record<'a> {
    /// Absolute.
    folder: &'a Path,
    bag: &'a Contents,
    /// `data/record.csv`: header, then rows; empty where it cannot be read.
    table: Vec<Vec<String>>,
    lot: Option<String>,
    revision: Option<u32>,
    journals: &'a Journals,
}

/// A look at one side of a record that adds what it finds.
type Check = fn(&Record<'_>, &mut Findings);

/// What a record of this version must be, beyond a whole bag, in the order of the findings. What else a record comes to be held against
/// is a function here.
const CHECKS: [Check; 8] =
    [labels::check, layout::check, table::check, pictures::check, verdict::check, place::check, beside::signoffs, beside::journal];

/// Journals by the folders of records that they lie in, each read once.
#[derive(Debug, Default)]
pub struct Journals {
    read: RefCell<BTreeMap<PathBuf, Rc<Journal>>>,
}

/// A journal, none, or why it cannot be read.
type Journal = Result<Option<Known>, Fault>;

impl Journals {
    /// Folders of records whose journals were changed.
    pub fn changed(&self) -> Vec<PathBuf> {
        let read = self.read.borrow();
        let is_changed = |known: &Rc<Journal>| matches!(&**known, Ok(Some(known)) if !known.checked.is_whole());
        read.iter().filter(|(_, known)| is_changed(known)).map(|(out, _)| out.clone()).collect()
    }

    fn of(&self, out: &Path) -> Rc<Journal> {
        let mut read = self.read.borrow_mut();
        Rc::clone(read.entry(out.to_path_buf()).or_insert_with(|| Rc::new(Known::read(out))))
    }
}

/// Looks at the record in a folder. What cannot be read is a fault of the record.
pub fn record(folder: &Path) -> Verified {
    among(folder, &Journals::default())
}

/// Looks at one of several records, whose journals are read once.
pub fn among(folder: &Path, journals: &Journals) -> Verified {
    let folder = std::path::absolute(folder).unwrap_or_else(|_| folder.to_path_buf());
    let mut bag = read::read(&folder, &*read::PRODUCTION);
    let mut findings = std::mem::take(&mut bag.findings);
    // In a record the tag manifest holds all there is beside the payload.
    findings.raise("tag_file_unlisted");
    if folder.is_symlink() {
        findings.push(Finding::fault("symlink", "the record's folder is a link; the record itself lies elsewhere", read::RESTORE));
    }
    let table = table_of(&folder, &bag, "data/record.csv");
    let record = Record { lot: labels::lot(&bag), revision: labels::revision(&bag), folder: &folder, bag: &bag, table, journals };
    // Of a record whose version is not known nothing but the bag can be judged.
    let checks = if labels::is_known(&bag) { &CHECKS[..] } else { &CHECKS[..1] };
    for check in checks {
        check(&record, &mut findings);
    }
    let (files, bytes) = bag.payload();
    let Record { lot, revision, .. } = record;
    Verified {
        lot,
        revision,
        tag_manifest_sha256: archive::tag_digest(&folder),
        files,
        bytes,
        findings: findings.into_list(),
        folder: folder.clone(),
    }
}

impl Record<'_> {
    /// The place of a file of the record, if it is a plain file.
    fn open(&self, file: &str) -> Option<fs::File> {
        self.bag.files.get(file).and_then(|_| fs::File::open(self.folder.join(file)).ok())
    }

    /// The texts of a column of `record.csv`, a row each; empty where there is no such column.
    fn column(&self, id: &str) -> Vec<&str> {
        column(&self.table, id)
    }
}

/// Largest table of a row per objective or field that is held, bytes.
const LARGEST_TABLE: u64 = 16 << 20;

/// A table that has a row per objective or field; empty where it cannot be read, which is told where tables are looked at.
fn table_of(folder: &Path, bag: &Contents, file: &str) -> Vec<Vec<String>> {
    if bag.files.get(file).is_none_or(|&length| length > LARGEST_TABLE) {
        return Vec::new();
    }
    let Ok(bytes) = fs::read(folder.join(file)) else { return Vec::new() };
    let (mut rows, mut row, mut table) = (Rows::new(&bytes[..], LineEnd::CrLf), Row::default(), Vec::new());
    while rows.read(&mut row).unwrap_or(false) {
        table.push(row.cells().map(|cell| without_apostrophe(&String::from_utf8_lossy(cell)).to_owned()).collect());
    }
    table
}

/// The texts of a column of a table with a header.
fn column<'t>(table: &'t [Vec<String>], id: &str) -> Vec<&'t str> {
    let Some((header, rows)) = table.split_first() else { return Vec::new() };
    let Some(at) = header.iter().position(|column| column == id) else { return Vec::new() };
    rows.iter().filter_map(|row| row.get(at).map(String::as_str)).collect()
}

/// The elements of `bag-info.txt` with a label.
fn labelled<'b>(bag: &'b Contents, label: &str) -> impl Iterator<Item = &'b Element> {
    bag.info.iter().filter(move |element| element.label.eq_ignore_ascii_case(label))
}
