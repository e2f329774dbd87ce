//! JPEG (ITU-T T.81): its markers read here, its pixels by zune-jpeg. Also the chunks of a TIFF.

use std::ops::RangeInclusive;

use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::{cut_short, damaged, guarded, unsupported};
use crate::fault::Fault;

/// What the markers before the pixels say.
#[derive(Clone, Debug, Default)]
pub(super) struct Head {
    pub(super) columns: u32,
    pub(super) rows: u32,
    /// Samples of a pixel.
    pub(super) samples: u32,
    /// EXIF data, a TIFF of its own.
    pub(super) exif: Option<Vec<u8>>,
}

/// What a picture or a chunk must be to be decoded.
#[derive(Clone, Debug)]
pub(super) struct Asked {
    pub(super) columns: u32,
    /// Fewest and most rows.
    pub(super) rows: RangeInclusive<u32>,
    /// Samples of a pixel: 1 or 3, or as stored.
    pub(super) samples: u32,
    /// Whether three samples stay what they are; else they become RGB.
    pub(super) as_stored: bool,
}

/// Two bytes as a number.
fn two(stream: &[u8], at: usize) -> Result<usize, Fault> {
    let pair = stream.get(at..at + 2).ok_or_else(cut_short)?;
    Ok(usize::from(pair[0]) << 8 | usize::from(pair[1]))
}

/// Reads the markers up to the first pixels.
pub(super) fn head(stream: &[u8]) -> Result<Head, Fault> {
    let mut head = Head::default();
    if !stream.starts_with(&[0xFF, 0xD8]) {
        return Err(damaged("its first bytes are not those of a JPEG"));
    }
    let mut at = 2;
    loop {
        let (marker, start) = marker(stream, at)?;
        let length = match marker {
            0x01 | 0xD0..=0xD8 => 0,
            0xD9 => return Err(damaged("it ends before its pixels begin")),
            _ => two(stream, start)?,
        };
        let body = stream.get(start..start + length).ok_or_else(cut_short)?;
        match marker {
            0xC0..=0xC2 => {
                let &[_, _, bits, y1, y0, x1, x0, samples, ..] = body else { return Err(damaged("its frame is too short")) };
                if bits != 8 {
                    return Err(unsupported(format!("JPEG with {bits} bits")));
                }
                head.rows = u32::from(u16::from_be_bytes([y1, y0]));
                head.columns = u32::from(u16::from_be_bytes([x1, x0]));
                head.samples = samples.into();
            }
            0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF => {
                return Err(unsupported("JPEG without loss, in layers, or with arithmetic coding"));
            }
            0xE1 if head.exif.is_none() => head.exif = body.get(2..).and_then(|body| body.strip_prefix(b"Exif\0\0")).map(<[u8]>::to_vec),
            0xDA if head.samples == 0 => return Err(damaged("its pixels begin before its frame")),
            0xDA => return Ok(head),
            _ => {}
        }
        at = start + length;
    }
}

/// The marker at this place, and where what belongs to it begins. Any number of fill bytes may stand before it.
fn marker(stream: &[u8], mut at: usize) -> Result<(u8, usize), Fault> {
    if *stream.get(at).ok_or_else(cut_short)? != 0xFF {
        return Err(damaged("a marker is missing"));
    }
    loop {
        at += 1;
        match *stream.get(at).ok_or_else(cut_short)? {
            0xFF => {}
            marker => return Ok((marker, at + 1)),
        }
    }
}

/// Makes sure that the stream goes on to its end: the decoder would fill up with grey what is missing.
fn whole(stream: &[u8]) -> Result<(), Fault> {
    let mut at = 2;
    loop {
        let (marker, start) = marker(stream, at)?;
        at = match marker {
            0xD9 => return Ok(()),
            0x01 | 0xD0..=0xD8 => start,
            _ => start + two(stream, start)?,
        };
        if marker == 0xDA {
            // Coded pixels: to the next marker that neither stands for a byte nor restarts.
            loop {
                let rest = stream.get(at..).ok_or_else(cut_short)?;
                at += rest.iter().position(|&byte| byte == 0xFF).ok_or_else(cut_short)?;
                match stream.get(at + 1).ok_or_else(cut_short)? {
                    0x00 | 0xD0..=0xD7 => at += 2,
                    0xFF => at += 1,
                    _ => break,
                }
            }
        }
    }
}

/// The samples of all pixels, row after row.
pub(super) fn decode(stream: &[u8], asked: &Asked) -> Result<Vec<u8>, Fault> {
    let head = head(stream)?;
    whole(stream)?;
    if head.columns != asked.columns || !asked.rows.contains(&head.rows) || head.samples != asked.samples {
        return Err(damaged(format!("a JPEG in it has {} × {} pixels, {} samples each", head.columns, head.rows, head.samples)));
    }
    let size = u64::from(head.columns) * u64::from(head.rows) * u64::from(head.samples);
    let decoded = guarded(|| samples(stream, asked))?;
    if decoded.len() as u64 == size { Ok(decoded) } else { Err(damaged("it holds another number of pixels than it claims")) }
}

fn samples(stream: &[u8], asked: &Asked) -> Result<Vec<u8>, Fault> {
    let options = DecoderOptions::new_safe().set_max_width(1 << 16).set_max_height(1 << 16).set_strict_mode(true);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(stream), options);
    decoder.decode_headers().map_err(damaged)?;
    let space = match (asked.samples, asked.as_stored) {
        (1, _) => ColorSpace::Luma,
        (_, true) => decoder.input_colorspace().ok_or_else(|| damaged("its colours are unknown"))?,
        (_, false) => ColorSpace::RGB,
    };
    decoder.set_options(options.jpeg_set_out_colorspace(space));
    decoder.decode().map_err(damaged)
}
