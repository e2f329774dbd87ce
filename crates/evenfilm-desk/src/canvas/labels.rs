//! Which piece each pixel of the screen shows: labels of a band of rows, filled from all runs in view, so that nothing vanishes when it is
//! small.

use evenfilm_core::field::FieldResult;
use evenfilm_core::phases::{Run, RunMap};

use super::coarse::Coarse;
use super::grid::{Axis, down, signed, up};
use super::marks::{Class, Label, Marks};

/// Labels of some rows of the screen with a margin all around, so that lines know their neighbours.
#[derive(Default)]
pub(super) struct Labels {
    /// Columns of a row, with the margins.
    width: usize,
    margin: usize,
    all: Vec<u32>,
    /// Rows that hold any label.
    any: Vec<bool>,
    nothing: Vec<u32>,
}

/// What is labelled.
#[derive(Clone, Copy)]
pub(super) struct Found<'a> {
    pub(super) result: &'a FieldResult,
    pub(super) marks: &'a Marks,
    /// Its runs halved, where they are at hand.
    pub(super) coarse: Option<&'a Coarse>,
    /// Whether specks are labelled, too.
    pub(super) specks: bool,
}

impl Labels {
    /// Labels of the screen's rows from `first` on, so many and as wide, with a margin.
    pub(super) fn fill(&mut self, found: Found<'_>, axes: [Axis; 2], (first, rows): (usize, usize), (width, margin): (usize, usize)) {
        let (phases, halvings) = found.coarse.and_then(|coarse| coarse.at(axes[0].zoom)).unwrap_or((&found.result.phases, 0));
        let axes = axes.map(|axis| axis.halved(halvings));
        (self.width, self.margin) = (width + 2 * margin, margin);
        let count = rows + 2 * margin;
        self.all.clear();
        self.all.resize(self.width * count, 0);
        self.nothing.clear();
        self.nothing.resize(self.width, 0);
        self.any.clear();
        self.any.resize(count, false);
        let columns = Columns::new(axes[0], (self.width, margin));
        let mut before = None;
        for row in 0..count {
            let y = signed(first) + signed(row) - signed(margin);
            let taken = rows_of(axes[1], y);
            if before == Some(taken) {
                // Pixels larger than the screen's: the row above again.
                let (from, to) = ((row - 1) * self.width, row * self.width);
                self.all.copy_within(from..to, to);
                self.any[row] = self.any[row - 1];
                continue;
            }
            before = Some(taken);
            let Some(line) = self.all.get_mut(row * self.width..(row + 1) * self.width) else { continue };
            for y in taken[0]..taken[1] {
                for (gap, map) in [false, true].into_iter().zip(phases) {
                    if !(gap && found.marks.clear) {
                        self.any[row] |= fill_row(line, found, (map, gap, y), (columns, halvings > 0));
                    }
                }
            }
        }
    }

    /// A row, the margin being row 0 up to its width; empty rows outside.
    pub(super) fn row(&self, row: usize) -> &[u32] {
        self.all.get(row * self.width..(row + 1) * self.width).unwrap_or(&self.nothing)
    }

    /// Whether a row (without the margin) holds any label.
    pub(super) fn any(&self, row: usize) -> bool {
        self.any.get(row + self.margin).copied().unwrap_or(false)
    }

    /// The labels of a row without margins.
    pub(super) fn inner(&self, row: usize) -> &[u32] {
        let row = self.row(row + self.margin);
        row.get(self.margin..row.len().saturating_sub(self.margin)).unwrap_or_default()
    }

    /// Marks with 1 the pixels of a row (without the margin) that have a neighbour of another label within so many pixels above, below, left or
    /// right.
    pub(super) fn edges(&self, row: usize, thick: usize, out: &mut Vec<u8>) {
        let own = self.inner(row);
        out.clear();
        out.resize(own.len(), 0);
        let thick = thick.min(self.margin);
        for step in 1..=thick {
            let middle = row + self.margin;
            let above = self.row(middle - step);
            let (below, here) = (self.row(middle + step), self.row(middle));
            let (Some(up), Some(down)) = (above.get(self.margin..), below.get(self.margin..)) else { return };
            let (Some(left), Some(right)) = (here.get(self.margin - step..), here.get(self.margin + step..)) else { return };
            for (((((edge, &own), &up), &down), &left), &right) in out.iter_mut().zip(own).zip(up).zip(down).zip(left).zip(right) {
                // Without branches: most of a film has no label.
                let differs = (own ^ up) | (own ^ down) | (own ^ left) | (own ^ right);
                *edge |= u8::from(own != 0) & u8::from(differs != 0);
            }
        }
    }
}

