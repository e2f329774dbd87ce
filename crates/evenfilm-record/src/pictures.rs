//! Pictures: files to linear counts.
//!
//! What a file is, is told from its bytes, not from its name. Size and memory are checked before anything is allocated. Counts are linear
//! and 16 bits wide whatever the file holds, so that 65535 is the count at which the camera saturates.

use std::fs::File;
use std::io::{BufRead, BufReader, Cursor, Read, Seek};
use std::path::Path;

use evenfilm_core::plane::{Plane, Rect, Samples, Stop};
use evenfilm_core::recipe::Channel;

use crate::fault::Fault;
use crate::sheet::Tone;

mod png_file;
#[cfg(test)]
mod tests;
mod tiff_file;
mod tone;

/// The count at which a picture saturates.
pub const FULL_SCALE: u16 = u16::MAX;

/// What a picture may take at most; checked against what a file claims before anything is allocated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Ceiling {
    /// Pixels; default 2 × 10⁹.
    pub pixels: u64,
    /// Bytes of file and samples together; default 8 GiB.
    pub bytes: u64,
}

impl Default for Ceiling {
    fn default() -> Self {
        Self { pixels: 2_000_000_000, bytes: 8 << 30 }
    }
}

/// Formats that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// TIFF 6.0 or its 64-bit sibling; the first page.
    Tiff,
    /// PNG.
    Png,
}

/// A scale that a file states.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FileScale {
    /// Width of a pixel, µm.
    pub um_per_px_x: f64,
    /// Height of a pixel, µm.
    pub um_per_px_y: f64,
}

/// What the head of a file says.
#[derive(Clone, Debug, PartialEq)]
pub struct Info {
    /// Format.
    pub format: Format,
    /// Columns, above 0.
    pub width: u32,
    /// Rows, above 0.
    pub height: u32,
    /// Bits of a sample: 8 or 16.
    pub bits: u8,
    /// Samples of a pixel: 1 grey, 2 grey and opacity, 3 colour, 4 colour and opacity.
    pub channels: u8,
    /// The scale that the file states.
    pub scale: Option<FileScale>,
    /// What a reader of the record should know, in words.
    pub notes: Vec<String>,
}

impl Info {
    fn pixels(&self) -> u64 {
        u64::from(self.width) * u64::from(self.height)
    }

    /// Bytes of the samples as the file holds them, unpacked.
    fn sample_bytes(&self) -> u64 {
        self.pixels().saturating_mul(u64::from(self.channels) * u64::from(self.bits / 8))
    }

    /// Refuses what is empty, too large, or larger than a file of `file_bytes` can hold when each of its bytes stands for at most
    /// `expansion` bytes of samples.
    fn check(&self, file_bytes: u64, expansion: u64, ceiling: &Ceiling) -> Result<(), Fault> {
        let size = format!("{} × {} pixels", self.width, self.height);
        if self.pixels() == 0 {
            return Err(Fault::input(format!("the picture is empty: {size}"), "take or export it again"));
        }
        let bytes = self.sample_bytes().saturating_add(self.pixels().saturating_mul(2)).saturating_add(file_bytes);
        if self.pixels() > ceiling.pixels || bytes > ceiling.bytes {
            let message = format!("the picture claims {size}, more than the {} that are read at most", pixels_in_words(ceiling));
            return Err(Fault::input(message, "check the file; cut a larger slide into several fields"));
        }
        if self.sample_bytes() > file_bytes.saturating_mul(expansion) {
            let message = format!("the picture is cut short: it claims {size}, which a file of {file_bytes} bytes cannot hold");
            return Err(Fault::input(message, "copy it again from the camera's computer"));
        }
        Ok(())
    }
}

fn pixels_in_words(ceiling: &Ceiling) -> String {
    format!("{} million pixels or {} MiB", ceiling.pixels / 1_000_000, ceiling.bytes >> 20)
}

/// Samples as a file holds them, pixel after pixel.
enum Counts {
    Eight(Vec<u8>),
    Sixteen(Vec<u16>),
}

/// How counts become linear.
#[derive(Clone, Copy, Debug)]
pub struct Reading {
    /// What counts stand for; 16-bit pictures are linear where nobody says, 8-bit ones are refused.
    pub tone: Option<Tone>,
    /// Which plane of a colour picture is taken.
    pub channel: Channel,
    /// Limits.
    pub ceiling: Ceiling,
}

/// A picture held in memory as linear counts.
#[derive(Clone, Debug)]
pub struct Picture {
    /// What the head of the file said.
    pub info: Info,
    counts: Plane<u16>,
}

impl Picture {
    /// Reads and decodes a file.
    ///
    /// # Errors
    /// The file cannot be read, is no picture of a supported kind, is damaged, cut short, empty or too large, or has 8 bits and no tone.
    pub fn open(path: &Path, reading: &Reading) -> Result<Self, Fault> {
        // Straight from the file: a copy of it in memory costs as much time as all the rest.
        let (file, length, head) = opened(path)?;
        Self::from_reader(BufReader::new(file), length, &head, reading).map_err(|fault| fault.at(path))
    }

    /// Decodes the bytes of a file.
    ///
    /// # Errors
    /// As [`Picture::open`], without the file's name.
    pub fn decode(bytes: &[u8], reading: &Reading) -> Result<Self, Fault> {
        Self::from_reader(Cursor::new(bytes), bytes.len() as u64, bytes, reading)
    }

