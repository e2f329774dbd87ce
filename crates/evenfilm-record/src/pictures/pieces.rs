//! How decoders hand over a picture: in pieces, in any order and from any thread, or row after row.

use evenfilm_core::plane::{Plane, Rect};
use rayon::prelude::*;

use super::{FloatRange, damaged};
use crate::fault::Fault;

/// A picture cut into pieces of one size; those at the right and at the bottom may be smaller.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Grid {
    /// Columns and rows of the picture.
    pub(super) size: (u32, u32),
    /// Columns and rows of a piece; not above the picture's.
    pub(super) piece: (u32, u32),
}

impl Grid {
    pub(super) const fn across(&self) -> u32 {
        self.size.0.div_ceil(self.piece.0)
    }
    /// Where the piece of this column and row of pieces lies.
    pub(super) fn place(&self, column: u32, row: u32) -> Rect {
        let (x, y) = (column * self.piece.0, row * self.piece.1);
        Rect::new(x, y, self.piece.0.min(self.size.0 - x), self.piece.1.min(self.size.1 - y))
    }
}

/// A picture whose pieces are decoded each by itself.
pub(super) trait Pieces: Send + Sync {
    /// How it is cut.
    fn grid(&self) -> Grid;
    /// Decodes the piece at `at`, a place of the grid, to linear counts in rows that lie `stride` apart. Writes every pixel of `at` or fails:
    /// what `out` holds before is another piece's.
    fn decode(&self, at: Rect, out: &mut [u16], stride: usize) -> Result<(), Fault>;
    /// What the values of floats were so far.
    fn seen(&self) -> FloatRange {
        FloatRange::default()
    }
}

/// A picture that is decoded from its first row to its last.
pub(super) trait Rows: Send {
    /// Columns and rows.
    fn size(&self) -> (u32, u32);
    /// Hands each row of linear counts on.
    fn each(&mut self, to: &mut dyn FnMut(&[u16]) -> Result<(), Fault>) -> Result<(), Fault>;
    /// What the values of floats were so far.
    fn seen(&self) -> FloatRange {
        FloatRange::default()
    }
}

/// What a decoder can do for a picture.
pub(super) enum Content {
    Pieces(Box<dyn Pieces>),
    Rows(Box<dyn Rows>),
}

impl Content {
    pub(super) fn size(&self) -> (u32, u32) {
        match self {
            Self::Pieces(pieces) => pieces.grid().size,
            Self::Rows(rows) => rows.size(),
        }
    }

    /// All counts, in memory.
    pub(super) fn held(&mut self) -> Result<Plane<u16>, Fault> {
        let (width, height) = self.size();
        let (columns, rows) = (width as usize, height as usize);
        let counts = match self {
            Self::Pieces(pieces) => {
                let grid = pieces.grid();
                let mut counts = vec![0; columns * rows];
                let bands = counts.par_chunks_mut(columns * grid.piece.1 as usize).zip(0..height.div_ceil(grid.piece.1));
                bands.try_for_each(|(band, row)| {
                    (0..grid.across()).try_for_each(|column| {
                        let at = grid.place(column, row);
                        pieces.decode(at, &mut band[at.x as usize..], columns)
                    })
                })?;
                counts
            }
            Self::Rows(forward) => {
                let mut counts = Vec::with_capacity(columns * rows);
                forward.each(&mut |row| {
                    counts.extend_from_slice(row);
                    Ok(())
                })?;
                counts
            }
        };
        Plane::from_shape_vec((rows, columns), counts).map_err(|_| damaged("it holds another number of pixels than it claims"))
    }

    /// Decodes everything and keeps nothing but what the values of floats are.
    pub(super) fn scan(&mut self) -> Result<FloatRange, Fault> {
        match self {
            Self::Pieces(pieces) => {
                let grid = pieces.grid();
                (0..grid.size.1.div_ceil(grid.piece.1)).into_par_iter().try_for_each(|row| {
                    (0..grid.across()).try_for_each(|column| {
                        let at = grid.place(column, row);
                        pieces.decode(at, &mut vec![0; at.width as usize * at.height as usize], at.width as usize)
                    })
                })?;
                Ok(pieces.seen())
            }
            Self::Rows(rows) => {
                rows.each(&mut |_| Ok(()))?;
                Ok(rows.seen())
            }
        }
    }
}
