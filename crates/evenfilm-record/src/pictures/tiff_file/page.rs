//! What the tags of a page say of its pixels, checked before anything is decoded.

use super::super::damaged;
use super::super::tone::{Depth, Layout};
use super::ifd::{Container, Directory};
use crate::fault::Fault;
use crate::pictures::unsupported;

/// Pixels of a tile that are decoded at once at most.
const MOST_TILE: u64 = 1 << 26;

/// How the bytes of a chunk are packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Packing {
    Plain,
    Lzw,
    /// Each chunk is a JPEG.
    Jpeg {
        /// Whether its colours are to be turned to RGB.
        ycbcr: bool,
    },
    Deflate,
    PackBits,
}

/// What was done to the samples before they were packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Predictor {
    Nothing,
    /// Differences from the pixel to the left.
    Horizontal,
    /// The same of the bytes of floats, put in order of their weight (TIFF Technical Note 3).
    Float,
}

/// How samples that are not whole bytes, or that stand for colours of a table, become such as [`Layout`] has.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Expand {
    Nothing,
    /// Packed whole numbers of up to 7 bits, or of 9 to 15, spread to 8 or 16.
    Bits,
    /// Indices of 1 to 8 bits into these colours.
    Palette(Vec<[u8; 3]>),
}

/// A page that can be decoded.
#[derive(Clone, Debug)]
pub(super) struct Page {
    pub(super) size: (u32, u32),
    pub(super) packing: Packing,
    pub(super) predictor: Predictor,
    pub(super) expand: Expand,
    /// Samples as they are once expanded and put beside each other.
    pub(super) layout: Layout,
    /// Bits of a sample as stored.
    pub(super) bits: u16,
    /// Samples of a pixel as stored.
    pub(super) samples: u32,
    pub(super) big_endian: bool,
    /// Whether each sample of a pixel has chunks of its own.
    pub(super) planar: bool,
    pub(super) tiled: bool,
    /// Columns and rows of a chunk: a strip or a tile.
    pub(super) chunk: (u32, u32),
    /// Where the chunks are and how long, plane after plane.
    pub(super) offsets: Vec<u64>,
    pub(super) lengths: Vec<u64>,
    /// JPEG tables that the chunks share.
    pub(super) tables: Vec<u8>,
}

/// Columns and rows that a page claims.
pub(super) fn size(container: &Container<'_>, directory: &Directory) -> Result<(u32, u32), Fault> {
    let side = |tag, name| {
        let found = container.one(directory, tag)?.ok_or_else(|| damaged(format!("it does not state its {name}")))?;
        u32::try_from(found).map_err(|_| damaged(format!("its {name} is {found} pixels")))
    };
    Ok((side(256, "width")?, side(257, "height")?))
}

fn packing(method: u64, photometric: u64) -> Result<Packing, Fault> {
    match method {
        1 => Ok(Packing::Plain),
        5 => Ok(Packing::Lzw),
        7 => Ok(Packing::Jpeg { ycbcr: photometric == 6 }),
        8 | 32_946 => Ok(Packing::Deflate),
        32_773 => Ok(Packing::PackBits),
        method => Err(unsupported(format!("its pixels are packed by method {method}"))),
    }
}

/// A number that all samples of a pixel share.
fn shared(container: &Container<'_>, directory: &Directory, tag: u16, absent: u64) -> Result<u64, Fault> {
    let Some(all) = container.numbers(directory, tag, 1 << 16)? else { return Ok(absent) };
    match all.as_slice() {
        [] => Ok(absent),
        [first, rest @ ..] if rest.iter().all(|other| other == first) => Ok(*first),
        _ => Err(unsupported("its samples differ in bits or kind")),
    }
}

fn depth(bits: u64, format: u64, big_endian: bool) -> Result<Depth, Fault> {
    match (format, bits) {
        (1 | 4, 1 | 2 | 4 | 8) => Ok(Depth::Eight),
        (1 | 4, 16) => Ok(Depth::Sixteen { big_endian }),
        // What is spread over 16 bits here is written with the high byte first.
        (1 | 4, 9..=15) => Ok(Depth::Sixteen { big_endian: true }),
        (3, 32) => Ok(Depth::Single { big_endian }),
        (3, 64) => Ok(Depth::Double { big_endian }),
        (1 | 4, _) => Err(unsupported(format!("{bits}-bit whole numbers"))),
        (2, _) => Err(unsupported("its samples have a sign")),
        (3, _) => Err(unsupported(format!("{bits}-bit floats"))),
        _ => Err(unsupported("its samples are neither whole numbers nor floats")),
    }
}

