//! Laying: where gaps, clumps and particles lie. Separate things keep a clear distance, and nothing ends within a pixel of the frame, so
//! that what there is to count is never in doubt.

use super::lens::Lens;
use super::outline::{Form, clipped, depth, polygon_area};
use super::{PhantomSpec, Population, Purpose, floor_index};
use crate::random::Draws;
use std::f64::consts::TAU;
use std::ops::Range;

/// Places tried before a thing is left out of a crowded film.
const TRIES: u32 = 100;
/// Smallest visible area of a thing that the frame cuts, px²; less is left out.
const SLIVER_PX2: f64 = 12.0;
/// Distance to a side of the frame within which nothing may end, px.
const FRAME_CLEAR_PX: f64 = 1.0;
/// Corners of the polygons that keep things apart.
const FENCE: u32 = 256;

/// A disc, px.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disc {
    /// Centre.
    pub centre: [f64; 2],
    /// Radius.
    pub radius: f64,
}

impl Disc {
    fn reaches(&self, other: &Self, clear: f64) -> bool {
        let (dx, dy, r) = (self.centre[0] - other.centre[0], self.centre[1] - other.centre[1], self.radius + other.radius + clear);
        dx * dx + dy * dy < r * r
    }
    fn moved(mut self, by: [f64; 2]) -> Self {
        self.centre = [self.centre[0] + by[0], self.centre[1] + by[1]];
        self
    }
    /// Area inside a frame `[x0, y0, x1, y1]`.
    pub fn area_within(&self, frame: [f64; 4]) -> f64 {
        area_within(Form::Disc { radius: self.radius }, self.centre, frame)
    }
}

/// A gap, px.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LaidGap {
    /// Centre.
    pub centre: [f64; 2],
    /// Outline around it.
    pub form: Form,
}

/// One field of a phantom, laid.
#[derive(Clone, Debug)]
pub struct Film {
    /// What it was laid from.
    pub spec: PhantomSpec,
    /// Number of the slide.
    pub slide: u32,
    /// Number of the field on the slide.
    pub field: u32,
    /// Every particle; the constituents of a clump stand together.
    pub discs: Vec<Disc>,
    /// Which discs make up each object.
    pub objects: Vec<Range<usize>>,
    /// Every gap.
    pub gaps: Vec<LaidGap>,
    pub(super) lens: Lens,
}

impl Film {
    /// Lays a field.
    pub fn lay(spec: &PhantomSpec, slide: u32, field: u32) -> Self {
        let lens = Lens::new(spec.blur, spec.um_per_px);
        let mut film = Self { spec: *spec, slide, field, discs: Vec::new(), objects: Vec::new(), gaps: Vec::new(), lens };
        let mut floor = Floor::new(spec);
        film.lay_gaps(&mut floor);
        film.lay_clumps(&mut floor);
        film.lay_singles(&mut floor);
        film
    }

    fn draws(&self, purpose: Purpose) -> Draws {
        Draws::new(self.spec.source(self.slide, self.field, purpose))
    }

    fn lay_gaps(&mut self, floor: &mut Floor) {
        let (spec, frame) = (self.spec, self.spec.frame());
        if let Some(hole) = hole(&spec) {
            floor.fence(&hole);
            self.gaps.push(hole);
        }
        let mut draws = self.draws(Purpose::Gaps);
        let pad = 2.0 * spec.film.gaps.range_um[1] / spec.um_per_px;
        for _ in 0..number(&mut draws, spec.film.gaps.per_mm2, &spec, pad) {
            let form = gap_form(&mut draws, &spec);
            for _ in 0..TRIES {
                let Some(centre) = place(&mut draws, &form.polygon([0.0; 2], FENCE), pad, frame) else { break };
                let gap = LaidGap { centre, form };
                if area_within(form, centre, frame) < SLIVER_PX2 {
                    break;
                }
                if floor.is_free_for_gap(&gap) {
                    floor.fence(&gap);
                    self.gaps.push(gap);
                    break;
                }
            }
        }
    }

    fn lay_clumps(&mut self, floor: &mut Floor) {
        let spec = self.spec;
        let clumps = spec.film.clumps;
        let mut draws = self.draws(Purpose::Clumps);
        let pad = 0.5 * spec.film.singles.range_um[1] / spec.um_per_px * f64::from(clumps.most);
        for _ in 0..number(&mut draws, clumps.per_mm2, &spec, pad) {
            let constituents = constituents(&mut draws, clumps.constituents, clumps.most);
            let clump = grown(&mut draws, &spec, constituents);
            self.lay_object(&mut draws, floor, &clump, pad);
        }
    }

    fn lay_singles(&mut self, floor: &mut Floor) {
        let spec = self.spec;
        let mut draws = self.draws(Purpose::Singles);
        let pad = 0.5 * spec.film.singles.range_um[1] / spec.um_per_px;
        for _ in 0..number(&mut draws, spec.film.singles.per_mm2, &spec, pad) {
            let radius = radius_px(&mut draws, &spec.film.singles, spec.um_per_px);
            self.lay_object(&mut draws, floor, &[Disc { centre: [0.0; 2], radius }], pad);
        }
    }

