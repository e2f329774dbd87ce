//! The visit: all that one component's pixels tell.

use std::sync::LazyLock;

use super::bits::{Bits, set_bits};
use super::holes::{Hole, Holes};
use super::kind::{Look, TOLD_FROM, tell};
use super::split::{Parts, SplitRule, Splitter};
use super::tree::{Branch, Rule, Tree};
use super::window::{Block, Scene, Window, median, pick, to_level};
use super::{CORE_WIDTHS, CoreFrom, Found, Object, SizedBy};
use crate::phases::{Component, Run, count32};
use crate::plane::{Level, ONE, Rect, Stop, single};
use crate::recipe::{Contrast, FillHoles};
use crate::shape::{Contour, HullBuffer, Outline, Shape, Sides, TURN_TO_AREA, polygon_area, trace};

/// Optical density of every level, −log10 of the transmission; black counts as half a step.
static OD: LazyLock<Vec<f32>> =
    LazyLock::new(|| (0..=u16::MAX).map(|l| single(-libm::log10(f64::from(l).max(0.5) / f64::from(ONE)))).collect());

/// Makes the table of optical densities, for a thread that has nothing else to do.
pub(crate) fn know_densities() {
    LazyLock::force(&OD);
}

/// Optical density of a level.
pub(crate) fn od_of(level: Level) -> f64 {
    f64::from(OD[level as usize])
}

/// What a visit needs to know beforehand.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Visit {
    /// Standard deviation of the blur, px.
    pub(crate) blur_px: f64,
    /// Core ÷ surround of the powder, where the field tells it.
    pub(crate) core_ratio: Option<f64>,
    /// Noise of a pixel near the film's level, in levels.
    pub(crate) noise: f64,
    /// Where between surround and core the edge lies.
    pub(crate) edge: f64,
    /// Half the distance between the outer two of the three edge levels, as a share of the contrast.
    pub(crate) step: f64,
    /// Whose core small objects are sized with.
    pub(crate) contrast: Contrast,
    /// Objects less than this across are sized by their deficit of light, px.
    pub(crate) deficit_below_px: f64,
    /// How deep a neck must be for an object to be taken apart there, px; `None` leaves all whole.
    pub(crate) split_depth_px: Option<f64>,
    /// Whether objects keep the lines between their constituents.
    pub(crate) necks: bool,
    /// Which holes belong to the object.
    pub(crate) fill_holes: FillHoles,
    /// Smallest distance that the lens resolves, px.
    pub(crate) resolution_px: f64,
}

impl Visit {
    /// The window in which a component is looked at.
    pub(crate) fn window(&self, component: Rect, frame: Rect) -> Rect {
        component.grown(count32(pixels(3.5 * self.blur_px) + 4), frame)
    }
}

/// Straight pieces cut a curved line short, which takes area like a blur of this variance, px² (Σ L³/12r over pieces of length L; the value
/// was measured on rendered discs of 6–30 px at blur widths 0.89 and 1.78 px).
pub(crate) const CHORDS: f64 = 0.12;

/// The edge may lie this far outside the detection level, px.
const AROUND: u32 = 3;

/// An object with less than this share of the powder's contrast is faint: it has a core of its own.
const FAINT: f64 = 0.5;

/// One several blur widths across in each direction reaches this share if it has the powder's core.
const THIN: f64 = 0.75;

/// Where between surround and core a hole counts as dark.
const HALF_WAY: f64 = 0.5;

/// Smaller objects are not taken apart, px².
const LEAST_TO_SPLIT: f64 = 12.0;

/// Pixels that an object must have.
const LEAST_PIXELS: f64 = 3.0;

/// Buffers of one thread.
#[derive(Default)]
pub(crate) struct Visitor {
    window: Window,
    tree: Tree,
    holes: Holes,
    splitter: Splitter,
    values: Vec<f32>,
    /// The outline, and the lines at the other two levels.
    contour: Contour,
    beside: Contour,
    outline: Outline,
    hull: Vec<[f64; 2]>,
    hull_buffer: HullBuffer,
    /// Pixels of the object.
    mine: Bits,
    /// Those of them that are deep enough to count.
    deep: Bits,
    outside: Bits,
    across: Bits,
    zone: Bits,
    zones: [Bits; 4],
    picked: Vec<Level>,
}

