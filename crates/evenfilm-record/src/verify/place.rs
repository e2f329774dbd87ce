//! Where a record lies: the names of its folders, and the chain of revisions beside it.

use std::fs;
use std::path::Path;

use unicode_normalization::UnicodeNormalization;

use super::labels::PREVIOUS;
use super::{Record, labelled};
use crate::archive::{self, STAGING, revision_number};
use crate::bag::BAG_INFO;
use crate::bag::read::RESTORE;
use crate::finding::{Finding, Findings};
use crate::names::{folder_name, printable};

const SIGNOFFS: &str = "signoffs";

pub(super) fn check(record: &Record<'_>, findings: &mut Findings) {
    let (Some(lot), Some(revision), Some(above)) = (&record.lot, record.revision, record.folder.parent()) else { return };
    let own = name_of(record.folder);
    let home = folder_name(lot);
    if name_of(above).nfc().collect::<String>() != home {
        // A copy may lie anywhere; what lies beside it need not be of this lot.
        let message =
            format!("lies outside {}, the folder of its lot, so that it was not held against the records before it", printable(&home));
        findings.push(Finding::note("other_folder", message, "nothing need be done where it is a copy"));
        return;
    }
    match revision_number(&own) {
        Some(number) if number != revision => {
            let message = format!("lies in the folder {own}, but is revision {revision}");
            findings.push(Finding::fault("revision_folder", message, RESTORE));
            return;
        }
        Some(_) => {}
        None => {
            let message =
                format!("lies in a folder {}, not r{revision}, so that it was not held against the records before it", printable(&own));
            findings.push(Finding::note("other_folder", message, "nothing need be done where it is a copy"));
            return;
        }
    }
    let beside = beside(above, findings);
    let revisions: Vec<u32> = beside.iter().filter_map(|name| revision_number(name)).collect();
    chain(record, above, revision, revisions.iter().copied().filter(|&number| number < revision).max(), findings);
    // What lies beside all revisions is told once, with the latest.
    if revisions.iter().all(|&number| number <= revision) {
        findings.extend(beside.iter().filter_map(|name| stranger(name)));
    }
}

/// The names in the folder of a lot, sorted.
fn beside(lot_folder: &Path, findings: &mut Findings) -> Vec<String> {
    let names = fs::read_dir(lot_folder).and_then(|entries| {
        entries.map(|entry| entry.map(|entry| entry.file_name().to_string_lossy().into_owned())).collect::<Result<Vec<_>, _>>()
    });
    match names {
        Ok(mut names) => {
            names.sort();
            names
        }
        Err(e) => {
            findings.push(Finding::fault("unreadable", format!("the folder of the lot cannot be read: {e}"), "see that you may read it"));
            Vec::new()
        }
    }
}

/// Holds the record against the one before it, which it names by the digest of its tag manifest.
fn chain(record: &Record<'_>, lot_folder: &Path, revision: u32, before: Option<u32>, findings: &mut Findings) {
    let last = before.unwrap_or(0);
    if last + 1 < revision {
        let missing = if last + 2 == revision { format!("r{} is", last + 1) } else { format!("r{} to r{} are", last + 1, revision - 1) };
        let message = format!("{missing} missing beside it: measuring again gives the next number, and no record is ever removed");
        findings.push(Finding::fault("revision_missing", message, "take what is missing from a backup"));
    }
    let mut named = labelled(record.bag, PREVIOUS);
    let (first, second) = (named.next(), named.next());
    let fault = |message: String| Finding::fault("chain_broken", message, RESTORE).at(BAG_INFO);
    let fault = |message: &str| match second.or(first) {
        Some(element) => fault(message.into()).on_line(element.line),
        None => fault(message.into()),
    };
    match (first, before) {
        _ if second.is_some() => findings.push(fault("names a record before it twice")),
        (None, _) if revision > 1 => findings.push(fault("does not name the record before it by its digest")),
        (Some(_), _) if revision == 1 => findings.push(fault("names a record before it, though it is the first")),
        (Some(named), _) if named.value == format!("unreadable in r{}", revision - 1) => {
            let message = format!("r{} could not be read when this was sealed, so that the chain begins anew here", revision - 1);
            findings.push(Finding::note("chain_begins", message, "nothing can be done").at(BAG_INFO).on_line(named.line));
        }
        (Some(named), Some(before)) if before + 1 == revision => match archive::tag_digest(&lot_folder.join(format!("r{before}"))) {
            Some(digest) if digest == named.value => {}
            Some(_) => findings.push(fault(&format!(
                "names another record as the one before it than r{before}: one of both was changed or put in place of another"
            ))),
            None => findings.push(fault(&format!("r{before}, the record before it, has no tag manifest that can be read"))),
        },
        // Something is missing in between, which is told above.
        _ => {}
    }
}

/// What lies in the folder of a lot and is none of its own.
fn stranger(name: &str) -> Option<Finding> {
    if revision_number(name).is_some() || name == SIGNOFFS {
        return None;
    }
    Some(if name.starts_with(STAGING) {
        let message = format!("{} beside it was left by a run that was ended, or belongs to one that goes on", printable(name));
        Finding::note("leftover", message, "nothing need be done: the next measurement of the lot finishes or removes what is left")
    } else {
        Finding::note("stranger", format!("{} beside it is nothing that this program makes", printable(name)), "ask who put it there")
    })
}

fn name_of(folder: &Path) -> String {
    folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}