    /// Finds a place for an object given around the origin; one that falls outside the frame or shows a sliver is left out.
    fn lay_object(&mut self, draws: &mut Draws, floor: &mut Floor, object: &[Disc], pad: f64) {
        let frame = self.spec.frame();
        let corners: Vec<[f64; 2]> =
            object.iter().flat_map(|d| [-1.0, 1.0].map(|s| [d.centre[0] + s * d.radius, d.centre[1] + s * d.radius])).collect();
        for _ in 0..TRIES {
            let Some(by) = place(draws, &corners, pad, frame) else { return };
            let moved: Vec<Disc> = object.iter().map(|d| d.moved(by)).collect();
            if moved.iter().map(|d| d.area_within(frame)).sum::<f64>() < SLIVER_PX2 {
                return;
            }
            if seen_in_one_piece(&moved, frame) && moved.iter().all(|d| floor.is_free(d)) {
                for disc in &moved {
                    floor.put(*disc);
                }
                let first = self.discs.len();
                self.discs.extend(moved);
                self.objects.push(first..self.discs.len());
                return;
            }
        }
    }
}

/// Area of an outline inside a frame: exact where the frame does not cut it, else of a fine polygon with the same area.
pub(super) fn area_within(form: Form, centre: [f64; 2], frame: [f64; 4]) -> f64 {
    let bound = form.bound();
    let inside = (0..2).all(|k| centre[k] - bound >= frame[k] && centre[k] + bound <= frame[k + 2]);
    let outside = (0..2).any(|k| centre[k] + bound <= frame[k] || centre[k] - bound >= frame[k + 2]);
    if inside || outside {
        return if inside { form.area() } else { 0.0 };
    }
    let polygon = form.polygon(centre, 2048);
    let whole = polygon_area(&polygon);
    form.area() / whole * polygon_area(&clipped(polygon, frame))
}

/// How many things a padded field holds.
fn number(draws: &mut Draws, per_mm2: f64, spec: &PhantomSpec, pad: f64) -> usize {
    let [_, _, width, height] = spec.frame();
    let mm2 = (width + 2.0 * pad) * (height + 2.0 * pad) * spec.um_per_px * spec.um_per_px * 1e-6;
    floor_index(draws.poisson(per_mm2 * mm2))
}

/// A random place in the padded field for a thing given by corners around the origin: the shift, or `None` where less than two pixels
/// of it would be seen. What would end within a pixel of a side is moved in by up to two.
fn place(draws: &mut Draws, corners: &[[f64; 2]], pad: f64, frame: [f64; 4]) -> Option<[f64; 2]> {
    let mut by = [0.0; 2];
    for k in 0..2 {
        let length = frame[k + 2];
        by[k] = draws.between(-pad, length + pad);
        let low = by[k] + corners.iter().fold(f64::INFINITY, |m, c| m.min(c[k]));
        let high = by[k] + corners.iter().fold(f64::NEG_INFINITY, |m, c| m.max(c[k]));
        if low.abs() < FRAME_CLEAR_PX {
            by[k] += FRAME_CLEAR_PX - low;
        } else if (high - length).abs() < FRAME_CLEAR_PX {
            by[k] += length - FRAME_CLEAR_PX - high;
        }
        if high < 2.0 * FRAME_CLEAR_PX || low > length - 2.0 * FRAME_CLEAR_PX {
            // Both draws are always made, so that one thing left out does not shift the rest of the stream.
            if k == 0 {
                draws.uniform();
            }
            return None;
        }
    }
    Some(by)
}

fn radius_px(draws: &mut Draws, of: &Population, um_per_px: f64) -> f64 {
    for _ in 0..10_000 {
        let diameter = draws.log_normal(of.median_um, of.gsd);
        if (of.range_um[0]..=of.range_um[1]).contains(&diameter) {
            return 0.5 * diameter / um_per_px;
        }
    }
    0.5 * of.median_um.clamp(of.range_um[0], of.range_um[1]) / um_per_px
}

/// 2 and a geometric number of the mean that is left, at most `most`.
fn constituents(draws: &mut Draws, mean: f64, most: u32) -> u32 {
    let go_on = 1.0 - 1.0 / (mean - 1.0).max(1.0);
    let mut count = 2;
    while count < most && draws.uniform() < go_on {
        count += 1;
    }
    count
}

/// A clump around the origin: each constituent touches an earlier one in exactly one point and overlaps none.
fn grown(draws: &mut Draws, spec: &PhantomSpec, constituents: u32) -> Vec<Disc> {
    let mut clump = vec![Disc { centre: [0.0; 2], radius: radius_px(draws, &spec.film.singles, spec.um_per_px) }];
    for _ in 1..constituents {
        let radius = radius_px(draws, &spec.film.singles, spec.um_per_px);
        for _ in 0..TRIES {
            let to = clump[draws.below(clump.len())];
            let (sin, cos) = libm::sincos(TAU * draws.uniform());
            let reach = to.radius + radius;
            let disc = Disc { centre: [to.centre[0] + reach * cos, to.centre[1] + reach * sin], radius };
            // A hair of slack: rounding must not make the touching pair an overlapping one.
            if !clump.iter().any(|c| c.reaches(&disc, -1e-9)) {
                clump.push(disc);
                break;
            }
        }
    }
    clump
}

