//! Gaps: connected uncovered pieces of the film, half way between film and bare.

mod circle;
mod kind;

pub use circle::CIRCLE_TOLERANCE;
use circle::{Circle, Outlines, Points, largest_circle};
pub use kind::{GapMeasure, ToldGap};

use rayon::prelude::*;

use crate::light::{Scratch, bands, od_of_level};
use crate::objects::{Bits, CHORDS, LARGEST_WINDOW, Refined, Scene, median, pick, pixels};
use crate::order::in_turn;
use crate::phases::{Component, Cuts, RunMap, count32, join};
use crate::plane::{Level, ONE, Rect, Stop, Watch, single};
use crate::reuse;
use crate::shape::{Contour, Sides, trace_rows};

/// One gap of a field. Lengths are in pixels.
#[derive(Clone, Debug)]
pub struct Gap {
    /// Its pixels' box.
    pub at: Rect,
    /// Centroid (x, y).
    pub centroid_px: [f64; 2],
    /// Area with the edge level a step towards the film, as the recipe says, and a step towards bare, px²; blur-corrected.
    pub area_px2: [f64; 3],
    /// Length of the outline.
    pub perimeter_px: f64,
    /// Diameter of the largest circle that fits inside the gap and the frame.
    pub largest_circle_px: f64,
    /// Its middle (x, y); the centroid where no circle was found or asked for.
    pub circle_centre_px: [f64; 2],
    /// Whether a side of the measured region cuts it.
    pub touches_frame: bool,
    /// What it is, and what decided on that.
    pub told: ToldGap,
    /// Whether it is the bright centre of a hollow thing, which is no gap in the film.
    pub in_hollow: bool,
}

impl Gap {
    /// Area-equivalent diameter in pixels.
    pub fn diameter_px(&self) -> f64 {
        2.0 * (self.area_px2[1] / std::f64::consts::PI).sqrt()
    }

    /// √(4πA)/P (ISO 9276-6).
    pub fn circularity(&self) -> f64 {
        if self.perimeter_px > 0.0 { (4.0 * std::f64::consts::PI * self.area_px2[1]).sqrt() / self.perimeter_px } else { 0.0 }
    }
}

/// What a visit needs to know beforehand.
#[derive(Clone, Copy, Debug)]
pub(crate) struct GapVisit {
    /// Standard deviation of the blur, px.
    pub(crate) blur_px: f64,
    /// Half the distance between the outer two of the three edge levels, as a share of the contrast.
    pub(crate) step: f64,
    /// Whether the largest circle is wanted.
    pub(crate) circle: bool,
    /// Core ÷ surround of the powder, where it is known; then edges between bare and powder are read half way between those two.
    pub(crate) core_ratio: Option<f64>,
    /// Smallest distance that the lens resolves, px.
    pub(crate) resolution_px: f64,
}

impl GapVisit {
    /// Reach of a blurred edge, px.
    fn reach(&self) -> u32 {
        count32(pixels(2.0 * self.blur_px))
    }
}

/// Visits every gap once.
pub(crate) fn refine(
    scene: &Scene<'_>,
    cuts: &Cuts,
    components: &[Component],
    visit: GapVisit,
    watch: Watch<'_>,
) -> Result<Vec<Gap>, Stop> {
    in_turn(components.len(), |i| {
        watch.poll()?;
        visit_gap(scene, cuts, (count32(i), &components[i]), visit)
    })
}

/// Looks at some gaps of `all` for the calibration.
pub(crate) fn probe(
    scene: &Scene<'_>,
    cuts: &Cuts,
    all: &[Component],
    chosen: &[usize],
    visit: GapVisit,
    watch: Watch<'_>,
) -> Result<Vec<Gap>, Stop> {
    in_turn(chosen.len(), |place| {
        watch.poll()?;
        visit_gap(scene, cuts, (count32(chosen[place]), &all[chosen[place]]), visit)
    })
}

