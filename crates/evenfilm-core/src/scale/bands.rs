//! Bands of rows, added up along the lines.

use super::{Axis, LEAST_LINES};
use crate::order::in_turn;
use crate::plane::{Rect, Samples, Stop};
use crate::statistics::median;

/// Fewest rows and columns of a picture.
pub(super) const LEAST_SIDE: u32 = 48;
/// Bands of a picture, at most; those of a large one are spread over it.
const MOST_BANDS: u32 = 64;
/// Rows of a band: a share of the picture, within these bounds.
const ROWS: (u32, u32) = (8, 64);
/// Rows of the blocks that tell the tilt: a share of the picture, within these bounds.
const BLOCK_ROWS: (u32, u32) = (24, 96);
/// Blocks that tell the tilt, at most.
const BLOCKS: u32 = 10;
/// Distance of the two pixels whose difference says how sharp a profile is.
const LAG: usize = 3;
/// Steps between whole ones at which the best tilt is looked for again.
const FINER: i32 = 8;

/// A picture turned so that the lines stand mostly upright.
pub(super) struct Upright<'a> {
    picture: &'a dyn Samples,
    axis: Axis,
}

impl<'a> Upright<'a> {
    pub(super) fn new(picture: &'a dyn Samples, axis: Axis) -> Self {
        Self { picture, axis }
    }

    /// Columns and rows.
    pub(super) fn size(&self) -> (u32, u32) {
        let (width, height) = self.picture.size();
        if self.axis == Axis::X { (width, height) } else { (height, width) }
    }

    pub(super) const fn axis(&self) -> Axis {
        self.axis
    }

    /// Whole rows.
    fn rows(&self, y: u32, count: u32) -> Result<Vec<u16>, Stop> {
        let (width, _) = self.size();
        let mut out = vec![0; width as usize * count as usize];
        if self.axis == Axis::X {
            self.picture.read(Rect::new(0, y, width, count), &mut out)?;
            return Ok(out);
        }
        let mut turned = vec![0; out.len()];
        self.picture.read(Rect::new(y, 0, count, width), &mut turned)?;
        for (x, line) in turned.chunks_exact(count as usize).enumerate() {
            line.iter().enumerate().for_each(|(row, &s)| out[row * width as usize + x] = s);
        }
        Ok(out)
    }
}

/// Mean counts along the lines.
pub(super) struct Band {
    /// One value a pixel.
    pub(super) values: Vec<f64>,
    /// Where the outer edge of the first value lies at the height of the middle, px.
    pub(super) start: f64,
    /// Height of the middle, px.
    pub(super) y: f64,
    /// Rows.
    pub(super) rows: u32,
}

/// How the lines lean, and how plainly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tilt {
    /// Pixels in x for each in y.
    pub(super) tangent: f64,
    /// Sharpness at that tilt over the median of all tilts up to 45°, in the third of the picture where it is largest; about 1 where nothing
    /// is upright.
    pub(super) clearness: f64,
}

/// The tilt at which sums over blocks of rows are sharpest. Each block is held against its own usual sharpness, so that dust, which is as sharp
/// at any tilt, does not outshout lines elsewhere.
pub(super) fn tilt(view: &Upright<'_>) -> Result<Tilt, Stop> {
    let (width, height) = view.size();
    let rows = (height / 10).clamp(BLOCK_ROWS.0, BLOCK_ROWS.1).min(height / 2);
    let count = BLOCKS.min(height / rows);
    let blocks = in_turn(count as usize, |i| view.rows(spread(i, count, rows, height), rows))?;
    let whole = f64::from(rows);
    let at = |tangent: f64| blocks.iter().map(|block| sharpness(&sheared(block, width as usize, tangent).0)).collect::<Vec<f64>>();
    let tried = in_turn(2 * rows as usize + 1, |i| Ok(at(i as f64 / whole - 1.0)))?;
    let usual: Vec<f64> = (0..blocks.len()).map(|block| median(tried.iter().map(|all| all[block]).collect())).collect();
    let ratios = |all: &[f64]| all.iter().zip(&usual).map(|(v, usual)| if *usual > 0.0 { v / usual } else { 1.0 }).collect::<Vec<f64>>();
    let total = |all: &[f64]| ratios(all).iter().sum::<f64>();
    let best = (0..tried.len()).fold(0, |best, i| if total(&tried[i]) > total(&tried[best]) { i } else { best });
    let finer = in_turn(2 * FINER.unsigned_abs() as usize + 1, |i| {
        let step = f64::from(i32::try_from(i).unwrap_or(0) - FINER) / f64::from(FINER);
        let tangent = (best as f64 + step) / whole - 1.0;
        Ok((tangent, at(tangent)))
    })?;
    let (tangent, all) =
        finer.into_iter().reduce(|best, next| if total(&next.1) > total(&best.1) { next } else { best }).unwrap_or_default();
    // Lines need not run through all of the picture.
    let mut plain = ratios(&all);
    plain.sort_by(|a, b| b.total_cmp(a));
    plain.truncate(plain.len().div_ceil(3));
    Ok(Tilt { tangent, clearness: plain.iter().sum::<f64>() / plain.len().max(1) as f64 })
}

