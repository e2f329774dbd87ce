//! The separate single particles of a lot: what the chance film is laid from.

use super::{Missing, Purpose, ROUND, floor, joined_widths, stream};
use crate::field::FieldResult;
use crate::objects::{Object, distance_squared};
use crate::phases::{NOBODY, RunMap, count32};
use crate::plane::{Rect, single};
use crate::quantity::is_agglomerate;
use crate::random::Source;
use crate::recipe::Recipe;

/// Fewer singles say too little of the sizes that the lot's particles have: the mean area of 50, where areas differ by half their mean, is
/// known to 7 % (0.5/√50), and how often particles meet about as well. What they leave open beyond that widens the envelope.
pub const FEWEST: usize = 50;

/// Most outlines that are kept: singles beyond are left aside evenly.
const MOST: usize = 4096;
/// Most cells of all outlines together.
const MOST_CELLS: usize = 8 << 20;
/// Cells around the pixels of an outline.
const AROUND: u32 = 3;
/// The outline may lie this far off its pixels' edge, px.
const FARTHEST: f64 = 2.5;
/// Places at which the lot is asked how much room there is.
const PLACES: usize = 4096;
/// Share of the places that a single of some size must at least find free, so that none stands for too many.
const LEAST_ROOM: f64 = 0.02;

/// A single particle as it was measured.
#[derive(Clone, Debug)]
pub(super) struct Single {
    /// Cells of its outline: columns, rows, the first among [`Singles::depths`].
    grid: (usize, usize, usize),
    /// Its centroid in the grid.
    centre: [f64; 2],
    /// Distance from the centroid that nothing of it exceeds, px.
    pub(super) bound: f64,
    /// Blur-corrected area, px².
    pub(super) area: f64,
    /// Level inside ÷ level around.
    pub(super) ratio: f32,
}

/// All of them.
#[derive(Debug, Default)]
pub(super) struct Singles {
    pub(super) all: Vec<Single>,
    /// How many particles of the lot each stands for, summed up: weights for the frame and for the room that a particle of its size finds.
    weights: Vec<f64>,
    /// For every cell ½ more than the distance that it lies inside the outline, px; cut to 0 … 1 it is the share of the cell that is covered.
    depths: Vec<f32>,
    /// How many of the lot's singles each that is kept stands for, ÷ the area that shows them.
    stand_for: f64,
}

/// Whether an object is a separate single particle: whole in the frame, of one constituent, of a kind that counts, and nothing that the
/// recipe calls an agglomerate.
pub(super) fn is_single(field: &FieldResult, object: &Object, recipe: &Recipe) -> bool {
    !object.touches_frame
        && object.constituents_px2.is_empty()
        && !recipe.leave_out.contains(&object.told.kind)
        && !is_agglomerate(field, object, recipe)
}

impl Singles {
    /// The singles of a lot.
    pub(super) fn of(fields: &[&FieldResult], recipe: &Recipe) -> Result<Self, Missing> {
        if !recipe.objects.split {
            return Err(Missing::NotSplit);
        }
        let found: Vec<(&FieldResult, usize)> = fields
            .iter()
            .flat_map(|&f| (0..f.objects.len()).filter(move |&i| is_single(f, &f.objects[i], recipe)).map(move |i| (f, i)))
            .collect();
        if found.len() < FEWEST {
            return Err(Missing::TooFewSingles { found: found.len() });
        }
        let cells = |&(f, i): &(&FieldResult, usize)| f.objects[i].at.grown(AROUND, Rect::whole(f.size)).area();
        let mean = found.iter().map(cells).sum::<u64>() / found.len() as u64;
        let most = MOST.min(MOST_CELLS / usize::try_from(mean.max(1)).unwrap_or(MOST_CELLS)).max(FEWEST);
        let kept = found.len().min(most);
        let shown: f64 = fields.iter().map(|f| f.area_px2()).sum();
        let mut singles = Self { stand_for: found.len() as f64 / kept as f64 / shown, ..Self::default() };
        let chosen: Vec<(&FieldResult, usize)> = (0..kept).map(|k| found[k * found.len() / kept]).collect();
        for &(f, i) in &chosen {
            singles.add(f, i);
        }
        let room = Room::of(fields, singles.all.iter().map(Single::radius).fold(0.0, f64::max), recipe);
        let mut sum = 0.0;
        for (one, &(f, i)) in singles.all.iter().zip(&chosen) {
            sum += f.objects[i].weight.unwrap_or(1.0) / room.share(one.radius());
            singles.weights.push(sum);
        }
        Ok(singles)
    }

