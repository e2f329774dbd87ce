//! Splitting: an object taken apart at its necks.
//!
//! Blur fills the crevices between touching parts, so necks are looked for in depths sharpened by the known blur: its inverse to second order,
//! 1 − s²∇²/2 + s⁴∇⁴/8 of a Gaussian of variance s², on whole numbers. The outline at 0.7 of the contrast is drawn on cells of half a
//! pixel, the distance to it is flooded ([`super::basins`]), and a part stands apart if its neck is deep enough.
//!
//! Measured on rendered clumps of 8–40 touching discs of 4–16 px at a blur of 1.06 px: the plain outline finds 56–87 % of the discs, this one
//! 97–100 % (discs that overlap by a twentieth of their radii: 89–98 %), and leaves discs, ellipses and ragged pieces whole.

use super::basins::{Basin, Flood};
use super::distance::Distance;
use super::measure::pixels;
use crate::shape::Contour;

/// How objects are taken apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct SplitRule {
    /// How much narrower than the lesser part a neck must be, px, radius against half width.
    pub(crate) depth_px: f64,
    /// Standard deviation of the blur, px.
    pub(crate) blur_px: f64,
    /// Whether the lines between the constituents are wanted.
    pub(crate) necks: bool,
}

/// What an object is made of.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Parts {
    /// Areas of the constituents, px²; empty where there is one.
    pub(crate) areas_px2: Box<[f32]>,
    /// Where it is widest, in the window.
    pub(crate) widest: [f32; 2],
    /// Places on the lines between its constituents, in the window; empty where nobody asked.
    pub(crate) necks: Box<[[f32; 2]]>,
}

/// Cells along a pixel.
const FINE: usize = 2;
/// Share of the contrast at which the sharpened outline is drawn.
const LEVEL: f64 = 0.7;
/// The same where there is too much noise to sharpen.
const LEVEL_PLAIN: f64 = 0.6;
/// Most noise that sharpening may leave, as a share of the contrast.
const NOISE: f64 = 0.07;
/// A neck shallower than this is noise, px.
const LEAST_DEPTH_PX: f64 = 0.3;
/// A neck wider than this share of the lesser part is none.
const WIDEST_NECK: f64 = 0.87;
/// Parts of a smaller radius than so many blur widths read shallower necks, in proportion.
const CLEAR_RADII: f64 = 5.3;
/// A part of a smaller radius is noise, px.
const LEAST_RADIUS_PX: f64 = 0.75;

/// Buffers of one thread.
#[derive(Default)]
pub(crate) struct Splitter {
    sharp: Vec<i32>,
    line: Vec<i32>,
    first: Vec<i32>,
    mask: Vec<bool>,
    distance: Distance,
    flood: Flood,
}

impl Splitter {
    /// Whether an outline is so nearly convex that it has no neck: the hull's area beyond it is that of the outline's own roughness.
    pub(crate) fn has_no_neck(contour: &Contour, hull_px2: f64) -> bool {
        hull_px2 - contour.area_px2 < 0.3 + 0.04 * contour.perimeter_px
    }

