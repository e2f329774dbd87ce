//! Masks of a window, a bit a pixel: widening and joining are then a few operations a row.

use crate::phases::RunMap;
use crate::plane::Rect;

/// A mask with rows of `width` pixels.
#[derive(Clone, Debug, Default)]
pub(crate) struct Bits {
    width: usize,
    /// Words of a row.
    words: usize,
    rows: Vec<u64>,
}

/// Pixels of a word.
const WORD: usize = u64::BITS as usize;

/// The first `count` bits of a word.
pub(crate) const fn first(count: usize) -> u64 {
    if count >= WORD { u64::MAX } else { (1 << count) - 1 }
}

/// The places of the bits that are set, in order.
pub(crate) fn set_bits(mut word: u64) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let place = word.trailing_zeros() as usize;
        (word != 0).then(|| {
            word &= word - 1;
            place
        })
    })
}

impl Bits {
    /// An empty mask of this size.
    pub(crate) fn of_size(width: u32, height: u32) -> Self {
        let mut of = Self::default();
        of.reset(width as usize, height as usize);
        of
    }

    /// An empty mask of this size.
    pub(crate) fn reset(&mut self, width: usize, height: usize) {
        self.width = width;
        self.words = width.div_ceil(WORD);
        self.rows.clear();
        self.rows.resize(self.words * height, 0);
    }

    /// An empty mask of the size of another.
    fn reset_like(&mut self, other: &Self) {
        self.reset(other.width, other.height());
    }

    /// A copy of another.
    pub(crate) fn copy(&mut self, other: &Self) {
        (self.width, self.words) = (other.width, other.words);
        self.rows.clone_from(&other.rows);
    }

    fn height(&self) -> usize {
        self.rows.len().checked_div(self.words).unwrap_or(0)
    }

    /// Sets the pixels of a row from `x0` up to and without `x1`.
    pub(crate) fn set_run(&mut self, y: usize, x0: usize, x1: usize) {
        let row = &mut self.rows[y * self.words..(y + 1) * self.words];
        for (k, word) in row.iter_mut().enumerate().take(x1.div_ceil(WORD)).skip(x0 / WORD) {
            *word |= first(x1 - k * WORD) & !first(x0.saturating_sub(k * WORD));
        }
    }

    /// Sets what runs with a wanted owner have in the rectangle that this mask is of.
    pub(crate) fn set_runs(&mut self, map: &RunMap, at: Rect, wanted: impl Fn(u32) -> bool) {
        for (row, y) in (at.y..at.bottom()).enumerate() {
            for i in map.row_within(y, at.x, at.right()).filter(|&i| wanted(map.owner[i])) {
                let run = map.runs[i];
                self.set_run(row, (run.x0.max(at.x) - at.x) as usize, (run.x1.min(at.right()) - at.x) as usize);
            }
        }
    }

    /// Sets pixel `i`, counted row after row.
    pub(crate) fn set(&mut self, i: usize) {
        let (x, y) = (i % self.width, i / self.width);
        self.rows[y * self.words + x / WORD] |= 1 << (x % WORD);
    }

    /// Whether a pixel is set.
    pub(crate) fn get(&self, x: usize, y: usize) -> bool {
        self.rows[y * self.words + x / WORD] >> (x % WORD) & 1 == 1
    }

    /// Up to 64 pixels of a row from `x` on, as the first `count` bits of a word.
    pub(crate) fn piece(&self, y: usize, x: usize, count: usize) -> u64 {
        let row = &self.rows[y * self.words..(y + 1) * self.words];
        let (k, shift) = (x / WORD, x % WORD);
        let low = row[k] >> shift;
        let high = if shift == 0 { 0 } else { row.get(k + 1).map_or(0, |next| next << (WORD - shift)) };
        (low | high) & first(count)
    }

    /// Whether no pixel is set.
    pub(crate) fn is_empty(&self) -> bool {
        self.rows.iter().all(|&word| word == 0)
    }

    /// Number of pixels set.
    pub(crate) fn count(&self) -> usize {
        self.rows.iter().map(|word| word.count_ones() as usize).sum()
    }

    /// Every pixel, row after row.
    pub(crate) fn iter(&self) -> impl Iterator<Item = bool> {
        (0..self.height()).flat_map(move |y| (0..self.width).map(move |x| self.get(x, y)))
    }

    /// The words with the place of their first pixel, (x, y).
    fn words(&self) -> impl Iterator<Item = (usize, usize, u64)> {
        let rows = self.rows.chunks_exact(self.words.max(1)).enumerate();
        rows.flat_map(|(y, row)| row.iter().enumerate().map(move |(k, &word)| (k * WORD, y, word)))
    }

    /// The pixels set, as (x, y), row after row.
    pub(crate) fn pixels(&self) -> impl Iterator<Item = (usize, usize)> {
        self.words().flat_map(|(start, y, word)| set_bits(word).map(move |x| (start + x, y)))
    }

