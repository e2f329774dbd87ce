//! The directories of a TIFF and their values (Aldus/Adobe TIFF 6.0, section 2; its 64-bit sibling). EXIF data have the same form.
//!
//! Nothing is allocated before it is known that the file holds as many bytes.

use std::collections::BTreeMap;
use std::io;

use super::super::bytes::{Bytes, bytes_at};
use super::super::{cut_short, damaged};
use crate::fault::Fault;

/// Entries of a directory that are read at most.
const MOST_ENTRIES: u64 = 4096;

/// The value of a tag: where it is and what it is.
#[derive(Clone, Copy, Debug)]
struct Entry {
    kind: u16,
    count: u64,
    at: u64,
}

/// The tags of one page.
#[derive(Clone, Debug)]
pub(in super::super) struct Directory {
    entries: BTreeMap<u16, Entry>,
    /// Where the next one is; 0 after the last.
    pub(in super::super) next: u64,
}

/// A file of directories.
pub(in super::super) struct Container<'a> {
    bytes: &'a dyn Bytes,
    pub(in super::super) big_endian: bool,
    /// Whether places have 64 bits.
    wide: bool,
    /// Where the first directory is.
    pub(in super::super) first: u64,
}

/// A file that ends too early, or that cannot be read.
pub(in super::super) fn unread(err: &io::Error) -> Fault {
    match err.kind() {
        io::ErrorKind::UnexpectedEof => cut_short(),
        _ => damaged(err),
    }
}

impl<'a> Container<'a> {
    pub(in super::super) fn open(bytes: &'a dyn Bytes) -> Result<Self, Fault> {
        let head = bytes_at(bytes, 0, 8).map_err(|err| unread(&err))?;
        let big_endian = match head.as_slice() {
            [b'I', b'I', ..] => false,
            [b'M', b'M', ..] => true,
            _ => return Err(damaged("its first bytes name no byte order")),
        };
        let mut container = Self { bytes, big_endian, wide: false, first: 0 };
        container.wide = match container.number(&head[2..4]) {
            42 => false,
            43 if container.number(&head[4..6]) == 8 => true,
            _ => return Err(damaged("its first bytes are not those of a TIFF")),
        };
        container.first = if container.wide { container.read_number(8, 8)? } else { container.number(&head[4..8]) };
        Ok(container)
    }

    /// A whole number of up to 8 bytes.
    fn number(&self, bytes: &[u8]) -> u64 {
        let add = |sum: u64, byte: &u8| sum << 8 | u64::from(*byte);
        if self.big_endian { bytes.iter().fold(0, add) } else { bytes.iter().rev().fold(0, add) }
    }

    fn read_number(&self, at: u64, size: u64) -> Result<u64, Fault> {
        bytes_at(self.bytes, at, size).map(|bytes| self.number(&bytes)).map_err(|err| unread(&err))
    }

    /// The directory at this place.
    pub(in super::super) fn directory(&self, at: u64) -> Result<Directory, Fault> {
        let (head, size, offset) = if self.wide { (8, 20, 8) } else { (2, 12, 4) };
        let count = self.read_number(at, head)?;
        if count > MOST_ENTRIES {
            return Err(damaged(format!("a page claims {count} properties")));
        }
        let start = at + head;
        let bytes = bytes_at(self.bytes, start, count * size + offset).map_err(|err| unread(&err))?;
        let (tags, next) = bytes.split_at(bytes.len() - if self.wide { 8 } else { 4 });
        let mut entries = BTreeMap::new();
        for (tag, place) in tags.chunks_exact(if self.wide { 20 } else { 12 }).zip((start..).step_by(if self.wide { 20 } else { 12 })) {
            let (kind, count) = (self.number(&tag[2..4]), self.number(if self.wide { &tag[4..12] } else { &tag[4..8] }));
            let Some(bytes) = width(kind).and_then(|width| width.checked_mul(count)) else { continue };
            let value = place + size - offset;
            let at = if bytes <= offset { value } else { self.number(if self.wide { &tag[12..20] } else { &tag[8..12] }) };
            // Where a tag comes twice, the first holds.
            entries.entry(u16_of(self.number(&tag[..2]))).or_insert(Entry { kind: u16_of(kind), count, at });
        }
        Ok(Directory { entries, next: self.number(next) })
    }

    /// The bytes of a value and the width of one of its numbers, where the tag is there and has at most `most` numbers.
    fn value(&self, directory: &Directory, tag: u16, most: u64) -> Result<Option<(u16, Vec<u8>)>, Fault> {
        let Some(entry) = directory.entries.get(&tag) else { return Ok(None) };
        if entry.count > most {
            return Err(damaged(format!("its property {tag} claims {} values", entry.count)));
        }
        let bytes = width(entry.kind.into()).unwrap_or(1) * entry.count;
        bytes_at(self.bytes, entry.at, bytes).map(|bytes| Some((entry.kind, bytes))).map_err(|err| unread(&err))
    }

    /// All whole numbers of a tag, at most `most`.
    pub(in super::super) fn numbers(&self, directory: &Directory, tag: u16, most: u64) -> Result<Option<Vec<u64>>, Fault> {
        let Some((kind, bytes)) = self.value(directory, tag, most)? else { return Ok(None) };
        match kind {
            1 | 3 | 4 | 7 | 13 | 16 | 18 => {
                let width = usize::try_from(width(kind.into()).unwrap_or(1)).unwrap_or(1);
                Ok(Some(bytes.chunks_exact(width).map(|number| self.number(number)).collect()))
            }
            _ => Err(damaged(format!("its property {tag} is not a whole number"))),
        }
    }

    /// The first whole number of a tag.
    pub(in super::super) fn one(&self, directory: &Directory, tag: u16) -> Result<Option<u64>, Fault> {
        Ok(self.numbers(directory, tag, 1 << 16)?.and_then(|numbers| numbers.first().copied()))
    }

    /// The first number of a tag that may be a fraction; `None` where it is not above 0 and finite.
    pub(in super::super) fn positive(&self, directory: &Directory, tag: u16) -> Option<f64> {
        let (kind, bytes) = self.value(directory, tag, 1 << 16).ok()??;
        let number = |range: std::ops::Range<usize>| bytes.get(range).map(|bytes| self.number(bytes));
        let found = match kind {
            5 => number(0..4)? as f64 / number(4..8)? as f64,
            11 => f64::from(f32::from_bits(u32::try_from(number(0..4)?).ok()?)),
            12 => f64::from_bits(number(0..8)?),
            _ => self.one(directory, tag).ok()?? as f64,
        };
        Some(found).filter(|found| found.is_finite() && *found > 0.0)
    }

    /// The bytes of a tag as they are, at most `most`.
    pub(in super::super) fn raw(&self, directory: &Directory, tag: u16, most: u64) -> Result<Option<Vec<u8>>, Fault> {
        Ok(self.value(directory, tag, most)?.map(|(_, bytes)| bytes))
    }
}

impl Directory {
    pub(in super::super) fn has(&self, tag: u16) -> bool {
        self.entries.contains_key(&tag)
    }
}

fn u16_of(number: u64) -> u16 {
    u16::try_from(number).unwrap_or(u16::MAX)
}

/// Bytes of a number of this kind.
const fn width(kind: u64) -> Option<u64> {
    match kind {
        1 | 2 | 6 | 7 => Some(1),
        3 | 8 => Some(2),
        4 | 9 | 11 | 13 => Some(4),
        5 | 10 | 12 | 16 | 17 | 18 => Some(8),
        _ => None,
    }
}