fn palette(container: &Container<'_>, directory: &Directory, bits: u64) -> Result<Vec<[u8; 3]>, Fault> {
    let colours = 1_usize << bits.min(8);
    let map = container.numbers(directory, 320, 3 << 8)?.ok_or_else(|| damaged("its table of colours is missing"))?;
    if bits > 8 || map.len() != 3 * colours {
        return Err(damaged("its table of colours has another length than its bits ask for"));
    }
    let high = |place: usize| (map[place] >> 8).to_le_bytes()[0];
    Ok((0..colours).map(|i| [high(i), high(colours + i), high(2 * colours + i)]).collect())
}

impl Page {
    /// Reads what a directory says. Size and number of chunks are checked against each other, not yet against the file.
    pub(super) fn read(container: &Container<'_>, directory: &Directory) -> Result<Self, Fault> {
        let one = |tag, absent| Ok::<_, Fault>(container.one(directory, tag)?.unwrap_or(absent));
        let size = size(container, directory)?;
        let photometric = one(262, 1)?;
        let packing = packing(one(259, 1)?, photometric)?;
        let is_jpeg = matches!(packing, Packing::Jpeg { .. });
        let bits = shared(container, directory, 258, 1)?;
        let samples = u32::try_from(one(277, 1)?).ok().filter(|samples| (1..=64).contains(samples));
        let samples = samples.ok_or_else(|| unsupported("it has more than 64 samples a pixel, or none"))?;
        let mut depth = depth(bits, shared(container, directory, 339, 1)?, container.big_endian)?;
        let mut expand = if bits < 8 || (9..16).contains(&bits) { Expand::Bits } else { Expand::Nothing };
        let planar = samples > 1 && one(284, 1)? == 2;
        let colours = match photometric {
            0 | 1 => 1,
            2 => 3,
            3 if samples == 1 => {
                expand = Expand::Palette(palette(container, directory, bits)?);
                depth = Depth::Eight;
                1
            }
            6 if is_jpeg && !planar => 3,
            6 | 8..=10 => return Err(unsupported("colours other than RGB")),
            5 => return Err(unsupported("printing colours")),
            3 => return Err(unsupported("indexed colours with further samples")),
            other => return Err(unsupported(format!("colours of kind {other}"))),
        };
        if samples < colours {
            return Err(damaged("it has fewer samples than colours"));
        }
        let predictor = match (one(317, 1)?, packing) {
            (1, _) | (_, Packing::Plain | Packing::Jpeg { .. } | Packing::PackBits) => Predictor::Nothing,
            (2, _) if matches!(bits, 8 | 16 | 32 | 64) => Predictor::Horizontal,
            (3, _) if matches!(depth, Depth::Single { .. } | Depth::Double { .. }) => Predictor::Float,
            (other, _) => return Err(unsupported(format!("differences of kind {other}"))),
        };
        if is_jpeg && bits != 8 {
            return Err(unsupported(format!("JPEG with {bits} bits")));
        }
        let is_palette = matches!(expand, Expand::Palette(_));
        let layout = Layout {
            depth: if predictor == Predictor::Float { big_endian(depth) } else { depth },
            samples: if is_palette { 3 } else { samples as usize },
            colours: colours == 3 || is_palette,
            white_is_zero: photometric == 0,
        };
        let (tiled, chunk) = chunk(container, directory, size)?;
        let (offsets, lengths) = places(container, directory, (tiled, size, chunk), if planar { samples } else { 1 })?;
        Ok(Self {
            size,
            packing,
            predictor,
            expand,
            layout,
            bits: u16::try_from(bits).unwrap_or(u16::MAX),
            samples,
            big_endian: container.big_endian,
            planar,
            tiled,
            chunk,
            offsets,
            lengths,
            tables: if is_jpeg { container.raw(directory, 347, 1 << 20)?.unwrap_or_default() } else { Vec::new() },
        })
    }

