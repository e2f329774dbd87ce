//! Laying: where gaps, clumps and particles lie. Separate things keep a clear distance, and nothing ends within a pixel of the frame, so
//! that what there is to count is never in doubt.

use super::clump::{constituents, grown, radius_px, seen_in_one_piece};
use super::depth::{DEPTH_STEP_UM, defocused};
use super::figure::{Figure, Surroundings, wobbly};
use super::floor::{Disc, Fence, Floor};
use super::lens::Lens;
use super::near::Near;
use super::outline::Form;
use super::polygon::{bounds, clipped, polygon_area};
use super::strangers::{Placed, Role};
use super::{PhantomSpec, Purpose, floor_index};
use crate::random::Draws;
use crate::recipe::{GapKind, Kind};
use std::f64::consts::TAU;
use std::ops::Range;
use std::sync::OnceLock;

/// Places tried before a thing is left out of a crowded film.
pub(super) const TRIES: u32 = 100;
/// Smallest visible area of a thing that the frame cuts, px²; less is left out.
const SLIVER_PX2: f64 = 12.0;
/// Distance to a side of the frame within which nothing may end, px.
pub(super) const FRAME_CLEAR_PX: f64 = 1.0;
/// Corners by which a gap's place in the frame is judged.
const CORNERS: u32 = 256;

/// A thing in its place, px.
#[derive(Clone, Debug, PartialEq)]
pub struct Laid<K> {
    /// What a measurement should call it.
    pub kind: K,
    /// Centre.
    pub centre: [f64; 2],
    /// What it is made of.
    pub figure: Figure,
}

/// Powder: a single particle or a clump.
#[derive(Clone, Debug, PartialEq)]
pub struct LaidPowder {
    /// Its constituents in [`Film::discs`].
    pub discs: Range<usize>,
    /// How far it lies from the plane of focus, µm.
    pub depth_um: f64,
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
    /// Every particle of powder; the constituents of a clump stand together.
    pub discs: Vec<Disc>,
    /// What the discs make up.
    pub objects: Vec<LaidPowder>,
    /// Every other thing that darkens.
    pub strangers: Vec<Laid<Kind>>,
    /// Every gap.
    pub gaps: Vec<Laid<GapKind>>,
    pub(super) lens: Lens,
    /// The lens at one, two, … steps of depth.
    deep: Vec<Lens>,
    /// Where objects, strangers and gaps are seen; found when the first piece is rendered, after which a film no longer changes.
    pub(super) near: OnceLock<[Near; 3]>,
}

impl Film {
    /// Lays a field.
    pub fn lay(spec: &PhantomSpec, slide: u32, field: u32) -> Self {
        Self::lay_around(spec, slide, field, &[])
    }

    /// Lays a field around things at stated places.
    pub fn lay_around(spec: &PhantomSpec, slide: u32, field: u32, placed: &[Placed]) -> Self {
        let mut film = Self {
            spec: *spec,
            slide,
            field,
            discs: Vec::new(),
            objects: Vec::new(),
            strangers: Vec::new(),
            gaps: Vec::new(),
            lens: Lens::new(spec.blur, spec.um_per_px),
            deep: defocused(spec),
            near: OnceLock::new(),
        };
        let mut floor = Floor::new(spec);
        film.lay_placed(&mut floor, placed);
        film.lay_strangers(&mut floor);
        film.lay_gaps(&mut floor);
        film.lay_clumps(&mut floor);
        film.lay_singles(&mut floor);
        film.sink();
        film
    }

    /// The lens as it shows what lies at this depth; to the nearest step.
    pub(super) fn lens_at(&self, depth_um: f64) -> &Lens {
        let step = floor_index(depth_um.abs() / DEPTH_STEP_UM + 0.5);
        step.checked_sub(1).and_then(|i| self.deep.get(i)).unwrap_or(&self.lens)
    }

    fn surroundings(&self) -> Surroundings {
        Surroundings { film_od: self.spec.film.od, sigma_px: self.lens.sigma_px }
    }

    fn draws(&self, purpose: Purpose) -> Draws {
        Draws::new(self.spec.source(self.slide, self.field, purpose))
    }

