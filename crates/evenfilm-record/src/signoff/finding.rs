//! What looking at a sign-off found.

use std::path::PathBuf;

/// One thing that was found, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// What kind of thing, for programs.
    pub id: &'static str,
    /// The file it is about.
    pub file: PathBuf,
    /// The line in it, from 1.
    pub line: Option<usize>,
    /// What was found: one sentence without a full stop.
    pub message: String,
    /// What to do: one sentence without a full stop.
    pub remedy: String,
    /// Whether the sign-off cannot count as it stands; else it is a remark.
    pub is_fault: bool,
}