    /// Whether there are samples beyond grey or colour.
    pub(super) fn extra(&self) -> bool {
        let colours = self.layout.colours && !matches!(self.expand, Expand::Palette(_));
        self.samples > if colours { 3 } else { 1 }
    }

    /// Chunks beside each other.
    pub(super) const fn across(&self) -> u32 {
        self.size.0.div_ceil(self.chunk.0)
    }

    /// Chunks of one plane.
    pub(super) const fn per_plane(&self) -> u64 {
        self.across() as u64 * self.size.1.div_ceil(self.chunk.1) as u64
    }

    /// Samples that lie beside each other in a chunk.
    pub(super) const fn samples_in_chunk(&self) -> u32 {
        if self.planar { 1 } else { self.samples }
    }

    /// Bytes of a row of a chunk, unpacked.
    pub(super) fn row_bytes(&self) -> u64 {
        (u64::from(self.chunk.0) * u64::from(self.samples_in_chunk()) * u64::from(self.bits)).div_ceil(8)
    }

    /// The planes that a channel needs.
    pub(super) fn planes(&self, channel: evenfilm_core::recipe::Channel) -> Vec<u32> {
        use evenfilm_core::recipe::Channel;
        match (self.planar && self.layout.colours, channel) {
            (false, _) | (true, Channel::Red) => vec![0],
            (true, Channel::Green) => vec![1],
            (true, Channel::Blue) => vec![2],
            (true, Channel::Luminance) => vec![0, 1, 2],
        }
    }
}

/// Floats whose bytes were put in order of their weight come out with the highest first.
fn big_endian(depth: Depth) -> Depth {
    match depth {
        Depth::Double { .. } => Depth::Double { big_endian: true },
        _ => Depth::Single { big_endian: true },
    }
}

/// Whether the page is tiled, and columns and rows of a chunk.
fn chunk(container: &Container<'_>, directory: &Directory, size: (u32, u32)) -> Result<(bool, (u32, u32)), Fault> {
    if !directory.has(324) {
        let rows = container.one(directory, 278)?.unwrap_or(u64::from(u32::MAX)).min(size.1.into());
        return match u32::try_from(rows) {
            Ok(0) if size.1 > 0 => Err(damaged("its strips have no rows")),
            rows => Ok((false, (size.0, rows.unwrap_or(size.1)))),
        };
    }
    let side = |tag| container.one(directory, tag).map(|found| found.and_then(|found| u32::try_from(found).ok()).unwrap_or(0));
    let (columns, rows) = (side(322)?, side(323)?);
    if columns == 0 || rows == 0 {
        return Err(damaged("its tiles have no size"));
    }
    if u64::from(columns) * u64::from(rows) > MOST_TILE {
        return Err(unsupported(format!("tiles of {columns} × {rows} pixels")));
    }
    Ok((true, (columns, rows)))
}

type Tiling = (bool, (u32, u32), (u32, u32));

/// Where the chunks are and how long.
fn places(
    container: &Container<'_>,
    directory: &Directory,
    (tiled, size, chunk): Tiling,
    planes: u32,
) -> Result<(Vec<u64>, Vec<u64>), Fault> {
    if size.0 == 0 || size.1 == 0 {
        return Ok((Vec::new(), Vec::new()));
    }
    let chunks = u64::from(size.0.div_ceil(chunk.0)) * u64::from(size.1.div_ceil(chunk.1)) * u64::from(planes);
    let tags = if tiled { (324, 325) } else { (273, 279) };
    let read = |tag| container.numbers(directory, tag, u64::MAX);
    let offsets = read(tags.0)?.ok_or_else(|| damaged("it does not say where its pixels are"))?;
    // Some programs leave the lengths out where the pixels are not packed: then a chunk goes as far as it needs.
    let lengths = read(tags.1)?.unwrap_or_else(|| vec![u64::MAX; offsets.len()]);
    if offsets.len() as u64 != chunks || lengths.len() as u64 != chunks {
        return Err(damaged(format!("it has {} pieces where its size asks for {chunks}", offsets.len())));
    }
    Ok((offsets, lengths))
}
