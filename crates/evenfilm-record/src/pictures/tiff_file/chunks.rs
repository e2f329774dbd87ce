//! Strips and tiles to rows of linear counts.

use std::io::{BufRead, Cursor, Read};
use std::ops::Range;

use evenfilm_core::plane::Rect;
use evenfilm_core::recipe::Channel;
use flate2::bufread::ZlibDecoder;

use super::super::bytes::{Shared, Stretch};
use super::super::jpeg;
use super::super::pieces::{Content, Grid, Pieces, Rows};
use super::super::tone::{Layout, Linear};
use super::super::{FloatRange, Reading, damaged};
use super::ifd::unread;
use super::page::{Expand, Packing, Page};
use super::unpack::{Lzw, PackBits, expand, unpredict};
use crate::fault::Fault;

/// Pixels that a piece made of small strips has at least, and one of unpacked rows at most.
const PIECE: u32 = 1 << 17;

/// Packed strips with more pixels are decoded from first to last row only.
const MOST_STRIP: u64 = 1 << 25;

/// A page and the file that holds it.
pub(super) struct Chunks {
    bytes: Shared,
    page: Page,
    planes: Vec<u32>,
    linear: Linear,
    /// Rows of a piece.
    piece_rows: u32,
    /// Whether the bytes of the file are those of the counts, but for their order.
    straight: bool,
}

/// Takes the number of a row in its chunk and its samples.
type Sink<'a> = dyn FnMut(u32, &Chunks, &[u8]) -> Result<(), Fault> + 'a;

type Unpacked = Box<dyn Read + Send>;

impl Chunks {
    pub(super) fn open(bytes: Shared, page: Page, reading: &Reading<'_>) -> Result<Content, Fault> {
        let planes = page.planes(reading.channel);
        // One plane of several is as good as grey.
        let layout = match (page.planar, planes.len()) {
            (true, 1) => Layout { samples: 1, colours: false, ..page.layout },
            (true, many) => Layout { samples: many, ..page.layout },
            (false, _) => page.layout,
        };
        let linear = Linear::new(layout, &Reading { channel: if page.planar { Channel::Luminance } else { reading.channel }, ..*reading })?;
        let (columns, rows) = page.chunk;
        let least = (PIECE / page.size.0).max(1);
        let piece_rows = match (page.tiled, page.packing) {
            (true, _) => rows,
            (false, Packing::Plain) => least,
            (false, _) => rows.saturating_mul((least / rows).max(1)),
        };
        let forward = !page.tiled && page.packing != Packing::Plain && u64::from(columns) * u64::from(rows) > MOST_STRIP;
        let piece_rows = piece_rows.min(page.size.1);
        let straight = page.packing == Packing::Plain && page.expand == Expand::Nothing && linear.is_straight();
        let chunks = Self { bytes, page, planes, linear, piece_rows, straight };
        Ok(if forward { Content::Rows(Box::new(chunks)) } else { Content::Pieces(Box::new(chunks)) })
    }

    /// The bytes of a chunk from the row `skip` on.
    fn unpacked(&self, chunk: u64, skip: u32) -> Result<Unpacked, Fault> {
        let page = &self.page;
        let place = usize::try_from(chunk).ok();
        let place = place.and_then(|place| Some((*page.offsets.get(place)?, *page.lengths.get(place)?)));
        let (at, length) = place.ok_or_else(|| damaged("it has fewer pieces than its size asks for"))?;
        if page.packing == Packing::Plain {
            let skipped = page.row_bytes() * u64::from(skip);
            let rest = page.row_bytes() * u64::from(page.chunk.1 - skip);
            return Ok(Box::new(Stretch::buffered(&self.bytes, at.saturating_add(skipped), rest)));
        }
        let packed = Stretch::buffered(&self.bytes, at, length);
        let mut unpacked: Unpacked = match page.packing {
            Packing::Lzw => Box::new(Lzw::new(packed)),
            Packing::Deflate => Box::new(ZlibDecoder::new(packed)),
            Packing::PackBits => Box::new(PackBits::new(packed)),
            Packing::Plain | Packing::Jpeg { .. } => Box::new(Cursor::new(self.jpeg(packed)?)),
        };
        let mut row = vec![0; if skip > 0 { self.row_length() } else { 0 }];
        (0..skip).try_for_each(|_| unpacked.read_exact(&mut row)).map_err(|err| unread(&err))?;
        Ok(unpacked)
    }

    /// Reads rows of a chunk straight into their place.
    fn copy(&self, chunk: u64, rows: Range<u32>, out: &mut [u16], (width, stride): (usize, usize)) -> Result<(), Fault> {
        let plane = u64::from(self.planes[0]) * self.page.per_plane();
        let place = usize::try_from(plane + chunk).ok().and_then(|place| self.page.offsets.get(place));
        let start = place.ok_or_else(|| damaged("it has fewer pieces than its size asks for"))?;
        let length = self.page.row_bytes();
        let at = |row: u32| start.saturating_add(length * u64::from(row));
        let read = |at: u64, to: &mut [u16]| {
            self.bytes.read_at(at, bytemuck::cast_slice_mut(to)).map_err(|err| unread(&err))?;
            let ordered = |count: u16| if self.page.big_endian { u16::from_be(count) } else { u16::from_le(count) };
            for count in to {
                *count = ordered(*count);
            }
            Ok(())
        };
        if length == stride as u64 * 2 {
            // Rows follow each other in the file as they do in memory.
            return read(at(rows.start), &mut out[..rows.len() * stride]);
        }
        rows.zip(out.chunks_mut(stride)).try_for_each(|(row, line)| read(at(row), &mut line[..width]))
    }