    /// The places of the pixels set, counted row after row.
    pub(crate) fn places(&self) -> impl Iterator<Item = usize> {
        self.pixels().map(|(x, y)| y * self.width + x)
    }

    /// Sets in `out` those of the pixels set here that are wanted, by their place.
    pub(crate) fn filtered(&self, wanted: impl Fn(usize) -> bool, out: &mut Self) {
        (out.width, out.words) = (self.width, self.words);
        out.rows.clear();
        out.rows.extend(self.rows.iter().enumerate().map(|(k, &word)| {
            if word == 0 {
                return 0;
            }
            let start = k / self.words * self.width + k % self.words * WORD;
            let (mut left, mut kept) = (word, 0);
            while left != 0 {
                let x = left.trailing_zeros() as usize;
                kept |= u64::from(wanted(start + x)) << x;
                left &= left - 1;
            }
            kept
        }));
    }

    /// The runs of rows that are set, as (x, y, length). A run ends at every word.
    pub(crate) fn runs(&self) -> impl Iterator<Item = (usize, usize, usize)> {
        self.words().flat_map(|(start, y, word)| {
            let mut left = word;
            std::iter::from_fn(move || {
                let from = left.trailing_zeros() as usize;
                (left != 0).then(|| {
                    let length = (!(left >> from)).trailing_zeros() as usize;
                    left &= !first(from + length);
                    (start + from, y, length)
                })
            })
        })
    }

    /// The same, as places counted row after row.
    pub(crate) fn pieces(&self) -> impl Iterator<Item = std::ops::Range<usize>> {
        self.runs().map(|(x, y, length)| y * self.width + x..y * self.width + x + length)
    }

    /// Joins another mask of the same size to this one.
    pub(crate) fn add(&mut self, other: &Self) {
        self.rows.iter_mut().zip(&other.rows).for_each(|(a, b)| *a |= b);
    }

    /// Takes the pixels of another mask of the same size out of this one.
    pub(crate) fn take(&mut self, other: &Self) {
        self.rows.iter_mut().zip(&other.rows).for_each(|(a, b)| *a &= !b);
    }

    /// Keeps the pixels that another mask of the same size has too.
    pub(crate) fn keep(&mut self, other: &Self) {
        self.rows.iter_mut().zip(&other.rows).for_each(|(a, b)| *a &= b);
    }

    /// Turns every pixel over.
    pub(crate) fn turn_over(&mut self) {
        let (width, words) = (self.width, self.words.max(1));
        for row in self.rows.chunks_exact_mut(words) {
            for (k, word) in row.iter_mut().enumerate() {
                *word = !*word & first(width - k * WORD);
            }
        }
    }

    /// Widens every row by a pixel on either side.
    fn widen_across(&mut self) {
        let (width, words) = (self.width, self.words.max(1));
        if words == 1 {
            let all = first(width);
            self.rows.iter_mut().for_each(|word| *word |= (*word << 1 | *word >> 1) & all);
            return;
        }
        for row in self.rows.chunks_exact_mut(words) {
            let mut before = 0;
            for k in 0..words {
                let (word, after) = (row[k], row.get(k + 1).copied().unwrap_or(0));
                row[k] |= (word << 1 | word >> 1 | before >> (WORD - 1) | after << (WORD - 1)) & first(width - k * WORD);
                before = word;
            }
        }
    }

    /// Sets in `out` the pixels set here and their eight neighbours. `across` is a buffer.
    pub(crate) fn with_corners(&self, across: &mut Self, out: &mut Self) {
        across.copy(self);
        across.widen_across();
        out.copy(across);
        out.add_moved(across, 1);
    }

    /// Whether nothing is enclosed by what is set, told quickly: from the sides all that is open can be reached over sides of pixels. False
    /// also where the mask is too wide to tell.
    pub(crate) fn encloses_nothing(&self, reached: &mut Self) -> bool {
        if self.words != 1 {
            return false;
        }
        let (all, last) = (first(self.width), self.height() - 1);
        let open = |y: usize| !self.rows[y] & all;
        reached.reset_like(self);
        loop {
            let mut grown = false;
            // Down and up again, each row filled from what the row before reached.
            for y in (0..=last).chain((0..last).rev()) {
                let sides = if y == 0 || y == last { all } else { 1 | 1 << (self.width - 1) };
                let beside = reached.rows[y.saturating_sub(1)] | reached.rows[(y + 1).min(last)];
                let seeds = (reached.rows[y] | sides | beside) & open(y);
                let filled = fill_up(seeds, open(y)) | fill_up(seeds.reverse_bits(), open(y).reverse_bits()).reverse_bits();
                grown |= filled != reached.rows[y];
                reached.rows[y] = filled;
            }
            if !grown {
                return (0..=last).all(|y| reached.rows[y] == open(y));
            }
        }
    }

    /// Joins another mask, moved by `rows` up and down, to this one.
    fn add_moved(&mut self, other: &Self, rows: usize) {
        let shift = rows * self.words;
        if shift < self.rows.len() {
            let keep = self.rows.len() - shift;
            self.rows[shift..].iter_mut().zip(&other.rows[..keep]).for_each(|(a, b)| *a |= b);
            self.rows[..keep].iter_mut().zip(&other.rows[shift..]).for_each(|(a, b)| *a |= b);
        }
    }

