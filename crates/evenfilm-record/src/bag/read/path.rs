//! Paths as manifests write them, and those that are refused.

use super::RESTORE;
use super::declaration::Version;
use super::manifest::Kind;
use crate::finding::Finding;
use crate::names::printable;

/// A path that stays below the bag, with `/` between names, and what is worth a note about how it was written.
pub(super) fn checked(written: &str, kind: Kind, version: Version) -> Result<(String, Option<Finding>), Finding> {
    let mut note = None;
    let mut rest = written;
    if let Some(path) = rest.strip_prefix('*') {
        let message = "marks the file as binary, as programs for check sums do and RFC 8493 does not";
        (rest, note) = (path, Some(Finding::note("check_sum_mark", message, "nothing need be done")));
    }
    while let Some(path) = rest.strip_prefix("./") {
        (rest, note) = (path, Some(Finding::note("dot_slash", "the path begins with ./, which says nothing", "nothing need be done")));
    }
    let path = decoded(rest, version).ok_or_else(|| {
        let message =
            format!("in \"{}\" a % stands for itself; only %0A, %0D and %25 may be written so, and nothing else is decoded", shown(rest));
        Finding::fault("path_percent", message, RESTORE)
    })?;
    if let Some(why) = leads_out(rest) {
        return Err(Finding::fault("path_outside", format!("\"{}\" {why}; it was not followed", shown(rest)), RESTORE));
    }
    // Line breaks may be written as %0A and %0D; whatever else steers a terminal may not stand there at all.
    if rest.is_empty() || rest.contains(char::is_control) || rest.contains('\\') || rest.split('/').any(|name| matches!(name, "" | ".")) {
        let message = format!("\"{}\" is no plain path: names with a / between, without control characters and \\", shown(rest));
        return Err(Finding::fault("path_form", message, RESTORE));
    }
    match (kind, rest.strip_prefix("data/")) {
        (Kind::Payload, None) => {
            return Err(Finding::fault(
                "path_outside",
                format!("\"{}\" does not lie below data/; it was not followed", shown(rest)),
                RESTORE,
            ));
        }
        (Kind::Tag, Some(_)) => {
            return Err(Finding::fault(
                "path_form",
                format!("\"{}\" is payload, which a list of tag files does not hold", shown(rest)),
                RESTORE,
            ));
        }
        _ => {}
    }
    if let Some(name) = path.split('/').find(|name| is_no_file_on_windows(name)) {
        let message = format!("\"{}\" is no name of a file on Windows", shown(name));
        return Err(Finding::fault("path_reserved", message, RESTORE));
    }
    Ok((path, note))
}

/// Decodes what RFC 8493, 2.1.3, lets be percent-encoded, once. A `%` that begins none of these is itself in the drafts before 1.0, which
/// knew line breaks only; after that it is `None`.
fn decoded(written: &str, version: Version) -> Option<String> {
    let mut path = String::with_capacity(written.len());
    let mut rest = written;
    while let Some(at) = rest.find('%') {
        path.push_str(&rest[..at]);
        let code = rest.get(at + 1..at + 3).unwrap_or_default();
        let c = match code.to_ascii_uppercase().as_str() {
            "0A" => '\n',
            "0D" => '\r',
            "25" if version.is_final() => '%',
            _ if version.is_final() => return None,
            _ => {
                path.push('%');
                rest = &rest[at + 1..];
                continue;
            }
        };
        path.push(c);
        rest = &rest[at + 3..];
    }
    path.push_str(rest);
    Some(path)
}

/// How a path tries to leave the bag, on whatever system.
fn leads_out(path: &str) -> Option<&'static str> {
    let drive = path.as_bytes();
    let drive = drive.len() >= 2 && drive[0].is_ascii_alphabetic() && drive[1] == b':';
    if path.starts_with(['/', '\\']) || drive {
        Some("begins at the root of a disk")
    } else if path.starts_with('~') {
        Some("begins at somebody's home")
    } else if path.split(['/', '\\']).any(|name| name == "..") {
        Some("goes up with ..")
    } else {
        None
    }
}