    /// Takes an object apart, given by its depths below the surround in a window with rows of `width` (others' pixels below 0), its contrast
    /// and its blur-corrected area. `noise` is that of a pixel, in levels.
    pub(crate) fn split(
        &mut self,
        (depths, width): (&[f32], usize),
        (contrast, noise): (f64, f64),
        area_px2: f64,
        rule: SplitRule,
    ) -> Option<Parts> {
        let level = self.sharpen(depths, width, noise / contrast, rule.blur_px);
        self.draw(width, level * contrast);
        if self.mask.iter().all(|&m| m) {
            return None;
        }
        let distance2 = self.distance.squared(&self.mask, FINE * width);
        // Cells to px; the edge lies half a cell from the last cell inside.
        let radius = |cells: f64| (cells - 0.5) / FINE as f64;
        let least = |peak: f64| LEAST_DEPTH_PX.max(rule.depth_px * (peak / (CLEAR_RADII * rule.blur_px)).min(1.0));
        let apart = |peak: f64, saddle: f64| {
            let (peak, saddle) = (radius(peak), radius(saddle));
            peak - saddle >= least(peak) && saddle <= WIDEST_NECK * peak
        };
        let mut basins = self.flood.basins(distance2, FINE * width, apart);
        let large = |b: &Basin| radius((b.peak2 as f64).sqrt()) >= LEAST_RADIUS_PX;
        basins.retain(large);
        let largest = basins.iter().min_by_key(|b| (std::cmp::Reverse(b.peak2), b.at))?;
        let place = |cell: usize| (cell as f32 + 0.5) / FINE as f32;
        let place = |cell: usize| [place(cell % (FINE * width)), place(cell / (FINE * width))];
        let widest = place(largest.at);
        let areas_px2 = if basins.len() > 1 { widened(&basins, area_px2) } else { Box::default() };
        let necks = if rule.necks && basins.len() > 1 { self.flood.lines(large).into_iter().map(place).collect() } else { Box::default() };
        Some(Parts { areas_px2, widest, necks })
    }

    /// Sharpens the depths as far as the noise allows; returns the share of the contrast at which to draw the outline.
    #[expect(clippy::cast_possible_truncation, reason = "levels and their sharpened values stay far below 2³¹")]
    fn sharpen(&mut self, depths: &[f32], width: usize, noise: f64, blur_px: f64) -> f64 {
        self.sharp.clear();
        self.sharp.extend(depths.iter().map(|&d| d.max(0.0) as i32));
        // Wider blur needs wider steps, or the noise between neighbours is all that grows.
        let step = pixels((blur_px - 0.15) / 1.5).max(1);
        let first = 0.5 * blur_px * blur_px / (step * step) as f64;
        let second = 0.5 * first * first;
        let orders = [gain(first, second), gain(first, 0.0)].iter().position(|g| noise * g <= NOISE);
        let Some(order) = orders else { return LEVEL_PLAIN };
        laplacian(&self.sharp, width, step, &mut self.first);
        let mut twice = Vec::new();
        if order == 0 {
            laplacian(&self.first, width, step, &mut twice);
        }
        if twice.is_empty() {
            let once = self.sharp.iter_mut().zip(&self.first);
            once.for_each(|(value, &f)| *value += whole(-(first / 6.0 * f64::from(f))));
        } else {
            let both = self.sharp.iter_mut().zip(&self.first).zip(&twice);
            both.for_each(|((value, &f), &t)| *value += whole(second / 36.0 * f64::from(t) - first / 6.0 * f64::from(f)));
        }
        LEVEL
    }

    /// Draws the mask of the fine cells deeper than `depth`, read by straight lines between pixel centres.
    fn draw(&mut self, width: usize, depth: f64) {
        let cut = 16 * whole(depth);
        let height = self.sharp.len() / width;
        self.mask.clear();
        self.mask.resize(FINE * FINE * self.sharp.len(), false);
        for (y, cells) in self.mask.chunks_exact_mut(FINE * width).enumerate() {
            let [own, next] = beside(y, height);
            let (own, next) = (&self.sharp[own * width..(own + 1) * width], &self.sharp[next * width..(next + 1) * width]);
            self.line.clear();
            self.line.extend(own.iter().zip(next).map(|(own, next)| 3 * own + next));
            // The outermost cells have no pixel beside them but their own.
            cells[0] = 4 * self.line[0] > cut;
            cells[FINE * width - 1] = 4 * self.line[width - 1] > cut;
            let (pairs, _) = cells[1..].as_chunks_mut::<2>();
            for (pair, cells) in self.line.windows(2).zip(pairs) {
                *cells = [3 * pair[0] + pair[1] > cut, 3 * pair[1] + pair[0] > cut];
            }
        }
    }
}

/// The nearest whole number, of those below 2³¹; half-way ones to even. Adding 1.5 × 2⁵² leaves it in the low bits: no call, and the same bits
/// on every machine.
#[expect(clippy::cast_possible_truncation, reason = "the low 32 bits are the number")]
fn whole(of: f64) -> i32 {
    (of + 6_755_399_441_055_744.0).to_bits() as i32
}