/// Gaps of a film that is as clear as the empty slide: all that lies outside the objects. Their areas are those of their pixels; the
/// largest takes up what the objects' outlines differ from their pixels, so that objects and gaps fill the frame.
pub(crate) fn outside_objects(refined: &Refined, frame: Rect, visit: GapVisit, watch: Watch<'_>) -> Result<(Vec<Gap>, RunMap), Stop> {
    let mut map = refined.map.complement(frame.width);
    let nothing = vec![0; map.runs.len()];
    let components = join(&mut map, &nothing, false, |_| true);
    let mut gaps = Vec::new();
    for (own, component) in (0..).zip(&components) {
        watch.poll()?;
        let circle = visit.circle.then(|| largest_circle(&map, own, component.at, frame, &Outlines(&refined.map))).flatten();
        let centroid_px = centre_of(&map, own, component);
        gaps.push(Gap {
            at: component.at,
            centroid_px,
            area_px2: [component.area as f64; 3],
            perimeter_px: 0.0,
            largest_circle_px: 2.0 * circle.map_or(0.0, |circle| circle.radius),
            circle_centre_px: circle.map_or(centroid_px, |circle| circle.middle),
            touches_frame: component.at.touches(frame),
            told: kind::NOT_TOLD,
            in_hollow: false,
        });
    }
    let objects: f64 = refined.objects.iter().map(|o| o.area_px2[1]).sum();
    let remainder = refined.map.area() as f64 - objects;
    if let Some(largest) = gaps.iter_mut().max_by(|a, b| a.area_px2[1].total_cmp(&b.area_px2[1])) {
        largest.area_px2 = largest.area_px2.map(|a| (a + remainder).max(0.0));
    }
    Ok((gaps, map))
}

/// Radius in px of the largest circle within the frame that has its middle in piece `own` of a map, whose box is `at`, and that crosses no
/// outline of the obstacles' pixels; to [`CIRCLE_TOLERANCE`].
pub fn circle_outside(obstacles: &RunMap, (clear, own): (&RunMap, u32), at: Rect, frame: Rect) -> f64 {
    largest_circle(clear, own, at, frame, &Outlines(obstacles)).map_or(0.0, |circle| circle.radius)
}

fn centre_of(map: &RunMap, own: u32, component: &Component) -> [f64; 2] {
    let (mut x, mut y) = (0.0, 0.0);
    for row in component.at.y..component.at.bottom() {
        for i in map.row_within(row, component.at.x, component.at.right()).filter(|&i| map.owner[i] == own) {
            let run = map.runs[i];
            let length = f64::from(run.x1 - run.x0);
            x += length * f64::from(run.x0 + run.x1) / 2.0;
            y += length * (f64::from(row) + 0.5);
        }
    }
    [x / component.area as f64, y / component.area as f64]
}

/// Rows of a strip in which a gap is read: the whole window where it may be held.
fn strips(at: Rect) -> Vec<Rect> {
    if at.area() <= LARGEST_WINDOW / 4 {
        return vec![at];
    }
    let band = |b: Rect| Rect::new(at.x, at.y + b.y, at.width, (b.height + 1).min(at.height - b.y));
    let mut all = bands((at.width, at.height));
    // The strip before a last row reaches over it.
    if all.len() > 1 {
        all.pop_if(|last| last.height == 1);
    }
    all.into_iter().map(band).collect()
}