/// Names of devices, with any ending, streams of other files, and what loses its end.
fn is_no_file_on_windows(name: &str) -> bool {
    let stem = name.split('.').next().unwrap_or_default().trim_end().to_ascii_uppercase();
    let numbered = |device| {
        let number = stem.strip_prefix(device).unwrap_or_default();
        matches!(number, "0" | "1" | "2" | "3" | "4" | "5" | "6" | "7" | "8" | "9" | "¹" | "²" | "³")
    };
    matches!(stem.as_str(), "CON" | "PRN" | "AUX" | "NUL" | "CONIN$" | "CONOUT$")
        || numbered("COM")
        || numbered("LPT")
        || name.contains(':')
        || name.ends_with(['.', ' '])
}

/// A path for a message: not too long, nothing that steers a terminal.
fn shown(path: &str) -> String {
    let start: String = path.chars().take(120).collect();
    printable(&start) + if start.len() < path.len() { "…" } else { "" }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DRAFT: Version = Version { major: 0, minor: 97 };

    fn id(written: &str, kind: Kind, version: Version) -> Result<String, &'static str> {
        checked(written, kind, version).map(|(path, _)| path).map_err(|finding| finding.id)
    }

    #[test]
    fn tricks_are_refused() {
        let cases = [
            ("/etc/passwd", "path_outside"),
            ("data/../../x", "path_outside"),
            ("data/..", "path_outside"),
            ("../data/x", "path_outside"),
            ("..\\x", "path_outside"),
            ("data\\..\\x", "path_outside"),
            ("~/x", "path_outside"),
            ("~root/x", "path_outside"),
            ("C:\\x", "path_outside"),
            ("c:data/x", "path_outside"),
            ("\\\\server\\share\\x", "path_outside"),
            ("\\\\?\\UNC\\server\\x", "path_outside"),
            ("//server/x", "path_outside"),
            ("bagit.txt", "path_outside"),
            ("database/x", "path_outside"),
            ("./../x", "path_outside"),
            ("*/etc/passwd", "path_outside"),
            ("data/%2e%2e/x", "path_percent"),
            ("data/%2E%2E%2Fx", "path_percent"),
            ("data/%00", "path_percent"),
            ("data/100%", "path_percent"),
            ("%2fetc/passwd", "path_percent"),
            ("data/a\0b", "path_form"),
            ("data/a\u{1b}[2J", "path_form"),
            ("data/a\tb", "path_form"),
            ("data\\x", "path_form"),
            ("data//x", "path_form"),
            ("data/./x", "path_form"),
            ("data/", "path_form"),
            ("", "path_form"),
            ("data/con", "path_reserved"),
            ("data/Nul.txt", "path_reserved"),
            ("data/com¹/x", "path_reserved"),
            ("data/a.", "path_reserved"),
            ("data/a:b", "path_reserved"),
        ];
        for (path, expected) in cases {
            assert_eq!(id(path, Kind::Payload, Version::FINAL), Err(expected), "{path:?}");
        }
        assert_eq!(id("data/x", Kind::Tag, Version::FINAL), Err("path_form"));
        assert_eq!(id("%HomeDrive%\\Windows", Kind::Payload, DRAFT), Err("path_form"));
    }

    /// `bagit.percent` of the check values (RFC 8493, 2.1.3).
    #[test]
    fn line_breaks_and_percent_are_decoded_once() {
        let read = |written| id(written, Kind::Payload, Version::FINAL).unwrap();
        assert_eq!(read("data/100%25 A.txt"), "data/100% A.txt");
        assert_eq!(read("data/a%0D%0Ab ü&#.txt"), "data/a\r\nb ü&#.txt");
        assert_eq!(read("data/%0a%250A"), "data/\n%0A");
        assert_eq!(read("./data/x"), "data/x");
        assert_eq!(read("data/dir/~x"), "data/dir/~x");
        assert_eq!(id("data/%7Ea%25%test%0A", Kind::Payload, DRAFT).unwrap(), "data/%7Ea%25%test\n");
        assert_eq!(id("bagit.txt", Kind::Tag, Version::FINAL).unwrap(), "bagit.txt");
    }

    #[test]
    fn odd_ways_of_writing_are_noted() {
        let note = |written| checked(written, Kind::Payload, Version::FINAL).unwrap().1.map(|note| (note.id, note.is_fault));
        assert_eq!(note("data/x"), None);
        assert_eq!(note("./data/x"), Some(("dot_slash", false)));
        assert_eq!(note("*data/x"), Some(("check_sum_mark", false)));
    }
}
