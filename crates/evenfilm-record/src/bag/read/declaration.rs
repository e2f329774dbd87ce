//! `bagit.txt`: two lines in an exact form (RFC 8493, 2.1.1).

use std::collections::BTreeMap;
use std::path::Path;

use super::text::{self, Encoding};
use super::{LARGEST_INFO, RESTORE, text::lines};
use crate::finding::{Finding, Findings};

const FILE: &str = "bagit.txt";

/// A version of BagIt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Version {
    /// Before the dot.
    pub major: u16,
    /// Behind it.
    pub minor: u16,
}

impl Version {
    /// The one that RFC 8493 describes, and that records have.
    pub const FINAL: Self = Self { major: 1, minor: 0 };

    /// Whether it is the one of the RFC, or later; the drafts before it were laxer.
    pub fn is_final(self) -> bool {
        self >= Self::FINAL
    }
}

/// What the declaration says; what cannot be read is `None` or the usual.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Declaration {
    /// Version of BagIt.
    pub version: Option<Version>,
    /// Encoding of the other tag files.
    pub encoding: Encoding,
}

impl Declaration {
    /// The version whose rules hold: the strictest where none is given.
    pub fn version_or_latest(self) -> Version {
        self.version.unwrap_or(Version::FINAL)
    }
}

/// The declaration of a bag.
pub(super) fn of(root: &Path, files: &BTreeMap<String, u64>, findings: &mut Findings) -> Declaration {
    if !files.contains_key(FILE) {
        findings.push(Finding::fault("declaration_missing", "is missing; it says that the folder is a bag (RFC 8493)", RESTORE).at(FILE));
        return Declaration::default();
    }
    text::bytes_of(root, FILE, LARGEST_INFO, findings).map_or_else(Declaration::default, |bytes| parse(&bytes, findings))
}

/// Reads the bytes of a declaration.
pub fn parse(bytes: &[u8], findings: &mut Findings) -> Declaration {
    let mut bad = |id, message: String, line| findings.push(Finding::fault(id, message, RESTORE).at(FILE).on_line(line));
    let Ok(text) = std::str::from_utf8(bytes) else {
        bad("declaration", "is no text in UTF-8".into(), 1);
        return Declaration::default();
    };
    let without_mark = text.strip_prefix('\u{feff}');
    if without_mark.is_some() {
        bad("declaration", "begins with a byte-order mark, which it must not".into(), 1);
    }
    let mut lines = lines(without_mark.unwrap_or(text));
    let mut value = |label: &str, number| {
        let line = lines.next().map_or("", |(_, line)| line);
        let value = line.strip_prefix(label).and_then(|rest| rest.strip_prefix(": "));
        let value = value.filter(|value| !value.is_empty() && !value.contains(|c: char| c.is_whitespace() || c.is_control()));
        if value.is_none() {
            bad("declaration", format!("line {number} must be \"{label}: \", a value, and nothing else, not even blanks"), number);
        }
        value
    };
    let (version, encoding) = (value("BagIt-Version", 1), value("Tag-File-Character-Encoding", 2));
    if let Some((line, _)) = lines.next() {
        bad("declaration", "has more than its two lines".into(), line);
    }
    let version = version.and_then(|text| {
        let version = version_of(text);
        if version.is_none_or(|version| version > Version::FINAL) {
            bad("version_unknown", format!("BagIt version {} is none that this program knows", crate::names::printable(text)), 1);
        }
        version
    });
    let encoding = encoding.map_or_else(Encoding::default, |name| match name.to_ascii_uppercase().as_str() {
        "UTF-8" | "US-ASCII" => Encoding::Utf8,
        "ISO-8859-1" => Encoding::Latin1,
        "UTF-16" => Encoding::Utf16,
        _ => {
            bad("encoding_unknown", format!("the encoding {} is none that this program reads", crate::names::printable(name)), 2);
            Encoding::default()
        }
    });
    Declaration { version, encoding }
}

/// Two whole numbers with a dot between.
fn version_of(text: &str) -> Option<Version> {
    let number = |digits: &str| digits.parse().ok().filter(|_| digits.bytes().all(|b| b.is_ascii_digit()));
    let (major, minor) = text.split_once('.')?;
    Some(Version { major: number(major)?, minor: number(minor)? })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A text, and the ids and lines of what is found in it.
    type Case<'a> = (&'a [u8], &'a [(&'a str, usize)]);

    /// The form is that of RFC 8493, 2.1.1.
    #[test]
    fn two_lines_in_an_exact_form() {
        let ids = |text: &[u8]| {
            let mut findings = Findings::default();
            let declaration = parse(text, &mut findings);
            (declaration, findings.into_list().iter().map(|f| (f.id, f.line.unwrap())).collect::<Vec<_>>())
        };
        let good = Declaration { version: Some(Version::FINAL), encoding: Encoding::Utf8 };
        for end in ["\n", "\r", "\r\n"] {
            assert_eq!(ids(format!("BagIt-Version: 1.0{end}Tag-File-Character-Encoding: UTF-8{end}").as_bytes()), (good, vec![]));
        }
        assert_eq!(ids(b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8"), (good, vec![]));
        let cases: [Case<'_>; 11] = [
            (b"", &[("declaration", 1), ("declaration", 2)]),
            (b"BagIt-Version: 1.0\n", &[("declaration", 2)]),
            (b"BagIt-Version: 1.0 \nTag-File-Character-Encoding: UTF-8\n", &[("declaration", 1)]),
            (b"BagIt-Version : 1.0\nTag-File-Character-Encoding: UTF-8\n", &[("declaration", 1)]),
            (b"BagIt-Version:1.0\nTag-File-Character-Encoding:\tUTF-8\n", &[("declaration", 1), ("declaration", 2)]),
            (b"Tag-File-Character-Encoding: UTF-8\nBagIt-Version: 1.0\n", &[("declaration", 1), ("declaration", 2)]),
            (b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n\n", &[("declaration", 3)]),
            (b"\xef\xbb\xbfBagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", &[("declaration", 1)]),
            (b"BagIt-Version: 1.1\nTag-File-Character-Encoding: UTF-8\n", &[("version_unknown", 1)]),
            (b"BagIt-Version: +1.0\nTag-File-Character-Encoding: KOI8-R\n", &[("version_unknown", 1), ("encoding_unknown", 2)]),
            (b"\xff\xfeB\x00", &[("declaration", 1)]),
        ];
        for (text, expected) in cases {
            assert_eq!(ids(text).1, expected, "{}", String::from_utf8_lossy(text));
        }
    }
}
