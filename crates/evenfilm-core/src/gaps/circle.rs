//! The largest circle inside a gap and the frame.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use crate::phases::{RunMap, count32};
use crate::plane::Rect;

/// How much smaller than the true one a largest circle may be, px of its radius.
pub const CIRCLE_TOLERANCE: f64 = 0.05;

/// Places farther than this from every point of the outline, px, are surely outside where the middle of their cell is: outlines run between
/// the pixels that a gap has and those that it has not, or, beside powder, within a few blur widths of that ([`Obstacles::slack`]).
const SLACK: f64 = 4.0;

/// What no circle may reach over.
pub(super) trait Obstacles {
    /// Squared distance from a place to the nearest of them, or any that is not above `enough` once one so near is found; `most` where none
    /// is nearer.
    fn nearest(&self, from: [f64; 2], most: f64, enough: f64) -> f64;
    /// Twice as far as they may lie from the border of the gap's pixels, px.
    fn slack(&self) -> f64 {
        SLACK
    }
}

/// A circle, px.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Circle {
    pub(super) radius: f64,
    pub(super) middle: [f64; 2],
}

/// The largest circle whose middle lies in gap `own`, whose box is `at`, and that reaches over neither the frame nor an obstacle; its radius
/// to [`CIRCLE_TOLERANCE`]. `None` where there is none.
///
/// By branch and bound: the distance to the nearest obstacle grows no faster than one goes, so no middle in a square lies farther from all
/// of them than the square's own does and half its diagonal. The square with the largest bound is quartered, until no bound is above the
/// best circle found by more than the tolerance.
pub(super) fn largest_circle(gap: &RunMap, own: u32, at: Rect, frame: Rect, obstacles: &impl Obstacles) -> Option<Circle> {
    let search = Search { gap, own, frame, obstacles };
    let side = at.width.min(at.height).max(1).next_power_of_two();
    let mut best = Circle::default();
    let mut open = BinaryHeap::new();
    let look = |square: Square, bound: f64, best: &mut Circle, open: &mut BinaryHeap<Square>| {
        let (clear, bound) = search.look(&square, bound, best.radius);
        if clear > best.radius {
            *best = Circle { radius: clear, middle: square.middle };
        }
        if bound > best.radius + CIRCLE_TOLERANCE {
            open.push(Square { bound, ..square });
        }
    };
    for row in 0..at.height.div_ceil(side) {
        for column in 0..at.width.div_ceil(side) {
            let half = 0.5 * f64::from(side);
            let middle = [f64::from(at.x + column * side) + half, f64::from(at.y + row * side) + half];
            look(Square { bound: 0.0, middle, half }, f64::INFINITY, &mut best, &mut open);
        }
    }
    while let Some(square) = open.pop().filter(|square| square.bound > best.radius + CIRCLE_TOLERANCE) {
        let half = 0.5 * square.half;
        for [x, y] in [[-half, -half], [half, -half], [-half, half], [half, half]] {
            let middle = [square.middle[0] + x, square.middle[1] + y];
            look(Square { bound: 0.0, middle, half }, square.bound, &mut best, &mut open);
        }
    }
    Some(best).filter(|best| best.radius > 0.0)
}

/// A square of middles, and a bound of the circles around them. Those of a pixel or less lie within one pixel.
#[derive(Clone, Copy)]
struct Square {
    bound: f64,
    middle: [f64; 2],
    half: f64,
}

impl Ord for Square {
    fn cmp(&self, other: &Self) -> Ordering {
        let place = |of: &Self| of.middle;
        let ([x, y], [u, v]) = (place(self), place(other));
        self.bound.total_cmp(&other.bound).then(v.total_cmp(&y)).then(u.total_cmp(&x))
    }
}

