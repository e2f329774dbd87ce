//! A JPEG as a picture of its own.

use super::about::About;
use super::bytes::{Shared, bytes_at};
use super::jpeg::{Asked, Head, decode, head};
use super::pieces::{Content, Rows};
use super::tone::{Depth, Layout, Linear};
use super::{Ceiling, Format, Info, Reading, cut_short, unsupported};
use crate::fault::Fault;

/// One bit of a progressive JPEG can stand for a block of 64 samples.
const EXPANSION: u64 = 512;

/// Bytes that may stand before the pixels: markers with profiles and previews.
const MOST_HEAD: u64 = 16 << 20;

fn described(bytes: &Shared, ceiling: &Ceiling) -> Result<(Info, Head), Fault> {
    let length = bytes.length();
    let start = bytes_at(bytes.as_ref(), 0, length.min(MOST_HEAD)).map_err(|_| cut_short())?;
    let head = head(&start)?;
    if !matches!(head.samples, 1 | 3) {
        return Err(unsupported(format!("JPEG with {} samples a pixel", head.samples)));
    }
    let channels = if head.samples == 1 { 1 } else { 3 };
    let mut info = Info { channels, lossy: true, ..Info::new(Format::Jpeg, (head.columns, head.rows)) };
    info.check(length, EXPANSION, ceiling)?;
    if let Some(exif) = &head.exif {
        About::of_exif(exif).tell(&mut info);
    }
    Ok((info, head))
}

/// What the head says, checked.
pub(super) fn info(bytes: &Shared, ceiling: &Ceiling) -> Result<Info, Fault> {
    described(bytes, ceiling).map(|(info, _)| info)
}

/// Head and pixels.
pub(super) fn content(bytes: &Shared, reading: &Reading<'_>) -> Result<(Info, Content), Fault> {
    let (info, head) = described(bytes, &reading.ceiling)?;
    let layout = Layout { depth: Depth::Eight, samples: info.channels.into(), colours: info.channels == 3, white_is_zero: false };
    let rows = JpegRows { bytes: bytes.clone(), head, linear: Linear::new(layout, reading)? };
    Ok((info, Content::Rows(Box::new(rows))))
}

/// The decoder gives all rows at once: the samples are in memory while rows are handed on, within the ceiling.
struct JpegRows {
    bytes: Shared,
    head: Head,
    linear: Linear,
}

impl Rows for JpegRows {
    fn size(&self) -> (u32, u32) {
        (self.head.columns, self.head.rows)
    }

    fn each(&mut self, to: &mut dyn FnMut(&[u16]) -> Result<(), Fault>) -> Result<(), Fault> {
        let Head { columns, rows, samples, .. } = self.head;
        let stream = bytes_at(self.bytes.as_ref(), 0, self.bytes.length()).map_err(|_| cut_short())?;
        let pixels = decode(&stream, &Asked { columns, rows: rows..=rows, samples, as_stored: false })?;
        drop(stream);
        let mut line = vec![0; columns as usize];
        for row in pixels.chunks_exact(columns as usize * samples as usize) {
            self.linear.row(row, &mut line);
            to(&line)?;
        }
        Ok(())
    }
}