fn visit_gap(scene: &Scene<'_>, cuts: &Cuts, (own, component): (u32, &Component), visit: GapVisit) -> Result<Gap, Stop> {
    let at = component.at.grown(3, scene.frame);
    let whole = strips(at);
    let contrast = f64::from(ONE) - cuts.film.at(f64::from(at.x) + f64::from(at.width) / 2.0, f64::from(at.y) + f64::from(at.height) / 2.0);
    let thresholds = [-visit.step, 0.0, visit.step].map(|s| single(s * contrast));
    let strip = |(scratch, levels): (&mut Scratch, &mut Vec<Level>), part: &Rect| -> Result<[Contour; 3], Stop> {
        // Rows beyond the strip, so that what lies near a pixel is the same in every strip.
        let read = part.grown(visit.reach(), at);
        scene.correction.levels_into(scene.field, read, scratch, levels)?;
        let mut values = heights(scene.gap, cuts, own, read, levels);
        meet_particles(&mut values, levels, scene.particle, read, &visit);
        let skip = (part.y - read.y) as usize * part.width as usize;
        let values = &values[skip..skip + part.width as usize * part.height as usize];
        let sides = sides_of(*part, at, scene.frame);
        let mut contours = [Contour::default(), Contour::default(), Contour::default()];
        for (k, contour) in contours.iter_mut().enumerate() {
            let first = (part.y - at.y) as usize;
            trace_rows(values, (part.width as usize, first), thresholds[k], sides, k == 1, contour);
        }
        Ok(contours)
    };
    let strip = |part: &Rect| reuse::with(|(scratch, levels): &mut (Scratch, Vec<Level>)| strip((scratch, levels), part));
    let parts = whole.par_iter().map(strip).collect::<Result<Vec<[Contour; 3]>, Stop>>()?;
    let mut contours = [Contour::default(), Contour::default(), Contour::default()];
    for part in &parts {
        contours.iter_mut().zip(part).for_each(|(whole, part)| whole.add(part));
    }
    let blur2 = visit.blur_px * visit.blur_px + CHORDS;
    let area_px2 = [0, 1, 2].map(|k| contours[k].area_without_blur(blur2));
    let line = &contours[1];
    let centre = line.centroid();
    let centroid_px = [centre[0] + f64::from(at.x), centre[1] + f64::from(at.y)];
    let (largest_circle_px, circle_centre_px) = if visit.circle {
        let widened = blur2 / (2.0 * (area_px2[1] / std::f64::consts::PI).sqrt().max(1.0));
        let outline = Points::new(shifted(line, at), visit.reach());
        let none = Circle { radius: 0.0, middle: centroid_px };
        let Circle { radius, middle } = largest_circle(scene.gap, own, component.at, scene.frame, &outline).unwrap_or(none);
        (2.0 * (radius + widened), middle)
    } else {
        (0.0, centroid_px)
    };
    let mut gap = Gap {
        at: component.at,
        centroid_px,
        area_px2,
        perimeter_px: line.perimeter_px,
        largest_circle_px,
        circle_centre_px,
        touches_frame: component.at.touches(scene.frame),
        told: kind::NOT_TOLD,
        in_hollow: false,
    };
    if visit.circle {
        let rim = if gap.touches_frame || at.area() > LARGEST_WINDOW / 4 { None } else { rim(scene, cuts, (own, component), visit)? };
        gap.told = kind::tell(&gap, scene.frame, visit.resolution_px, rim);
    }
    Ok(gap)
}

/// Optical density of the film just outside a gap ÷ that of the film around; `None` where too little film is seen there.
fn rim(scene: &Scene<'_>, cuts: &Cuts, (own, component): (u32, &Component), visit: GapVisit) -> Result<Option<f64>, Stop> {
    const WIDTH_PX: f64 = 4.0;
    const LEAST: usize = 24;
    let inner = 2.5 * visit.blur_px + 1.0;
    let at = component.at.grown(count32(pixels(inner + WIDTH_PX)), scene.frame);
    let levels = reuse::with(|(scratch, levels): &mut (Scratch, Vec<Level>)| {
        scene.correction.levels_into(scene.field, at, scratch, levels).map(|()| levels.clone())
    })?;
    let mark = |map: &RunMap, wanted: &dyn Fn(u32) -> bool| {
        let mut mask = Bits::of_size(at.width, at.height);
        mask.set_runs(map, at, |i| wanted(map.owner[i]));
        mask
    };
    let mut across = Bits::default();
    let mut near = |mask: &Bits, reach: f64| {
        let mut out = Bits::default();
        mask.widened(reach, &mut across, &mut out);
        out
    };
    let gap = mark(scene.gap, &|o| o == own);
    let mut free = near(&gap, inner + WIDTH_PX);
    for taken in [gap, mark(scene.particle, &|_| true), mark(scene.gap, &|o| o != own)] {
        free.take(&near(&taken, inner));
    }
    let mut buffer = Vec::new();
    let ring = pick(&levels, &free, &mut buffer);
    if ring.len() < LEAST {
        return Ok(None);
    }
    let here = od_of_level(f64::from(median(ring)));
    let [x, y] = [f64::from(at.x) + f64::from(at.width) / 2.0, f64::from(at.y) + f64::from(at.height) / 2.0];
    let film = od_of_level(cuts.film.at(x, y));
    Ok((film > 0.0).then(|| here / film))
}