    /// Sets in `out` every pixel within `reach` px (Euclidean, centre to centre) of one that is set here. `across` is a buffer.
    pub(crate) fn widened(&self, reach: f64, across: &mut Self, out: &mut Self) {
        out.reset_like(self);
        across.copy(self);
        let mut half_width = 0;
        for dy in (0..=pixels_within(reach * reach)).rev() {
            let wanted = pixels_within(reach * reach - (dy * dy) as f64).min(self.width);
            while half_width < wanted {
                across.widen_across();
                half_width += 1;
            }
            out.add_moved(across, dy);
        }
    }

    /// Sets in `out` the pixels set here and their four neighbours.
    pub(crate) fn with_neighbours(&self, out: &mut Self) {
        out.copy(self);
        out.widen_across();
        out.add_moved(self, 1);
    }
}

/// The bits of `open` that stand in one run with a seed below them, and the seeds: adding carries through such a run.
const fn fill_up(seeds: u64, open: u64) -> u64 {
    open & !open.wrapping_add(seeds) | seeds
}

/// Whole pixels in a distance given by its square.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "distances in a window are small; a negative one saturates at 0"
)]
fn pixels_within(squared: f64) -> usize {
    squared.max(0.0).sqrt() as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bits(of: &[bool], width: usize) -> Bits {
        let mut bits = Bits::default();
        bits.reset(width, of.len() / width);
        (0..of.len()).filter(|&i| of[i]).for_each(|i| bits.set(i));
        bits
    }

    #[test]
    fn widening_is_the_euclidean_distance() {
        for (width, height) in [(13usize, 9usize), (64, 5), (70, 11), (130, 4)] {
            let mask: Vec<bool> = (0..width * height).map(|i| i * 7 % 97 == 3).collect();
            for reach in [0.0, 1.0, 1.5, 2.3, 4.0, 7.9, 20.0, 150.0] {
                let (mut across, mut out) = (Bits::default(), Bits::default());
                bits(&mask, width).widened(reach, &mut across, &mut out);
                for (i, mark) in out.iter().enumerate() {
                    let apart = |j: usize| (i % width).abs_diff(j % width).pow(2) + (i / width).abs_diff(j / width).pow(2);
                    let near = (0..mask.len()).any(|j| mask[j] && apart(j) as f64 <= reach * reach);
                    assert_eq!(mark, near, "{width} reach {reach} pixel {i}");
                }
            }
        }
    }

    #[test]
    fn enclosing_is_told_like_holes_are_found() {
        let (mut state, mut none) = (3u64, 0);
        for case in 0..600usize {
            let (width, height) = (1 + case % 64, 1 + case % 23);
            let mask: Vec<bool> = (0..width * height)
                .map(|_| {
                    state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    (state >> 33) % 100 < 20 + case as u64 % 60
                })
                .collect();
            let found = super::super::holes::Holes::default().find(mask.iter().copied(), width);
            let told = bits(&mask, width).encloses_nothing(&mut Bits::default());
            assert_eq!(told, found.is_empty(), "case {case}");
            none += usize::from(told);
        }
        assert!((50..550).contains(&none), "{none}");
    }

    #[test]
    fn runs_pieces_and_neighbours() {
        let width = 150;
        let mut of = Bits::default();
        of.reset(width, 3);
        of.set_run(1, 60, 131);
        assert_eq!(of.places().collect::<Vec<_>>(), (width + 60..width + 131).collect::<Vec<_>>());
        assert!(of.count() == 71 && !of.is_empty() && of.get(60, 1) && !of.get(131, 1));
        assert_eq!(of.piece(1, 58, 5), 0b11100);
        assert_eq!(of.piece(1, 100, 64), first(31));
        let mut near = Bits::default();
        of.with_neighbours(&mut near);
        assert_eq!(near.count(), 71 * 3 + 2);
        near.take(&of);
        assert_eq!(near.count(), 71 * 2 + 2);
        for width in [20, 64, 300] {
            let mask: Vec<bool> = (0..width * 5).map(|i| i * 11 % 73 == 5).collect();
            bits(&mask, width).with_corners(&mut Bits::default(), &mut near);
            let beside = |i: usize, j: usize| (i % width).abs_diff(j % width) < 2 && (i / width).abs_diff(j / width) < 2;
            let expected = |i: usize| (0..mask.len()).any(|j| mask[j] && beside(i, j));
            assert_eq!(near.iter().collect::<Vec<_>>(), (0..mask.len()).map(expected).collect::<Vec<_>>());
        }
        of.with_neighbours(&mut near);
        near.take(&of);
        near.add(&of);
        near.keep(&of);
        assert_eq!(near.iter().collect::<Vec<_>>(), of.iter().collect::<Vec<_>>());
        of.turn_over();
        assert_eq!(of.count(), 3 * width - 71);
    }
}
