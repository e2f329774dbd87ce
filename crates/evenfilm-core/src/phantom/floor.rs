//! The floor: what is taken already, so that separate things keep a clear distance.

use super::outline::Form;
use super::polygon::{apart, depth};
use super::{PhantomSpec, floor_index, lay};
use crate::phases::count32;
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

/// What is taken, by the cells of square grids: discs in small ones, large things, by their polygons, in all the large ones that they meet.
pub(super) struct Floor {
    clear: f64,
    largest: f64,
    small: Cells,
    discs: Vec<Disc>,
    large: Cells,
    fences: Vec<Fence>,
}

/// A square grid over the frame; what lies beyond falls to its outermost cells. Each cell is a chain of entries, the newest first.
struct Cells {
    side: f64,
    columns: usize,
    newest: Vec<u32>,
    /// The thing of each entry, and the entry before it in the same cell.
    entries: Vec<[u32; 2]>,
}

/// The end of a chain.
const END: u32 = u32::MAX;

impl Cells {
    fn new(side: f64, [_, _, width, height]: [f64; 4]) -> Self {
        let columns = floor_index(width / side) + 1;
        let rows = floor_index(height / side) + 1;
        Self { side, columns, newest: vec![END; columns * rows], entries: Vec::new() }
    }

    /// The cells that a stretch around `centre` meets, of `count`.
    fn around(&self, centre: f64, reach: f64, count: usize) -> Range<usize> {
        let last = count - 1;
        let low = floor_index((centre - reach) / self.side).min(last);
        let high = floor_index((centre + reach) / self.side).min(last);
        low..high + 1
    }

    fn cells(&self, centre: [f64; 2], reach: f64) -> impl Iterator<Item = usize> + use<> {
        let columns = self.columns;
        let across = self.around(centre[0], reach, columns);
        self.around(centre[1], reach, self.newest.len() / columns)
            .flat_map(move |row| across.clone().map(move |column| row * columns + column))
    }

    /// Enters a thing into every cell that it reaches.
    fn put(&mut self, thing: usize, centre: [f64; 2], reach: f64) {
        for cell in self.cells(centre, reach) {
            let entry = count32(self.entries.len());
            self.entries.push([count32(thing), std::mem::replace(&mut self.newest[cell], entry)]);
        }
    }

    /// What was entered into the cells around a place; the same thing may come more than once.
    fn near(&self, centre: [f64; 2], reach: f64) -> impl Iterator<Item = usize> {
        self.cells(centre, reach).flat_map(|cell| {
            let entry = |at: u32| self.entries.get(at as usize).copied();
            std::iter::successors(entry(self.newest[cell]), move |&[_, before]| entry(before)).map(|[thing, _]| thing as usize)
        })
    }
}

/// Side of the cells of large things, px.
const LARGE_CELL: f64 = 256.0;

impl Floor {
    pub(super) fn new(spec: &PhantomSpec) -> Self {
        let clear = spec.film.clear_um / spec.um_per_px;
        let largest = 0.5 * spec.film.singles.range_um[1] / spec.um_per_px;
        let small = Cells::new(2.0 * largest + clear, spec.frame());
        let large = Cells::new(LARGE_CELL, spec.frame());
        Self { clear, largest, small, discs: Vec::new(), large, fences: Vec::new() }
    }

    pub(super) fn is_free(&self, disc: &Disc) -> bool {
        let reach = disc.radius + self.largest + self.clear;
        let crowded = self.small.near(disc.centre, reach).any(|d| self.discs[d].reaches(disc, self.clear));
        !crowded && self.is_clear_of_fences(disc)
    }

    /// The fences that may come near a disc, perhaps more than once.
    fn fences_near(&self, disc: &Disc) -> impl Iterator<Item = &Fence> {
        self.large.near(disc.centre, disc.radius + self.clear).map(|i| &self.fences[i])
    }

    /// Whether a disc keeps clear of everything but other discs.
    pub(super) fn is_clear_of_fences(&self, disc: &Disc) -> bool {
        let mut near = self.fences_near(disc);
        near.all(|f| !f.round.reaches(disc, self.clear) || depth(&f.corners, disc.centre) < -(disc.radius + self.clear))
    }

    /// Whether an outline keeps clear of every other.
    pub(super) fn is_free_for(&self, fence: &Fence) -> bool {
        let mut near = self.fences_near(&fence.round);
        near.all(|f| !f.round.reaches(&fence.round, self.clear) || apart(&f.corners, &fence.corners, self.clear))
    }

    pub(super) fn fence(&mut self, fence: Fence) {
        self.large.put(self.fences.len(), fence.round.centre, fence.round.radius);
        self.fences.push(fence);
    }

    pub(super) fn put(&mut self, disc: Disc) {
        self.small.put(self.discs.len(), disc.centre, 0.0);
        self.discs.push(disc);
    }
}