impl PartialOrd for Square {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Square {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Square {}

struct Search<'a, O> {
    gap: &'a RunMap,
    own: u32,
    frame: Rect,
    obstacles: &'a O,
}

impl<O: Obstacles> Search<'_, O> {
    /// Radius of the circle around a square's middle, and a bound for all of the square where the one above it has the bound `above`.
    fn look(&self, square: &Square, above: f64, best: f64) -> (f64, f64) {
        let (reach, slack) = (square.half * std::f64::consts::SQRT_2, self.obstacles.slack());
        let [x, y] = square.middle;
        let frame = self.frame;
        let [left, top, right, bottom] = [frame.x, frame.y, frame.right(), frame.bottom()].map(f64::from);
        let sides = (x - left).min(right - x).min(y - top).min(bottom - y);
        let hope = best + CIRCLE_TOLERANCE - reach;
        if sides <= hope {
            return (0.0, 0.0);
        }
        // A square that the frame cuts may have its middle outside.
        let most = if sides > 0.0 { sides * sides } else { f64::INFINITY };
        let clear = self.obstacles.nearest(square.middle, most, hope.max(0.0) * hope.max(0.0)).sqrt();
        if clear <= hope {
            return (0.0, 0.0);
        }
        if sides > 0.0 && holds(self.gap, self.own, frame, square.middle) {
            return (clear, above.min(clear.min(sides) + reach));
        }
        if square.half <= 0.5 {
            return (0.0, 0.0);
        }
        (0.0, above.min(clear + reach).min(if sides > 0.0 { reach - clear.min(sides) + slack } else { reach + slack }))
    }
}

/// Points of an outline as a tree: the middle point of a stretch parts the others by x, those of each side by y, and so on (J. L. Bentley,
/// CACM 18 (1975) 509).
pub(super) struct Points {
    tree: Vec<[f64; 2]>,
    slack: f64,
}

impl Points {
    /// Stretches of so many points are looked at one by one.
    const FEW: usize = 24;

    /// The points of an outline that may lie `moved` px from the border of the gap's pixels.
    pub(super) fn new(mut points: Vec<[f64; 2]>, moved: u32) -> Self {
        sort(&mut points, 0);
        Self { tree: points, slack: SLACK.max(2.0 * f64::from(moved)) }
    }
}

fn sort(points: &mut [[f64; 2]], axis: usize) {
    if points.len() > Points::FEW {
        let middle = points.len() / 2;
        let (before, _, behind) = points.select_nth_unstable_by(middle, |a, b| a[axis].total_cmp(&b[axis]));
        sort(before, 1 - axis);
        sort(behind, 1 - axis);
    }
}

fn nearest_of(points: &[[f64; 2]], axis: usize, from: [f64; 2], enough: f64, nearest: &mut f64) {
    if points.len() <= Points::FEW {
        *nearest = points.iter().map(|&p| squared(p, from)).fold(*nearest, |a, b| if b < a { b } else { a });
        return;
    }
    let middle = points.len() / 2;
    let off = from[axis] - points[middle][axis];
    let (before, behind) = (&points[..middle], &points[middle + 1..]);
    let (near, far) = if off < 0.0 { (before, behind) } else { (behind, before) };
    *nearest = nearest.min(squared(points[middle], from));
    nearest_of(near, 1 - axis, from, enough, nearest);
    if *nearest > enough && off * off < *nearest {
        nearest_of(far, 1 - axis, from, enough, nearest);
    }
}

impl Obstacles for Points {
    fn nearest(&self, from: [f64; 2], most: f64, enough: f64) -> f64 {
        let mut nearest = most;
        nearest_of(&self.tree, 0, from, enough, &mut nearest);
        nearest
    }

    fn slack(&self) -> f64 {
        self.slack
    }
}

/// The outlines of pixels, half way between those of a map and the others: the ends of runs at the middle of their row, and their upper and
/// lower sides but for half a pixel at each end.
pub(super) struct Outlines<'a>(pub(super) &'a RunMap);

impl Outlines<'_> {
    /// Squared distance to the nearest outline of a row's runs.
    fn of_row(&self, row: u32, [x, y]: [f64; 2], mut nearest: f64) -> f64 {
        let range = self.0.row(row);
        let runs = &self.0.runs[range];
        let row = f64::from(row);
        let middle = (y - row - 0.5) * (y - row - 0.5);
        let side = (y - row).abs().min((y - row - 1.0).abs());
        let next = runs.partition_point(|r| f64::from(r.x1) <= x);
        // Runs of a row follow each other, so the nearest ends are those of the run here or behind, and of the one before.
        for run in runs[next.saturating_sub(1)..].iter().take(if next > 0 { 2 } else { 1 }) {
            let (x0, x1) = (f64::from(run.x0), f64::from(run.x1));
            let end = (x - x0).abs().min((x - x1).abs());
            let off = (x0 + 0.5 - x).max(x - x1 + 0.5).max(0.0);
            nearest = nearest.min(end * end + middle).min(off * off + side * side);
        }
        nearest
    }
}

