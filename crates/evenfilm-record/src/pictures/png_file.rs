//! PNG, 1 to 16 bits, grey, colours or a table of colours.

use std::io::{BufReader, ErrorKind};

use png::{BitDepth, ColorType, Decoder, DecodingError, Limits, Reader, Transformations};

use super::about::About;
use super::bytes::{Shared, Stretch, bytes_at};
use super::pieces::{Content, Rows};
use super::tone::{Depth, Layout, Linear};
use super::{Ceiling, Format, Info, Reading, cut_short, damaged, guarded};
use crate::fault::Fault;

/// One byte of Deflate stands for at most 1032 bytes.
const EXPANSION: u64 = 1040;

type Png = Reader<BufReader<Stretch>>;

/// What the head says, checked.
pub(super) fn info(bytes: &Shared, ceiling: &Ceiling) -> Result<Info, Fault> {
    open(bytes, ceiling).map(|(_, info)| info)
}

/// Head and pixels.
pub(super) fn content(bytes: &Shared, reading: &Reading<'_>) -> Result<(Info, Content), Fault> {
    let (png, info) = open(bytes, &reading.ceiling)?;
    let depth = if info.bits == 8 { Depth::Eight } else { Depth::Sixteen { big_endian: true } };
    let layout = Layout { depth, samples: info.channels.into(), colours: info.channels > 2, white_is_zero: false };
    // As stored: the picture may be turned afterwards.
    let size = (png.info().width, png.info().height);
    let rows = PngRows { png, size, linear: Linear::new(layout, reading)? };
    Ok((info, Content::Rows(Box::new(rows))))
}

/// Width and height as the first chunk has them, which the decoder does not tell of a picture without pixels.
fn claimed(bytes: &Shared) -> Result<[u32; 2], Fault> {
    let head = bytes_at(bytes.as_ref(), 0, 24).map_err(|_| cut_short())?;
    let side = |at: usize| u32::from_be_bytes([head[at], head[at + 1], head[at + 2], head[at + 3]]);
    Ok([side(16), side(20)])
}

fn open(bytes: &Shared, ceiling: &Ceiling) -> Result<(Png, Info), Fault> {
    let length = bytes.length();
    let [width, height] = claimed(bytes)?;
    if width == 0 || height == 0 {
        described(width, height, (ColorType::Grayscale, BitDepth::Eight)).check(length, EXPANSION, ceiling)?;
    }
    let most = usize::try_from(ceiling.bytes).unwrap_or(usize::MAX);
    let mut decoder = Decoder::new_with_limits(Stretch::buffered(bytes, 0, length), Limits { bytes: most });
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    decoder.set_transformations(Transformations::EXPAND);
    let header = decoder.read_header_info().map_err(|err| fault(&err))?;
    let bits = header.bit_depth as u8;
    // Before the decoder allocates anything for the pixels. What is packed in few bits or in palettes grows by at most another eight times.
    let claim = described(header.width, header.height, (ColorType::Grayscale, BitDepth::Eight));
    claim.check(length, 8 * EXPANSION, ceiling)?;
    let png = guarded(|| decoder.read_info().map_err(|err| fault(&err)))?;
    let mut info = described(png.info().width, png.info().height, png.output_color_type());
    let indexed = png.info().color_type == ColorType::Indexed;
    if indexed {
        check_palette(&png)?;
    }
    info.check(length, if indexed || bits < 8 { 32 * EXPANSION } else { EXPANSION }, ceiling)?;
    if bits < 8 && !indexed {
        info.notes.push(format!("the picture has only {} levels of grey", 1 << bits));
    }
    if let Some(exif) = png.info().exif_metadata.as_deref() {
        About::of_exif(exif).tell(&mut info);
    }
    Ok((png, info))
}

/// Makes sure of the lengths that the decoder takes for granted.
fn check_palette(png: &Png) -> Result<(), Fault> {
    let length = |bytes: Option<&[u8]>| bytes.map_or(0, <[u8]>::len);
    let (palette, opacity) = (length(png.info().palette.as_deref()), length(png.info().trns.as_deref()));
    if !(3..=768).contains(&palette) || palette % 3 != 0 || opacity > palette / 3 {
        return Err(damaged(format!("its table of colours has {palette} bytes, that of their opacity {opacity}")));
    }
    Ok(())
}

fn described(width: u32, height: u32, (color, depth): (ColorType, BitDepth)) -> Info {
    let channels = match color {
        ColorType::Grayscale => 1,
        ColorType::GrayscaleAlpha => 2,
        ColorType::Rgb | ColorType::Indexed => 3,
        ColorType::Rgba => 4,
    };
    let notes = if matches!(channels, 2 | 4) { vec!["the picture's opacity is ignored".into()] } else { Vec::new() };
    Info { bits: depth as u8, channels, notes, ..Info::new(Format::Png, (width, height)) }
}

struct PngRows {
    png: Png,
    size: (u32, u32),
    linear: Linear,
}

impl Rows for PngRows {
    fn size(&self) -> (u32, u32) {
        self.size
    }

    fn each(&mut self, to: &mut dyn FnMut(&[u16]) -> Result<(), Fault>) -> Result<(), Fault> {
        let mut line = vec![0; self.size.0 as usize];
        if self.png.info().interlaced {
            // The passes of such a picture only make rows once all of them are there.
            let size = self.png.output_buffer_size().ok_or_else(|| damaged("its size does not fit into memory"))?;
            let mut bytes = vec![0; size];
            guarded(|| self.png.next_frame(&mut bytes).map_err(|err| fault(&err)))?;
            for row in bytes.chunks_exact(size / self.size.1 as usize) {
                self.linear.row(row, &mut line);
                to(&line)?;
            }
        } else {
            for _ in 0..self.size.1 {
                let png = &mut self.png;
                let row = guarded(move || png.next_row().map_err(|err| fault(&err))?.ok_or_else(cut_short))?;
                self.linear.row(row.data(), &mut line);
                to(&line)?;
            }
        }
        guarded(|| self.png.finish().map_err(|err| fault(&err)))
    }
}

fn fault(err: &DecodingError) -> Fault {
    match err {
        DecodingError::IoError(err) if err.kind() == ErrorKind::UnexpectedEof => cut_short(),
        DecodingError::LimitsExceeded => damaged("it needs more memory than its size explains"),
        _ => damaged(err),
    }
}
