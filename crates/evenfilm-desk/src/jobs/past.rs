//! What there was before a record: asked before it is queued.

use std::path::Path;
use std::thread;

use evenfilm_record::archive;
use evenfilm_record::folder::SHEET;
use evenfilm_record::journal::Journal;
use evenfilm_record::occasion::Occasion;
use evenfilm_record::settings::Settings;
use evenfilm_record::sheet::Sheet;

use super::{Report, Tell, guarded};
use crate::state::{Before, Ordered, moment};

/// Looks for the latest record of each lot, on a thread of its own: the folder of records may lie far away.
pub(super) fn look(tell: Tell, ordered: Vec<Ordered>) {
    let run = move || {
        let looked = guarded("looking for earlier records", || {
            let looked: Vec<Ordered> = ordered.iter().cloned().map(with_before).collect();
            // Settings that cannot be used stop the record itself, in words.
            let is_required = ordered.iter().any(|one| Settings::find(&one.out).is_ok_and(|settings| settings.reason_required));
            Ok((looked, is_required))
        });
        // Where even that failed, the record is asked for all the same: it says itself what is wrong.
        let (looked, is_required) = looked.unwrap_or((ordered, false));
        tell.tell(Report::LookedBack(looked, is_required));
    };
    let _ = thread::Builder::new().name("past".into()).spawn(run);
}

fn with_before(ordered: Ordered) -> Ordered {
    let lot = Sheet::read(&ordered.folder.join(SHEET)).map_or_else(|_| ordered.name.clone(), |sheet| sheet.lot);
    let there = archive::latest(&ordered.out, &lot);
    let journalled = in_journal(&ordered.out, &lot);
    let before = match (there, journalled) {
        // One that was taken away keeps its number, and the next one still follows it.
        (there, Some(number)) if there.as_ref().is_none_or(|(found, _)| *found < number) => {
            Some(Before { revision: Some(number), at: String::new() })
        }
        (Some((number, record)), _) => Some(Before { revision: Some(number), at: made_at(&record) }),
        (None, _) => None,
    };
    Ordered { before, ..ordered }
}

/// The latest revision that the journal knows of a lot; `None` also where it cannot be read.
fn in_journal(out: &Path, lot: &str) -> Option<u32> {
    let occasion = Occasion::now(out, env!("CARGO_PKG_VERSION")).ok()?;
    let journal = Journal::open_existing(out, &occasion).ok()??;
    journal.latest(lot).ok()?.map(|(number, _)| number)
}

/// When a record was made, in words; empty where it does not say.
pub(super) fn made_at(record: &Path) -> String {
    let info = std::fs::read_to_string(record.join("bag-info.txt")).unwrap_or_default();
    let said = |label: &str| info.lines().find_map(|line| line.strip_prefix(label)?.strip_prefix(": "));
    said("Evenfilm-Sealed-At").or_else(|| said("Bagging-Date")).map_or_else(String::new, moment)
}
