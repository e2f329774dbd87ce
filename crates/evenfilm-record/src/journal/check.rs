//! Whether a journal is whole, and whether it still goes on from a head that was kept elsewhere.

use serde_json::{Value, json};

use super::JOURNAL;
use crate::digest::sha256_hex;
use crate::finding::Finding;

const KEEP: &str = "keep the journal as it is, find out what happened, and compare it with a copy";
const NOTHING: &str = "nothing need be done";

/// A line by its number, its digest and its moment: enough to tell later whether anything up to it has changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    /// Running number of the line, from 1.
    pub number: u64,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// Its moment.
    pub at: String,
}

impl Head {
    /// The head that a line is; `None` where it is no entry of a journal.
    pub(super) fn of_line(line: &[u8]) -> Option<Self> {
        let entry: Value = serde_json::from_slice(line).ok()?;
        let (number, at) = (entry.get("n")?.as_u64().filter(|&n| n > 0)?, entry.get("at")?.as_str()?);
        Some(Self { number, sha256: sha256_hex(line), at: at.to_owned() })
    }

    /// As it is kept in a file.
    pub fn text(&self) -> String {
        format!("{}\n", json!({ "n": self.number, "sha256": self.sha256, "at": self.at }))
    }

    /// The way back from [`Head::text`].
    pub fn parse(text: &str) -> Option<Self> {
        let value: Value = serde_json::from_str(text).ok()?;
        let [sha256, at] = ["sha256", "at"].map(|key| value.get(key).and_then(Value::as_str).map(str::to_owned));
        let sha256 = sha256.filter(|digest| digest.len() == 64 && digest.bytes().all(|b| b.is_ascii_hexdigit()))?;
        Some(Self { number: value.get("n")?.as_u64().filter(|&n| n > 0)?, sha256: sha256.to_lowercase(), at: at? })
    }
}

/// What a journal says of itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Checked {
    /// Number of entries that could be read.
    pub entries: usize,
    /// The last of them.
    pub head: Option<Head>,
    /// What is wrong, in the order of the lines.
    pub findings: Vec<Finding>,
}

impl Checked {
    /// Whether nothing was changed as far as the journal itself can tell.
    pub fn is_whole(&self) -> bool {
        self.findings.iter().all(|finding| !finding.is_fault)
    }
}

/// Reads a journal from its first line to its last. `kept` is a head from elsewhere that must still be in it.
pub fn check(bytes: &[u8], kept: Option<&Head>) -> Checked {
    let mut checked = Checked::default();
    let mut seen = false;
    for (at, line) in bytes.split_inclusive(|&b| b == b'\n').enumerate() {
        let line_number = at + 1;
        let mut found = |id, is_fault, message: String| {
            let finding = Finding::fault(id, message, if is_fault { KEEP } else { NOTHING });
            checked.findings.push(finding.as_fault(is_fault).at(JOURNAL).on_line(line_number));
        };
        let Some(line) = line.strip_suffix(b"\n") else {
            found("journal_torn", false, "the last line was cut short by a stop; the next entry takes it off and says so".into());
            continue;
        };
        let Some(head) = Head::of_line(line) else {
            found("journal_line", true, "this line is no entry of a journal".into());
            continue;
        };
        let previous = serde_json::from_slice::<Value>(line).ok().and_then(|entry| entry.get("previous").cloned()).unwrap_or_default();
        let expected = checked.head.as_ref().map(|last| last.sha256.as_str());
        if previous.as_str() != expected {
            let message = if expected.is_none() && at == 0 {
                "the first entry names one before it: the beginning of the journal is missing"
            } else {
                "the entry does not name the digest of the one before: one of them was changed, or some between were taken out"
            };
            found("journal_chain", true, message.into());
        }
        let next = checked.head.as_ref().map_or(1, |last| last.number.saturating_add(1));
        if head.number != next {
            found("journal_number", true, format!("the entry has the number {} where {next} follows", head.number));
        }
        if checked.head.as_ref().is_some_and(|last| last.at > head.at) {
            found("journal_time", false, format!("its moment {} is before that of the entry before; the clock was set back", head.at));
        }
        if kept.is_some_and(|kept| kept.number == head.number) {
            seen = true;
            if kept.is_some_and(|kept| kept.sha256 != head.sha256) {
                found(
                    "journal_head",
                    true,
                    format!("entry {} is not the one whose digest was kept: the journal up to it was changed", head.number),
                );
            }
        }
        checked.entries += 1;
        checked.head = Some(head);
    }
    if let Some(kept) = kept.filter(|_| !seen) {
        let message = format!("entry {}, whose digest was kept, is not in the journal: it was cut short or begun anew", kept.number);
        checked.findings.push(Finding::fault("journal_head", message, KEEP).at(JOURNAL));
    }
    checked
}