/// Where one object lies in the window.
struct Place {
    object: usize,
    branch: Branch,
    surround: Level,
    /// The part of the window that holds it.
    part: Rect,
}

impl Visitor {
    /// Measures the objects of a component and adds them with their runs. Its window may lie in `block`.
    pub(crate) fn visit(
        &mut self,
        (scene, block): (&Scene<'_>, &Block),
        (own, component): (u32, &Component),
        visit: &Visit,
        found: &mut Found,
    ) -> Result<(), Stop> {
        let at = component.at;
        self.window.load((scene, block), (own, at), visit.window(at, scene.frame))?;
        if may_enclose(component, visit) {
            self.window.set_enclosed_apart(&mut self.holes);
        }
        let surround = self.window.surround(scene, (2.0 * visit.blur_px).max(2.0));
        let prominence = (5.0 * visit.noise).max(0.03 * f64::from(surround));
        let rule = Rule { surround, prominence, edge: visit.edge };
        let inner = Rect::new(at.x - self.window.at.x, at.y - self.window.at.y, at.width, at.height);
        self.tree.grow(&self.window.levels, &self.window.own, (self.window.width(), inner), rule);
        for object in 0..self.tree.found.len() {
            let branch = self.tree.found[object];
            if f64::from(branch.pixels) >= LEAST_PIXELS && branch.core < surround {
                let whole = Rect::new(0, 0, self.window.at.width, self.window.at.height);
                let part = branch.part.grown(AROUND, whole);
                let place = Place { object, branch, surround, part };
                found.keep(|runs| self.measure(scene.frame, &place, visit, runs));
            }
        }
        Ok(())
    }

    /// Measures one object; its runs are added to `runs`.
    fn measure(&mut self, frame: Rect, place: &Place, visit: &Visit, runs: &mut Vec<(u32, Run)>) -> Option<Object> {
        let before = runs.len();
        let surround = f64::from(place.surround);
        self.tree.pixels_of(place.object, &self.window.own, &mut self.mine);
        let (contrast, core_from) = self.contrast(place, visit);
        self.depths(place);
        if visit.fill_holes == FillHoles::Dark && visit.edge > HALF_WAY {
            self.fill_dark_holes(place.part, contrast, visit.edge);
        }
        let area = self.area(place.part, frame, contrast * visit.edge, (true, visit));
        if visit.core_ratio.is_some_and(|ratio| contrast < FAINT * surround * (1.0 - ratio)) && self.lines_a_gap(place.part, visit) {
            return None;
        }
        let peak = surround - f64::from(place.branch.core);
        // Too blurred to reach half way to the core: its pixels are those half way to its own peak.
        let unresolved = 0.5 * peak < contrast * visit.edge && area < LEAST_PIXELS;
        let od = self.pixels_of(place, visit.edge * if unresolved { peak } else { contrast }, runs);
        let runs = &runs[before..];
        let at = box_of(runs);
        let touches_frame = at.touches(frame);
        let (area_px2, sized_by) = if diameter(area) < visit.deficit_below_px && !touches_frame {
            // The missing light does not depend on where the edge is drawn.
            ([self.deficit(place, visit) / contrast; 3], SizedBy::Deficit)
        } else {
            let [outer, inner] =
                [-visit.step, visit.step].map(|step| self.area(place.part, frame, contrast * (visit.edge + step), (false, visit)));
            ([outer, area, inner], SizedBy::Outline)
        };
        let count: u32 = runs.iter().map(|(_, r)| r.x1 - r.x0).sum();
        if f64::from(count) < LEAST_PIXELS || area_px2[1] < LEAST_PIXELS {
            return None;
        }
        let mut hull = std::mem::take(&mut self.hull);
        self.hull_buffer.convex_hull(&self.contour.points, &mut hull);
        let parts = self.parts(place.part, &hull, (contrast, area_px2[1]), visit);
        let contour = &self.contour;
        // Its extent widens as the outer outline does: what blur does to holes is no part of it.
        let holes = (4 - contour.quarter_turns).max(0) as f64 * TURN_TO_AREA * (visit.blur_px * visit.blur_px + CHORDS);
        let shape = Shape::of(contour, &hull, area_px2[1] + holes, (&mut self.outline, parts.widest));
        // Where there is no outline, the pixels' box has to do.
        let extent = self.outline.extent().unwrap_or([f64::from(at.width), f64::from(at.height)]);
        let weight = if touches_frame { None } else { frame_weight(frame, extent) };
        let mut look = Look {
            touches_frame,
            diameter_px: diameter(area_px2[1]),
            resolution_px: visit.resolution_px,
            shape: &shape,
            contour,
            hull: &hull,
            constituents: parts.areas_px2.len().max(1),
            hole: None,
        };
        if contour.quarter_turns < 4 && shape.feret_max_px >= TOLD_FROM * visit.resolution_px {
            look.hole = largest_hole(&mut self.holes, (&self.values, place.part), contrast * visit.edge);
        }
        let told = tell(&look);
        self.hull = hull;
        Some(Object {
            at,
            centroid_px: self.centroid(place.part, at),
            surround: place.surround,
            core: to_level(surround - contrast),
            core_from,
            area_px2,
            sized_by,
            shape,
            od,
            touches_frame,
            weight,
            constituents_px2: parts.areas_px2,
            necks_px: parts.necks,
            told,
        })
    }

    /// Depth of the object's core below the surround, in levels, and where the core comes from.
    fn contrast(&mut self, place: &Place, visit: &Visit) -> (f64, CoreFrom) {
        let surround = f64::from(place.surround);
        let peak = surround - f64::from(place.branch.core);
        if let Some(core) = self.own_core(place, peak, visit) {
            return (surround - f64::from(core), CoreFrom::Own);
        }
        let (Some(ratio), Contrast::Constant) = (visit.core_ratio, visit.contrast) else { return (peak, CoreFrom::Own) };
        let shared = surround * (1.0 - ratio);
        // One that spans several blur widths would show the shared contrast if it had it: this one is fainter, or so thin (the ring of a
        // bubble) that the shared half-way line would leave shreds of it.
        let widths2 = f64::from(place.branch.pixels) / (visit.blur_px * visit.blur_px);
        let faint = peak < FAINT * shared && widths2 > 16.0 || peak < THIN * shared && widths2 > 60.0;
        if faint { (peak, CoreFrom::Own) } else { (shared, CoreFrom::Shared) }
    }

    /// Whether a good part of the outline runs along a gap. A faint thing that does is the thicker film around a gap from which the film drew
    /// back: film, not powder.
    fn lines_a_gap(&self, part: Rect, visit: &Visit) -> bool {
        const GOOD_PART: f64 = 0.25;
        let reach = pixels(2.0 * visit.blur_px) + 2;
        let (width, height) = (self.window.width(), self.window.at.height as usize);
        let near = |p: &&[f32; 2]| {
            let place = |at: f32, from: u32| pixels(f64::from(at).floor()) + from as usize;
            let (x, y) = (place(p[0], part.x), place(p[1], part.y));
            let mut rows = y.saturating_sub(reach)..(y + reach + 1).min(height);
            rows.any(|row| (x.saturating_sub(reach)..(x + reach + 1).min(width)).any(|column| self.window.gap.get(column, row)))
        };
        let points = &self.contour.points;
        points.iter().filter(near).count() as f64 > GOOD_PART * points.len() as f64
    }

    /// What the object is made of. Its widest place is where the search for the largest circle begins.
    fn parts(&mut self, part: Rect, hull: &[[f64; 2]], (contrast, area_px2): (f64, f64), visit: &Visit) -> Parts {
        let contour = &self.contour;
        let [x, y] = contour.centroid();
        let one = Parts { areas_px2: Box::default(), widest: [single(x), single(y)], necks: Box::default() };
        if area_px2 < LEAST_TO_SPLIT || Splitter::has_no_neck(contour, polygon_area(hull)) {
            return one;
        }
        let rule = SplitRule { depth_px: visit.split_depth_px.unwrap_or(f64::INFINITY), blur_px: visit.blur_px, necks: visit.necks };
        let mut parts = self.splitter.split((&self.values, part.width as usize), (contrast, visit.noise), area_px2, rule).unwrap_or(one);
        let corner = [self.window.at.x + part.x, self.window.at.y + part.y].map(|at| at as f32);
        parts.necks.iter_mut().for_each(|place| *place = [place[0] + corner[0], place[1] + corner[1]]);
        parts
    }

    /// Takes holes that are nowhere shallower than half way to the core as part of the object. With the edge half way there are none.
    fn fill_dark_holes(&mut self, part: Rect, contrast: f64, edge: f64) {
        let (half, edge) = (single(HALF_WAY * contrast), single(edge * contrast));
        let holes = self.holes.find(self.values.iter().map(|&v| v > edge), part.width as usize);
        for cells in holes.iter().map(|hole| self.holes.cells(hole)) {
            if cells.iter().all(|&c| self.values[c as usize] > half) {
                for &cell in cells {
                    self.values[cell as usize] = edge + 1.0;
                }
            }
        }
    }

    /// Blur-corrected area inside the line at a depth: the outline, or a line beside it.
    fn area(&mut self, part: Rect, frame: Rect, depth: f64, (outline, visit): (bool, &Visit)) -> f64 {
        let sides = self.sides(part, frame);
        let contour = if outline { &mut self.contour } else { &mut self.beside };
        trace(&self.values, part.width as usize, single(depth), sides, outline, contour);
        contour.area_without_blur(visit.blur_px * visit.blur_px + CHORDS)
    }

    /// Centroid of the outline in the field; the middle of the pixels' box where there is no outline.
    fn centroid(&self, part: Rect, at: Rect) -> [f64; 2] {
        let contour = &self.contour;
        if contour.area_px2 > 0.0 {
            let [x, y] = contour.centroid();
            [x + f64::from(self.window.at.x + part.x), y + f64::from(self.window.at.y + part.y)]
        } else {
            [f64::from(at.x) + f64::from(at.width) / 2.0, f64::from(at.y) + f64::from(at.height) / 2.0]
        }
    }

    /// Depths below the surround of the object's part of the window; pixels of others stand above the surround.
    fn depths(&mut self, place: &Place) {
        let (window, part) = (&self.window, place.part);
        let surround = f32::from(place.surround);
        let other = -0.5 * (surround - f32::from(place.branch.core));
        self.outside.copy(&window.own);
        self.outside.take(&self.mine);
        self.outside.add(&window.other);
        self.values.clear();
        for y in part.y as usize..part.bottom() as usize {
            let row = y * window.width();
            let levels = &window.levels[row + part.x as usize..row + part.right() as usize];
            let start = self.values.len();
            self.values.extend(levels.iter().map(|&level| surround - f32::from(level)));
            for x in (0..levels.len()).step_by(64) {
                let of_others = self.outside.piece(y, part.x as usize + x, 64.min(levels.len() - x));
                set_bits(of_others).for_each(|k| self.values[start + x + k] = other);
            }
        }
    }

    /// Sides of a part of the window that lie on the frame.
    fn sides(&self, part: Rect, frame: Rect) -> Sides {
        let (x, y) = (self.window.at.x + part.x, self.window.at.y + part.y);
        Sides { left: x == frame.x, right: x + part.width == frame.right(), top: y == frame.y, bottom: y + part.height == frame.bottom() }
    }

    /// The object's own core: the median level at least 3.5 blur widths inside its half-way line, where it is wide enough.
    fn own_core(&mut self, place: &Place, own_depth: f64, visit: &Visit) -> Option<Level> {
        let least = CORE_WIDTHS * visit.blur_px;
        if f64::from(place.branch.pixels) < 0.78 * least * least {
            return None;
        }
        let half = to_level(f64::from(place.surround) - 0.5 * own_depth);
        let levels = &self.window.levels;
        self.mine.darker(levels, half, &mut self.deep);
        self.outside.copy(&self.deep);
        self.outside.turn_over();
        // Half a pixel lies between the last pixel inside and the line.
        self.outside.widened(3.5 * visit.blur_px + 0.5, &mut self.across, &mut self.zone);
        self.deep.take(&self.zone);
        let inside = pick(levels, &self.deep, &mut self.picked);
        if inside.len() < 4 { None } else { Some(median(inside)) }
    }

    /// Adds the runs of the object's pixels deeper than `cut`, and gives mean and largest optical density above the surround.
    fn pixels_of(&mut self, place: &Place, cut: f64, runs: &mut Vec<(u32, Run)>) -> [f64; 2] {
        let level = to_level(f64::from(place.surround) - cut);
        let Window { levels, at, .. } = &self.window;
        self.mine.darker(levels, level, &mut self.deep);
        let (mut total, mut count) = (0.0, 0);
        let first = runs.len();
        self.deep.each_run(|x, y, length| {
            let i = y * at.width as usize + x;
            total = levels[i..i + length].iter().fold(total, |total, &level| total + od_of(level));
            count += length;
            let (x0, y) = (count32(x) + at.x, count32(y) + at.y);
            let x1 = x0 + count32(length);
            match runs[first..].last_mut() {
                // A run that goes on in the next word of the mask.
                Some((last, run)) if *last == y && run.x1 == x0 => run.x1 = x1,
                _ => runs.push((y, Run { x0, x1 })),
            }
        });
        let base = od_of(place.surround);
        [total / count.max(1) as f64 - base, od_of(place.branch.core) - base]
    }

    /// The light missing in the object's zone: its own pixels and the unclaimed ones nearer to it than to any other, up to 3.5 blur widths
    /// out. In levels × px².
    fn deficit(&mut self, place: &Place, visit: &Visit) -> f64 {
        let reach = 3.5 * visit.blur_px;
        if self.tree.found.len() == 1 && self.window.other.is_empty() {
            self.window.own_widened(reach, &mut self.zone);
        } else {
            self.zone_among_others(place.object, pixels(reach));
        }
        let (mut total, mut count) = (0u64, 0);
        self.zone.each_piece(|piece| {
            count += piece.len();
            // A run has no more than 64 pixels.
            total += u64::from(self.window.levels[piece].iter().map(|&level| u32::from(level)).sum::<u32>());
        });
        count as f64 * f64::from(place.surround) - total as f64
    }

    /// Marks the pixels nearer to this object than to others (city-block distance, one step at a time from all at once), up to `reach` out.
    /// A pixel as near to several belongs to the last of them; to another component's if there is one.
    fn zone_among_others(&mut self, object: usize, reach: usize) {
        let [after, taken, grown, free] = &mut self.zones;
        // What belongs to those that win, and what belongs to anyone.
        self.tree.pixels_after(object, &self.window.own, after);
        after.add(&self.window.other);
        taken.copy(&self.window.own);
        taken.add(&self.window.other);
        self.zone.copy(&self.mine);
        for _ in 0..reach {
            free.copy(taken);
            free.turn_over();
            after.with_neighbours(grown);
            grown.keep(free);
            after.add(grown);
            free.take(grown);
            self.zone.with_neighbours(grown);
            grown.keep(free);
            self.zone.add(grown);
            taken.with_neighbours(grown);
            std::mem::swap(taken, grown);
        }
    }
}

/// Whether a component may enclose something large enough to matter: it fills less of its box than a disc.
fn may_enclose(component: &Component, visit: &Visit) -> bool {
    let at = component.at;
    f64::from(at.width.min(at.height)) >= TOLD_FROM * visit.resolution_px && (component.area as f64) < 0.7 * at.area() as f64
}

/// The largest hole of an object at this depth, and the area of all.
fn largest_hole(holes: &mut Holes, (depths, part): (&[f32], Rect), depth: f64) -> Option<(Hole, f64)> {
    let found = holes.find(depths.iter().map(|&d| d > single(depth)), part.width as usize);
    Some((*found.first()?, found.iter().map(|h| f64::from(h.cells)).sum()))
}

/// Number of pixels that hold a length, rounded up.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "lengths of windows are small and positive")]
pub(crate) fn pixels(length: f64) -> usize {
    length.ceil().clamp(0.0, 1e6) as usize
}

fn diameter(area: f64) -> f64 {
    2.0 * (area / std::f64::consts::PI).sqrt()
}

fn box_of(runs: &[(u32, Run)]) -> Rect {
    let of = |&(y, r): &(u32, Run)| Rect::new(r.x0, y, r.x1 - r.x0, 1);
    runs.iter().skip(1).fold(runs.first().map(of).unwrap_or_default(), |whole, r| whole.union(of(r)))
}

/// Weight of an object of this width and height that lies whole in a rectangular frame: 1 ÷ the share of places at which it does
/// (Miles 1978, Lantuéjoul 1980; ISO 13322-1). `None` for one as large as the frame.
pub fn frame_weight(frame: Rect, [width, height]: [f64; 2]) -> Option<f64> {
    let (w, h) = (f64::from(frame.width), f64::from(frame.height));
    let share = (w - width) * (h - height) / (w * h);
    (width < w && height < h).then(|| 1.0 / share)
}
