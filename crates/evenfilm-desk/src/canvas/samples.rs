//! Samples of a picture for the pixels of the screen: from the plane of its pyramid that fits, and from finer parts where there are any.

use std::ops::Range;

use evenfilm_core::plane::Plane;
use evenfilm_core::pyramid::Pyramid;

use super::grid::{Axis, down, place, signed};

/// A plane that lies over some part of the picture.
#[derive(Clone, Copy)]
pub(super) struct Sheet<'a> {
    /// The samples.
    pub(super) plane: &'a Plane<u16>,
    /// Its first column and row, px of the picture.
    pub(super) at: [f64; 2],
    /// One past its last column and row, px of the picture.
    pub(super) end: [f64; 2],
    /// Pixels of the picture to one of its own.
    pub(super) step: f64,
}

/// How often a picture is best halved for a zoom: no finer than a pixel of the screen needs, and less than twice as fine.
pub(crate) fn reduction_for(zoom: f64) -> u32 {
    let mut reduction = 0;
    let mut share = zoom * 2.0;
    while share <= 1.000_001 && reduction < 31 {
        reduction += 1;
        share *= 2.0;
    }
    reduction
}

impl<'a> Sheet<'a> {
    /// The plane of a pyramid that fits a zoom; `None` of an empty picture.
    pub(super) fn of(pyramid: &'a Pyramid, size: (u32, u32), zoom: f64) -> Option<Self> {
        let last = pyramid.first + u32::try_from(pyramid.planes.len()).ok()?.checked_sub(1)?;
        let reduction = reduction_for(zoom).clamp(pyramid.first, last);
        let end = [f64::from(size.0), f64::from(size.1)];
        Some(Self { plane: pyramid.at(reduction)?, at: [0.0; 2], end, step: f64::from(1_u32 << reduction.min(31)) })
    }

    /// How it is looked at.
    pub(super) fn seen(self, axes: [Axis; 2], width: usize) -> Looked<'a> {
        let (rows, columns) = self.plane.dim();
        // Pixels of the plane to a pixel of the screen: above 1 two of them are averaged, so that nothing fine is missed.
        let averaged = 1.0 / (axes[0].zoom * self.step) > 1.01;
        let half = if averaged { 0.5 } else { 0.0 };
        let from = place(axes[0].first_at(self.at[0]), width);
        let to = place(axes[0].first_at(self.end[0]), width).max(from);
        let place_of = |middle: f64, axis: usize, count: usize| {
            let at = down((middle - self.at[axis]) / self.step - half);
            place(at, count.saturating_sub(1))
        };
        let column = |x: usize| u32::try_from(place_of(axes[0].middle(signed(x)), 0, columns)).unwrap_or(u32::MAX);
        let taken = if columns == 0 || rows == 0 { 0..0 } else { from..to };
        let columns_of = taken.clone().map(column).collect();
        Looked { sheet: self, rows, averaged, half, axis: axes[1], taken, columns: columns_of }
    }
}

/// A plane with the places that the screen shows of it.
pub(super) struct Looked<'a> {
    sheet: Sheet<'a>,
    rows: usize,
    averaged: bool,
    half: f64,
    axis: Axis,
    /// Columns of the screen that it covers.
    pub(super) taken: Range<usize>,
    /// The plane's column for each of them.
    columns: Vec<u32>,
}

impl Looked<'_> {
    /// Whether it covers a row of the screen.
    pub(super) fn covers(&self, y: usize) -> bool {
        let middle = self.axis.middle(signed(y));
        middle >= self.sheet.at[1] && middle < self.sheet.end[1] && !self.taken.is_empty()
    }

    /// Samples of a row of the screen, into the columns that it covers.
    pub(super) fn row(&self, y: usize, (sums, means): &mut (Vec<u32>, Vec<u16>), out: &mut [u16]) {
        let at = down((self.axis.middle(signed(y)) - self.sheet.at[1]) / self.sheet.step - self.half);
        let at = place(at, self.rows.saturating_sub(1));
        let row = |at: usize| self.sheet.plane.as_slice().and_then(|all| all.chunks_exact(self.sheet.plane.ncols().max(1)).nth(at));
        let (Some(first), Some(out)) = (row(at), out.get_mut(self.taken.clone())) else { return };
        if !self.averaged {
            for (sample, &column) in out.iter_mut().zip(&self.columns) {
                *sample = first.get(column as usize).copied().unwrap_or(0);
            }
            return;
        }
        let second = row(at + 1).unwrap_or(first);
        // Down, then to the right, in sweeps without branches; the last column stands once more, for its neighbour.
        let (from, to) = (self.columns.first().map_or(0, |&c| c as usize), self.columns.last().map_or(0, |&c| c as usize + 2));
        sums.clear();
        let both = first.iter().zip(second).skip(from).take(to - from);
        sums.extend(both.map(|(&a, &b)| u32::from(a) + u32::from(b)));
        sums.extend(sums.last().copied());
        if let Some((_, next)) = sums.split_first() {
            means.clear();
            means.extend(sums.iter().zip(next).map(|(a, b)| narrow((a + b + 2) >> 2)));
        }
        for (sample, &column) in out.iter_mut().zip(&self.columns) {
            *sample = means.get(column as usize - from).copied().unwrap_or(0);
        }
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a mean is no larger than what it is of")]
const fn narrow(mean: u32) -> u16 {
    mean as u16
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn planes_are_as_fine_as_the_screen() {
        for (zoom, reduction) in [(64.0, 0), (1.0, 0), (0.51, 0), (0.5, 1), (0.26, 1), (0.25, 2), (0.001, 9), (0.0, 31)] {
            assert_eq!(reduction_for(zoom), reduction, "{zoom}");
        }
    }

    #[test]
    fn a_row_is_the_mean_of_what_each_pixel_covers() {
        let plane = Plane::from_shape_fn((6, 9), |(y, x)| u16::try_from(100 * y + 10 * x).unwrap());
        let sheet = Sheet { plane: &plane, at: [0.0; 2], end: [9.0, 6.0], step: 1.0 };
        let axis = Axis { from: 0.0, zoom: 1.0 / 1.5 };
        let looked = sheet.seen([axis; 2], 8);
        let mut out = [7; 8];
        assert!(looked.covers(0) && !looked.covers(4));
        looked.row(0, &mut Default::default(), &mut out);
        // The middle of the first pixel lies at 0.75: columns 0 and 1, rows 0 and 1.
        assert_eq!(out[0], (10 + 100 + 110 + 2) / 4);
        assert_eq!(looked.taken, 0..6);
        assert_eq!(out[6..], [7, 7], "what lies outside stays");
        let sharp = sheet.seen([Axis { from: 0.0, zoom: 2.0 }; 2], 8);
        sharp.row(3, &mut Default::default(), &mut out);
        assert_eq!(out, [100, 100, 110, 110, 120, 120, 130, 130]);
    }
}
