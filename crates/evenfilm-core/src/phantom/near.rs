//! Which things of a film can be seen where, so that a piece of a large picture costs no more than a piece of a small one.

use std::ops::Range;

use super::floor_index;
use crate::plane::Rect;

/// Side of the cells, px.
const CELL: u32 = 512;

/// Things by the cells of a square grid that their light reaches. Each cell lists them in the order in which they were given, so that sums
/// over them have the same bits wherever a picture is cut.
#[derive(Clone, Debug, Default)]
pub(super) struct Near {
    across: u32,
    /// Where each cell's list begins, and the length of all.
    start: Vec<u32>,
    things: Vec<u32>,
}

impl Near {
    /// From the box `[x0, y0, x1, y1]` that each thing reaches, px, in a field of this size.
    pub(super) fn new(size: (u32, u32), boxes: impl Iterator<Item = [f64; 4]> + Clone) -> Self {
        let (across, down) = (size.0.div_ceil(CELL), size.1.div_ceil(CELL));
        let side = f64::from(CELL);
        let stretch = |low: f64, high: f64, count: u32| -> Range<usize> {
            let end = (floor_index(high / side) + 1).min(count as usize);
            if high < 0.0 { 0..0 } else { floor_index(low / side).min(end)..end }
        };
        let cells = |[x0, y0, x1, y1]: [f64; 4]| {
            let columns = stretch(x0, x1, across);
            stretch(y0, y1, down).flat_map(move |row| columns.clone().map(move |column| row * across as usize + column))
        };
        let mut start = vec![0_u32; across as usize * down as usize + 1];
        boxes.clone().flat_map(cells).for_each(|cell| start[cell + 1] += 1);
        (1..start.len()).for_each(|i| start[i] += start[i - 1]);
        let mut next = start.clone();
        let mut things = vec![0; start.last().map_or(0, |&all| all as usize)];
        for (thing, reached) in (0..).zip(boxes) {
            for cell in cells(reached) {
                things[next[cell] as usize] = thing;
                next[cell] += 1;
            }
        }
        Self { across, start, things }
    }

    /// The things that may be seen within a rectangle, in their order, each once.
    pub(super) fn within(&self, at: Rect) -> Vec<usize> {
        let mut found = Vec::new();
        for row in at.y / CELL..at.bottom().div_ceil(CELL) {
            for column in at.x / CELL..at.right().div_ceil(CELL) {
                let cell = (row * self.across + column) as usize;
                found.extend(self.things[self.start[cell] as usize..self.start[cell + 1] as usize].iter().map(|&thing| thing as usize));
            }
        }
        found.sort_unstable();
        found.dedup();
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against a look at every box, for rectangles of all kinds; boxes reach over the frame and lie beyond it.
    #[test]
    fn finds_what_a_look_at_all_finds() {
        let size = (1500, 1100);
        let boxes: Vec<[f64; 4]> = (0..300)
            .map(|i| {
                let (x, y, r) = (f64::from(i * 37 % 1700) - 100.0, f64::from(i * 53 % 1300) - 100.0, f64::from(i % 60) + 0.5);
                [x - r, y - r, x + r, y + r]
            })
            .collect();
        let near = Near::new(size, boxes.iter().copied());
        for at in
            [Rect::whole(size), Rect::new(0, 0, 1, 1), Rect::new(511, 511, 2, 2), Rect::new(700, 3, 300, 1000), Rect::new(1499, 1099, 1, 1)]
        {
            let found = near.within(at);
            assert!(found.windows(2).all(|w| w[0] < w[1]));
            let [x0, y0, x1, y1] = [at.x, at.y, at.right(), at.bottom()].map(f64::from);
            let reaches = |b: &[f64; 4]| b[0] < x1 && b[2] >= x0 && b[1] < y1 && b[3] >= y0;
            assert!((0..boxes.len()).filter(|&i| reaches(&boxes[i])).all(|i| found.contains(&i)), "{at:?}");
            // No more than what reaches the cells that it meets.
            let spare = |b: &[f64; 4]| b[0] < x1 + 512.0 && b[2] >= x0 - 512.0 && b[1] < y1 + 512.0 && b[3] >= y0 - 512.0;
            assert!(found.iter().all(|&i| spare(&boxes[i])), "{at:?}");
        }
    }
}