/// Where bare meets powder, the edge lies half way between those two, not between film and bare: such pixels, and the powder's own, are read
/// against that level. They are the ones within reach of both, too dark to be bare.
fn meet_particles(values: &mut [f32], levels: &[Level], particle: &RunMap, at: Rect, visit: &GapVisit) {
    let Some(ratio) = visit.core_ratio else { return };
    let mut powder = Bits::of_size(at.width, at.height);
    powder.set_runs(particle, at, |_| true);
    if powder.is_empty() {
        return;
    }
    let mut bare = Bits::of_size(at.width, at.height);
    (0..values.len()).filter(|&i| values[i] > 0.0).for_each(|i| bare.set(i));
    bare.take(&powder);
    let (mut across, mut read, mut near_bare) = (Bits::default(), Bits::default(), Bits::default());
    powder.widened(f64::from(visit.reach()), &mut across, &mut read);
    bare.widened(f64::from(visit.reach()), &mut across, &mut near_bare);
    read.keep(&near_bare);
    read.take(&bare);
    read.add(&powder);
    let edge = single(f64::from(ONE) * (1.0 + ratio) / 2.0);
    read.places().for_each(|i| values[i] = f32::from(levels[i]) - edge);
}

/// Points of a line in the field rather than in its window.
fn shifted(line: &Contour, at: Rect) -> Vec<[f64; 2]> {
    line.points.iter().map(|p| [f64::from(p[0]) + f64::from(at.x), f64::from(p[1]) + f64::from(at.y)]).collect()
}

fn sides_of(part: Rect, at: Rect, frame: Rect) -> Sides {
    Sides {
        left: at.x == frame.x,
        right: at.right() == frame.right(),
        top: part.y == frame.y,
        bottom: part.bottom() == at.bottom() && at.bottom() == frame.bottom(),
    }
}

/// Side of the blocks over which the gap level is taken as one, px. Blocks of rows are those of the picture, so that a row has one level
/// whichever strip it is read in.
const BLOCK: u32 = 8;

/// Heights above the gap level, in levels; pixels of other gaps lie below it.
fn heights(gap: &RunMap, cuts: &Cuts, own: u32, at: Rect, levels: &[Level]) -> Vec<f32> {
    let width = at.width as usize;
    let mut values = Vec::with_capacity(levels.len());
    let mut cut_row = vec![0f32; width];
    for (y, line) in (at.y..).zip(levels.chunks_exact(width.max(1))) {
        if y == at.y || y.is_multiple_of(BLOCK) {
            let middle = f64::from(y - y % BLOCK) + f64::from(BLOCK) / 2.0;
            for (b, block) in (0..).zip(cut_row.chunks_mut(BLOCK as usize)) {
                let x = f64::from(at.x + b * BLOCK) + f64::from(BLOCK) / 2.0;
                block.fill(single(cuts.gap_level(cuts.film.at(x, middle))));
            }
        }
        let start = values.len();
        values.extend(line.iter().zip(&cut_row).map(|(&level, cut)| f32::from(level) - cut));
        for i in gap.row_within(y, at.x, at.right()) {
            if gap.owner[i] != own {
                let run = gap.runs[i];
                let (x0, x1) = (run.x0.max(at.x) - at.x, run.x1.min(at.right()) - at.x);
                values[start + x0 as usize..start + x1 as usize].iter_mut().for_each(|v| *v = -v.abs());
            }
        }
    }
    values
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pair_of_rows_lies_in_one_strip() {
        for height in [127, 128, 129, 192, 193] {
            let frame = Rect::new(0, 0, 20_000, height);
            let all = strips(frame);
            let ends: Vec<(u32, u32)> = all.iter().map(|strip| (strip.y, strip.bottom() - 1)).collect();
            assert!(
                ends.windows(2).all(|pair| pair[0].1 == pair[1].0) && ends[0].0 == 0 && ends[ends.len() - 1].1 == height - 1,
                "{ends:?}"
            );
            assert_eq!(all.iter().filter(|strip| sides_of(**strip, frame, frame).bottom).count(), 1, "{height}");
        }
    }
}
