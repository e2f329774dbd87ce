//! BMP with 1, 4, 8, 24 or 32 bits a pixel, not packed.

use super::bytes::{Bytes, Shared, bytes_at};
use super::pieces::{Content, Grid, Pieces};
use super::tone::{Depth, Layout, Linear};
use super::{Ceiling, Format, Info, Reading, cut_short, damaged, unsupported};
use crate::fault::Fault;

use evenfilm_core::plane::Rect;

/// Pixels of a piece at most, where a row has no more.
const PIECE: u32 = 1 << 17;

/// What the two heads of the file say.
struct Bmp {
    size: (u32, u32),
    /// Whether the last row stands first.
    upwards: bool,
    bits: u16,
    /// Where the pixels begin.
    start: u64,
    /// Colours of the table: blue, green, red.
    palette: Vec<[u8; 3]>,
}

impl Bmp {
    fn read(bytes: &dyn Bytes) -> Result<Self, Fault> {
        let head = bytes_at(bytes, 0, 54).map_err(|_| cut_short())?;
        let four = |at: usize| u32::from_le_bytes([head[at], head[at + 1], head[at + 2], head[at + 3]]);
        let (header, width, height) = (four(14), four(18).cast_signed(), four(22).cast_signed());
        if header < 40 {
            return Err(unsupported("a BMP of the oldest kind"));
        }
        let bits = u16::from_le_bytes([head[28], head[29]]);
        if !matches!(bits, 1 | 4 | 8 | 24 | 32) {
            return Err(unsupported(format!("a BMP with {bits} bits a pixel")));
        }
        let masks = match four(30) {
            0 => None,
            // The masks of red, green and blue stand behind the first 40 bytes, whether they belong to the head or not.
            3 | 6 if bits == 32 => Some(bytes_at(bytes, 54, 12).map_err(|_| cut_short())?),
            method => return Err(unsupported(format!("a BMP packed by method {method}"))),
        };
        if masks.is_some_and(|masks| masks != [0, 0, 0xFF, 0, 0, 0xFF, 0, 0, 0xFF, 0, 0, 0]) {
            return Err(unsupported("a BMP with colours in another order than blue, green, red"));
        }
        let width = u32::try_from(width).map_err(|_| damaged(format!("its width is {width} pixels")))?;
        let palette = if bits <= 8 { palette(bytes, header, four(46), bits)? } else { Vec::new() };
        Ok(Self { size: (width, height.unsigned_abs()), upwards: height > 0, bits, start: four(10).into(), palette })
    }

    /// Bytes of a row, which are a multiple of four.
    fn row_bytes(&self) -> u64 {
        (u64::from(self.size.0) * u64::from(self.bits)).div_ceil(32) * 4
    }

    /// Whether every colour of the table is a grey.
    fn grey(&self) -> bool {
        !self.palette.is_empty() && self.palette.iter().all(|[b, g, r]| b == g && g == r)
    }
}

fn palette(bytes: &dyn Bytes, header: u32, used: u32, bits: u16) -> Result<Vec<[u8; 3]>, Fault> {
    let colours = 1_u32 << bits;
    let count = if used == 0 { colours } else { used };
    if count > colours {
        return Err(damaged(format!("its table claims {count} colours")));
    }
    let table = bytes_at(bytes, 14 + u64::from(header), u64::from(count) * 4).map_err(|_| cut_short())?;
    let mut palette: Vec<[u8; 3]> = table.as_chunks().0.iter().map(|&[blue, green, red, _]| [blue, green, red]).collect();
    // An index beyond the table is black.
    palette.resize(colours as usize, [0; 3]);
    Ok(palette)
}

fn described(bmp: &Bmp, length: u64, ceiling: &Ceiling) -> Result<Info, Fault> {
    let channels = if bmp.grey() { 1 } else { 3 };
    let info = Info { channels, ..Info::new(Format::Bmp, bmp.size) };
    // One byte of indices of one bit stands for eight pixels of three samples.
    info.check(length, 24, ceiling)?;
    if bmp.start.saturating_add(bmp.row_bytes().saturating_mul(bmp.size.1.into())) > length {
        return Err(cut_short());
    }
    Ok(info)
}

/// What the head says, checked.
pub(super) fn info(bytes: &Shared, ceiling: &Ceiling) -> Result<Info, Fault> {
    described(&Bmp::read(bytes.as_ref())?, bytes.length(), ceiling)
}

/// Head and pixels.
pub(super) fn content(bytes: &Shared, reading: &Reading<'_>) -> Result<(Info, Content), Fault> {
    let bmp = Bmp::read(bytes.as_ref())?;
    let info = described(&bmp, bytes.length(), &reading.ceiling)?;
    let grey = bmp.grey();
    let layout = Layout { depth: Depth::Eight, samples: if grey { 1 } else { 3 }, colours: !grey, white_is_zero: false };
    let linear = Linear::new(layout, reading)?;
    Ok((info, Content::Pieces(Box::new(BmpRows { bytes: bytes.clone(), bmp, linear }))))
}

struct BmpRows {
    bytes: Shared,
    bmp: Bmp,
    linear: Linear,
}

impl BmpRows {
    /// A row as samples: grey, or red, green and blue.
    fn samples(&self, row: &[u8], out: &mut Vec<u8>) {
        out.clear();
        let grey = self.bmp.grey();
        let mut index = |index: u8| {
            let [blue, green, red] = self.bmp.palette[usize::from(index)];
            if grey { out.push(green) } else { out.extend([red, green, blue]) }
        };
        match self.bmp.bits {
            1 => row.iter().for_each(|byte| (0..8).rev().for_each(|bit| index(byte >> bit & 1))),
            4 => row.iter().for_each(|byte| [byte >> 4, byte & 15].into_iter().for_each(&mut index)),
            8 => row.iter().copied().for_each(index),
            24 => out.extend(row.as_chunks().0.iter().flat_map(|&[blue, green, red]| [red, green, blue])),
            _ => out.extend(row.as_chunks().0.iter().flat_map(|&[blue, green, red, _]| [red, green, blue])),
        }
    }
}

impl Pieces for BmpRows {
    fn grid(&self) -> Grid {
        let (width, height) = self.bmp.size;
        Grid { size: self.bmp.size, piece: (width, (PIECE / width).clamp(1, height)) }
    }

    fn decode(&self, at: Rect, out: &mut [u16], stride: usize) -> Result<(), Fault> {
        let length = self.bmp.row_bytes();
        let (mut row, mut samples) = (vec![0; usize::try_from(length).unwrap_or(usize::MAX)], Vec::new());
        for (y, line) in (at.y..at.bottom()).zip(out.chunks_mut(stride)) {
            let place = if self.bmp.upwards { self.bmp.size.1 - 1 - y } else { y };
            self.bytes.read_at(self.bmp.start + length * u64::from(place), &mut row).map_err(|_| cut_short())?;
            self.samples(&row, &mut samples);
            self.linear.row(&samples, &mut line[..at.width as usize]);
        }
        Ok(())
    }
}
