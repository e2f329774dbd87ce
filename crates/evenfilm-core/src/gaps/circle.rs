//! The largest circle inside a gap and the frame.

use crate::phases::{RunMap, count32};
use crate::plane::Rect;

/// Squared Euclidean distance of every cell to the nearest cell that is not `inside`; cells beyond the map count as inside. Exact
/// (A. Meijster, J. Roerdink & W. Hesselink 2000, Mathematical Morphology and its Applications to Image and Signal Processing, 331).
/// `u64::MAX` where nothing is outside.
pub fn distance_squared(inside: &[bool], width: usize) -> Vec<u64> {
    let height = inside.len().checked_div(width).unwrap_or(0);
    // Along columns first, row after row so that neighbours are worked on together.
    let mut column = vec![FAR; inside.len()];
    let mut since = vec![FAR; width];
    let mut down = |y: usize, least: bool| {
        let row = y * width..(y + 1) * width;
        for ((since, &inside), out) in since.iter_mut().zip(&inside[row.clone()]).zip(&mut column[row]) {
            *since = if inside { (*since + 1).min(FAR) } else { 0 };
            *out = if least { (*since).min(*out) } else { *since };
        }
    };
    (0..height).for_each(|y| down(y, false));
    (0..height).rev().for_each(|y| down(y, true));
    let mut out = vec![u64::MAX; inside.len()];
    for (row, out) in column.chunks_exact(width.max(1)).zip(out.chunks_exact_mut(width.max(1))) {
        if row.iter().all(|&g| g <= NEAR) {
            near_cells(row, out);
        } else {
            lower_envelope(row, out);
        }
    }
    out
}

/// A distance that stands for none.
const FAR: u32 = 1 << 31;

/// Up to this distance along the column, looking at the cells beside is faster than the envelope.
const NEAR: u32 = 24;

/// For every x the least of (x − i)² + g(i)², from the cells around x outwards.
fn near_cells(g: &[u32], out: &mut [u64]) {
    for (x, out) in out.iter_mut().enumerate() {
        let mut least = g[x] * g[x];
        let mut d = 1;
        while d * d < least {
            let beside = |i: Option<usize>| i.and_then(|i| g.get(i)).map_or(u32::MAX, |g| d * d + g * g);
            least = least.min(beside(x.checked_sub(d as usize))).min(beside(x.checked_add(d as usize)));
            d += 1;
        }
        *out = u64::from(least);
    }
}

/// For every x the least of (x − i)² + g(i)² over the columns i whose g is not far: the lower envelope of parabolas.
fn lower_envelope(g: &[u32], out: &mut [u64]) {
    let mut stack: Vec<(usize, i64)> = Vec::new();
    let height = |i: usize| i64::from(g[i]) * i64::from(g[i]);
    let place = |i: usize| i64::try_from(i).unwrap_or(i64::MAX);
    for u in (0..g.len()).filter(|&u| g[u] < FAR) {
        let mut from = 0;
        while let Some(&(i, start)) = stack.last() {
            // First whole x at which the parabola of u lies below that of i.
            let (pu, pi) = (place(u), place(i));
            from = (pu * pu - pi * pi + height(u) - height(i)).div_euclid(2 * (pu - pi)) + 1;
            if from > start {
                break;
            }
            stack.pop();
            from = 0;
        }
        if stack.is_empty() {
            from = 0;
        }
        if from < place(g.len()) {
            stack.push((u, from.max(0)));
        }
    }
    let mut k = 0;
    for (x, d) in out.iter_mut().enumerate() {
        while k + 1 < stack.len() && stack[k + 1].1 <= place(x) {
            k += 1;
        }
        if let Some(&(i, _)) = stack.get(k) {
            *d = (x.abs_diff(i) as u64).pow(2) + u64::from(g[i]).pow(2);
        }
    }
}

/// Side of the coarse map on which the search begins, cells.
const COARSE: u32 = 64;

/// Centres from which the search goes on.
const STARTS: usize = 3;