/// The rows of the picture that a row of the screen shows: all that lie on it where they are small, else the one in its middle.
fn rows_of(axis: Axis, y: i64) -> [i64; 2] {
    if axis.zoom >= 1.0 {
        let row = down(axis.middle(y));
        return [row, row + 1];
    }
    let from = |y: i64| up(axis.from + y as f64 / axis.zoom - 0.5);
    [from(y), from(y + 1)]
}

/// Columns of the picture in view, and which column of a row of labels each begins in, in whole steps of 2⁻³²: there are many runs.
#[derive(Clone, Copy)]
struct Columns {
    /// First column in view, and one past the last.
    ends: [i64; 2],
    step: i64,
    offset: i64,
    width: i64,
}

impl Columns {
    fn new(axis: Axis, (width, margin): (usize, usize)) -> Self {
        const ONE: f64 = 4_294_967_296.0;
        let place = |at: i64| axis.from + (at - signed(margin)) as f64 / axis.zoom;
        let ends = [down(place(0)), up(place(signed(width)))];
        let whole = |value: f64| {
            #[expect(clippy::cast_possible_truncation, reason = "as far as a screen is wide")]
            let whole = (value * ONE).round() as i64;
            whole
        };
        let first = ((ends[0] as f64 - axis.from) * axis.zoom - 0.5).clamp(-1e5, 1e5);
        Self { ends, step: whole(axis.zoom), offset: whole(first) + (signed(margin) << 32), width: signed(width) }
    }

    /// The columns of labels that a run takes: those whose middles it holds, at least one.
    fn of(self, run: Run) -> [usize; 2] {
        let cut = |x: u32| i64::from(x).clamp(self.ends[0], self.ends[1]) - self.ends[0];
        let (x0, x1) = (cut(run.x0), cut(run.x1));
        let at = |x: i64| x.saturating_mul(self.step).saturating_add(self.offset);
        let (from, to) = (at(x0), at(x1));
        let above = |at: i64| at.saturating_add((1 << 32) - 1) >> 32;
        let (mut a, mut b) = (above(from), above(to));
        if b <= a {
            // Half a column further is its middle.
            a = (from / 2 + to / 2).saturating_add(1 << 31) >> 32;
            b = a + 1;
        }
        [a, b].map(|at| usize::try_from(at.clamp(0, self.width)).unwrap_or(0))
    }
}

/// Labels the runs of a row of the picture; whether there were any.
fn fill_row(line: &mut [u32], found: Found<'_>, (map, gap, y): (&RunMap, bool, i64), (columns, halved): (Columns, bool)) -> bool {
    let mut any = false;
    for (run, owner) in runs_within(map, y, columns.ends.map(|end| end as f64), halved) {
        let label = found.marks.label(gap, owner);
        if label == Label(0) || (!found.specks && label.class() == Class::Speck) {
            continue;
        }
        let [a, b] = columns.of(run);
        for pixel in line.get_mut(a..b).unwrap_or_default() {
            *pixel = (*pixel).max(label.0);
        }
        any = true;
    }
    any
}

/// The runs of a row with their owners that reach into columns of the picture; of halved ones also those before.
pub(crate) fn runs_within(map: &RunMap, y: i64, ends: [f64; 2], halved: bool) -> impl Iterator<Item = (Run, u32)> + '_ {
    let at = |y: Option<usize>| y.and_then(|y| map.row_start.get(y)).map(|&at| at as usize);
    let row = usize::try_from(y).ok();
    let range = at(row).zip(at(row.and_then(|y| y.checked_add(1)))).map_or(0..0, |(from, to)| from..to);
    let (runs, owners) = (map.runs.get(range.clone()).unwrap_or_default(), map.owner.get(range).unwrap_or_default());
    // Halved runs may lie over each other, but begin in order.
    let last = runs.partition_point(|run| f64::from(run.x0) < ends[1]);
    let first = runs.partition_point(|run| f64::from(run.x1) <= ends[0]).min(last);
    let first = if halved { 0 } else { first };
    let (runs, owners) = (runs.get(first..last).unwrap_or_default(), owners.get(first..).unwrap_or_default());
    runs.iter().copied().zip(owners.iter().copied())
}