/// The pixel that a fine cell lies in, and the next one on its side, along one axis of `count` pixels.
fn beside(cell: usize, count: usize) -> [usize; 2] {
    let own = cell / FINE;
    [own, if cell.is_multiple_of(FINE) { own.saturating_sub(1) } else { (own + 1).min(count - 1) }]
}

/// Six times the Laplacian on a square grid, exact for every direction to fourth order (M. Patra & M. Karttunen 2006, Numer. Methods Partial
/// Differ. Equ. 22, 936), between values `step` apart; what lies beyond a side repeats it.
fn laplacian(of: &[i32], width: usize, step: usize, out: &mut Vec<i32>) {
    let height = of.len() / width;
    out.clear();
    out.resize(of.len(), 0);
    for (y, out) in out.chunks_exact_mut(width).enumerate() {
        let row = |y: usize| &of[y * width..(y + 1) * width];
        let rows = [row(y.saturating_sub(step)), row(y), row((y + step).min(height - 1))];
        let at = |x: usize, left: usize, right: usize| {
            let [up, own, down] = rows;
            let (sides, corners) = (up[x] + down[x] + own[left] + own[right], up[left] + up[right] + down[left] + down[right]);
            4 * sides + corners - 20 * own[x]
        };
        let inner = step..width.saturating_sub(step).max(step);
        for x in (0..width).filter(|x| !inner.contains(x)) {
            out[x] = at(x, x.saturating_sub(step), (x + step).min(width - 1));
        }
        // Slices of one length, so that the loop becomes vectors.
        let count = inner.len();
        let [up, own, down] = rows.map(|row| [0, step, 2 * step].map(|from| row.get(from..from + count).unwrap_or(&[])));
        if count > 0 {
            let out = &mut out[step..step + count];
            for x in 0..count {
                let (sides, corners) = (up[1][x] + down[1][x] + own[0][x] + own[2][x], up[0][x] + up[2][x] + down[0][x] + down[2][x]);
                out[x] = 4 * sides + corners - 20 * own[1][x];
            }
        }
    }
}

/// Factor by which 1 − `first`·∇² + `second`·∇⁴ widens independent noise: the root of the sum of its squared weights.
fn gain(first: f64, second: f64) -> f64 {
    const PLAIN: [[f64; 3]; 3] = [[1.0, 4.0, 1.0], [4.0, -20.0, 4.0], [1.0, 4.0, 1.0]];
    let mut weights = [[0.0; 5]; 5];
    weights[2][2] = 1.0;
    for (y, row) in PLAIN.iter().enumerate() {
        for (x, a) in row.iter().enumerate() {
            weights[y + 1][x + 1] -= first * a / 6.0;
            for (v, other) in PLAIN.iter().enumerate() {
                for (u, b) in other.iter().enumerate() {
                    weights[y + v][x + u] += second * a * b / 36.0;
                }
            }
        }
    }
    weights.iter().flatten().map(|w| w * w).sum::<f64>().sqrt()
}

/// Areas of the parts, each widened by the same distance so that they sum to the object's area, px².
fn widened(basins: &[Basin], area_px2: f64) -> Box<[f32]> {
    let n = basins.len() as f64;
    let radii: Vec<f64> = basins.iter().map(|b| (b.cells / (FINE * FINE) as f64 / std::f64::consts::PI).sqrt()).collect();
    let (sum, squares) = (radii.iter().sum::<f64>(), radii.iter().map(|r| r * r).sum::<f64>());
    // Σ (r + e)² = A/π.
    let under = sum * sum - n * (squares - area_px2 / std::f64::consts::PI);
    let by = (under.max(0.0).sqrt() - sum) / n;
    let mut areas: Vec<f32> = radii.iter().map(|r| crate::plane::single(std::f64::consts::PI * (r + by) * (r + by))).collect();
    areas.sort_by(|a, b| b.total_cmp(a));
    areas.into()
}