/// Radius in px of the largest circle inside gap `own`, whose box is `at`, and inside the frame. `line` holds points of its outline, at most
/// √2 px apart, in the field.
///
/// A coarse map of cells that are all gap gives the most promising centres; from each a search with halving steps climbs to the nearest
/// maximum of the distance to outline and frame.
pub fn largest_circle(gap: &RunMap, own: u32, at: Rect, frame: Rect, line: &[[f64; 2]]) -> f64 {
    let cell = at.width.max(at.height).div_ceil(COARSE).max(1);
    let (across, down) = (at.width.div_ceil(cell) as usize, at.height.div_ceil(cell) as usize);
    let inside = all_gap(gap, own, at, cell, (across, down));
    // The frame is an obstacle, and so is everything beyond the box: one ring of cells outside.
    let mut ringed = vec![false; (across + 2) * (down + 2)];
    for y in 0..down {
        ringed[(y + 1) * (across + 2) + 1..(y + 1) * (across + 2) + 1 + across].copy_from_slice(&inside[y * across..(y + 1) * across]);
    }
    let coarse = distance_squared(&ringed, across + 2);
    let mut best = 0.0f64;
    let within = |c: [f64; 2]| holds(gap, own, frame, c);
    for start in starts(&coarse, across + 2) {
        let (cx, cy) = (start % (across + 2), start / (across + 2));
        let centre = [f64::from(at.x) + (cx as f64 - 0.5) * f64::from(cell), f64::from(at.y) + (cy as f64 - 0.5) * f64::from(cell)];
        // No circle around a place in this cell or next to it is larger.
        let bound = ((coarse[start] as f64).sqrt() + 3.0) * f64::from(cell);
        if bound <= best {
            continue;
        }
        let far = (2.0 * bound + 3.0) * (2.0 * bound + 3.0);
        let near = Points::of(line.iter().filter(|p| squared(**p, centre) < far));
        best = best.max(climb(centre, f64::from(cell).max(1.0), (frame, &near), within));
    }
    if best == 0.0 {
        // A gap narrower than a cell everywhere: begin in the middle of its longest run.
        best = climb(middle_of_longest_run(gap, own, at), f64::from(cell), (frame, &Points::of(line.iter())), within);
    }
    best
}

/// Points as columns, so that the nearest is found several at a time.
struct Points {
    x: Vec<f64>,
    y: Vec<f64>,
}

impl Points {
    fn of<'a>(points: impl Iterator<Item = &'a [f64; 2]>) -> Self {
        let (x, y) = points.map(|p| (p[0], p[1])).unzip();
        Self { x, y }
    }

    /// Square of the distance to the nearest point; infinite where there is none.
    fn nearest(&self, [cx, cy]: [f64; 2]) -> f64 {
        const LANES: usize = 4;
        let least = |a: f64, b: f64| if b < a { b } else { a };
        let mut nearest = [f64::INFINITY; LANES];
        let (xs, ys) = (self.x.chunks_exact(LANES), self.y.chunks_exact(LANES));
        let rest = xs.remainder().iter().zip(ys.remainder()).map(|(x, y)| squared([*x, *y], [cx, cy])).fold(f64::INFINITY, least);
        for (x, y) in xs.zip(ys) {
            for lane in 0..LANES {
                let (dx, dy) = (x[lane] - cx, y[lane] - cy);
                nearest[lane] = least(nearest[lane], dx * dx + dy * dy);
            }
        }
        nearest.into_iter().fold(rest, least)
    }
}

/// Whether a place lies in a pixel of gap `own`.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "tested against the frame first")]
fn holds(gap: &RunMap, own: u32, frame: Rect, [x, y]: [f64; 2]) -> bool {
    let within = x >= f64::from(frame.x) && x < f64::from(frame.right()) && y >= f64::from(frame.y) && y < f64::from(frame.bottom());
    within && gap.row_within(y as u32, x as u32, x as u32 + 1).any(|i| gap.owner[i] == own)
}

fn middle_of_longest_run(gap: &RunMap, own: u32, at: Rect) -> [f64; 2] {
    let mut best = (0, [f64::from(at.x) + 0.5, f64::from(at.y) + 0.5]);
    for y in at.y..at.bottom() {
        for run in gap.row_within(y, at.x, at.right()).filter(|&i| gap.owner[i] == own).map(|i| gap.runs[i]) {
            if run.x1 - run.x0 > best.0 {
                best = (run.x1 - run.x0, [f64::from(run.x0 + run.x1) / 2.0, f64::from(y) + 0.5]);
            }
        }
    }
    best.1
}

