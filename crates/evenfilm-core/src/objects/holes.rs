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
