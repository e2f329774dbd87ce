//! What went wrong, where, and what to do: the one error of this crate.

use std::path::{Path, PathBuf};

/// Who must act.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// A sheet, recipe, limits or picture cannot be used as it is (exit code 2).
    Input,
    /// The work itself failed: disk full, folder not writable (exit code 1).
    Work,
    /// The user stopped it (exit code 130).
    Interrupted,
}

impl FaultKind {
    /// The word that `--json` uses.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Input => "input",
            Self::Work => "work",
            Self::Interrupted => "interrupted",
        }
    }
}

/// An error in words that a technician can act on.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{message}{}{}", .file.as_ref().map(|f| format!(" ({}{})", f.display(), .line.map(|l| format!(", line {l}")).unwrap_or_default())).unwrap_or_default(), if .remedy.is_empty() { String::new() } else { format!("\n  {}", .remedy) })]
pub struct Fault {
    /// Who must act.
    pub kind: FaultKind,
    /// The file it is about.
    pub file: Option<PathBuf>,
    /// The line in that file, from 1.
    pub line: Option<usize>,
    /// What is wrong: one sentence without a full stop.
    pub message: String,
    /// What to do: one sentence without a full stop.
    pub remedy: String,
}

impl Fault {
    /// Input that cannot be used.
    pub fn input(message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { kind: FaultKind::Input, file: None, line: None, message: message.into(), remedy: remedy.into() }
    }
    /// Work that failed.
    pub fn work(message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { kind: FaultKind::Work, ..Self::input(message, remedy) }
    }
    /// The user stopped it.
    pub fn interrupted() -> Self {
        Self { kind: FaultKind::Interrupted, ..Self::input("interrupted; nothing was written", "") }
    }
    /// The same, naming the file.
    #[must_use]
    pub fn at(mut self, file: impl AsRef<Path>) -> Self {
        self.file = Some(file.as_ref().to_path_buf());
        self
    }
    /// The same, naming the line.
    #[must_use]
    pub fn on_line(mut self, line: usize) -> Self {
        self.line = Some(line);
        self
    }
}