impl Obstacles for Outlines<'_> {
    fn nearest(&self, from: [f64; 2], most: f64, enough: f64) -> f64 {
        let rows = count32(self.0.row_start.len().saturating_sub(1));
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates")]
        let middle = (from[1] as u32).min(rows.saturating_sub(1));
        let mut nearest = most;
        for off in 0..rows {
            // What lies `off` rows away is at least off − 1 px away.
            let least = f64::from(off) - 1.0;
            if nearest <= enough || (least > 0.0 && least * least >= nearest) {
                break;
            }
            if let Some(above) = middle.checked_sub(off) {
                nearest = self.of_row(above, from, nearest);
            }
            if off > 0 && middle + off < rows {
                nearest = self.of_row(middle + off, from, nearest);
            }
        }
        nearest
    }
}

/// Whether a place lies in a pixel of gap `own`.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "tested against the frame first")]
fn holds(gap: &RunMap, own: u32, frame: Rect, [x, y]: [f64; 2]) -> bool {
    let within = x >= f64::from(frame.x) && x < f64::from(frame.right()) && y >= f64::from(frame.y) && y < f64::from(frame.bottom());
    within && gap.row_within(y as u32, x as u32, x as u32 + 1).any(|i| gap.owner[i] == own)
}

fn squared(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::objects::distance_squared;

    /// Points all over a picture, some of them on lines: the tree gives what a look at all of them gives.
    #[test]
    fn the_nearest_point_is_the_nearest_of_all() {
        let mut state = 3u64;
        let mut next = |below: u32| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            f64::from(count32((state >> 33) as usize) % below) / 4.0
        };
        for count in [0, 1, 24, 25, 400, 3000] {
            let points: Vec<[f64; 2]> = (0..count).map(|i| [next(if i % 3 == 0 { 4 } else { 800 }), next(600)]).collect();
            let tree = Points::new(points.clone(), 0);
            for _ in 0..200 {
                let from = [next(1000) - 20.0, next(800) - 20.0];
                let naive = points.iter().map(|&p| squared(p, from)).fold(1e4, f64::min);
                assert_eq!(tree.nearest(from, 1e4, 0.0).to_bits(), naive.to_bits(), "{count} {from:?}");
                assert!(tree.nearest(from, 1e4, 2500.0) <= naive.max(2500.0));
            }
        }
    }

    /// Against the exact distance map of every pixel: its largest distance, centre to centre, is that of a circle around a pixel's middle to
    /// the middles of obstacles, which lie half a pixel behind their outlines, or 0.71 at corners.
    #[test]
    fn circles_agree_with_the_distance_map() {
        let mut state = 77u64;
        let mut next = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            state >> 33
        };
        for case in 0..30usize {
            let (width, height) = (20 + 7 * (case % 9), 31 + 5 * (case % 4));
            let clear: Vec<bool> = (0..width * height).map(|_| !next().is_multiple_of(20 + 40 * (case as u64 % 7))).collect();
            let pieces = |wanted: bool| {
                let place = |i: usize| (count32(i / width), crate::phases::Run { x0: count32(i % width), x1: count32(i % width) + 1 }, 0);
                RunMap::from_pieces(count32(height), || (0..width * height).filter(|&i| clear[i] == wanted).map(place).collect::<Vec<_>>())
            };
            let frame = Rect::new(0, 0, count32(width), count32(height));
            let circle = largest_circle(&pieces(true), 0, frame, frame, &Outlines(&pieces(false))).unwrap_or_default();
            let found = circle.radius;
            // No obstacle and no side lies nearer to the middle than the radius says, and something does lie there.
            let [x, y] = circle.middle;
            let sides = x.min(width as f64 - x).min(y).min(height as f64 - y);
            let near = Outlines(&pieces(false)).nearest(circle.middle, f64::INFINITY, 0.0).sqrt().min(sides);
            assert!((near - found).abs() < 1e-9, "case {case}: {near} {found}");
            let mut ringed = vec![false; (width + 2) * (height + 2)];
            for y in 0..height {
                ringed[(y + 1) * (width + 2) + 1..][..width].copy_from_slice(&clear[y * width..][..width]);
            }
            let map = distance_squared(&ringed, width + 2).into_iter().max().map_or(0.0, |d| (d as f64).sqrt());
            assert!(found > map - 0.71 - CIRCLE_TOLERANCE && found < map + 0.71, "case {case}: {found} {map}");
        }
    }
}