    fn row_length(&self) -> usize {
        usize::try_from(self.page.row_bytes()).unwrap_or(usize::MAX)
    }

    fn jpeg(&self, mut packed: impl BufRead) -> Result<Vec<u8>, Fault> {
        let page = &self.page;
        let mut stream = Vec::new();
        packed.read_to_end(&mut stream).map_err(|err| unread(&err))?;
        // The tables are a stream of their own: what begins the pixels and ends the tables is left out (TIFF Technical Note 2).
        if let ([0xFF, 0xD8, .., 0xFF, 0xD9], [0xFF, 0xD8, ..]) = (page.tables.as_slice(), stream.as_slice()) {
            stream = [&page.tables[..page.tables.len() - 2], &stream[2..]].concat();
        }
        let rows = if page.tiled { page.chunk.1..=page.chunk.1 } else { 1..=page.chunk.1 };
        let asked = jpeg::Asked {
            columns: page.chunk.0,
            rows,
            samples: page.samples_in_chunk(),
            as_stored: page.packing != Packing::Jpeg { ycbcr: true },
        };
        jpeg::decode(&stream, &asked)
    }

    /// Hands on rows of the chunk at this place of each plane, as linear counts of its first `columns` pixels.
    fn rows(&self, chunk: u64, rows: Range<u32>, columns: u32, to: &mut Sink<'_>) -> Result<(), Fault> {
        let page = &self.page;
        let open = |plane: &u32| self.unpacked(u64::from(*plane) * page.per_plane() + chunk, rows.start);
        let mut streams = self.planes.iter().map(open).collect::<Result<Vec<_>, _>>()?;
        let (mut row, mut spare, mut expanded) = (vec![0; self.row_length()], Vec::new(), Vec::new());
        let sample = usize::from(page.layout.depth.bits() / 8);
        let mut joined = vec![0; if streams.len() > 1 { columns as usize * sample * streams.len() } else { 0 }];
        let step = sample * streams.len();
        for y in rows {
            let several = streams.len() > 1;
            for (place, stream) in streams.iter_mut().enumerate() {
                stream.read_exact(&mut row).map_err(|err| unread(&err))?;
                unpredict(page, &mut row, &mut spare);
                let whole = expand(page, &row, &mut expanded);
                if several {
                    for (to, from) in joined.chunks_exact_mut(step).zip(whole.chunks_exact(sample)) {
                        to[place * sample..(place + 1) * sample].copy_from_slice(from);
                    }
                } else {
                    to(y, self, whole)?;
                }
            }
            if several {
                to(y, self, &joined)?;
            }
        }
        Ok(())
    }
}

impl Pieces for Chunks {
    fn grid(&self) -> Grid {
        let columns = if self.page.tiled { self.page.chunk.0.min(self.page.size.0) } else { self.page.size.0 };
        Grid { size: self.page.size, piece: (columns, self.piece_rows) }
    }

    fn decode(&self, at: Rect, out: &mut [u16], stride: usize) -> Result<(), Fault> {
        let (columns, rows) = self.page.chunk;
        let mut y = at.y;
        while y < at.bottom() {
            let (down, start) = (y / rows, y % rows);
            let end = (start + at.bottom() - y).min(rows);
            let chunk = u64::from(down) * u64::from(self.page.across()) + u64::from(at.x / columns);
            let first = (y - at.y) as usize;
            if self.straight {
                self.copy(chunk, start..end, &mut out[first * stride..], (at.width as usize, stride))?;
                y += end - start;
                continue;
            }
            self.rows(chunk, start..end, at.width, &mut |row, this, bytes| {
                let line = (first + (row - start) as usize) * stride;
                this.linear.row(bytes, &mut out[line..line + at.width as usize]);
                Ok(())
            })?;
            y += end - start;
        }
        Ok(())
    }

    fn seen(&self) -> FloatRange {
        self.linear.seen()
    }
}

impl Rows for Chunks {
    fn size(&self) -> (u32, u32) {
        self.page.size
    }

    fn each(&mut self, to: &mut dyn FnMut(&[u16]) -> Result<(), Fault>) -> Result<(), Fault> {
        let (width, height) = self.page.size;
        let mut line = vec![0; width as usize];
        for strip in 0..height.div_ceil(self.page.chunk.1) {
            let rows = self.page.chunk.1.min(height - strip * self.page.chunk.1);
            self.rows(strip.into(), 0..rows, width, &mut |_, this, bytes| {
                this.linear.row(bytes, &mut line);
                to(&line)
            })?;
        }
        Ok(())
    }

    fn seen(&self) -> FloatRange {
        self.linear.seen()
    }
}