/// Whether what the frame leaves of an object hangs together within it.
fn seen_in_one_piece(object: &[Disc], frame: [f64; 4]) -> bool {
    let seen: Vec<&Disc> = object.iter().filter(|d| d.area_within(frame) > 0.0).collect();
    let inside = |p: [f64; 2]| (0..2).all(|k| p[k] > frame[k] + FRAME_CLEAR_PX && p[k] < frame[k + 2] - FRAME_CLEAR_PX);
    let joined = |a: &Disc, b: &Disc| {
        let share = a.radius / (a.radius + b.radius);
        a.reaches(b, 1e-6) && inside([0, 1].map(|k| a.centre[k] + share * (b.centre[k] - a.centre[k])))
    };
    let mut reached = vec![false; seen.len()];
    let mut todo = vec![0];
    while let Some(i) = todo.pop() {
        if !std::mem::replace(&mut reached[i], true) {
            todo.extend((0..seen.len()).filter(|&j| !reached[j] && joined(seen[i], seen[j])));
        }
    }
    reached.iter().all(|&r| r)
}

/// The outline of a gap: a disc, an ellipse or a wobbly one, of the same area as the disc of the diameter drawn.
fn gap_form(draws: &mut Draws, spec: &PhantomSpec) -> Form {
    let radius = radius_px(draws, &spec.film.gaps, spec.um_per_px);
    match draws.below(3) {
        0 => Form::Disc { radius },
        1 => {
            let stretch = draws.between(1.1, 1.6);
            Form::Ellipse { half_axes: [radius * stretch, radius / stretch], angle: TAU * draws.uniform() }
        }
        _ => {
            let mut waves = [[0.0; 2]; 5];
            for (wave, k) in waves.iter_mut().zip(2_u32..) {
                *wave = [draws.between(0.0, 0.36 / f64::from(k)), TAU * draws.uniform()];
            }
            let excess = 1.0 + 0.5 * waves.iter().map(|w| w[0] * w[0]).sum::<f64>();
            Form::Wobbly { radius: radius / excess.sqrt(), waves }
        }
    }
}

/// The one large hole, of the proportions of the field.
fn hole(spec: &PhantomSpec) -> Option<LaidGap> {
    let [_, _, width, height] = spec.frame();
    let share = (spec.film.hole_pct / 100.0 / std::f64::consts::PI).sqrt();
    let (a, b) = (share * width, share * height);
    let form = if width >= height {
        Form::Ellipse { half_axes: [a, b], angle: 0.0 }
    } else {
        Form::Ellipse { half_axes: [b, a], angle: 0.25 * TAU }
    };
    (spec.film.hole_pct > 0.0).then_some(LaidGap { centre: [0.5 * width, 0.5 * height], form })
}

/// What is taken: gaps by their polygons, discs by the cells of a square grid.
struct Floor {
    clear: f64,
    largest: f64,
    cell: f64,
    columns: usize,
    cells: Vec<Vec<Disc>>,
    fences: Vec<(LaidGap, Vec<[f64; 2]>)>,
}

impl Floor {
    fn new(spec: &PhantomSpec) -> Self {
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

    fn is_free(&self, disc: &Disc) -> bool {
        let reach = disc.radius + self.largest + self.clear;
        let rows = self.cells_around(disc.centre[1], reach, self.cells.len() / self.columns);
        let columns = self.cells_around(disc.centre[0], reach, self.columns);
        let crowded = rows
            .into_iter()
            .any(|row| columns.clone().any(|column| self.cells[row * self.columns + column].iter().any(|d| d.reaches(disc, self.clear))));
        !crowded && self.fences.iter().all(|(gap, polygon)| self.is_clear_of(disc, gap, polygon))
    }

    fn is_clear_of(&self, disc: &Disc, gap: &LaidGap, polygon: &[[f64; 2]]) -> bool {
        let round = Disc { centre: gap.centre, radius: gap.form.bound() };
        !round.reaches(disc, self.clear) || depth(polygon, disc.centre) < -(disc.radius + self.clear)
    }

    fn is_free_for_gap(&self, gap: &LaidGap) -> bool {
        let round = Disc { centre: gap.centre, radius: gap.form.bound() };
        self.fences.iter().all(|(other, polygon)| self.is_clear_of(&round, other, polygon))
    }

    fn fence(&mut self, gap: &LaidGap) {
        self.fences.push((*gap, gap.form.polygon(gap.centre, FENCE)));
    }

    fn put(&mut self, disc: Disc) {
        let row = self.cells_around(disc.centre[1], 0.0, self.cells.len() / self.columns).start;
        let column = self.cells_around(disc.centre[0], 0.0, self.columns).start;
        self.cells[row * self.columns + column].push(disc);
    }
}
