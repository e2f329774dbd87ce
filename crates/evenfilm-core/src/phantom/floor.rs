//! The floor: what is taken already, so that separate things keep a clear distance.

use super::outline::Form;
use super::polygon::{apart, depth};
use super::{PhantomSpec, floor_index, lay};
use std::ops::Range;

/// Corners of the polygons that keep things apart.
const CORNERS: u32 = 256;

/// A disc, px.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disc {
    /// Centre.
    pub centre: [f64; 2],
    /// Radius.
    pub radius: f64,
}

impl Disc {
    pub(super) fn reaches(&self, other: &Self, clear: f64) -> bool {
        let (dx, dy, r) = (self.centre[0] - other.centre[0], self.centre[1] - other.centre[1], self.radius + other.radius + clear);
        dx * dx + dy * dy < r * r
    }
    pub(super) fn moved(mut self, by: [f64; 2]) -> Self {
        self.centre = [self.centre[0] + by[0], self.centre[1] + by[1]];
        self
    }
    /// Area inside a frame `[x0, y0, x1, y1]`.
    pub fn area_within(&self, frame: [f64; 4]) -> f64 {
        lay::area_within(&Form::Disc { radius: self.radius }, self.centre, frame)
    }
}

/// An outline that others keep clear of.
#[derive(Clone, Debug)]
pub(super) struct Fence {
    /// A disc that holds all of it.
    pub(super) round: Disc,
    /// The outline itself.
    pub(super) corners: Vec<[f64; 2]>,
}

impl Fence {
    pub(super) fn new(form: &Form, centre: [f64; 2]) -> Self {
        Self { round: Disc { centre, radius: form.bound() }, corners: form.polygon(centre, CORNERS) }
    }

    pub(super) fn moved(&self, by: [f64; 2]) -> Self {
        Self { round: self.round.moved(by), corners: self.corners.iter().map(|c| [c[0] + by[0], c[1] + by[1]]).collect() }
    }
}

/// What is taken: large things by their polygons, discs by the cells of a square grid.
pub(super) struct Floor {
    clear: f64,
    largest: f64,
    cell: f64,
    columns: usize,
    cells: Vec<Vec<Disc>>,
    fences: Vec<Fence>,
}

impl Floor {
    pub(super) fn new(spec: &PhantomSpec) -> Self {
        let clear = spec.film.clear_um / spec.um_per_px;
        let largest = 0.5 * spec.film.singles.range_um[1] / spec.um_per_px;
        let cell = 2.0 * largest + clear;
        let [_, _, width, height] = spec.frame();
        let columns = floor_index(width / cell) + 1;
        let rows = floor_index(height / cell) + 1;
        Self { clear, largest, cell, columns, cells: vec![Vec::new(); columns * rows], fences: Vec::new() }
    }

    /// The cells that a stretch around `centre` meets; those beyond the frame fall to its outermost.
    fn cells_around(&self, centre: f64, reach: f64, count: usize) -> Range<usize> {
        let last = count - 1;
        let low = floor_index((centre - reach) / self.cell).min(last);
        let high = floor_index((centre + reach) / self.cell).min(last);
        low..high + 1
    }

    pub(super) fn is_free(&self, disc: &Disc) -> bool {
        let reach = disc.radius + self.largest + self.clear;
        let rows = self.cells_around(disc.centre[1], reach, self.cells.len() / self.columns);
        let columns = self.cells_around(disc.centre[0], reach, self.columns);
        let crowded = rows
            .into_iter()
            .any(|row| columns.clone().any(|column| self.cells[row * self.columns + column].iter().any(|d| d.reaches(disc, self.clear))));
        !crowded && self.is_clear_of_fences(disc)
    }

    /// Whether a disc keeps clear of everything but other discs.
    pub(super) fn is_clear_of_fences(&self, disc: &Disc) -> bool {
        self.fences.iter().all(|f| !f.round.reaches(disc, self.clear) || depth(&f.corners, disc.centre) < -(disc.radius + self.clear))
    }

    /// Whether an outline keeps clear of every other.
    pub(super) fn is_free_for(&self, fence: &Fence) -> bool {
        self.fences.iter().all(|f| !f.round.reaches(&fence.round, self.clear) || apart(&f.corners, &fence.corners, self.clear))
    }

    pub(super) fn fence(&mut self, fence: Fence) {
        self.fences.push(fence);
    }

    pub(super) fn put(&mut self, disc: Disc) {
        let row = self.cells_around(disc.centre[1], 0.0, self.cells.len() / self.columns).start;
        let column = self.cells_around(disc.centre[0], 0.0, self.columns).start;
        self.cells[row * self.columns + column].push(disc);
    }
}
