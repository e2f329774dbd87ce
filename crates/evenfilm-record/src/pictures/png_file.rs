//! PNG.

use std::io::{self, BufRead, ErrorKind, Seek, SeekFrom};

use png::{BitDepth, ColorType, Decoder, DecodingError, Limits, Reader, Transformations};

use super::{Ceiling, Counts, Format, Info, cut_short, damaged, unsupported};
use crate::fault::Fault;

/// One byte of Deflate stands for at most 1032 bytes.
const EXPANSION: u64 = 1040;

/// What the head says, checked.
pub(super) fn info(reader: impl BufRead + Seek, length: u64, ceiling: &Ceiling) -> Result<Info, Fault> {
    open(reader, length, ceiling).map(|(_, info)| info)
}

/// Head and samples of the whole file, to its last chunk.
pub(super) fn decode(reader: impl BufRead + Seek, length: u64, ceiling: &Ceiling) -> Result<(Info, Counts), Fault> {
    let (mut reader, info) = open(reader, length, ceiling)?;
    let size = reader.output_buffer_size().ok_or_else(|| damaged("its size does not fit into memory"))?;
    let mut bytes = vec![0; size];
    reader.next_frame(&mut bytes).map_err(|err| fault(&err))?;
    reader.finish().map_err(|err| fault(&err))?;
    let counts = match info.bits {
        8 => Counts::Eight(bytes),
        _ => Counts::Sixteen(bytes.as_chunks().0.iter().map(|&pair| u16::from_be_bytes(pair)).collect()),
    };
    Ok((info, counts))
}

/// Width and height as the first chunk has them, which the decoder does not tell of a picture without pixels.
fn claimed(reader: &mut (impl BufRead + Seek)) -> io::Result<[u32; 2]> {
    let mut head = [0; 24];
    let start = reader.stream_position()?;
    let read = reader.read_exact(&mut head);
    reader.seek(SeekFrom::Start(start))?;
    read?;
    let side = |at: usize| u32::from_be_bytes([head[at], head[at + 1], head[at + 2], head[at + 3]]);
    Ok([side(16), side(20)])
}

fn open<R: BufRead + Seek>(mut reader: R, length: u64, ceiling: &Ceiling) -> Result<(Reader<R>, Info), Fault> {
    if let Ok([width, height]) = claimed(&mut reader)
        && (width == 0 || height == 0)
    {
        described(width, height, (ColorType::Grayscale, BitDepth::Eight)).check(length, EXPANSION, ceiling)?;
    }
    let bytes = usize::try_from(ceiling.bytes).unwrap_or(usize::MAX);
    let mut decoder = Decoder::new_with_limits(reader, Limits { bytes });
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    decoder.set_transformations(Transformations::EXPAND);
    let header = decoder.read_header_info().map_err(|err| fault(&err))?;
    let coarse = (header.bit_depth as u8) < 8 && header.color_type != ColorType::Indexed;
    if coarse {
        return Err(unsupported(format!("{} bits hold too few levels", header.bit_depth as u8)));
    }
    // Before the decoder allocates anything for the pixels. What is packed in palettes grows by at most another eight times.
    let claim = described(header.width, header.height, (ColorType::Grayscale, BitDepth::Eight));
    claim.check(length, 8 * EXPANSION, ceiling)?;
    let reader = decoder.read_info().map_err(|err| fault(&err))?;
    let info = described(reader.info().width, reader.info().height, reader.output_color_type());
    let expansion = if reader.info().color_type == ColorType::Indexed { 32 * EXPANSION } else { EXPANSION };
    info.check(length, expansion, ceiling)?;
    Ok((reader, info))
}

fn described(width: u32, height: u32, (color, depth): (ColorType, BitDepth)) -> Info {
    let channels = match color {
        ColorType::Grayscale => 1,
        ColorType::GrayscaleAlpha => 2,
        ColorType::Rgb | ColorType::Indexed => 3,
        ColorType::Rgba => 4,
    };
    let notes = if matches!(channels, 2 | 4) { vec!["the picture's opacity is ignored".into()] } else { Vec::new() };
    Info { format: Format::Png, width, height, bits: depth as u8, channels, scale: None, notes }
}

fn fault(err: &DecodingError) -> Fault {
    match err {
        DecodingError::IoError(err) if err.kind() == ErrorKind::UnexpectedEof => cut_short(),
        DecodingError::LimitsExceeded => damaged("it needs more memory than its size explains"),
        _ => damaged(err),
    }
}
