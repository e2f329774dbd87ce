//! Counts to levels by gains that are known at the centres of cells.

use super::CELL;
use crate::plane::{Level, Plane};

/// One count to its level, rounded, 65535 at most. Adding 2²³ leaves the rounded whole number in the low bits of an f32: no call, no branch,
/// and the same bits on every machine.
#[expect(clippy::cast_possible_truncation, reason = "the low 16 bits are the level")]
#[inline]
pub(super) fn level_of(count: u16, gain: f32) -> Level {
    ((f32::from(count) * gain).min(65535.0) + 8_388_608.0).to_bits() as u16
}

/// Gains along one row: those of the cell rows above and below it, and the share of the lower one.
pub(super) struct GainRow<'a> {
    above: &'a [f32],
    below: &'a [f32],
    share: f32,
}

impl<'a> GainRow<'a> {
    /// Gains at the centre of row `y`, linear between cell rows and beyond the outer ones.
    pub(super) fn at(gain: &'a Plane<f32>, y: u32) -> Self {
        let columns = gain.ncols();
        let all = gain.as_slice().unwrap_or(&[]);
        let low = ((y.saturating_sub(CELL / 2) / CELL) as usize).min(gain.nrows().saturating_sub(2));
        let share = (y as f32 + 0.5 - (low as f32 + 0.5) * CELL as f32) / CELL as f32;
        let row = |r: usize| &all[r * columns..(r + 1) * columns];
        if gain.nrows() == 1 {
            Self { above: row(0), below: row(0), share: 0.0 }
        } else {
            Self { above: row(low), below: row(low + 1), share }
        }
    }

    fn cell(&self, c: usize) -> f32 {
        self.above[c] + (self.below[c] - self.above[c]) * self.share
    }

    /// Levels of a piece of the row that begins at column `x`.
    pub(super) fn levels(&self, x: u32, counts: &[u16], levels: &mut [Level]) {
        let cells = self.above.len();
        if cells == 1 {
            let only = self.cell(0);
            counts.iter().zip(levels).for_each(|(&c, l)| *l = level_of(c, only));
            return;
        }
        let mut done = 0;
        while done < counts.len() {
            let column = x as usize + done;
            let low = (column.saturating_sub(CELL as usize / 2) / CELL as usize).min(cells - 2);
            let next = (low + 1) * CELL as usize + CELL as usize / 2;
            let end = if low == cells - 2 { counts.len() } else { (next - x as usize).min(counts.len()) };
            let (left, right) = (self.cell(low), self.cell(low + 1));
            let step = (right - left) / CELL as f32;
            let first = left + step * (column as f32 + 0.5 - (low as f32 + 0.5) * CELL as f32);
            ramp(&counts[done..end], &mut levels[done..end], first, step);
            done = end;
        }
    }
}

/// 0, 1, 2, … as real numbers.
const STEPS: [f32; CELL as usize] = {
    let mut steps = [0.0; CELL as usize];
    let mut i = 0;
    while i < CELL as usize {
        steps[i] = i as f32;
        i += 1;
    }
    steps
};

/// Levels of one piece of a row along which the gain grows by `step` per pixel. A whole cell is a loop of known length, which compilers turn
/// into vectors; the arithmetic is the same either way.
fn ramp(counts: &[u16], levels: &mut [Level], first: f32, step: f32) {
    let (counts, levels) = (counts.chunks(CELL as usize), levels.chunks_mut(CELL as usize));
    for (piece, (counts, levels)) in counts.zip(levels).enumerate() {
        let before = (piece * CELL as usize) as f32;
        let one = |count: u16, i: f32| level_of(count, first + step * (before + i));
        if let (Ok(counts), Ok(levels)) = (<&[u16; CELL as usize]>::try_from(counts), <&mut [Level; CELL as usize]>::try_from(&mut *levels))
        {
            for i in 0..CELL as usize {
                levels[i] = one(counts[i], STEPS[i]);
            }
        } else {
            counts.iter().zip(levels).zip(&STEPS).for_each(|((&count, level), &i)| *level = one(count, i));
        }
    }
}
