//! Two-dimensional samples and where they come from.

use std::sync::atomic::{AtomicBool, Ordering};

/// A two-dimensional array of samples, indexed `[[row, column]]`.
pub type Plane<T> = ndarray::Array2<T>;

/// Linear transmission (or reflectance) × 2¹⁵: the empty slide is [`ONE`], black is 0, the largest value stands for 2.
pub type Level = u16;

/// The level of the empty slide: transmission 1.
pub const ONE: Level = 1 << 15;

/// A number in single precision, for places where 24 bits are enough.
#[expect(clippy::cast_possible_truncation, reason = "rounding to 24 bits is what is asked for")]
pub(crate) const fn single(of: f64) -> f32 {
    of as f32
}

/// A rectangle of whole pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Rect {
    /// First column.
    pub x: u32,
    /// First row.
    pub y: u32,
    /// Number of columns.
    pub width: u32,
    /// Number of rows.
    pub height: u32,
}

impl Rect {
    /// The rectangle from the first column and row with this width and height.
    pub const fn new(x: u32, y: u32, width: u32, height: u32) -> Self {
        Self { x, y, width, height }
    }
    /// The whole of a picture of this size (columns, rows).
    pub const fn whole(size: (u32, u32)) -> Self {
        Self::new(0, 0, size.0, size.1)
    }
    /// One past the last column.
    pub const fn right(self) -> u32 {
        self.x + self.width
    }
    /// One past the last row.
    pub const fn bottom(self) -> u32 {
        self.y + self.height
    }
    /// Number of pixels.
    pub const fn area(self) -> u64 {
        self.width as u64 * self.height as u64
    }
    /// This rectangle grown by `margin` on every side and cut to `frame`.
    #[must_use]
    pub fn grown(self, margin: u32, frame: Self) -> Self {
        let x = self.x.saturating_sub(margin).max(frame.x);
        let y = self.y.saturating_sub(margin).max(frame.y);
        let right = self.right().saturating_add(margin).min(frame.right());
        let bottom = self.bottom().saturating_add(margin).min(frame.bottom());
        Self::new(x, y, right - x, bottom - y)
    }
    /// The smallest rectangle that holds both.
    #[must_use]
    pub fn union(self, other: Self) -> Self {
        let (x, y) = (self.x.min(other.x), self.y.min(other.y));
        Self::new(x, y, self.right().max(other.right()) - x, self.bottom().max(other.bottom()) - y)
    }
    /// Whether a side of this rectangle lies on a side of `frame`.
    pub fn touches(self, frame: Self) -> bool {
        self.x == frame.x || self.y == frame.y || self.right() == frame.right() || self.bottom() == frame.bottom()
    }
}

/// Why a measurement of a picture stopped without a result.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Stop {
    /// The caller asked for it.
    #[error("cancelled")]
    Cancelled,
    /// A rectangle of the picture could not be read.
    #[error("{0}")]
    Unreadable(String),
    /// The blank or the dark picture has another size than the field.
    #[error("the {what} is {found_width} × {found_height} pixels, the field {width} × {height}")]
    OtherSize {
        /// "blank" or "dark".
        what: &'static str,
        /// Columns of the blank or dark picture.
        found_width: u32,
        /// Rows of the blank or dark picture.
        found_height: u32,
        /// Columns of the field.
        width: u32,
        /// Rows of the field.
        height: u32,
    },
}

/// Where counts come from: a picture held in memory, a tiled file, a spool.
pub trait Samples: Sync {
    /// Columns and rows.
    fn size(&self) -> (u32, u32);
    /// Linear counts of the rectangle, row after row, into `out` of exactly `at.area()` samples.
    ///
    /// # Errors
    /// [`Stop::Unreadable`] where the source gives no samples.
    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop>;
}

impl Samples for Plane<u16> {
    fn size(&self) -> (u32, u32) {
        let (rows, columns) = self.dim();
        (u32::try_from(columns).unwrap_or(u32::MAX), u32::try_from(rows).unwrap_or(u32::MAX))
    }
    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop> {
        let (x0, x1) = (at.x as usize, at.right() as usize);
        for (row, line) in out.chunks_exact_mut(at.width.max(1) as usize).enumerate() {
            let from = self.row(at.y as usize + row);
            match from.as_slice() {
                Some(whole) => line.copy_from_slice(&whole[x0..x1]),
                None => line.iter_mut().zip(from.iter().skip(x0)).for_each(|(to, &s)| *to = s),
            }
        }
        Ok(())
    }
}

/// What a long computation asks and tells while it runs: polled at every band and every batch of objects.
#[derive(Clone, Copy)]
pub struct Watch<'a> {
    /// Set by the caller to stop the work.
    pub cancel: &'a AtomicBool,
    /// Told the stage and the share of it that is done, 0 to 1.
    pub tell: &'a (dyn Fn(Stage, f32) + Sync),
}

impl Watch<'_> {
    /// Ends the work where the caller asked for it.
    ///
    /// # Errors
    /// [`Stop::Cancelled`].
    pub fn poll(&self) -> Result<(), Stop> {
        if self.cancel.load(Ordering::Relaxed) { Err(Stop::Cancelled) } else { Ok(()) }
    }
}

/// The stages of one field, in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// Light, film level, noise and blur.
    Survey,
    /// Pixels to runs of gap, film and particle.
    Cut,
    /// Runs to components.
    Join,
    /// Every object in its own window.
    Refine,
    /// Gaps and quantities.
    Sum,
    /// Chance films, once all fields are measured.
    Chance,
}
