//! The check that a lot rests on: a retained slide, measured from time to time with the same microscope, whose numbers have limits of their
//! own. Its records lie beside those of the lots.

use std::fs;
use std::path::Path;

use evenfilm_core::quality::{Flag, FlagId};

use crate::archive;
use crate::bag;
use crate::folder::{Batch, Objective};
use crate::sheet::Purpose;
use crate::tables::without_apostrophe;

use super::Job;

/// The latest record of a check.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// Name of its lot.
    pub lot: String,
    /// Revision.
    pub revision: u32,
    /// When it was measured.
    pub measured_at: String,
    /// Its verdict; empty where it has none.
    pub verdict: String,
    /// SHA-256 of its tag manifest.
    pub sha256: String,
}

impl Check {
    /// In one line of a table.
    pub fn word(&self) -> String {
        let Self { lot, revision, measured_at, verdict, .. } = self;
        format!("{lot} r{revision} of {measured_at}: {}", if verdict.is_empty() { "no verdict" } else { verdict })
    }
}

/// Whether a lot can rest on its check.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Standing {
    Good,
    /// The sheet names none.
    Unnamed,
    /// No readable record of it lies in the output folder.
    Missing,
    /// So many days, and how many are allowed.
    Old(f64, f64),
    /// It was not within its limits, or had none.
    NotWithin,
}

const MISSING: &str = "no whole record of the check that the sheet names, made before for this microscope and scale with purpose = \"check\", lies in the output folder, \
                       so the verdict is provisional; measure the check first";

impl Standing {
    pub(super) fn flag(self) -> Option<Flag> {
        match self {
            Self::Good => None,
            Self::Unnamed => Some(FlagId::NoCheck.flag(None, None)),
            Self::Missing => Some(FlagId::NoCheck.flag(None, None).with_advice(MISSING)),
            Self::Old(age, most) => Some(FlagId::CheckOld.flag(age, most)),
            Self::NotWithin => Some(FlagId::CheckNotWithin.flag(None, None)),
        }
    }
}

/// The check of an objective and how it stands. A check rests on no other.
pub(super) fn of(batch: &Batch, objective: &Objective, job: &Job<'_>) -> (Option<Check>, Option<Standing>) {
    if batch.sheet.purpose() == Purpose::Check {
        return (None, None);
    }
    let Some(name) = &objective.microscope.check else { return (None, Some(Standing::Unnamed)) };
    let Some(check) = latest(job.out, name, objective) else { return (None, Some(Standing::Missing)) };
    let most = f64::from(objective.recipe.fields.check_max_age_days);
    let standing = match job.occasion.moment.days_since_moment(&check.measured_at) {
        None => Standing::Missing,
        // A check that is still to come shows nothing yet.
        Some(age) if age < 0.0 => Standing::Missing,
        _ if check.verdict != "within" => Standing::NotWithin,
        Some(age) if age > most => Standing::Old(age, most),
        Some(_) => Standing::Good,
    };
    (Some(check), Some(standing))
}

/// Scales that differ by more than this share are two.
const SAME_SCALE: f64 = 0.001;

/// The latest record of a check for an objective; `None` where there is none, it is not as it was sealed, or its scale is another.
fn latest(out: &Path, name: &str, objective: &Objective) -> Option<Check> {
    let (revision, folder) = archive::latest(out, name)?;
    if !bag::is_whole(&folder) {
        return None;
    }
    let table = fs::read(folder.join("data/record.csv")).ok()?;
    let mut reader = csv::Reader::from_reader(&table[..]);
    let header = reader.headers().ok()?.clone();
    let rows: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>().ok()?;
    let cell = |row: &csv::StringRecord, id: &str| {
        header.iter().position(|column| column == id).and_then(|at| row.get(at)).map(|cell| without_apostrophe(cell).to_owned())
    };
    let row = rows.iter().find(|row| cell(row, "microscope").as_deref() == Some(objective.word()))?;
    let scale: f64 = cell(row, "um_per_px")?.parse().ok()?;
    let same = (scale - objective.scale.um_per_px).abs() <= SAME_SCALE * objective.scale.um_per_px;
    let check = Check {
        lot: cell(row, "lot")?,
        revision,
        measured_at: cell(row, "measured_at")?,
        verdict: cell(row, "verdict")?,
        sha256: archive::tag_digest(&folder)?,
    };
    (same && check.lot == name && cell(row, "purpose").as_deref() == Some(Purpose::Check.word())).then_some(check)
}
