//! How sharp edges are: of an object, of a field, and in which direction.
//!
//! On a blurred straight edge the lines at two levels lie apart by the blur width times the distance of their normal quantiles. So the
//! areas at the three levels of an object give the width of its own edge, and the slope where it crosses half way gives it by direction.

use crate::field::{EDGE_STEP, FieldResult};
use crate::light::Correction;
use crate::objects::{Calibration, Object, SizedBy};
use crate::plane::{Rect, Samples, Stop};
use crate::recipe::Recipe;
use crate::statistics::{median, normal_quantile};

/// An object is unsharp where its edge is wider than this many times what is allowed.
pub const UNSHARP_FROM: f64 = 1.5;

/// A piece of lower solidity is ragged: its crevices widen what its edge seems to be.
const SMOOTH: f64 = 0.9;

/// Edges that tell a field's sharpness.
const LEAST_EDGES: usize = 3;
/// Objects with an edge of their own that tell it, or a share of unsharp ones.
const LEAST_OBJECTS: usize = 5;

/// Objects whose edges are asked for a direction, at most.
const MOST_OBJECTS: usize = 48;
/// Pixels on edges that tell a direction.
const LEAST_PIXELS: f64 = 150.0;

/// How an object's edge is read at the recipe's edge level.
#[derive(Clone, Copy, Debug)]
pub struct Edges {
    /// Distance of the outer two of the three lines, in blur widths.
    apart: f64,
}

impl Edges {
    /// By the recipe's edge level; asked for once for all objects.
    pub fn of(recipe: &Recipe) -> Self {
        let edge = recipe.particles.edge;
        Self { apart: normal_quantile((edge + EDGE_STEP).min(0.99)) - normal_quantile((edge - EDGE_STEP).max(0.01)) }
    }

    /// Width of an object's own edge, as the standard deviation of a Gaussian blur, px. `None` for what has no outline of its own: cut by
    /// the frame, or sized by its missing light.
    pub fn width_px(self, object: &Object) -> Option<f64> {
        if object.touches_frame || object.sized_by != SizedBy::Outline {
            return None;
        }
        let width = (object.area_px2[0] - object.area_px2[2]) / (self.apart * object.shape.perimeter_px);
        (width.is_finite() && width > 0.0).then_some(width)
    }

    /// Whether an object's edge is wider than [`UNSHARP_FROM`] times what is allowed; `None` where it has no edge of its own. The crevices
    /// of ragged pieces widen theirs by a tenth.
    pub fn is_unsharp(self, field: &FieldResult, object: &Object) -> Option<bool> {
        self.is_wider(object, field.fitness.allowed_px)
    }

    fn is_wider(self, object: &Object, allowed_px: f64) -> Option<bool> {
        self.width_px(object).map(|width| width > UNSHARP_FROM * allowed_px)
    }
}

/// The share of some objects that are unsharp, of those with an edge of their own.
pub(crate) fn unsharp_share<'a>(objects: impl Iterator<Item = &'a Object>, allowed_px: f64, recipe: &Recipe) -> Option<f64> {
    let edges = Edges::of(recipe);
    let judged: Vec<bool> = objects.filter_map(|o| edges.is_wider(o, allowed_px)).collect();
    (judged.len() >= LEAST_OBJECTS).then(|| judged.iter().filter(|u| **u).count() as f64 / judged.len() as f64)
}

/// Width of the field's edges: the blur that its largest smooth edges show, else the median of its objects' own.
pub(crate) fn of_field(calibration: &Calibration, objects: &[Object], recipe: &Recipe) -> Option<f64> {
    if calibration.blur_edges >= LEAST_EDGES {
        return Some(calibration.blur_px);
    }
    let edges = Edges::of(recipe);
    let widths: Vec<f64> = objects.iter().filter(|o| o.shape.solidity >= SMOOTH).filter_map(|o| edges.width_px(o)).collect();
    (widths.len() >= LEAST_OBJECTS).then(|| median(widths))
}

/// Sums of a fit of the steepness of edges, y = a + b cos 2φ + c sin 2φ, over the directions φ in which they fall.
#[derive(Default)]
struct Fit {
    /// Of 1, cos 2φ, sin 2φ with each other.
    matrix: [[f64; 3]; 3],
    right: [f64; 3],
}

