//! Pictures: files to linear counts.
//!
//! What a file is, is told from its bytes, not from its name. Size and memory are checked before anything is allocated. Counts are linear
//! and 16 bits wide whatever the file holds. A picture is held in memory where it is small, else read by rectangles ([`Budget`]).

use std::fmt;
use std::fs::File;
use std::io::{Read, Seek};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::Arc;

use evenfilm_core::plane::{Plane, Rect, Samples, Stop};
use evenfilm_core::recipe::Channel;

use crate::fault::Fault;
use crate::sheet::Tone;

mod about;
mod bmp_file;
mod bytes;
mod info;
mod jpeg;
mod jpeg_file;
mod ome;
mod pieces;
mod png_file;
mod store;
#[cfg(test)]
mod tests;
mod tiff_file;
mod tone;
mod turn;

use bytes::{OnDisk, Shared};
pub use info::{Ceiling, FileScale, Format, Info};
use pieces::Content;
pub use store::Budget;
use store::Store;

/// The count at which a picture saturates, where nothing says otherwise.
pub const FULL_SCALE: u16 = u16::MAX;

/// How counts become linear, and what reading may take.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub struct Reading<'a> {
    /// What counts stand for; 16-bit and float pictures are linear where nobody says, 8-bit ones are refused.
    pub tone: Option<Tone>,
    /// Which plane of a colour picture is taken.
    pub channel: Channel,
    /// The value of float pictures that becomes the count 65535; default 1. Floats are linear, whatever the tone.
    pub float_full_scale: f64,
    /// Limits.
    pub ceiling: Ceiling,
    /// What is held in memory.
    pub budget: Budget,
    /// Folder of scratch files; the system's own where there is none.
    pub scratch: Option<&'a Path>,
}

impl Reading<'_> {
    /// Luminance, counts of this tone, and the limits as they are set by default.
    pub fn new(tone: Option<Tone>) -> Self {
        let (ceiling, budget) = (Ceiling::default(), Budget::default());
        Self { tone, channel: Channel::Luminance, float_full_scale: 1.0, ceiling, budget, scratch: None }
    }
}

/// A picture as linear counts, in memory or ready to be read by rectangles.
pub struct Picture {
    /// What the head of the file said.
    pub info: Info,
    store: Store,
}

impl fmt::Debug for Picture {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.debug_struct("Picture").field("info", &self.info).finish_non_exhaustive()
    }
}

impl Picture {
    /// Opens the first page of a file. What fits into the budget is decoded at once.
    ///
    /// # Errors
    /// The file cannot be read, is no picture of a supported kind, is damaged, cut short, empty or too large, or has 8 bits and no tone.
    pub fn open(path: &Path, reading: &Reading<'_>) -> Result<Self, Fault> {
        Self::open_page(path, 0, reading)
    }

    /// Opens a page of a file, from 0; pages of another size than the first do not count.
    ///
    /// # Errors
    /// As [`Picture::open`]; there is no such page.
    pub fn open_page(path: &Path, page: usize, reading: &Reading<'_>) -> Result<Self, Fault> {
        let (bytes, head) = on_disk(path)?;
        Self::from_bytes(&bytes, &head, page, reading).map_err(|fault| if fault.file.is_none() { fault.at(path) } else { fault })
    }

    /// Decodes the bytes of a file.
    ///
    /// # Errors
    /// As [`Picture::open`], without the file's name.
    pub fn decode(bytes: &[u8], reading: &Reading<'_>) -> Result<Self, Fault> {
        let shared: Shared = Arc::new(bytes.to_vec());
        Self::from_bytes(&shared, bytes, 0, reading)
    }

    fn from_bytes(bytes: &Shared, head: &[u8], page: usize, reading: &Reading<'_>) -> Result<Self, Fault> {
        let (info, content) = content(bytes, head, page, reading)?;
        let store = Store::open(content, info.turn, &reading.budget, reading.scratch)?;
        Ok(Self { info, store })
    }

    /// Whether all counts are held in memory; else they are read by rectangles.
    pub const fn is_held(&self) -> bool {
        matches!(self.store, Store::Held(_))
    }

    /// Seconds that threads have spent so far on getting counts that are not held in memory: decoding, reading, waiting for each other. Summed
    /// over all threads.
    pub(crate) fn waited_s(&self) -> f64 {
        self.store.waited_s()
    }

