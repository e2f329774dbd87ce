//! Who may sign: OpenSSH's file of allowed signers (ssh-keygen(1), ALLOWED SIGNERS), read as ssh-keygen reads it.
//!
//! A line is a list of patterns for names, perhaps options, and a key. Of the options `namespaces`, `valid-after` and `valid-before` are
//! honoured; `cert-authority` is refused, since certificates are not read.

use std::path::Path;

use jiff::Timestamp;

use super::PublicKey;
use crate::fault::Fault;
use crate::names::printable;
use crate::toml_file::{LARGEST_FILE, as_text, read_bytes};

mod line;
mod pattern;

use pattern::Patterns;

/// A line of the file.
#[derive(Clone, Debug)]
pub struct Signer {
    /// The line, from 1.
    pub line: usize,
    names: Patterns,
    namespaces: Option<Patterns>,
    valid: [Option<Timestamp>; 2],
    key: PublicKey,
}

impl Signer {
    /// The names as the line writes them: patterns with commas between.
    pub fn names(&self) -> &str {
        self.names.text()
    }
    /// The key.
    pub const fn key(&self) -> &PublicKey {
        &self.key
    }

    /// Whether the line lets its key sign in this namespace at this time. Both ends of the time belong to it, as with ssh-keygen.
    fn holds(&self, namespace: &str, at: Timestamp) -> Result<(), Refusal> {
        if self.namespaces.as_ref().is_some_and(|all| !all.match_text(namespace)) {
            return Err(Refusal::OtherNamespace);
        }
        match self.valid {
            [Some(after), _] if at < after => Err(Refusal::NotYet(after)),
            [_, Some(before)] if at > before => Err(Refusal::NoLonger(before)),
            _ => Ok(()),
        }
    }
}

/// Why a signature does not count.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The file does not have the key.
    UnknownKey,
    /// The key belongs to these other names.
    OtherName(String),
    /// The key may not sign for this purpose.
    OtherNamespace,
    /// The key holds only from this time on.
    NotYet(Timestamp),
    /// The key held until this time.
    NoLonger(Timestamp),
}

impl std::fmt::Display for Refusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::UnknownKey => f.write_str("the file of signers does not have the key"),
            Self::OtherName(names) => write!(f, "in the file of signers the key belongs to {}", printable(names)),
            Self::OtherNamespace => f.write_str("the file of signers does not let the key sign for this purpose"),
            Self::NotYet(from) => write!(f, "in the file of signers the key holds only from {from} on"),
            Self::NoLonger(until) => write!(f, "in the file of signers the key held only until {until}"),
        }
    }
}

/// The file.
#[derive(Clone, Debug, Default)]
pub struct Signers {
    lines: Vec<Signer>,
}

impl Signers {
    /// Reads a file.
    ///
    /// # Errors
    /// It cannot be read, or as [`Signers::parse`].
    pub fn read(path: &Path) -> Result<Self, Fault> {
        const WHAT: &str = "file of signers";
        Self::parse(&as_text(&read_bytes(path, WHAT, LARGEST_FILE)?, path, WHAT)?, path)
    }

    /// Reads text; `path` stands in messages.
    ///
    /// # Errors
    /// The first line that cannot be read, or that cannot be honoured: other types of key, certificates, unknown options. ssh-keygen passes
    /// over such lines; here they would be a signer that somebody believes to be there.
    pub fn parse(text: &str, path: &Path) -> Result<Self, Fault> {
        let mut lines = Vec::new();
        for (i, text) in text.lines().enumerate() {
            lines.extend(line::parse(text, i + 1).map_err(|fault| fault.at(path).on_line(i + 1))?);
        }
        Ok(Self { lines })
    }

    /// Every signer, in the order of the file.
    pub fn lines(&self) -> &[Signer] {
        &self.lines
    }

    /// The line that lets this key sign under this name in this namespace at this time.
    ///
    /// # Errors
    /// There is none; what the nearest line lacks.
    pub fn allows(&self, key: &PublicKey, name: &str, namespace: &str, at: Timestamp) -> Result<&Signer, Refusal> {
        let of_key = || self.lines.iter().filter(|line| line.key == *key);
        let mut nearest = Refusal::UnknownKey;
        if let Some(line) = of_key().next() {
            nearest = Refusal::OtherName(line.names().to_owned());
        }
        for line in of_key().filter(|line| line.names.match_text(name)) {
            match line.holds(namespace, at) {
                Ok(()) => return Ok(line),
                Err(refusal) => nearest = refusal,
            }
        }
        Err(nearest)
    }

    /// The first line that lets this key sign in this namespace at this time, whatever the name.
    ///
    /// # Errors
    /// There is none; what the last line with that key lacks.
    pub fn find(&self, key: &PublicKey, namespace: &str, at: Timestamp) -> Result<&Signer, Refusal> {
        let mut refusal = Refusal::UnknownKey;
        for line in self.lines.iter().filter(|line| line.key == *key) {
            match line.holds(namespace, at) {
                Ok(()) => return Ok(line),
                Err(lacks) => refusal = lacks,
            }
        }
        Err(refusal)
    }
}

/// The line of the file for a key, for sign-offs alone.
///
/// # Errors
/// The name cannot be written as one that means only itself.
pub fn line_for(name: &str, key: &PublicKey) -> Result<String, Fault> {
    let is_pattern = name.contains(['"', ',', '*', '?']) || name.starts_with('!');
    if is_pattern || name.trim().is_empty() || name.chars().any(char::is_control) {
        let message = "a file of signers cannot hold this name: it is empty, or has one of \" , * ? or a ! in front";
        return Err(Fault::input(message, "give another name: --name NAME"));
    }
    let needs_quotes = name.starts_with('#') || name.contains(char::is_whitespace);
    let name = if needs_quotes { format!("\"{name}\"") } else { name.to_owned() };
    Ok(format!("{name} namespaces=\"{}\" {}", super::SIGNOFF, key.text()))
}