    fn lay_placed(&mut self, floor: &mut Floor, placed: &[Placed]) {
        let mut draws = Draws::new(self.spec.source(0, 0, Purpose::Placed));
        let um_per_px = self.spec.um_per_px;
        let px = |um: f64| um / um_per_px;
        for thing in placed {
            let sizes = [thing.size_um, thing.width_um].map(px);
            let figure = Figure::new(thing.sort, sizes, thing.angle_deg.to_radians(), &mut draws, self.surroundings());
            floor.fence(Fence::new(figure.outermost(), thing.centre_um.map(px)));
            self.put(thing.sort.role(), thing.centre_um.map(px), figure);
        }
        if let Some((centre, form)) = hole(&self.spec) {
            floor.fence(Fence::new(&form, centre));
            self.put(Role::Gap(GapKind::Round), centre, Figure { form, layers: Vec::new() });
        }
    }

    fn put(&mut self, role: Role, centre: [f64; 2], figure: Figure) {
        match role {
            Role::Object(kind) => self.strangers.push(Laid { kind, centre, figure }),
            Role::Gap(kind) => self.gaps.push(Laid { kind, centre, figure }),
        }
    }

    fn lay_strangers(&mut self, floor: &mut Floor) {
        let (spec, frame) = (self.spec, self.spec.frame());
        let field_mm2 = frame[2] * frame[3] * spec.um_per_px * spec.um_per_px * 1e-6;
        for (sort, sparse) in spec.film.strangers.each() {
            let mut draws = sort.draws(&spec, self.slide, self.field);
            for _ in 0..sparse.number(&mut draws, field_mm2) {
                let sizes = sparse.draw(&mut draws).map(|um| um / spec.um_per_px);
                let angle = TAU * draws.uniform();
                let figure = Figure::new(sort, sizes, angle, &mut draws, self.surroundings());
                let fence = Fence::new(figure.outermost(), [0.0; 2]);
                for _ in 0..TRIES {
                    let by = whole_place(&mut draws, &fence.corners, frame);
                    let moved = by.map(|by| (by, fence.moved(by)));
                    let Some((by, fence)) = moved.filter(|(_, fence)| floor.is_free_for(fence)) else { continue };
                    floor.fence(fence);
                    self.put(sort.role(), by, figure);
                    break;
                }
            }
        }
    }

