//! What the head of a file says, and the limits it is held against.

use super::turn::Turn;
use crate::fault::Fault;
use crate::time::Stated;

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
    /// TIFF 6.0 or its 64-bit sibling.
    Tiff,
    /// PNG.
    Png,
    /// JPEG.
    Jpeg,
    /// BMP.
    Bmp,
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
    /// Bits of a sample: 8 or 16 for whole numbers, 32 or 64 for floats. What has fewer is spread over 8 or 16.
    pub bits: u8,
    /// Samples of a pixel: 1 grey, 2 grey and opacity, 3 colour, 4 colour and more.
    pub channels: u8,
    /// Number of the page among those of its size, from 0.
    pub page: usize,
    /// The scale that the file states.
    pub scale: Option<FileScale>,
    /// The count at which the camera saturates, where the file states one below 65535.
    pub full_scale: Option<u16>,
    /// Exposure time, s.
    pub exposure_s: Option<f64>,
    /// Gain or ISO speed, in the file's own measure.
    pub gain: Option<f64>,
    /// When it was taken, in the file's own words.
    pub taken_at: Option<Stated>,
    /// Whether the pixels were packed with loss (JPEG).
    pub lossy: bool,
    /// What a reader of the record should know, in words.
    pub notes: Vec<String>,
    /// How the stored picture is turned; width and height are those after it.
    pub(super) turn: Turn,
}

impl Info {
    /// A grey picture of 8 bits of which nothing else is known.
    pub(super) fn new(format: Format, (width, height): (u32, u32)) -> Self {
        Self {
            format,
            width,
            height,
            bits: 8,
            channels: 1,
            page: 0,
            scale: None,
            full_scale: None,
            exposure_s: None,
            gain: None,
            taken_at: None,
            lossy: false,
            notes: Vec::new(),
            turn: Turn::default(),
        }
    }

    /// Whether the samples are floats.
    pub const fn is_float(&self) -> bool {
        self.bits > 16
    }

    fn pixels(&self) -> u64 {
        u64::from(self.width) * u64::from(self.height)
    }

    /// Bytes of the samples as the file holds them, unpacked.
    fn sample_bytes(&self) -> u64 {
        self.pixels().saturating_mul(u64::from(self.channels) * u64::from(self.bits / 8))
    }

    /// Refuses what is empty, too large, or larger than a file of `file_bytes` can hold when each of its bytes stands for at most
    /// `expansion` bytes of samples.
    pub(super) fn check(&self, file_bytes: u64, expansion: u64, ceiling: &Ceiling) -> Result<(), Fault> {
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