    /// All linear counts, indexed `[[row, column]]`.
    ///
    /// # Errors
    /// [`Stop::Unreadable`] where a part of the picture cannot be decoded.
    pub fn counts(&self) -> Result<Plane<u16>, Stop> {
        if let Store::Held(plane) = &self.store {
            return Ok(plane.clone());
        }
        let mut counts = Plane::zeros((self.info.height as usize, self.info.width as usize));
        if let Some(all) = counts.as_slice_mut() {
            self.read(Rect::whole(self.size()), all)?;
        }
        Ok(counts)
    }
}

impl Samples for Picture {
    fn size(&self) -> (u32, u32) {
        (self.info.width, self.info.height)
    }
    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop> {
        self.store.read(at, out)
    }
}

fn content(bytes: &Shared, head: &[u8], page: usize, reading: &Reading<'_>) -> Result<(Info, Content), Fault> {
    match sniff(head)? {
        Format::Tiff => tiff_file::content(bytes, page, reading),
        _ if page > 0 => Err(Fault::input("the picture has one page only", "correct the number behind # in the sheet")),
        Format::Png => png_file::content(bytes, reading),
        Format::Jpeg => jpeg_file::content(bytes, reading),
        Format::Bmp => bmp_file::content(bytes, reading),
    }
}

/// What the values of a float picture are.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FloatRange {
    /// The largest finite value; 0 where none is above 0.
    pub largest: f64,
    /// Values that are not finite.
    pub not_numbers: u64,
}

/// Reads all values of a float picture.
///
/// # Errors
/// As [`Picture::open_page`].
pub fn float_range(path: &Path, page: usize, reading: &Reading<'_>) -> Result<FloatRange, Fault> {
    let (bytes, head) = on_disk(path)?;
    let scanned = content(&bytes, &head, page, reading).and_then(|(_, mut content)| content.scan());
    scanned.map_err(|fault| fault.at(path))
}

/// Reads the head of a file and checks what it claims of its first page.
///
/// # Errors
/// The file cannot be read, is no picture of a supported kind, is empty or too large.
pub fn probe(path: &Path, ceiling: &Ceiling) -> Result<Info, Fault> {
    let mut pages = probe_pages(path, ceiling)?;
    Ok(pages.swap_remove(0))
}

/// Reads the head of a file and checks what it claims of every page that is as large as the first; at least one.
///
/// # Errors
/// As [`probe`].
pub fn probe_pages(path: &Path, ceiling: &Ceiling) -> Result<Vec<Info>, Fault> {
    let (bytes, head) = on_disk(path)?;
    let infos = match sniff(&head) {
        Ok(Format::Tiff) => tiff_file::info(&bytes, ceiling),
        Ok(Format::Png) => png_file::info(&bytes, ceiling).map(|info| vec![info]),
        Ok(Format::Jpeg) => jpeg_file::info(&bytes, ceiling).map(|info| vec![info]),
        Ok(Format::Bmp) => bmp_file::info(&bytes, ceiling).map(|info| vec![info]),
        Err(fault) => Err(fault),
    };
    infos.map_err(|fault| fault.at(path))
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
    if head.starts_with(b"\xFF\xD8\xFF") {
        return Ok(Format::Jpeg);
    }
    if head.starts_with(b"BM") {
        return Ok(Format::Bmp);
    }
    let remedy = "save the field as TIFF or PNG with 8 or 16 bits, grey or RGB";
    let found = SIGNATURES.iter().find(|(signature, _)| head.starts_with(signature)).map(|&(_, name)| name);
    Err(match found {
        Some(name) => Fault::input(format!("the file is {name}, which is not read; TIFF, PNG, JPEG and BMP are"), remedy),
        None if head.is_empty() => Fault::input("the file is empty", "copy it again from the camera's computer"),
        None => Fault::input("the file is neither TIFF, PNG, JPEG nor BMP, whatever its name says", remedy),
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

/// The bytes of a file, and the first of them.
fn on_disk(path: &Path) -> Result<(Shared, Vec<u8>), Fault> {
    let (file, length, head) = opened(path)?;
    Ok((Arc::new(OnDisk::new(file, length)), head))
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

/// Runs a decoder of another library. The last resort: what such a decoder takes for granted is checked before, and no panic of those in
/// use is known that these checks let through; one that is not known must not end the program.
fn guarded<T>(decode: impl FnOnce() -> Result<T, Fault>) -> Result<T, Fault> {
    catch_unwind(AssertUnwindSafe(decode)).unwrap_or_else(|_| Err(damaged("its pixels make no sense")))
}

fn unsupported(what: impl std::fmt::Display) -> Fault {
    let remedy = "save it with 8 or 16 bits, grey or RGB, as TIFF (plain, Deflate or LZW) or PNG";
    Fault::input(format!("this kind of picture is not read: {what}"), remedy)
}
