//! Holes: what a mask encloses.

use std::ops::Range;

use crate::phases::count32;

/// One hole (4-connected, since what surrounds it is 8-connected).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Hole {
    /// Number of cells.
    pub(crate) cells: u32,
    /// Their centroid (x, y); the outer corner of the first cell is the origin.
    pub(crate) centre: [f64; 2],
    /// Where its cells begin among those enclosed.
    from: usize,
}

/// Open cells side by side in a row.
struct Stretch {
    y: usize,
    x: Range<usize>,
    /// An earlier stretch that it hangs together with, or itself.
    first: usize,
}

/// Buffers of one thread.
#[derive(Default)]
pub(crate) struct Holes {
    solid: Vec<bool>,
    /// Row after row; the first stands for what lies beyond the sides.
    open: Vec<Stretch>,
    /// Cells of the holes found last, hole after hole.
    enclosed: Vec<u32>,
}

impl Holes {
    /// The holes of a mask with rows of `width`, largest first; what reaches a side of the mask is none.
    pub(crate) fn find(&mut self, solid: impl Iterator<Item = bool>, width: usize) -> Vec<Hole> {
        self.solid.clear();
        self.solid.extend(solid);
        self.join(width.max(1));
        for i in 0..self.open.len() {
            // Its earlier stretch has come to the first of all already.
            self.open[i].first = self.open[self.open[i].first].first;
        }
        self.open.retain(|stretch| stretch.first > 0);
        self.open.sort_by_key(|stretch| stretch.first);
        self.enclosed.clear();
        let mut found = Vec::new();
        for hole in self.open.chunk_by(|a, b| a.first == b.first) {
            let from = self.enclosed.len();
            for Stretch { y, x, .. } in hole {
                self.enclosed.extend(count32(y * width + x.start)..count32(y * width + x.end));
            }
            let cells = self.enclosed.len() - from;
            let centre = |twice: fn(&Stretch) -> usize| {
                0.5 * hole.iter().map(|stretch| stretch.x.len() as u64 * twice(stretch) as u64).sum::<u64>() as f64 / cells as f64
            };
            found.push(Hole { cells: count32(cells), centre: [centre(|s| s.x.start + s.x.end), centre(|s| 2 * s.y + 1)], from });
        }
        found.sort_by_key(|h| std::cmp::Reverse(h.cells));
        found
    }

    /// The cells of a hole found last.
    pub(crate) fn cells(&self, hole: &Hole) -> &[u32] {
        &self.enclosed[hole.from..hole.from + hole.cells as usize]
    }

    /// Finds the stretches of open cells, and which of them lie side by side.
    fn join(&mut self, width: usize) {
        let height = self.solid.len() / width;
        self.open.clear();
        self.open.push(Stretch { y: 0, x: 0..0, first: 0 });
        let mut above = 1;
        for (y, row) in self.solid.chunks_exact(width).enumerate() {
            let begin = self.open.len();
            let mut end = 0;
            while let Some(solid) = row[end..].iter().position(|solid| !solid) {
                let start = end + solid;
                end = row[start..].iter().position(|&solid| solid).map_or(width, |open| start + open);
                let i = self.open.len();
                let reaches_side = y == 0 || y + 1 == height || start == 0 || end == width;
                self.open.push(Stretch { y, x: start..end, first: if reaches_side { 0 } else { i } });
                // What ends further left in the row above lies beside none that follow.
                while above < begin && self.open[above].x.end <= start {
                    above += 1;
                }
                let mut j = above;
                while j < begin && self.open[j].x.start < end {
                    let (a, b) = (self.first(i), self.first(j));
                    self.open[a.max(b)].first = a.min(b);
                    j += 1;
                }
            }
            above = begin;
        }
    }

    /// The first stretch that one is known to hang together with.
    fn first(&self, mut i: usize) -> usize {
        while self.open[i].first != i {
            i = self.open[i].first;
        }
        i
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Holes by their definition: numbers spread to open neighbours, the least first, until nothing changes; number 0 comes from the sides.
    fn by_definition(solid: &[bool], width: usize) -> Vec<(u32, Vec<u32>)> {
        let mut number: Vec<usize> = (1..=solid.len()).collect();
        let beside = |i: usize| {
            let (left, right) = (!i.is_multiple_of(width), i % width + 1 < width);
            let near =
                [(left, i.wrapping_sub(1)), (right, i + 1), (i >= width, i.wrapping_sub(width)), (i + width < solid.len(), i + width)];
            near.map(|(exists, j)| exists.then_some(j))
        };
        loop {
            let least = |i: usize| beside(i).into_iter().map(|j| j.map_or(0, |j| if solid[j] { usize::MAX } else { number[j] })).min();
            let next: Vec<usize> = (0..solid.len()).map(|i| number[i].min(least(i).unwrap_or(0))).collect();
            if next == number {
                break;
            }
            number = next;
        }
        let open = |&i: &usize| !solid[i] && number[i] > 0;
        let mut numbers: Vec<usize> = (0..solid.len()).filter(open).map(|i| number[i]).collect();
        numbers.sort_unstable();
        numbers.dedup();
        let cells = |n: usize| (0..solid.len()).filter(open).filter(|&i| number[i] == n).map(count32).collect::<Vec<_>>();
        numbers.into_iter().map(|n| (count32(cells(n).len()), cells(n))).collect()
    }

    proptest! {
        #[test]
        fn holes_are_what_the_sides_do_not_reach(width in 0usize..14, height in 0usize..14, seed in any::<u64>(), share in 3u64..9) {
            let mut state = seed;
            let solid: Vec<bool> = (0..width * height).map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) % 10 < share
            }).collect();
            let mut holes = Holes::default();
            let found = holes.find(solid.iter().copied(), width);
            let sorted = |hole: &Hole| { let mut cells = holes.cells(hole).to_vec(); cells.sort_unstable(); (hole.cells, cells) };
            let mut expected = by_definition(&solid, width);
            expected.sort_by_key(|h| std::cmp::Reverse(h.0));
            prop_assert_eq!(found.iter().map(sorted).collect::<Vec<_>>(), expected);
        }
    }

    fn found(rows: &[&str]) -> Vec<Hole> {
        let solid = rows.iter().flat_map(|r| r.bytes().map(|b| b == b'#'));
        Holes::default().find(solid, rows.first().map_or(0, |r| r.len()))
    }

    #[test]
    fn what_is_enclosed_is_a_hole() {
        let two = found(&["######.", "#.##.#.", "#..###.", "######."]);
        assert_eq!(two.iter().map(|h| h.cells).collect::<Vec<_>>(), [3, 1]);
        assert!((two[1].centre[0] - 4.5).abs() < 1e-12 && (two[1].centre[1] - 1.5).abs() < 1e-12);
        // The solid is joined over corners, so what it surrounds over corners is enclosed.
        assert_eq!(found(&[".#.", "#.#", ".#."]).len(), 1);
        for none in [&["###", "#.#", "#.#"][..], &["..."], &["#"], &[]] {
            assert!(found(none).is_empty(), "{none:?}");
        }
    }
}