    fn lay_gaps(&mut self, floor: &mut Floor) {
        let (spec, frame) = (self.spec, self.spec.frame());
        let mut draws = self.draws(Purpose::Gaps);
        let pad = 2.0 * spec.film.gaps.range_um[1] / spec.um_per_px;
        for _ in 0..number(&mut draws, spec.film.gaps.per_mm2, &spec, pad) {
            let form = gap_form(&mut draws, &spec);
            for _ in 0..TRIES {
                let Some(centre) = place(&mut draws, &form.polygon([0.0; 2], CORNERS), pad, frame, between) else { break };
                if area_within(&form, centre, frame) < SLIVER_PX2 {
                    break;
                }
                if floor.is_clear_of_fences(&Disc { centre, radius: form.bound() }) {
                    floor.fence(Fence::new(&form, centre));
                    self.put(Role::Gap(GapKind::Round), centre, Figure { form, layers: Vec::new() });
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
        for _ in 0..number(&mut draws, clumps.per_mm2 * surplus(&spec, pad), &spec, pad) {
            let constituents = constituents(&mut draws, clumps.constituents, clumps.most);
            let clump = grown(&mut draws, &spec, constituents);
            self.lay_object(&mut draws, floor, &clump, pad);
        }
    }

    fn lay_singles(&mut self, floor: &mut Floor) {
        let spec = self.spec;
        let mut draws = self.draws(Purpose::Singles);
        let pad = 0.5 * spec.film.singles.range_um[1] / spec.um_per_px;
        for _ in 0..number(&mut draws, spec.film.singles.per_mm2 * surplus(&spec, pad), &spec, pad) {
            let radius = radius_px(&mut draws, &spec.film.singles, spec.um_per_px);
            self.lay_object(&mut draws, floor, &[Disc { centre: [0.0; 2], radius }], pad);
        }
    }

    /// Finds a place for an object given around the origin; one that falls outside the frame or shows a sliver is left out.
    fn lay_object(&mut self, draws: &mut Draws, floor: &mut Floor, object: &[Disc], pad: f64) {
        let frame = self.spec.frame();
        let corners: Vec<[f64; 2]> =
            object.iter().flat_map(|d| [-1.0, 1.0].map(|s| [d.centre[0] + s * d.radius, d.centre[1] + s * d.radius])).collect();
        let PhantomSpec { film, um_per_px, .. } = self.spec;
        let across = |draws: &mut Draws, span| film.margin.draw(draws, span, um_per_px);
        for _ in 0..TRIES {
            let Some(by) = place(draws, &corners, pad, frame, across) else { return };
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
                self.objects.push(LaidPowder { discs: first..self.discs.len(), depth_um: 0.0 });
                return;
            }
        }
    }

    /// Gives each object its depth: any whole number of steps within the range is as likely.
    fn sink(&mut self) {
        let mut draws = self.draws(Purpose::Depth);
        let steps = self.deep.len();
        for object in &mut self.objects {
            object.depth_um = (draws.below(2 * steps + 1) as f64 - steps as f64) * DEPTH_STEP_UM;
        }
    }
}

/// Area of an outline inside a frame: exact where the frame does not cut it, else of a fine polygon with the same area.
pub(super) fn area_within(form: &Form, centre: [f64; 2], frame: [f64; 4]) -> f64 {
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

/// How much denser than its rest the padded field is on average.
fn surplus(spec: &PhantomSpec, pad: f64) -> f64 {
    let [_, _, width, _] = spec.frame();
    spec.film.margin.mean_powder([-pad, width + pad].map(|x| x * spec.um_per_px))
}

/// An even draw.
fn between(draws: &mut Draws, [from, to]: [f64; 2]) -> f64 {
    draws.between(from, to)
}

/// A random place for all of a thing given by corners around the origin: the shift, or `None` where the frame is too small.
fn whole_place(draws: &mut Draws, corners: &[[f64; 2]], frame: [f64; 4]) -> Option<[f64; 2]> {
    let [x0, y0, x1, y1] = bounds(corners);
    let span = |low: f64, high: f64, length: f64| [2.0 * FRAME_CLEAR_PX - low, length - 2.0 * FRAME_CLEAR_PX - high];
    let spans = [span(x0, x1, frame[2]), span(y0, y1, frame[3])];
    let by = spans.map(|span| between(draws, span));
    spans.iter().all(|[from, to]| from < to).then_some(by)
}

/// A random place in the padded field for a thing given by corners around the origin: the shift, or `None` where less than two pixels
/// of it would be seen. What would end within a pixel of a side is moved in by up to two. `across` draws the place along x.
fn place(
    draws: &mut Draws,
    corners: &[[f64; 2]],
    pad: f64,
    frame: [f64; 4],
    across: impl Fn(&mut Draws, [f64; 2]) -> f64,
) -> Option<[f64; 2]> {
    let mut by = [0.0; 2];
    for k in 0..2 {
        let length = frame[k + 2];
        let span = [-pad, length + pad];
        by[k] = if k == 0 { across(draws, span) } else { between(draws, span) };
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

/// The outline of a gap: a disc, an ellipse or a wobbly one, of the same area as the disc of the diameter drawn.
fn gap_form(draws: &mut Draws, spec: &PhantomSpec) -> Form {
    let radius = radius_px(draws, &spec.film.gaps, spec.um_per_px);
    match draws.below(3) {
        0 => Form::Disc { radius },
        1 => {
            let stretch = draws.between(1.1, 1.6);
            Form::Ellipse { half_axes: [radius * stretch, radius / stretch], angle: TAU * draws.uniform() }
        }
        _ => wobbly(radius, 0.36, draws),
    }
}

/// The one large hole, of the proportions of the field.
fn hole(spec: &PhantomSpec) -> Option<([f64; 2], Form)> {
    let [_, _, width, height] = spec.frame();
    let share = (spec.film.hole_pct / 100.0 / std::f64::consts::PI).sqrt();
    let (a, b) = (share * width, share * height);
    let form = if width >= height {
        Form::Ellipse { half_axes: [a, b], angle: 0.0 }
    } else {
        Form::Ellipse { half_axes: [b, a], angle: 0.25 * TAU }
    };
    (spec.film.hole_pct > 0.0).then_some(([0.5 * width, 0.5 * height], form))
}
