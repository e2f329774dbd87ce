//! The text of tag files, and its lines.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::{RESTORE, walk};
use crate::finding::{Finding, Findings};

/// How the tag files of a bag write characters; the declaration itself is always UTF-8.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8, also where the declaration says US-ASCII.
    #[default]
    Utf8,
    /// ISO-8859-1: each byte is the code point of its value.
    Latin1,
    /// UTF-16 with a byte-order mark; without one the higher byte comes first (RFC 2781, 4.3).
    Utf16,
}

/// The text of a tag file of at most so many bytes; `None` where it is larger, cannot be read or is no text, which is then a finding.
pub(super) fn of(root: &Path, file: &str, most: u64, encoding: Encoding, findings: &mut Findings) -> Option<String> {
    let bytes = bytes_of(root, file, most, findings)?;
    let text = decoded(&bytes, encoding);
    if text.is_none() {
        let message = "its bytes are no text in the encoding that bagit.txt names";
        findings.push(Finding::fault("not_text", message, RESTORE).at(file));
    }
    text
}

/// The bytes of a tag file, as [`of`].
pub(super) fn bytes_of(root: &Path, file: &str, most: u64, findings: &mut Findings) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    let read = File::open(walk::place(root, file)).and_then(|open| open.take(most + 1).read_to_end(&mut bytes));
    if let Err(e) = read {
        findings.push(walk::unreadable(&e).at(file));
        return None;
    }
    if bytes.len() as u64 > most {
        let message = format!("is larger than {} MiB, more than any record needs; it was not read", most >> 20);
        findings.push(Finding::fault("too_large", message, RESTORE).at(file));
        return None;
    }
    Some(bytes)
}

fn decoded(bytes: &[u8], encoding: Encoding) -> Option<String> {
    match encoding {
        Encoding::Utf8 => std::str::from_utf8(bytes).ok().map(str::to_owned),
        Encoding::Latin1 => Some(bytes.iter().copied().map(char::from).collect()),
        Encoding::Utf16 => {
            let low_first = bytes.starts_with(&[0xff, 0xfe]);
            let marked = low_first || bytes.starts_with(&[0xfe, 0xff]);
            let (pairs, odd) = bytes[if marked { 2 } else { 0 }..].as_chunks::<2>();
            let unit = |&pair: &[u8; 2]| if low_first { u16::from_le_bytes(pair) } else { u16::from_be_bytes(pair) };
            let text = char::decode_utf16(pairs.iter().map(unit)).collect::<Result<String, _>>().ok();
            text.filter(|_| odd.is_empty())
        }
    }
}

/// The lines of a text with their numbers from 1. A line ends with LF, CR or CR LF; behind the last end there is no further line.
pub(super) fn lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let mut rest = text;
    let mut number = 0;
    std::iter::from_fn(move || {
        if rest.is_empty() {
            return None;
        }
        number += 1;
        let end = rest.find(['\r', '\n']).unwrap_or(rest.len());
        let line = &rest[..end];
        rest = &rest[end..];
        rest = rest.strip_prefix("\r\n").or_else(|| rest.strip_prefix(['\r', '\n'])).unwrap_or(rest);
        Some((number, line))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_end_in_three_ways() {
        let of = |text| lines(text).collect::<Vec<_>>();
        assert_eq!(of("a\rb\r\nc\n\nd"), [(1, "a"), (2, "b"), (3, "c"), (4, ""), (5, "d")]);
        assert_eq!(of("a\n"), [(1, "a")]);
        assert_eq!(of("a\n\r"), [(1, "a"), (2, "")]);
        assert_eq!(of(""), []);
    }

    #[test]
    fn three_encodings() {
        assert_eq!(decoded(b"\xb5 \xe9", Encoding::Latin1).unwrap(), "µ é");
        assert_eq!(decoded(b"\xb5", Encoding::Utf8), None);
        for bytes in [&b"\xff\xfe\xb5\x00\x3d\xd8\x00\xde"[..], b"\xfe\xff\x00\xb5\xd8\x3d\xde\x00", b"\x00\xb5\xd8\x3d\xde\x00"] {
            assert_eq!(decoded(bytes, Encoding::Utf16).unwrap(), "µ😀");
        }
        assert_eq!(decoded(b"\xff\xfe\xb5", Encoding::Utf16), None);
        assert_eq!(decoded(b"\xd8\x3d", Encoding::Utf16), None);
    }
}
