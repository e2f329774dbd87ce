//! Bytes of a file at any place, from any thread.

use std::fs::File;
use std::io::{self, BufReader, ErrorKind, Read, Seek, SeekFrom};
use std::sync::Arc;

/// Where the bytes of a picture are.
pub(super) trait Bytes: Send + Sync {
    /// How many there are.
    fn length(&self) -> u64;
    /// Fills `out` with those from `at` on; an error where there are too few.
    fn read_at(&self, at: u64, out: &mut [u8]) -> io::Result<()>;
}

/// Bytes that several parts of a reader share.
pub(super) type Shared = Arc<dyn Bytes>;

impl Bytes for Vec<u8> {
    fn length(&self) -> u64 {
        self.len() as u64
    }
    fn read_at(&self, at: u64, out: &mut [u8]) -> io::Result<()> {
        self.as_slice().read_at(at, out)
    }
}

impl Bytes for &[u8] {
    fn length(&self) -> u64 {
        self.len() as u64
    }
    fn read_at(&self, at: u64, out: &mut [u8]) -> io::Result<()> {
        let from = usize::try_from(at).ok().and_then(|start| self.get(start..start.checked_add(out.len())?));
        out.copy_from_slice(from.ok_or(ErrorKind::UnexpectedEof)?);
        Ok(())
    }
}

/// A file that stays open while its picture is used.
pub(super) struct OnDisk {
    file: File,
    length: u64,
}

impl OnDisk {
    pub(super) const fn new(file: File, length: u64) -> Self {
        Self { file, length }
    }
}

impl Bytes for OnDisk {
    fn length(&self) -> u64 {
        self.length
    }
    fn read_at(&self, at: u64, out: &mut [u8]) -> io::Result<()> {
        read_exact_at(&self.file, at, out)
    }
}

/// Reads at a place without a position that threads would have to share.
#[cfg(unix)]
pub(super) fn read_exact_at(file: &File, at: u64, out: &mut [u8]) -> io::Result<()> {
    std::os::unix::fs::FileExt::read_exact_at(file, out, at)
}

/// Reads at a place; the position that it moves is used by nobody.
#[cfg(windows)]
pub(super) fn read_exact_at(file: &File, mut at: u64, mut out: &mut [u8]) -> io::Result<()> {
    while !out.is_empty() {
        match std::os::windows::fs::FileExt::seek_read(file, out, at) {
            Ok(0) => return Err(ErrorKind::UnexpectedEof.into()),
            Ok(read) => {
                at += read as u64;
                out = &mut out[read..];
            }
            Err(err) if err.kind() == ErrorKind::Interrupted => {}
            Err(err) => return Err(err),
        }
    }
    Ok(())
}

/// `count` bytes from `at` on. Nothing is allocated for bytes that are not there.
pub(super) fn bytes_at(bytes: &dyn Bytes, at: u64, count: u64) -> io::Result<Vec<u8>> {
    if at.checked_add(count).is_none_or(|end| end > bytes.length()) {
        return Err(ErrorKind::UnexpectedEof.into());
    }
    let mut out = vec![0; usize::try_from(count).map_err(|_| ErrorKind::OutOfMemory)?];
    bytes.read_at(at, &mut out)?;
    Ok(out)
}

/// Some bytes of a file, one after another; shorter than asked for where the file ends before.
pub(super) struct Stretch {
    bytes: Shared,
    start: u64,
    at: u64,
    end: u64,
}

impl Stretch {
    /// From `at` on, `length` bytes at most, through a buffer.
    pub(super) fn buffered(bytes: &Shared, at: u64, length: u64) -> BufReader<Self> {
        let end = at.saturating_add(length).min(bytes.length());
        let capacity = usize::try_from(end.saturating_sub(at)).unwrap_or(usize::MAX).clamp(16, 1 << 16);
        BufReader::with_capacity(capacity, Self { bytes: Arc::clone(bytes), start: at, at, end })
    }
}

impl Read for Stretch {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let left = usize::try_from(self.end.saturating_sub(self.at)).unwrap_or(usize::MAX);
        let count = out.len().min(left);
        self.bytes.read_at(self.at, &mut out[..count])?;
        self.at += count as u64;
        Ok(count)
    }
}

impl Seek for Stretch {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let place = match to {
            SeekFrom::Start(place) => self.start.checked_add(place),
            SeekFrom::End(place) => self.end.checked_add_signed(place),
            SeekFrom::Current(place) => self.at.checked_add_signed(place),
        };
        self.at = place.filter(|place| *place >= self.start).ok_or(ErrorKind::InvalidInput)?;
        Ok(self.at - self.start)
    }
}
