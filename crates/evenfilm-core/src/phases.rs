//! Phases as runs: every row of the picture as the pieces of it that are gap or particle; what is left is film.

/// A piece of one row: columns `x0` up to and without `x1`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Run {
    /// First column.
    pub x0: u32,
    /// One past the last column.
    pub x1: u32,
}

/// One phase of a picture as runs, row after row, left to right.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RunMap {
    /// Index of the first run of each row, and the number of runs at the end: rows + 1 entries.
    pub row_start: Vec<u32>,
    /// The runs.
    pub runs: Vec<Run>,
    /// For each run the index of the object or gap it belongs to; empty before joining.
    pub owner: Vec<u32>,
}

impl RunMap {
    /// Indices of the runs of a row.
    pub fn row(&self, y: u32) -> std::ops::Range<usize> {
        self.row_start[y as usize] as usize..self.row_start[y as usize + 1] as usize
    }
    /// Number of pixels in all runs.
    pub fn area(&self) -> u64 {
        self.runs.iter().map(|r| u64::from(r.x1 - r.x0)).sum()
    }
}
