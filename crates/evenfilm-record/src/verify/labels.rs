//! What `bag-info.txt` must say, and whether `data/record.csv` says the same.

use super::{Record, labelled};
use crate::archive::RECORD_VERSION;
use crate::bag::BAG_INFO;
use crate::bag::read::Contents;
use crate::bag::read::RESTORE;
use crate::finding::{Finding, Findings};
use crate::names::printable;

const VERSION: &str = "Evenfilm-Record-Version";
pub(super) const REVISION: &str = "Evenfilm-Revision";
pub(super) const LOT: &str = "External-Identifier";

/// Labels that a record has once.
const ONCE: [&str; 7] = [VERSION, REVISION, LOT, "Payload-Oxum", "Bagging-Date", "Evenfilm-Program-Version", "Time-Source"];

/// The label of a record that names the one before it.
pub(super) const PREVIOUS: &str = "Previous-Tag-Manifest-SHA256";

pub(super) fn lot(bag: &Contents) -> Option<String> {
    labelled(bag, LOT).next().map(|element| element.value.clone())
}

pub(super) fn revision(bag: &Contents) -> Option<u32> {
    labelled(bag, REVISION).next().and_then(|element| whole(&element.value))
}

/// A number from 1 as the program writes it.
fn whole(text: &str) -> Option<u32> {
    text.parse().ok().filter(|number: &u32| *number > 0 && number.to_string() == text)
}

/// Whether the layout of the record is one that this program knows.
pub(super) fn is_known(bag: &Contents) -> bool {
    labelled(bag, VERSION).next().is_some_and(|element| element.value == RECORD_VERSION)
}

pub(super) fn check(record: &Record<'_>, findings: &mut Findings) {
    let bag = record.bag;
    let found = findings;
    if let Some(version) = labelled(bag, VERSION).next().filter(|element| element.value != RECORD_VERSION) {
        let newer = whole(&version.value).zip(whole(RECORD_VERSION)).is_some_and(|(theirs, ours)| theirs > ours);
        let shown = version.shown();
        found.push(if newer {
            let message = format!("the record's layout is version {shown}, which a later program wrote; only its digests were looked at");
            Finding::fault("record_version_newer", message, "use a newer program").at(BAG_INFO).on_line(version.line)
        } else {
            let message = format!("the record's layout is version \"{shown}\", which no program writes");
            Finding::fault("record_version", message, RESTORE).at(BAG_INFO).on_line(version.line)
        });
    }
    for label in ONCE {
        let mut lines = labelled(bag, label);
        if lines.next().is_none() {
            found.push(Finding::fault("label_missing", format!("has no line {label}, which every record has"), RESTORE).at(BAG_INFO));
        }
        // The reader of bags tells of Payload-Oxum itself.
        if let Some(second) = lines.next().filter(|_| label != "Payload-Oxum") {
            found.push(Finding::fault("label_twice", format!("says {label} a second time"), RESTORE).at(BAG_INFO).on_line(second.line));
        }
    }
    if let Some(element) = labelled(bag, REVISION).next().filter(|element| whole(&element.value).is_none()) {
        let message = format!("the revision is \"{}\", which is none", element.shown());
        found.push(Finding::fault("revision", message, RESTORE).at(BAG_INFO).on_line(element.line));
    }
    agree(record, found);
}

/// Holds lot and revision against each row of the record's table.
fn agree(record: &Record<'_>, findings: &mut Findings) {
    const TABLE: &str = "data/record.csv";
    let line = |text: &str| text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect::<String>().trim().to_owned();
    if let Some(lot) = &record.lot
        && let Some(other) = record.column("lot").iter().find(|cell| line(cell) != *lot)
    {
        let message = format!("is of the lot {}, but {BAG_INFO} says {}", printable(other), printable(lot));
        findings.push(Finding::fault("lot_differs", message, RESTORE).at(TABLE));
    }
    if let Some(revision) = record.revision
        && let Some(other) = record.column("revision").iter().find(|cell| whole(cell) != Some(revision))
    {
        let message = format!("is revision {}, but {BAG_INFO} says {revision}", printable(other));
        findings.push(Finding::fault("revision_differs", message, RESTORE).at(TABLE));
    }
}
