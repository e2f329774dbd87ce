//! What lies beside a record and speaks of it: its sign-offs, and the journal of the folder of records.

use std::path::Path;

use unicode_normalization::UnicodeNormalization;

use super::Record;
use crate::archive::{self, revision_number};
use crate::bag::read::RESTORE;
use crate::digest::sha256_hex;
use crate::disk::plain_bytes;
use crate::finding::{Finding, Findings};
use crate::journal::JOURNAL;
use crate::names::{folder_name, printable};
use crate::settings::Settings;
use crate::signoff;

const COPY: &str = "compare the records and the journal with copies that were kept elsewhere";
const NOTHING: &str = "nothing need be done where it is a copy";

/// Whether the record lies where it was sealed, so that what lies beside it is of its lot.
fn at_home(record: &Record<'_>) -> bool {
    let name = |folder: &Path| folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    // Some systems take names apart when they keep them.
    let home = record.folder.parent().map(|folder| name(folder).nfc().collect::<String>());
    record.lot.as_ref().is_some_and(|lot| home == Some(folder_name(lot))) && revision_number(&name(record.folder)) == record.revision
}

/// Sign-offs: each by itself, and all of them together.
pub(super) fn signoffs(record: &Record<'_>, findings: &mut Findings) {
    if !at_home(record) {
        return;
    }
    match Settings::of_record(record.folder) {
        Ok(settings) => findings.extend(signoff::of_record(record.folder, &settings).into_iter().flat_map(|found| found.findings)),
        // Without sign-offs there is nothing to hold against settings.
        Err(_) if signoff::of_record(record.folder, &Settings::default()).is_empty() => {}
        Err(fault) => {
            let message = format!("the lab's settings cannot be used, so that sign-offs were not held against them: {}", fault.message);
            findings.push(Finding::fault("settings", message, "mend the file of settings, or have it mended"));
        }
    }
}

/// The journal, where one lies in the folder of records.
pub(super) fn journal(record: &Record<'_>, findings: &mut Findings) {
    let (true, Some(lot), Some(revision)) = (at_home(record), &record.lot, record.revision) else { return };
    let Some(out) = record.folder.ancestors().nth(2) else { return };
    let known = record.journals.of(out);
    let journal = match &*known {
        Ok(Some(journal)) => journal,
        Ok(None) => {
            let message = "no journal lies in the folder of records, so that what was removed from it cannot be told";
            return findings.push(Finding::note("journal_none", message, NOTHING));
        }
        Err(fault) => return findings.push(Finding::fault("journal_unreadable", fault.message.clone(), "check the rights on the journal")),
    };
    if !journal.checked.is_whole() {
        let message = "the journal of the folder of records was changed (evenfilm journal says where)";
        findings.push(Finding::note("journal_changed", message, COPY).at(format!("../../{JOURNAL}")));
    }
    let said = journal.of_record(lot, revision);
    let digest = archive::tag_digest(record.folder);
    let fault = |id, message: &str| Finding::fault(id, message, COPY).at(format!("../../{JOURNAL}"));
    match said.sealed.as_slice() {
        [] => findings.push(fault(
            "journal_lacks",
            "the journal does not know this record: it was put there by something else, or the journal was begun anew",
        )),
        [sealed] if Some(sealed) == digest.as_ref() => {}
        [_] => findings.push(fault("journal_differs", "the journal names another digest for this revision: one of both was changed")),
        _ => findings.push(fault("journal_twice", "the journal names this revision twice")),
    }
    for (file, stated) in &said.signoffs {
        // A name that leads elsewhere is none of a sign-off.
        let plain = !file.contains(['/', '\\']) && file.starts_with(&format!("r{revision}-"));
        let path = record.folder.parent().unwrap_or(record.folder).join("signoffs").join(file);
        let found = plain.then(|| plain_bytes(&path)).flatten().map(|bytes| sha256_hex(&bytes));
        let place = format!("../signoffs/{}", printable(file));
        match found {
            Some(found) if found == *stated => {}
            Some(_) => findings.push(Finding::fault("signoff_changed", "is not the sign-off that the journal names", RESTORE).at(place)),
            None => findings.push(Finding::fault("signoff_gone", "is gone, though the journal names it", RESTORE).at(place)),
        }
    }
}
