//! Holes: what a mask encloses.

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

/// What a cell is.
const OPEN: u8 = 0;
const SOLID: u8 = 1;
const OUTSIDE: u8 = 2;
const HOLE: u8 = 3;

/// Buffers of one thread.
#[derive(Default)]
pub(crate) struct Holes {
    cells: Vec<u8>,
    stack: Vec<u32>,
    /// Cells of the holes found last, hole after hole.
    enclosed: Vec<u32>,
}

impl Holes {
    /// The holes of a mask with rows of `width`, largest first; what reaches a side of the mask is none.
    pub(crate) fn find(&mut self, solid: impl Iterator<Item = bool>, width: usize) -> Vec<Hole> {
        self.cells.clear();
        self.cells.extend(solid.map(|s| if s { SOLID } else { OPEN }));
        self.enclosed.clear();
        let height = self.cells.len().checked_div(width).unwrap_or(0);
        let mut found = Vec::new();
        if height == 0 {
            return found;
        }
        let sides =
            (0..width).flat_map(|x| [x, (height - 1) * width + x]).chain((0..height).flat_map(|y| [y * width, y * width + width - 1]));
        for i in sides {
            self.fill(i, width, OUTSIDE);
        }
        for i in 0..self.cells.len() {
            let from = self.enclosed.len();
            self.fill(i, width, HOLE);
            let cells = &self.enclosed[from..];
            if !cells.is_empty() {
                let centre = |of: fn(usize, usize) -> usize| {
                    cells.iter().map(|&c| of(c as usize, width) as f64 + 0.5).sum::<f64>() / cells.len() as f64
                };
                found.push(Hole { cells: count32(cells.len()), centre: [centre(|c, w| c % w), centre(|c, w| c / w)], from });
            }
        }
        found.sort_by_key(|h| std::cmp::Reverse(h.cells));
        found
    }

    /// The cells of a hole found last.
    pub(crate) fn cells(&self, hole: &Hole) -> &[u32] {
        &self.enclosed[hole.from..hole.from + hole.cells as usize]
    }

    /// Marks the open cells that hang together with cell `i`.
    fn fill(&mut self, i: usize, width: usize, mark: u8) {
        if self.cells[i] != OPEN {
            return;
        }
        self.cells[i] = mark;
        self.stack.push(count32(i));
        while let Some(cell) = self.stack.pop() {
            if mark == HOLE {
                self.enclosed.push(cell);
            }
            let (i, x) = (cell as usize, cell as usize % width);
            let near = [
                (x > 0, i.wrapping_sub(1)),
                (x + 1 < width, i + 1),
                (i >= width, i.wrapping_sub(width)),
                (i + width < self.cells.len(), i + width),
            ];
            for (_, j) in near.into_iter().filter(|n| n.0) {
                if self.cells[j] == OPEN {
                    self.cells[j] = mark;
                    self.stack.push(count32(j));
                }
            }
        }
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
