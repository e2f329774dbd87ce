//! TIFF: grey and RGB with 8 or 16 bits, the first page.

use std::io::{ErrorKind, Read, Seek};

use tiff::decoder::ifd::Value;
use tiff::decoder::{Decoder, DecodingResult, Limits};
use tiff::tags::Tag;
use tiff::{ColorType, TiffError, TiffFormatError};

use super::{Ceiling, Counts, FileScale, Format, Info, cut_short, damaged, unsupported};
use crate::fault::Fault;

/// One byte of LZW without a clear code stands for less than 4096 bytes, of Deflate for 1032.
const EXPANSION: u64 = 4096;

/// Resolutions in inches that imply more than this are a printer's default, µm per pixel.
const COARSEST_INCH_UM: f64 = 20.0;

/// What the head says, checked.
pub(super) fn info(reader: impl Read + Seek, length: u64, ceiling: &Ceiling) -> Result<Info, Fault> {
    open(reader, length, ceiling).map(|(_, info)| info)
}

/// Head and samples.
pub(super) fn decode(reader: impl Read + Seek, length: u64, ceiling: &Ceiling) -> Result<(Info, Counts), Fault> {
    let (mut decoder, info) = open(reader, length, ceiling)?;
    match decoder.read_image().map_err(|err| fault(&err))? {
        DecodingResult::U8(samples) => Ok((info, Counts::Eight(samples))),
        DecodingResult::U16(samples) => Ok((info, Counts::Sixteen(samples))),
        _ => Err(unsupported("its samples are not whole numbers from 0 with 8 or 16 bits")),
    }
}

fn open<R: Read + Seek>(reader: R, length: u64, ceiling: &Ceiling) -> Result<(Decoder<R>, Info), Fault> {
    let mut limits = Limits::default();
    limits.decoding_buffer_size = usize::try_from(ceiling.bytes).unwrap_or(usize::MAX);
    limits.intermediate_buffer_size = limits.decoding_buffer_size;
    let mut decoder = Decoder::new(reader).map_err(|err| fault(&err))?.with_limits(limits);
    let info = described(&mut decoder)?;
    let expansion = match tag(&mut decoder, Tag::Compression)?.unwrap_or(1) {
        1 => 1,
        // LZW, Deflate under its two numbers, PackBits.
        5 | 8 | 32_946 | 32_773 => EXPANSION,
        method => return Err(unsupported(format!("its pixels are packed by method {method}"))),
    };
    info.check(length, expansion, ceiling)?;
    Ok((decoder, info))
}

fn described<R: Read + Seek>(decoder: &mut Decoder<R>) -> Result<Info, Fault> {
    let (width, height) = decoder.dimensions().map_err(|err| fault(&err))?;
    let color = decoder.colortype().map_err(|err| fault(&err))?;
    let (channels, bits) = match color {
        ColorType::Gray(bits @ (8 | 16)) => (1, bits),
        ColorType::GrayA(bits @ (8 | 16)) => (2, bits),
        ColorType::RGB(bits @ (8 | 16)) => (3, bits),
        ColorType::RGBA(bits @ (8 | 16)) => (4, bits),
        other => return Err(unsupported(in_words(other))),
    };
    match decoder.find_tag_unsigned_vec::<u16>(Tag::SampleFormat).map_err(|err| fault(&err))?.unwrap_or_default().first() {
        None | Some(1 | 4) => {}
        Some(2) => return Err(unsupported("its samples have a sign")),
        Some(_) => return Err(unsupported("its samples are not whole numbers")),
    }
    if channels > 1 && tag(decoder, Tag::PlanarConfiguration)?.unwrap_or(1) != 1 {
        return Err(unsupported("its colours are stored apart from each other"));
    }
    let mut notes = Vec::new();
    if matches!(channels, 2 | 4) {
        notes.push("the picture's opacity is ignored".into());
    }
    if decoder.more_images() {
        notes.push("the file has several pages; the first is read".into());
    }
    let scale = scale(decoder, &mut notes);
    Ok(Info { format: Format::Tiff, width, height, bits, channels, scale, notes })
}

fn in_words(color: ColorType) -> String {
    match color {
        ColorType::Gray(bits) => format!("{bits}-bit grey"),
        ColorType::GrayA(bits) => format!("{bits}-bit grey with opacity"),
        ColorType::RGB(bits) | ColorType::RGBA(bits) => format!("{bits}-bit RGB"),
        ColorType::Palette(_) => "indexed colours".into(),
        ColorType::CMYK(_) | ColorType::CMYKA(_) => "printing colours".into(),
        ColorType::YCbCr(_) | ColorType::Lab(_) => "colours other than RGB".into(),
        ColorType::Multiband { num_samples, .. } => format!("{num_samples} bands"),
        _ => "unknown colours".into(),
    }
}

fn tag<R: Read + Seek>(decoder: &mut Decoder<R>, tag: Tag) -> Result<Option<u32>, Fault> {
    decoder.find_tag_unsigned(tag).map_err(|err| fault(&err))
}

/// Pixels per length as µm per pixel. A resolution that cannot be used is no error: the sheet may give the scale.
fn scale<R: Read + Seek>(decoder: &mut Decoder<R>, notes: &mut Vec<String>) -> Option<FileScale> {
    // TIFF 6.0, ResolutionUnit: 1 none, 2 inch (where absent), 3 cm.
    let unit = decoder.find_tag_unsigned::<u16>(Tag::ResolutionUnit).ok()?.unwrap_or(2);
    let um = match unit {
        2 => 25_400.0,
        3 => 10_000.0,
        _ => return None,
    };
    let um_per_px_x = pixel_um(decoder, Tag::XResolution, um)?;
    let um_per_px_y = pixel_um(decoder, Tag::YResolution, um).unwrap_or(um_per_px_x);
    if unit == 2 && um_per_px_x.max(um_per_px_y) > COARSEST_INCH_UM {
        let dpi = um / um_per_px_x;
        notes.push(format!("the file's resolution of {dpi:.0} pixels per inch is a printer's default and is ignored"));
        return None;
    }
    Some(FileScale { um_per_px_x, um_per_px_y })
}

/// Length of a pixel where `um` is the unit of length; `None` where the tag is absent or not positive.
fn pixel_um<R: Read + Seek>(decoder: &mut Decoder<R>, tag: Tag, um: f64) -> Option<f64> {
    let (pixels, lengths) = match decoder.find_tag(tag).ok()?? {
        Value::Rational(pixels, lengths) => (f64::from(pixels), f64::from(lengths)),
        Value::Float(pixels) => (f64::from(pixels), 1.0),
        Value::Double(pixels) => (pixels, 1.0),
        _ => return None,
    };
    Some(um * lengths / pixels).filter(|found| found.is_finite() && *found > 0.0)
}

fn fault(err: &TiffError) -> Fault {
    match err {
        TiffError::IoError(err) if err.kind() == ErrorKind::UnexpectedEof => cut_short(),
        TiffError::UnsupportedError(what) => unsupported(what),
        TiffError::FormatError(TiffFormatError::InvalidDimensions(width, height)) => {
            Fault::input(format!("the picture is empty: {width} × {height} pixels"), "take or export it again")
        }
        TiffError::FormatError(cause) => damaged(cause),
        TiffError::LimitsExceeded => damaged("it needs more memory than its size explains"),
        _ => damaged(err),
    }
}