/// All bands of a picture, added up along this tilt.
pub(super) fn bands(view: &Upright<'_>, tangent: f64) -> Result<Vec<Band>, Stop> {
    let (width, height) = view.size();
    let rows = (height / 40).clamp(ROWS.0, ROWS.1);
    let count = MOST_BANDS.min(height / rows);
    in_turn(count as usize, |i| {
        let y = spread(i, count, rows, height);
        let (sums, start) = sheared(&view.rows(y, rows)?, width as usize, tangent);
        let values = sums.iter().map(|&sum| sum as f64 / f64::from(rows)).collect();
        Ok(Band { values, start, y: f64::from(y) + 0.5 * f64::from(rows), rows })
    })
}

/// First row of the `i`-th of `count` evenly spread groups of rows.
fn spread(i: usize, count: u32, rows: u32, height: u32) -> u32 {
    let last = u64::from(height - rows);
    u32::try_from(last * i as u64 / u64::from(count.max(2) - 1)).unwrap_or(0).min(height - rows)
}

/// Sums of rows, each moved by whole pixels against the tilt, and where the first sum begins: the mean of the moves is kept, so that
/// rounding them moves no line.
fn sheared(block: &[u16], width: usize, tangent: f64) -> (Vec<u32>, f64) {
    let rows = block.len() / width;
    let middle = 0.5 * (rows as f64 - 1.0);
    let moves: Vec<isize> = (0..rows).map(|row| rounded(tangent * (row as f64 - middle))).collect();
    let (least, most) = moves.iter().fold((0, 0), |(least, most), &by| (by.min(least), by.max(most)));
    let from = least.unsigned_abs();
    let to = width.saturating_sub(most.unsigned_abs()).max(from);
    let mut sums = vec![0_u32; to - from];
    for (row, by) in block.chunks_exact(width).zip(&moves) {
        let row = &row[from.saturating_add_signed(*by)..];
        sums.iter_mut().zip(row).for_each(|(sum, &s)| *sum += u32::from(s));
    }
    (sums, from as f64 + moves.iter().sum::<isize>() as f64 / rows as f64)
}

#[expect(clippy::cast_possible_truncation, reason = "moves are at most as large as a block is high")]
fn rounded(x: f64) -> isize {
    libm::round(x) as isize
}

/// Mean squared difference of neighbours, relative to the mean; 0 of what is too narrow.
fn sharpness(sums: &[u32]) -> f64 {
    if sums.len() < 4 * LEAST_LINES {
        return 0.0;
    }
    let mean = sums.iter().map(|&s| u64::from(s)).sum::<u64>() as f64 / sums.len() as f64;
    let squares = sums.iter().zip(&sums[LAG..]).map(|(&a, &b)| u64::from(a.abs_diff(b)) * u64::from(a.abs_diff(b)));
    if mean > 0.0 { squares.map(|s| s as f64).sum::<f64>() / (sums.len() - LAG) as f64 / (mean * mean) } else { 0.0 }
}
