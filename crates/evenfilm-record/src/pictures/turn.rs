//! How a picture is to be turned before it is looked at (TIFF 6.0, Orientation; the same in EXIF).

use evenfilm_core::plane::{Plane, Rect};

/// What is to be done to a picture as stored: first its axes change places, then each may be reversed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Turn {
    /// Stored rows become columns.
    swap: bool,
    /// Columns of the result run against the stored direction.
    mirror_x: bool,
    /// Rows of the result run against the stored direction.
    mirror_y: bool,
}

impl Turn {
    /// The meaning of the tag; what it does not define is no turn.
    pub(super) const fn of_tag(tag: u64) -> Self {
        let (swap, mirror_x, mirror_y) = match tag {
            2 => (false, true, false),
            3 => (false, true, true),
            4 => (false, false, true),
            5 => (true, false, false),
            6 => (true, true, false),
            7 => (true, true, true),
            8 => (true, false, true),
            _ => (false, false, false),
        };
        Self { swap, mirror_x, mirror_y }
    }

    /// Columns and rows of a picture of this stored size, and the other way round.
    pub(super) const fn size(self, (width, height): (u32, u32)) -> (u32, u32) {
        if self.swap { (height, width) } else { (width, height) }
    }

    /// The stored rectangle behind a rectangle of the turned picture of this size.
    pub(super) fn stored(self, at: Rect, (width, height): (u32, u32)) -> Rect {
        let x = if self.mirror_x { width - at.right() } else { at.x };
        let y = if self.mirror_y { height - at.bottom() } else { at.y };
        if self.swap { Rect::new(y, x, at.height, at.width) } else { Rect::new(x, y, at.width, at.height) }
    }

    /// Puts the counts of a stored rectangle into their places in the rectangle `size` of the turned picture.
    pub(super) fn lay(self, stored: &[u16], size: (u32, u32), out: &mut [u16]) {
        let (width, height) = (size.0 as usize, size.1 as usize);
        let place = |x: usize, y: usize| {
            let x = if self.mirror_x { width - 1 - x } else { x };
            let y = if self.mirror_y { height - 1 - y } else { y };
            if self.swap { x * height + y } else { y * width + x }
        };
        for (y, line) in out.chunks_exact_mut(width.max(1)).enumerate() {
            for (x, to) in line.iter_mut().enumerate() {
                *to = stored[place(x, y)];
            }
        }
    }

    /// A whole picture, turned.
    pub(super) fn plane(self, stored: Plane<u16>) -> Plane<u16> {
        if self == Self::default() {
            return stored;
        }
        let (rows, columns) = stored.dim();
        let (rows, columns) = if self.swap { (columns, rows) } else { (rows, columns) };
        Plane::from_shape_fn((rows, columns), |(y, x)| {
            let x = if self.mirror_x { columns - 1 - x } else { x };
            let y = if self.mirror_y { rows - 1 - y } else { y };
            stored[if self.swap { [x, y] } else { [y, x] }]
        })
    }
}