    fn from_reader(reader: impl BufRead + Seek, length: u64, head: &[u8], reading: &Reading) -> Result<Self, Fault> {
        let (info, counts) = match sniff(head)? {
            Format::Tiff => tiff_file::decode(reader, length, &reading.ceiling)?,
            Format::Png => png_file::decode(reader, length, &reading.ceiling)?,
        };
        let tone = tone_of(info.bits, reading.tone)?;
        let linear = tone::linear(counts, info.channels, tone, reading.channel);
        let size = (info.height as usize, info.width as usize);
        let counts = Plane::from_shape_vec(size, linear).map_err(|_| damaged("it holds another number of pixels than it claims"))?;
        Ok(Self { info, counts })
    }

    /// Linear counts, indexed `[[row, column]]`.
    pub fn counts(&self) -> &Plane<u16> {
        &self.counts
    }
}

impl Samples for Picture {
    fn size(&self) -> (u32, u32) {
        (self.info.width, self.info.height)
    }
    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop> {
        self.counts.read(at, out)
    }
}

/// Reads the head of a file and checks what it claims.
///
/// # Errors
/// The file cannot be read, is no picture of a supported kind, is empty or too large.
pub fn probe(path: &Path, ceiling: &Ceiling) -> Result<Info, Fault> {
    let (file, length, head) = opened(path)?;
    let reader = BufReader::new(file);
    let info = match sniff(&head) {
        Ok(Format::Tiff) => tiff_file::info(reader, length, ceiling),
        Ok(Format::Png) => png_file::info(reader, length, ceiling),
        Err(fault) => Err(fault),
    };
    info.map_err(|fault| fault.at(path))
}

/// The tone that holds for a picture of this many bits.
///
/// # Errors
/// 8 bits, and nobody says what they stand for.
pub fn tone_of(bits: u8, stated: Option<Tone>) -> Result<Tone, Fault> {
    match stated {
        Some(tone) => Ok(tone),
        None if bits > 8 => Ok(Tone::Linear),
        None => {
            let remedy = "state it in [microscope] of the sheet: tone = \"srgb\" for pictures as most camera programs save them for \
                          viewing, tone = \"linear\" where the camera was set to a gamma of 1";
            Err(Fault::input("8-bit counts can stand for light in two ways, and the sheet does not say which", remedy))
        }
    }
}

/// What the first bytes of a file say it is.
const SIGNATURES: &[(&[u8], &str)] = &[
    (b"\xFF\xD8\xFF", "JPEG"),
    (b"BM", "BMP"),
    (b"GIF8", "GIF"),
    (b"RIFF", "WebP or another RIFF file"),
    (b"\x00\x00\x00\x0CjP", "JPEG 2000"),
    (b"\x76\x2F\x31\x01", "OpenEXR"),
    (b"%PDF", "PDF"),
    (b"PK\x03\x04", "a ZIP archive"),
];

fn sniff(head: &[u8]) -> Result<Format, Fault> {
    const TIFF: [&[u8]; 4] = [b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"];
    if TIFF.iter().any(|signature| head.starts_with(signature)) {
        return Ok(Format::Tiff);
    }
    if head.starts_with(b"\x89PNG\r\n\x1A\n") {
        return Ok(Format::Png);
    }
    let remedy = "save the field as TIFF or PNG with 8 or 16 bits, grey or RGB";
    let found = SIGNATURES.iter().find(|(signature, _)| head.starts_with(signature)).map(|&(_, name)| name);
    Err(match found {
        Some(name) => Fault::input(format!("the file is {name}, which is not read; TIFF and PNG are"), remedy),
        None if head.is_empty() => Fault::input("the file is empty", "copy it again from the camera's computer"),
        None => Fault::input("the file is neither TIFF nor PNG, whatever its name says", remedy),
    })
}

/// Whether a file is meant as a picture, by its bytes or by its name.
pub(crate) fn is_picture(path: &Path) -> bool {
    const NAMES: [&str; 6] = ["tif", "tiff", "png", "jpg", "jpeg", "bmp"];
    let named = path.extension().is_some_and(|end| NAMES.iter().any(|name| end.eq_ignore_ascii_case(name)));
    named || opened(path).is_ok_and(|(_, _, head)| sniff(&head).is_ok())
}

/// A file, its length and its first bytes, set back to its start.
fn opened(path: &Path) -> Result<(File, u64, Vec<u8>), Fault> {
    let unreadable = |err| unreadable(path, &err);
    let mut file = File::open(path).map_err(unreadable)?;
    let about = file.metadata().map_err(unreadable)?;
    if !about.is_file() {
        return Err(Fault::input("the picture is not a file", "give the name of a picture file").at(path));
    }
    let mut head = Vec::new();
    file.by_ref().take(16).read_to_end(&mut head).map_err(unreadable)?;
    file.rewind().map_err(unreadable)?;
    Ok((file, about.len(), head))
}

fn unreadable(path: &Path, err: &std::io::Error) -> Fault {
    Fault::input(format!("the picture cannot be read: {err}"), "check the name and the rights on the file").at(path)
}

/// A file that says of itself that it goes on beyond its end.
fn cut_short() -> Fault {
    Fault::input("the picture is cut short: the file ends before its pixels do", "copy it again from the camera's computer")
}

fn damaged(cause: impl std::fmt::Display) -> Fault {
    Fault::input(format!("the picture is damaged: {cause}"), "copy it again from the camera's computer")
}

fn unsupported(what: impl std::fmt::Display) -> Fault {
    let remedy = "save it with 8 or 16 bits, grey or RGB, as TIFF (plain, Deflate or LZW) or PNG";
    Fault::input(format!("this kind of picture is not read: {what}"), remedy)
}
