//! Places of the screen and of the picture as whole numbers.

use super::camera::Seen;

/// Far beyond every picture and screen, and well within what is exact.
const FAR: f64 = 1e12;

/// The next whole number below.
#[expect(clippy::cast_possible_truncation, reason = "cut to ±1e12 first")]
pub(super) fn down(at: f64) -> i64 {
    // Without `floor`, which is a call on processors that do not round by themselves.
    let at = at.clamp(-FAR, FAR);
    let cut = at as i64;
    cut - i64::from(cut as f64 > at)
}

/// The next whole number above.
pub(super) fn up(at: f64) -> i64 {
    -down(-at)
}

/// A whole number as a place in a row of so many; cut to its ends.
pub(super) fn place(at: i64, count: usize) -> usize {
    usize::try_from(at.max(0)).unwrap_or(usize::MAX).min(count)
}

/// A row or column as a signed number.
pub(super) fn signed(at: usize) -> i64 {
    i64::try_from(at).unwrap_or(i64::MAX)
}

/// One axis of what is seen: which pixels of the screen show which of the picture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Axis {
    /// Place of the picture at the first edge of the screen.
    pub(super) from: f64,
    /// Pixels of the screen to a pixel of the picture.
    pub(super) zoom: f64,
}

impl Axis {
    pub(super) fn both(seen: Seen) -> [Self; 2] {
        let zoom = if seen.zoom.is_finite() { seen.zoom.clamp(1e-7, 1e4) } else { 1.0 };
        seen.from.map(|from| Self { from: if from.is_finite() { from } else { 0.0 }, zoom })
    }

    /// The place of the picture in the middle of a pixel of the screen.
    pub(super) fn middle(self, at: i64) -> f64 {
        self.from + (at as f64 + 0.5) / self.zoom
    }

    /// The first pixel of the screen whose middle lies at or beyond a place of the picture.
    pub(super) fn first_at(self, place: f64) -> i64 {
        up((place - self.from) * self.zoom - 0.5)
    }

    /// The pixel of the screen on which a place of the picture lies.
    pub(super) fn on(self, place: f64) -> i64 {
        down((place - self.from) * self.zoom)
    }

    /// The pixels of the screen that pixels `x0` up to and without `x1` of the picture take: those whose middles they hold, at least one.
    pub(super) fn span(self, x0: f64, x1: f64) -> [i64; 2] {
        let (a, b) = (self.first_at(x0), self.first_at(x1));
        if b > a {
            return [a, b];
        }
        let middle = self.on(f64::midpoint(x0, x1));
        [middle, middle + 1]
    }

    /// The same of a picture that is halved so often.
    pub(super) fn halved(self, halvings: u32) -> Self {
        let by = f64::from(1_u32 << halvings.min(31));
        Self { from: self.from / by, zoom: self.zoom * by }
    }

    /// How far patterns are shifted, so that they go with the picture.
    pub(super) fn shift(self) -> i64 {
        down(self.from * self.zoom + 0.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_numbers() {
        for (at, below, above) in [(1.5, 1, 2), (-1.5, -2, -1), (3.0, 3, 3), (-3.0, -3, -3), (0.0, 0, 0), (-0.25, -1, 0)] {
            assert_eq!((down(at), up(at)), (below, above), "{at}");
        }
        assert_eq!(down(f64::INFINITY), 1_000_000_000_000);
        assert_eq!((place(-3, 5), place(3, 5), place(9, 5)), (0, 3, 5));
    }

    #[test]
    fn pixels_of_the_picture_share_the_screen_without_gaps() {
        for zoom in [1.0, 1.3, 2.0, 7.7, 64.0] {
            let axis = Axis { from: 3.3, zoom };
            for x in 4..40 {
                let [_, end] = axis.span(f64::from(x), f64::from(x) + 1.0);
                assert_eq!(end, axis.span(f64::from(x) + 1.0, f64::from(x) + 2.0)[0], "{zoom}, {x}");
            }
        }
        let far = Axis { from: 0.0, zoom: 0.01 };
        assert_eq!(far.span(10.0, 11.0), [0, 1]);
    }
}