impl Fit {
    fn add(&mut self, [gx, gy]: [f64; 2], steepness: f64) {
        let square = gx * gx + gy * gy;
        let row = [1.0, (gx * gx - gy * gy) / square, 2.0 * gx * gy / square];
        for (i, a) in row.iter().enumerate() {
            for (j, b) in row.iter().enumerate() {
                self.matrix[i][j] += a * b;
            }
            self.right[i] += a * steepness;
        }
    }

    /// Largest ÷ smallest width over all directions.
    fn ratio(&self) -> Option<f64> {
        let [a, b, c] = solved(self.matrix, self.right)?;
        let swing = (b * b + c * c).sqrt();
        (self.matrix[0][0] >= LEAST_PIXELS && a > 0.0).then(|| (a + swing) / (a - swing).max(0.05 * a))
    }
}

/// Solution of three linear equations by Cramer's rule.
fn solved(m: [[f64; 3]; 3], right: [f64; 3]) -> Option<[f64; 3]> {
    let det = |m: &[[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let whole = det(&m);
    let size = m[0][0] * m[0][0] * m[0][0];
    let with = |column: usize| {
        let mut changed = m;
        (0..3).for_each(|row| changed[row][column] = right[row]);
        det(&changed) / whole
    };
    (whole > 1e-6 * size).then(|| [with(0), with(1), with(2)])
}

/// Width of the edges in the direction in which they are widest ÷ the width in which they are narrowest; about 1 for a lens and a stage at
/// rest. From the slopes of the pixels near half way between surround and core, at the edges of the largest objects.
///
/// # Errors
/// [`Stop`].
pub(crate) fn motion(field: &dyn Samples, correction: &Correction<'_>, objects: &[Object]) -> Result<Option<f64>, Stop> {
    let mut chosen: Vec<&Object> =
        objects.iter().filter(|o| o.sized_by == SizedBy::Outline && !o.touches_frame && o.shape.solidity >= SMOOTH).collect();
    let larger_first = |o: &&Object| (std::cmp::Reverse(o.at.area()), o.at.y, o.at.x);
    if chosen.len() > MOST_OBJECTS {
        chosen.select_nth_unstable_by_key(MOST_OBJECTS, larger_first);
        chosen.truncate(MOST_OBJECTS);
    }
    // The sums of a fit run in one order.
    chosen.sort_unstable_by_key(larger_first);
    let mut fit = Fit::default();
    for object in chosen {
        add_edges(field, correction, object, &mut fit)?;
    }
    Ok(fit.ratio())
}

/// Adds the edge pixels of one object. A pixel at the relative height h on a Gaussian edge of contrast C has the slope C φ(z)/σ, where
/// φ(z) ∝ exp(−π(h − ½)²) to 1 % within the heights looked at.
fn add_edges(field: &dyn Samples, correction: &Correction<'_>, object: &Object, fit: &mut Fit) -> Result<(), Stop> {
    const HEIGHTS: f64 = 0.2;
    let at = object.at.grown(2, Rect::whole(field.size()));
    let levels = correction.levels(field, at)?;
    let (surround, contrast) = (f64::from(object.surround), f64::from(object.surround) - f64::from(object.core));
    if contrast <= 0.0 {
        return Ok(());
    }
    for y in 1..levels.nrows().saturating_sub(1) {
        for x in 1..levels.ncols().saturating_sub(1) {
            let off = (surround - f64::from(levels[[y, x]])) / contrast - 0.5;
            if off.abs() < HEIGHTS {
                let across = |a: [usize; 2], b: [usize; 2]| (f64::from(levels[a]) - f64::from(levels[b])) / (2.0 * contrast);
                let slope = [across([y, x + 1], [y, x - 1]), across([y + 1, x], [y - 1, x])];
                let steepness = (slope[0] * slope[0] + slope[1] * slope[1]).sqrt() * libm::exp(std::f64::consts::PI * off * off);
                if steepness > 0.0 {
                    fit.add(slope, steepness);
                }
            }
        }
    }
    Ok(())
}
