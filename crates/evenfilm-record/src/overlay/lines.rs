//! Outlines and hatches from runs.

use evenfilm_core::phases::{Run, RunMap};

use super::{Canvas, GAP as GAP_COLOUR, GAP_BETWEEN, OBJECT as OBJECT_COLOUR};

/// How a line is drawn: of every `period` steps along it the first `on` have its colour, the others that of `between`.
#[derive(Clone, Copy)]
pub(super) struct Line {
    colour: u8,
    period: usize,
    on: usize,
    between: Option<u8>,
}

/// Solid: an object that counts.
pub(super) const OBJECT: Line = Line::solid(OBJECT_COLOUR);
/// Long dashes: an object of a kind that is left out.
pub(super) const LEFT_OUT: Line = Line { colour: OBJECT_COLOUR, period: 15, on: 9, between: None };
/// Dotted: an object too small to count.
pub(super) const SMALL_OBJECT: Line = Line { colour: OBJECT_COLOUR, period: 5, on: 2, between: None };
/// Dark and light dashes by turns, seen on film as on bare ground: a gap that counts.
pub(super) const GAP: Line = Line { colour: GAP_COLOUR, period: 12, on: 7, between: Some(GAP_BETWEEN) };
/// Dotted: a gap too small to count.
pub(super) const SMALL_GAP: Line = Line { colour: GAP_COLOUR, period: 5, on: 2, between: None };

/// Pixels between the lines of a hatch.
const HATCH: usize = 16;

impl Line {
    /// An unbroken line of this colour.
    pub(super) const fn solid(colour: u8) -> Self {
        Self { colour, period: 1, on: 1, between: None }
    }

    /// Whether the line has its own colour at a pixel. x + 2y grows along every direction that a line of pixels can take, so none is swallowed.
    pub(super) fn shows(self, x: usize, y: usize) -> bool {
        (x + 2 * y) % self.period < self.on
    }
}

/// Draws the pixels of each piece that have a neighbour above, below, left or right that is not of the same piece.
pub(super) fn outline(canvas: &mut Canvas, map: &RunMap, factor: u32, line_of: &dyn Fn(u32) -> Line) {
    let rows = map.row_start.len().saturating_sub(1);
    for y in 0..rows {
        for i in row(map, y) {
            let (run, owner) = (map.runs[i], owner(map, i));
            let line = line_of(owner);
            let mut mark = |x: u32| draw(canvas, line, (x / factor) as usize, y / factor as usize);
            mark(run.x0);
            mark(run.x1 - 1);
            for near in [y.checked_sub(1), (y + 1 < rows).then_some(y + 1)] {
                uncovered(map, run, owner, near, &mut mark);
            }
        }
    }
}

/// Draws one pixel of a line.
pub(super) fn draw(canvas: &mut Canvas, line: Line, x: usize, y: usize) {
    if let Some(colour) = if line.shows(x, y) { Some(line.colour) } else { line.between } {
        canvas.set(x, y, colour);
    }
}

/// Calls `mark` for the columns of a run that no run of the same piece covers in the row `near`; all of them at the frame.
fn uncovered(map: &RunMap, run: Run, of: u32, near: Option<usize>, mark: &mut dyn FnMut(u32)) {
    let mut from = run.x0;
    if let Some(y) = near {
        let range = row(map, y);
        let first = range.start + map.runs[range.clone()].partition_point(|r| r.x1 <= run.x0);
        for i in (first..range.end).take_while(|&i| map.runs[i].x0 < run.x1) {
            if owner(map, i) == of {
                (from..map.runs[i].x0.max(from)).for_each(&mut *mark);
                from = from.max(map.runs[i].x1);
            }
        }
    }
    (from..run.x1.max(from)).for_each(mark);
}

/// Draws thin slanting lines of a colour inside the pieces that `wanted` names.
pub(super) fn hatch(canvas: &mut Canvas, map: &RunMap, (factor, colour): (u32, u8), wanted: &dyn Fn(u32) -> bool) {
    let step = factor as usize;
    for y in (0..map.row_start.len().saturating_sub(1)).step_by(step) {
        for i in row(map, y).filter(|&i| wanted(owner(map, i))) {
            let (x0, x1) = (map.runs[i].x0.div_ceil(factor) as usize, map.runs[i].x1.div_ceil(factor) as usize);
            let line = y / step;
            let first = x0 + (HATCH - (x0 + line) % HATCH) % HATCH;
            (first..x1).step_by(HATCH).for_each(|x| canvas.set(x, line, colour));
        }
    }
}

fn row(map: &RunMap, y: usize) -> std::ops::Range<usize> {
    map.row_start[y] as usize..map.row_start[y + 1] as usize
}

fn owner(map: &RunMap, run: usize) -> u32 {
    map.owner.get(run).copied().unwrap_or(u32::MAX)
}