/// Cells of the box that are all gap `own`.
fn all_gap(gap: &RunMap, own: u32, at: Rect, cell: u32, (across, down): (usize, usize)) -> Vec<bool> {
    let mut covered = vec![0u32; across * down];
    for y in at.y..at.bottom() {
        let row = ((y - at.y) / cell) as usize * across;
        for i in gap.row_within(y, at.x, at.right()).filter(|&i| gap.owner[i] == own) {
            let (x0, x1) = (gap.runs[i].x0.max(at.x) - at.x, gap.runs[i].x1.min(at.right()) - at.x);
            for c in x0 / cell..x1.div_ceil(cell) {
                covered[row + c as usize] += x1.min((c + 1) * cell) - x0.max(c * cell);
            }
        }
    }
    let full = |(i, &n): (usize, &u32)| {
        let (c, r) = (i % across, i / across);
        let width = cell.min(at.width - count32(c) * cell);
        let height = cell.min(at.height - count32(r) * cell);
        n == width * height
    };
    covered.iter().enumerate().map(full).collect()
}

/// The most promising cells: local maxima of the coarse distance, largest first.
fn starts(coarse: &[u64], width: usize) -> Vec<usize> {
    let height = coarse.len() / width;
    let peak = |&i: &usize| {
        let (x, y) = (i % width, i / width);
        coarse[i] > 0 && x > 0 && y > 0 && x + 1 < width && y + 1 < height && {
            let around = [i - width - 1, i - width, i - width + 1, i - 1, i + 1, i + width - 1, i + width, i + width + 1];
            around.iter().all(|&j| coarse[j] <= coarse[i])
        }
    };
    let mut found: Vec<usize> = (0..coarse.len()).filter(peak).collect();
    found.sort_by_key(|&i| (std::cmp::Reverse(coarse[i]), i));
    let largest = found.first().map_or(0.0, |&i| (coarse[i] as f64).sqrt());
    found.retain(|&i| (coarse[i] as f64).sqrt() + 3.0 >= largest);
    found.truncate(STARTS);
    found
}

fn squared(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])
}

/// Climbs from a centre to the place `within` the gap that is farthest from outline and frame, and returns its distance.
fn climb(mut centre: [f64; 2], mut step: f64, (frame, line): (Rect, &Points), within: impl Fn([f64; 2]) -> bool) -> f64 {
    let clear = |c: [f64; 2]| {
        if !within(c) {
            return 0.0;
        }
        let sides = (c[0] - f64::from(frame.x))
            .min(f64::from(frame.right()) - c[0])
            .min(c[1] - f64::from(frame.y))
            .min(f64::from(frame.bottom()) - c[1]);
        sides.min(line.nearest(c).sqrt())
    };
    let mut best = clear(centre);
    while step > 0.05 {
        let moves = [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0], [0.7, 0.7], [-0.7, 0.7], [0.7, -0.7], [-0.7, -0.7]];
        let tried = moves.map(|m| [centre[0] + m[0] * step, centre[1] + m[1] * step]);
        let (better, at) = tried.iter().map(|&c| (clear(c), c)).fold((best, centre), |b, t| if t.0 > b.0 { t } else { b });
        if better > best {
            (best, centre) = (better, at);
        } else {
            step *= 0.5;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distance_agrees_with_the_naive_one() {
        let mut state = 9u64;
        for case in 0..40usize {
            let (width, height) = (1 + case % 9, 1 + case / 5);
            let inside: Vec<bool> = (0..width * height)
                .map(|_| {
                    state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                    !(state >> 40).is_multiple_of(5)
                })
                .collect();
            let found = distance_squared(&inside, width);
            for (i, &distance) in found.iter().enumerate() {
                let to = |j: usize| ((i % width).abs_diff(j % width).pow(2) + (i / width).abs_diff(j / width).pow(2)) as u64;
                let naive = (0..inside.len()).filter(|&j| !inside[j]).map(to).min().unwrap_or(u64::MAX);
                assert_eq!(distance, naive, "case {case} cell {i}");
            }
        }
    }
}
