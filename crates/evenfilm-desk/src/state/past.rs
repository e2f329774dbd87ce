//! Records that are asked for again, and why.

use std::path::PathBuf;

/// A record that is asked for and not yet queued.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Ordered {
    /// The lot's folder.
    pub(crate) folder: PathBuf,
    /// The lot's name.
    pub(crate) name: String,
    /// Where the record goes.
    pub(crate) out: PathBuf,
    /// The record before it, where there is one.
    pub(crate) before: Option<Before>,
}

/// The latest record of a lot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Before {
    /// Its revision; `None` where it is still being written.
    pub(crate) revision: Option<u32>,
    /// When it was made, in words; empty where that cannot be told.
    pub(crate) at: String,
}

impl Before {
    /// The record in words, as in "revision 2 of 2026-11-26 08:48 UTC".
    pub(crate) fn words(&self) -> String {
        let Some(revision) = self.revision else { return "a record that is being written".into() };
        if self.at.is_empty() { format!("revision {revision}") } else { format!("revision {revision} of {}", self.at) }
    }
}

/// Records that wait until somebody says why they are made although there are earlier ones.
#[derive(Debug, Default)]
pub(crate) struct Again {
    /// All of them, in the order in which they were asked for; those without an earlier record wait for the others.
    pub(crate) ordered: Vec<Ordered>,
    /// Whether the lab asks for a reason.
    pub(crate) is_required: bool,
}

/// A moment as records have it, "2026-11-26T08:48:25Z", in the words of the desk.
pub(crate) fn moment(utc: &str) -> String {
    match (utc.get(..10), utc.get(10..11), utc.get(11..16)) {
        (Some(day), Some("T"), Some(time)) if utc.ends_with('Z') => format!("{day} {time} UTC"),
        _ => utc.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_are_read() {
        assert_eq!(moment("2026-11-26T08:48:25Z"), "2026-11-26 08:48 UTC");
        assert_eq!(moment("2026-11-26"), "2026-11-26");
        assert_eq!(moment("é"), "é");
    }
}
