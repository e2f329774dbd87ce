//! Counts to levels by gains that are known at the centres of cells.

use wide::bytemuck::cast;
use wide::{f32x8, i16x8, i32x8, u16x8};

use super::CELL;
use crate::phases::count32;
use crate::plane::{Level, Plane, Rect};

/// One count to its level, rounded, 65535 at most. Adding 2²³ leaves the rounded whole number in the low bits of an f32: no call, no branch,
/// and the same bits on every machine.
#[expect(clippy::cast_possible_truncation, reason = "the low 16 bits are the level")]
#[inline]
pub(super) fn level_of(count: u16, gain: f32) -> Level {
    let level = f32::from(count) * gain;
    // Not `max` and `min`, which ask for what is no number first. Gains may fall below 0 beyond the outermost cells of a light with a step.
    let level = if level > 0.0 { level } else { 0.0 };
    let level = if level < 65535.0 { level } else { 65535.0 };
    (level + 8_388_608.0).to_bits() as u16
}

/// The same of eight counts.
#[inline]
fn levels_of(counts: [u16; 8], gains: f32x8) -> [Level; 8] {
    let levels = f32x8::from_i32x8(i32x8::from_u16x8(u16x8::from(counts))) * gains;
    let levels = levels.fast_max(f32x8::ZERO).fast_min(f32x8::splat(65535.0));
    i16x8::from_i32x8_truncate(cast(levels + f32x8::splat(8_388_608.0))).to_array().map(i16::cast_unsigned)
}

/// Gains along the columns of a rectangle, linear between the centres of the cells and beyond the outer ones; kept from one rectangle to the
/// next.
#[derive(Default)]
pub(super) struct GainColumns {
    /// At the height of the cell row above.
    above: Vec<f32>,
    /// From there to the cell row below.
    rise: Vec<f32>,
}

impl GainColumns {
    /// Levels of the rectangle `at`, row after row, from its counts.
    pub(super) fn levels(&mut self, gain: &Plane<f32>, at: Rect, counts: &[u16], levels: &mut [Level]) {
        let width = at.width.max(1) as usize;
        let mut known = None;
        for (y, (counts, levels)) in (at.y..).zip(counts.chunks_exact(width).zip(levels.chunks_exact_mut(width))) {
            let (low, share) = between(y, gain.nrows());
            if known != Some(low) {
                self.take(gain, low, at);
                known = Some(low);
            }
            let (counts, last) = counts.as_chunks();
            let (levels, levels_left) = levels.as_chunks_mut();
            let ((above, above_left), (rise, rise_left)) = (self.above.as_chunks(), self.rise.as_chunks());
            for ((count, level), (above, rise)) in counts.iter().zip(levels).zip(above.iter().zip(rise)) {
                *level = levels_of(*count, f32x8::from(*above) + f32x8::from(*rise) * f32x8::splat(share));
            }
            for ((&count, level), (&above, &rise)) in last.iter().zip(levels_left).zip(above_left.iter().zip(rise_left)) {
                *level = level_of(count, above + rise * share);
            }
        }
    }

    /// Gains along the columns at the heights of cell row `low` and the next.
    fn take(&mut self, gain: &Plane<f32>, low: usize, at: Rect) {
        let columns = gain.ncols();
        let all = gain.as_slice().unwrap_or(&[]);
        let row = |r: usize| &all[r * columns..(r + 1) * columns];
        let (above, below) = (row(low), row((low + 1).min(gain.nrows() - 1)));
        self.above.clear();
        self.rise.clear();
        let mut x = at.x;
        while x < at.right() {
            let (c, first) = between(x, columns);
            // The columns up to the next cell's centre; all that is left beyond the last but one.
            let centre = count32(c + 1) * CELL + CELL / 2;
            let end = if c + 2 >= columns { at.right() } else { centre.min(at.right()) };
            let next = (c + 1).min(columns - 1);
            let (from, fall) = ([above[c], below[c]], [above[next] - above[c], below[next] - below[c]]);
            let step = if columns == 1 { 0.0 } else { 1.0 / CELL as f32 };
            // A cell and a half at most.
            let count = u16::try_from(end - x).unwrap_or(u16::MAX);
            let start = self.above.len();
            self.above.extend((0..count).map(|i| from[0] + fall[0] * (first + f32::from(i) * step)));
            let above = &self.above[start..];
            self.rise.extend((0..count).zip(above).map(|(i, above)| (from[1] + fall[1] * (first + f32::from(i) * step)) - above));
            x = end;
        }
    }
}

/// Of `count` cells in a row the one whose centre lies before the centre of pixel `at`, and the share of the way from it to the next.
fn between(at: u32, count: usize) -> (usize, f32) {
    let low = ((at.saturating_sub(CELL / 2) / CELL) as usize).min(count.saturating_sub(2));
    // Halves of a pixel are whole numbers here, so that nothing is rounded.
    let share = (at as f32 + 0.5 - (low as f32 + 0.5) * CELL as f32) / CELL as f32;
    (low, if count == 1 { 0.0 } else { share })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_does_not_depend_on_the_rectangle_it_is_read_in() {
        // A step between the outermost cells takes gains below 0 at the side; products end in one half, and pass the largest level.
        let gain = Plane::from_shape_vec((2, 3), vec![0.5, 2.5, 9.0, 0.5, 3.5, 40.0]).unwrap();
        let (width, height) = (40u32, 20u32);
        let count = |x: u32, y: u32| u16::try_from((x * 7919 + y * 104_729) % 65_536).unwrap();
        let read = |at: Rect| {
            let counts: Vec<u16> = (at.y..at.bottom()).flat_map(|y| (at.x..at.right()).map(move |x| count(x, y))).collect();
            let mut levels = vec![7; counts.len()];
            GainColumns::default().levels(&gain, at, &counts, &mut levels);
            levels
        };
        let whole = read(Rect::new(0, 0, width, height));
        assert!(whole.contains(&0) && whole.contains(&65535));
        for across in 1..18 {
            for x in (0..width).step_by(across as usize) {
                let at = Rect::new(x, 0, across.min(width - x), height);
                let part: Vec<Level> =
                    (0..height).flat_map(|y| whole[(y * width + x) as usize..][..at.width as usize].iter().copied()).collect();
                assert_eq!(read(at), part, "{across} from {x}");
            }
        }
        let halves: Vec<(u16, f32)> = vec![(1, 0.5), (3, 0.5), (5, 0.5), (2, -0.2), (9, -33.0), (4, 0.0), (65535, 1.0), (65535, 3.0)];
        let together = levels_of(std::array::from_fn(|k| halves[k].0), f32x8::from(std::array::from_fn::<f32, 8, _>(|k| halves[k].1)));
        assert_eq!(together.to_vec(), halves.iter().map(|&(count, gain)| level_of(count, gain)).collect::<Vec<_>>());
        assert_eq!(together, [0, 2, 2, 0, 0, 0, 65535, 65535]);
    }
}