    /// Keeps the outline of an object: its own pixels, widened or narrowed evenly until they hold its blur-corrected area.
    fn add(&mut self, field: &FieldResult, index: usize) {
        let object = &field.objects[index];
        let (width, height) = ((object.at.width + 2 * AROUND) as usize, (object.at.height + 2 * AROUND) as usize);
        let origin = [object.at.x, object.at.y].map(|at| f64::from(at) - f64::from(AROUND));
        let mut inside = vec![false; width * height];
        for y in object.at.y..object.at.bottom() {
            for i in field.phases[0].row_within(y, object.at.x, object.at.right()).filter(|&i| field.phases[0].owner[i] as usize == index) {
                let run = field.phases[0].runs[i];
                let row = (y - object.at.y + AROUND) as usize * width;
                let column = |x: u32| row + (x - object.at.x + AROUND) as usize;
                inside[column(run.x0)..column(run.x1)].fill(true);
            }
        }
        let outside: Vec<bool> = inside.iter().map(|i| !i).collect();
        let (into, out) = (distance_squared(&inside, width), distance_squared(&outside, width));
        let depth = |cell: usize| (into[cell] as f64).sqrt() - (out[cell] as f64).sqrt() + if inside[cell] { -0.5 } else { 0.5 };
        let depths: Vec<f64> = (0..inside.len()).map(depth).collect();
        let area = object.area_px2[1];
        let covered = |by: f64| depths.iter().map(|d| (d + by + 0.5).clamp(0.0, 1.0)).sum::<f64>();
        let (mut low, mut high) = (-FARTHEST, FARTHEST);
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if covered(middle) < area { low = middle } else { high = middle }
        }
        let first = self.depths.len();
        self.depths.extend(depths.iter().map(|d| single(d + low + 0.5)));
        let centre = [0, 1].map(|k| object.centroid_px[k] - origin[k]);
        let mut bound = 0.0f64;
        for (cell, &depth) in self.depths[first..].iter().enumerate().filter(|(_, d)| **d > 0.0) {
            let at = [(cell % width) as f64 + 0.5 - centre[0], (cell / width) as f64 + 0.5 - centre[1]];
            bound = bound.max((at[0] * at[0] + at[1] * at[1]).sqrt() + f64::from(depth) - 0.5);
        }
        let ratio = f32::from(object.core) / f32::from(object.surround.max(1));
        self.all.push(Single { grid: (width, height, first), centre, bound, area, ratio });
    }

    /// Particles of the lot that lie like singles, clumps aside, ÷ the area that shows them, px⁻²: what the weights add up to.
    pub(super) fn per_px2(&self) -> f64 {
        self.weights.last().copied().unwrap_or(0.0) * self.stand_for
    }

    /// Weights each single by a share.
    #[must_use]
    pub(super) fn weighted(&self, share: impl Fn(&Single) -> f64) -> Self {
        let (mut before, mut sum) = (0.0, 0.0);
        let mut weights = Vec::with_capacity(self.all.len());
        for (one, &until) in self.all.iter().zip(&self.weights) {
            sum += (until - before) * share(one);
            before = until;
            weights.push(sum);
        }
        Self { all: self.all.clone(), weights, depths: self.depths.clone(), stand_for: self.stand_for }
    }

    /// The single that a number in [0, 1) stands for, by weight.
    pub(super) fn pick(&self, uniform: f64) -> u32 {
        let wanted = uniform * self.weights.last().copied().unwrap_or(0.0);
        count32(self.weights.partition_point(|&sum| sum <= wanted).min(self.all.len().saturating_sub(1)))
    }

    /// Mean area of a particle, px².
    pub(super) fn mean_area(&self) -> f64 {
        let mut before = 0.0;
        let sum: f64 = self.all.iter().zip(&self.weights).map(|(one, &sum)| one.area * (sum - std::mem::replace(&mut before, sum))).sum();
        sum / before.max(f64::MIN_POSITIVE)
    }

    /// The largest bound.
    pub(super) fn bound(&self) -> f64 {
        self.all.iter().map(|one| one.bound).fold(0.0, f64::max)
    }

    /// Share of a pixel that a single covers whose middle lies at the origin, unturned; linear between the cells.
    pub(super) fn cover(&self, one: &Single, [x, y]: [f32; 2]) -> f32 {
        let (width, height, first) = one.grid;
        let [x, y] = [x + single(one.centre[0]) - 0.5, y + single(one.centre[1]) - 0.5];
        if x < 0.0 || y < 0.0 {
            return 0.0;
        }
        let (column, row) = (whole(x), whole(y));
        if column + 1 >= width || row + 1 >= height {
            return 0.0;
        }
        let (fx, fy) = (x - column as f32, y - row as f32);
        let upper = &self.depths[first + row * width + column..][..width + 2];
        let above = upper[0] + (upper[1] - upper[0]) * fx;
        let below = upper[width] + (upper[width + 1] - upper[width]) * fx;
        (above + (below - above) * fy).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
impl Singles {
    /// Share of the particles that are of at least an area.
    pub(super) fn share_from(&self, area: f64) -> f64 {
        let large = self.weighted(|one| f64::from(u8::from(one.area >= area)));
        large.per_px2() / self.per_px2()
    }

    /// Discs of some radii, each with its share of the particles.
    pub(super) fn of_discs(discs: &[[f64; 2]], ratio: f32) -> Self {
        let mut singles = Self::default();
        for &[radius, share] in discs {
            let side = 2 * floor(radius.ceil()) + 7;
            let (middle, first) = (0.5 * side as f64, singles.depths.len());
            let along = |k: usize| k as f64 + 0.5 - middle;
            let depth = |i: usize| radius + 0.5 - (along(i % side).powi(2) + along(i / side).powi(2)).sqrt();
            singles.depths.extend((0..side * side).map(|i| single(depth(i))));
            let area = std::f64::consts::PI * radius * radius;
            singles.all.push(Single { grid: (side, side, first), centre: [middle; 2], bound: radius, area, ratio });
            singles.weights.push(singles.weights.last().unwrap_or(&0.0) + share);
        }
        singles
    }
}

impl Single {
    /// Radius of the disc of its area, px.
    fn radius(&self) -> f64 {
        (self.area / std::f64::consts::PI).sqrt()
    }
}

/// The whole part of a number that is not negative.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the caller has seen that it is not negative")]
const fn whole(of: f32) -> usize {
    of as usize
}

/// How much room a lot leaves: the distances of places at random from the nearest particle. A large particle that lies at random finds less
/// of it than a small one, so that it is seldom seen alone; what is seen alone stands for 1 ÷ that share.
struct Room {
    /// Smallest first, px.
    clear: Vec<f64>,
    /// How near particles may come before they are one object, px.
    joined: f64,
}

impl Room {
    fn of(fields: &[&FieldResult], largest: f64, recipe: &Recipe) -> Self {
        let blur = fields.iter().map(|f| f.calibration.blur_px).sum::<f64>() / fields.len().max(1) as f64;
        let joined = ROUND * joined_widths(recipe) * blur;
        let whole: f64 = fields.iter().map(|f| f.area_px2()).sum();
        let source = Source::new(recipe.chance.seed, stream(0, Purpose::Room));
        let mut clear = Vec::new();
        for (number, field) in (0u64..).zip(fields) {
            let places = PLACES as f64 * field.area_px2() / whole.max(1.0);
            // Places near the frame do not see what lies beyond it.
            let reach = largest + joined;
            let (width, height) = (f64::from(field.size.0), f64::from(field.size.1));
            let aside = reach.min(0.25 * width.min(height));
            for k in 0..floor(places.ceil()) as u64 {
                let [u, v] = source.uniforms(number << 32 | k);
                let at = [aside + u * (width - 2.0 * aside), aside + v * (height - 2.0 * aside)];
                clear.push(clear_around(&field.phases[0], at, reach, field.size));
            }
        }
        clear.sort_by(f64::total_cmp);
        Self { clear, joined }
    }

    /// Share of the places at which a disc touches nothing.
    fn share(&self, radius: f64) -> f64 {
        let near = self.clear.partition_point(|&d| d < radius + self.joined);
        (1.0 - near as f64 / self.clear.len().max(1) as f64).max(LEAST_ROOM)
    }
}

/// Distance from a place to the nearest pixel of an object, or `reach` where none is that near.
fn clear_around(map: &RunMap, [x, y]: [f64; 2], reach: f64, size: (u32, u32)) -> f64 {
    let range = |at: f64, end: u32| {
        let low = floor((at - reach).max(0.0));
        (count32(low), count32(floor(at + reach) + 1).min(end))
    };
    let ((x0, x1), (y0, y1)) = (range(x, size.0), range(y, size.1));
    let mut nearest = reach * reach;
    let beyond = |at: f64, from: f64, to: f64| (from - at).max(at - to).max(0.0);
    for row in y0..y1 {
        let dy = beyond(y, f64::from(row), f64::from(row + 1));
        if dy * dy >= nearest {
            continue;
        }
        for i in map.row_within(row, x0, x1).filter(|&i| map.owner[i] != NOBODY) {
            let dx = beyond(x, f64::from(map.runs[i].x0), f64::from(map.runs[i].x1));
            nearest = nearest.min(dx * dx + dy * dy);
        }
    }
    nearest.sqrt()
}
