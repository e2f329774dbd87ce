//! Manifests: a digest, blanks and a path on each line (RFC 8493, 2.1.3 and 2.2.1).

use std::collections::BTreeMap;

use unicode_normalization::UnicodeNormalization;

use super::declaration::Version;
use super::{RESTORE, path, text::lines};
use crate::finding::{Finding, Findings};

/// What a manifest lists.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Files below `data/`.
    Payload,
    /// Files beside it.
    Tag,
}

/// What holds for the lines of a manifest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rules {
    /// What it lists.
    pub kind: Kind,
    /// Version of BagIt.
    pub version: Version,
    /// Hexadecimal digits of its digests.
    pub digits: usize,
}

/// A line that can be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// From 1.
    pub line: usize,
    /// Hexadecimal digits in lower case.
    pub digest: String,
    /// A path below the bag, decoded, with `/` between names: it leads nowhere else on any system.
    pub path: String,
}

/// Reads the text of a manifest, whose name `file` stands in findings. What is no line of a manifest, leads out of the bag or names a file
/// again is a finding with its line; only what can be used is given back, a path written twice as often as it stands.
pub fn parse(text: &str, file: &str, rules: Rules, findings: &mut Findings) -> Vec<Entry> {
    let mut entries = Vec::new();
    for (line, text) in lines(text) {
        let is_digest = |digest: &str| digest.len() == rules.digits && digest.bytes().all(|b| b.is_ascii_hexdigit());
        let Some((digest, written)) = text.split_once([' ', '\t']).filter(|(digest, _)| is_digest(digest)) else {
            let message = format!("is no line of a manifest: {} hexadecimal digits, blanks and a path", rules.digits);
            findings.push(Finding::fault("manifest_line", message, RESTORE).at(file).on_line(line));
            continue;
        };
        match path::checked(written.trim_start_matches([' ', '\t']), rules.kind, rules.version) {
            Ok((path, note)) => {
                findings.extend(note.map(|note| note.at(file).on_line(line)));
                entries.push(Entry { line, digest: digest.to_ascii_lowercase(), path });
            }
            Err(finding) => findings.push(finding.at(file).on_line(line)),
        }
    }
    repeated(&entries, file, rules, findings);
    entries
}

/// What is listed again: under the same name, one that is spelled with other code points, or one that differs in capitals only. The drafts
/// before 1.0 let a file be listed again with the same digest.
fn repeated(entries: &[Entry], file: &str, rules: Rules, findings: &mut Findings) {
    let mut seen: BTreeMap<String, &Entry> = BTreeMap::new();
    for entry in entries {
        let composed = entry.path.nfc().collect::<String>();
        let Some(first) = seen.get(&composed.to_lowercase()) else {
            seen.insert(composed.to_lowercase(), entry);
            continue;
        };
        let first_line = first.line;
        let (id, what) = if first.path == entry.path {
            ("listed_twice", "names the same file as")
        } else if first.path.nfc().eq(composed.chars()) {
            ("spelled_twice", "spells with other code points the name of")
        } else {
            ("case_clash", "differs only in capitals from the name of")
        };
        let other = if id != "case_clash" && first.digest != entry.digest { " with another digest" } else { "" };
        let finding = Finding::fault(id, format!("{what} line {first_line}{other}"), RESTORE);
        findings.push(finding.as_fault(rules.version.is_final() || !other.is_empty()).at(file).on_line(entry.line));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RULES: Rules = Rules { kind: Kind::Payload, version: Version::FINAL, digits: 4 };

    fn read(text: &str, rules: Rules) -> (Vec<Entry>, Vec<(&'static str, bool, usize)>) {
        let mut findings = Findings::default();
        let entries = parse(text, "manifest-x.txt", rules, &mut findings);
        (entries, findings.into_list().iter().map(|f| (f.id, f.is_fault, f.line.unwrap())).collect())
    }

    #[test]
    fn digest_blanks_path() {
        let (entries, found) = read("00Ff  data/a\r\n0001\tdata/b c\n0002 \t data/ü\n", RULES);
        let of = |line, digest: &str, path: &str| Entry { line, digest: digest.into(), path: path.into() };
        assert_eq!(entries, [of(1, "00ff", "data/a"), of(2, "0001", "data/b c"), of(3, "0002", "data/ü")]);
        assert_eq!(found, []);
    }

    #[test]
    fn what_is_no_line_is_named() {
        let (entries, found) = read("\n00ff\n0ff data/a\n00fg data/b\n00ff0 data/c\n 00ff data/d\n0000 /etc/passwd\n0000 data/e\n", RULES);
        assert_eq!(entries.len(), 1);
        let lines = [1, 2, 3, 4, 5, 6].map(|line| ("manifest_line", true, line));
        assert_eq!(found, [&lines[..], &[("path_outside", true, 7)]].concat());
    }

    #[test]
    fn a_file_stands_once() {
        let text = "0000 data/a\n0000 data/a\n0001 data/a\n0000 data/A\n0000 data/é\n0000 data/e\u{301}\n0000 data/E\u{301}\n";
        let ids = ["listed_twice", "listed_twice", "case_clash", "spelled_twice", "case_clash"];
        let (_, found) = read(text, RULES);
        assert_eq!(found, [2, 3, 4, 6, 7].iter().zip(ids).map(|(&line, id)| (id, true, line)).collect::<Vec<_>>());
        let (entries, found) = read(text, Rules { version: Version { major: 0, minor: 97 }, ..RULES });
        assert_eq!(found.iter().map(|f| f.1).collect::<Vec<_>>(), [false, true, false, false, false]);
        assert_eq!(entries.len(), 7);
    }
}
