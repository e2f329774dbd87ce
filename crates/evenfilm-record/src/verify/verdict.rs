//! Whether the verdict of a record is one that its decisions bear out.

use super::{Record, column, table_of};
use crate::bag::read::RESTORE;
use crate::finding::{Finding, Findings};

const DECISIONS: &str = "data/decisions.csv";

/// `within` needs every decision within, `outside` one that is outside; each objective has its own.
pub(super) fn check(record: &Record<'_>, findings: &mut Findings) {
    let decisions = table_of(record.folder, record.bag, DECISIONS);
    let (whose, outcomes) = (column(&decisions, "microscope"), column(&decisions, "outcome"));
    for (microscope, verdict) in record.column("microscope").iter().zip(record.column("verdict")) {
        let mut own = whose.iter().zip(&outcomes).filter(|(name, _)| *name == microscope).map(|(_, outcome)| *outcome).peekable();
        let borne_out = match verdict {
            "within" => own.peek().is_some() && own.all(|outcome| outcome == "within"),
            "outside" => own.any(|outcome| outcome == "outside"),
            _ => true,
        };
        if !borne_out {
            let message = format!("calls the lot {verdict}, which {DECISIONS} does not bear out");
            findings.push(Finding::fault("verdict_differs", message, RESTORE).at("data/record.csv"));
        }
    }
}
