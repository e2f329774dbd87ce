//! The files that a record has.

use super::Record;
use crate::bag::read::RESTORE;
use crate::bag::read::declaration::Version;
use crate::bag::{BAG_INFO, DECLARATION_FILE, PAYLOAD_MANIFEST, TAG_MANIFEST};
use crate::finding::{Finding, Findings};

/// All that lies beside the payload.
const TAG_FILES: [&str; 4] = [BAG_INFO, DECLARATION_FILE, PAYLOAD_MANIFEST, TAG_MANIFEST];

/// What every record holds.
const ALWAYS: [&str; 8] = [
    "data/record.csv",
    "data/fields.csv",
    "data/objects.csv",
    "data/gaps.csv",
    "data/pictures.csv",
    "data/uncertainty.csv",
    "data/batch.toml",
    "data/recipe.toml",
];

/// Where the first one is, the second one must be.
const TOGETHER: [[&str; 2]; 5] = [
    ["data/limits.toml", "data/decisions.csv"],
    ["data/decisions.csv", "data/limits.toml"],
    ["data/corrections.csv", "data/record-uncorrected.csv"],
    ["data/record-uncorrected.csv", "data/corrections.csv"],
    ["data/record-without-rejected.csv", "data/corrections.csv"],
];

pub(super) fn check(record: &Record<'_>, findings: &mut Findings) {
    let files = &record.bag.files;
    let missing = |file: &str| Finding::fault("missing", "is missing, though every record has it", RESTORE).at(file);
    if let Some(version) = record.bag.version.filter(|version| *version != Version::FINAL) {
        let message = format!("is a bag of version {}.{}; records are of 1.0", version.major, version.minor);
        findings.push(Finding::fault("bag_version", message, RESTORE).at(DECLARATION_FILE).on_line(1));
    }
    // The reader of bags tells of a missing declaration, and of a missing file that is listed.
    let known = |file: &str| files.contains_key(file) || file == DECLARATION_FILE || record.bag.listed.contains(file);
    findings.extend(TAG_FILES.iter().filter(|file| !known(file)).map(|file| missing(file)));
    let beside = files.keys().filter(|file| !file.starts_with("data/") && !TAG_FILES.contains(&file.as_str()));
    findings.extend(
        beside
            .filter(|file| record.bag.listed.contains(*file))
            .map(|file| Finding::fault("other_file", "is no file of a record, though the tag manifest lists it", RESTORE).at(file)),
    );
    findings.extend(ALWAYS.iter().filter(|file| !known(file)).map(|file| missing(file)));
    for [one, other] in TOGETHER {
        if files.contains_key(one) && !known(other) {
            findings.push(Finding::fault("missing", format!("is missing, though {one} is there"), RESTORE).at(other));
        }
    }
}
