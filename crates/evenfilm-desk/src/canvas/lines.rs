//! How lines are drawn: solid, dashes and dots tell what a piece is; colour only repeats it.

use egui::Color32;

use super::grid::{Axis, down, place, signed};
use super::marks::Class;
use super::tones::{DEEP, SAND, SKY, blend};

/// Of every `period` steps along a line the first `on` have its colour, the others that of `between`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    colour: Color32,
    period: i64,
    on: i64,
    between: Option<Color32>,
}

/// Solid: an object that counts.
const OBJECT: Line = Line { colour: SAND, period: 1, on: 1, between: None };
/// Long dashes: an object of a kind that is left out.
const LEFT_OUT: Line = Line { colour: SAND, period: 15, on: 9, between: None };
/// Dotted: an object too small to count.
const SMALL_OBJECT: Line = Line { colour: SAND, period: 5, on: 2, between: None };
/// Dark and light dashes by turns, seen on film as on bare ground: a gap that counts, and the largest circle in it.
pub(super) const GAP: Line = Line { colour: DEEP, period: 12, on: 7, between: Some(SKY) };
/// Dotted: a gap too small to count.
const SMALL_GAP: Line = Line { colour: DEEP, period: 5, on: 2, between: None };

/// Pixels of the screen between the lines of a hatch.
pub(super) const HATCH: usize = 16;

impl Line {
    pub(super) const fn of(class: Class) -> Self {
        match class {
            Class::Agglomerate | Class::Object | Class::None => OBJECT,
            Class::Gap => GAP,
            Class::LeftOut => LEFT_OUT,
            Class::SmallObject | Class::Speck => SMALL_OBJECT,
            Class::SmallGap => SMALL_GAP,
        }
    }

    /// Its colour where it is drawn the same everywhere.
    pub(super) fn solid(self) -> Option<Color32> {
        (self.period == self.on).then_some(self.colour)
    }

    /// Its colour so far right and down of where its pattern begins, lines being so thick; `None` between dashes. x + 2y grows along every
    /// direction that a line of pixels can take, so none is swallowed, and the pixel where the pattern begins is always drawn.
    pub(super) fn colour(self, x: i64, y: i64, thick: i64) -> Option<Color32> {
        if (x + 2 * y).rem_euclid(self.period * thick) < self.on * thick { Some(self.colour) } else { self.between }
    }
}

/// The first columns of a row that lie on a line of the hatch; the others follow at whole distances. The pattern is shifted so far right, and
/// the row lies so far down.
pub(super) fn hatched(right: i64, below: i64, thick: i64) -> impl Iterator<Item = usize> {
    let period = signed(HATCH) * thick;
    (0..thick).map(move |step| place((step - right - below).rem_euclid(period), HATCH * 64))
}

/// The pixels of the screen that may be drawn on: those right of the bared part.
pub(super) struct Ground<'a> {
    pub(super) pixels: &'a mut [Color32],
    pub(super) width: usize,
    pub(super) from: usize,
    pub(super) share: u8,
}

impl Ground<'_> {
    fn dab(&mut self, x: i64, y: i64, colour: Color32) {
        let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) else { return };
        if x < self.from || x >= self.width {
            return;
        }
        if let Some(pixel) = self.pixels.get_mut(y * self.width + x) {
            *pixel = blend(*pixel, colour, self.share);
        }
    }

    /// A circle of a diameter around a place of the picture, as a line of a gap.
    pub(super) fn circle(&mut self, [x, y, diameter]: [f64; 3], axes: [Axis; 2], thick: i64) {
        let [cx, cy] = [(x - axes[0].from) * axes[0].zoom, (y - axes[1].from) * axes[1].zoom];
        let radius = diameter / 2.0 * axes[0].zoom;
        let (width, height) = (self.width, self.pixels.len() / self.width.max(1));
        // Smaller ones only thicken the outline around them.
        if radius < 4.0 || cx + radius < 0.0 || cy + radius < 0.0 || cx - radius > width as f64 || cy - radius > height as f64 {
            return;
        }
        let shift = axes.map(Axis::shift);
        let mut both = |x: i64, y: i64| {
            if let Some(colour) = GAP.colour(x + shift[0], y + shift[1], thick) {
                self.dab(x, y, colour);
            }
        };
        for step in 0..thick {
            let radius = radius - step as f64 - 0.5;
            let half = radius * std::f64::consts::FRAC_1_SQRT_2 + 1.0;
            // Flat parts column by column, steep ones row by row.
            for (across, along, is_flat, count) in [(cx, cy, true, width), (cy, cx, false, height)] {
                let (from, to) = (place(down(across - half), count), place(down(across + half) + 1, count));
                for at in from..to {
                    let off = at as f64 + 0.5 - across;
                    let reach = (radius * radius - off * off).max(0.0).sqrt();
                    for other in [down(along - reach), down(along + reach)] {
                        if is_flat { both(signed(at), other) } else { both(other, signed(at)) }
                    }
                }
            }
        }
    }

    /// A bead of a line between constituents.
    pub(super) fn bead(&mut self, [x, y]: [f64; 2], axes: [Axis; 2], thick: i64) {
        let [x, y] = [axes[0].on(x), axes[1].on(y)];
        for (right, below) in (0..thick).flat_map(|right| (0..thick).map(move |below| (right, below))) {
            self.dab(x + right, y + below, SAND);
        }
    }
}
