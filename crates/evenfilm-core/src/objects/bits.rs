//! Masks of a window, a bit a pixel: widening and joining are then a few operations a row.

use std::ops::Range;

use wide::u16x8;

use crate::phases::RunMap;
use crate::plane::{Level, Rect};

#[cfg(test)]
mod tests;

/// A mask with rows of `width` pixels. Most are narrower than a word, so that an operation is one plain loop over their rows.
#[derive(Clone, Debug, Default)]
pub(crate) struct Bits {
    width: usize,
    height: usize,
    /// The words of the first 64 columns, row after row, then those of the next 64.
    words: Vec<u64>,
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
        (self.width, self.height) = (width, height);
        self.words.clear();
        self.words.resize(width.div_ceil(WORD) * height, 0);
    }

    /// An empty mask of the size of another.
    fn reset_like(&mut self, other: &Self) {
        self.reset(other.width, other.height);
    }

    /// Takes the size of another; what is set is to be said for every word.
    fn sized_like(&mut self, other: &Self) {
        (self.width, self.height) = (other.width, other.height);
        self.words.resize(other.words.len(), 0);
    }

    /// A copy of another.
    pub(crate) fn copy(&mut self, other: &Self) {
        (self.width, self.height) = (other.width, other.height);
        self.words.clone_from(&other.words);
    }

    /// Number of strips of 64 columns.
    const fn strips(&self) -> usize {
        self.width.div_ceil(WORD)
    }

    /// Where the words of a strip are.
    const fn strip(&self, k: usize) -> Range<usize> {
        k * self.height..(k + 1) * self.height
    }

    /// The word of a row in a strip.
    const fn at(&self, k: usize, y: usize) -> usize {
        k * self.height + y
    }

    /// Sets the pixels of a row from `x0` up to and without `x1`.
    pub(crate) fn set_run(&mut self, y: usize, x0: usize, x1: usize) {
        for k in x0 / WORD..x1.div_ceil(WORD) {
            let at = self.at(k, y);
            self.words[at] |= first(x1 - k * WORD) & !first(x0.saturating_sub(k * WORD));
        }
    }

    /// Sets what the runs that are wanted, by their index, have in the rectangle that this mask is of.
    pub(crate) fn set_runs(&mut self, map: &RunMap, at: Rect, wanted: impl Fn(usize) -> bool) {
        for (row, y) in (at.y..at.bottom()).enumerate() {
            for i in map.row_within(y, at.x, at.right()).filter(|&i| wanted(i)) {
                let run = map.runs[i];
                self.set_run(row, (run.x0.max(at.x) - at.x) as usize, (run.x1.min(at.right()) - at.x) as usize);
            }
        }
    }

    /// Sets pixel `i`, counted row after row.
    pub(crate) fn set(&mut self, i: usize) {
        let (x, y) = (i % self.width, i / self.width);
        let at = self.at(x / WORD, y);
        self.words[at] |= 1 << (x % WORD);
    }

    /// Whether a pixel is set.
    pub(crate) fn get(&self, x: usize, y: usize) -> bool {
        self.words[self.at(x / WORD, y)] >> (x % WORD) & 1 == 1
    }

    /// Up to 64 pixels of a row from `x` on, as the first `count` bits of a word.
    pub(crate) fn piece(&self, y: usize, x: usize, count: usize) -> u64 {
        let (k, shift) = (x / WORD, x % WORD);
        let low = self.words[self.at(k, y)] >> shift;
        let high = if shift == 0 { 0 } else { self.words.get(self.at(k + 1, y)).map_or(0, |next| next << (WORD - shift)) };
        (low | high) & first(count)
    }

    /// Whether no pixel is set.
    pub(crate) fn is_empty(&self) -> bool {
        self.words.iter().all(|&word| word == 0)
    }

    /// Number of pixels set.
    pub(crate) fn count(&self) -> usize {
        self.words.iter().map(|word| word.count_ones() as usize).sum()
    }

    /// Every pixel, row after row.
    pub(crate) fn iter(&self) -> impl Iterator<Item = bool> {
        (0..self.height).flat_map(move |y| (0..self.width).map(move |x| self.get(x, y)))
    }

    /// The pixels set, as (x, y), row after row.
    pub(crate) fn pixels(&self) -> impl Iterator<Item = (usize, usize)> {
        let word = move |y: usize, k: usize| set_bits(self.words[self.at(k, y)]).map(move |x| (k * WORD + x, y));
        (0..self.height).flat_map(move |y| (0..self.strips()).flat_map(move |k| word(y, k)))
    }

    /// The places of the pixels set, counted row after row.
    pub(crate) fn places(&self) -> impl Iterator<Item = usize> {
        self.pixels().map(|(x, y)| y * self.width + x)
    }

    /// Sets in `out` those of the pixels set here whose level is less than `level`. `levels` are those of all pixels, row after row.
    pub(crate) fn darker(&self, levels: &[Level], level: Level, out: &mut Self) {
        self.changed(out, |start, word| {
            let than = u16x8::splat(level);
            let mut kept = 0;
            let mut at = word.trailing_zeros() as usize & !7;
            while at < WORD && word >> at != 0 {
                let some = &levels[start + at..];
                kept |= match some.first_chunk::<8>() {
                    Some(eight) => u64::from(u16x8::from(*eight).simd_lt(than).to_bitmask()),
                    None => some.iter().enumerate().map(|(k, &of)| u64::from(of < level) << k).sum(),
                } << at;
                at += 8;
            }
            kept & word
        });
    }

    /// Sets in `out` those of the pixels set here that are wanted, by their place.
    pub(crate) fn filtered(&self, wanted: impl Fn(usize) -> bool, out: &mut Self) {
        self.changed(out, |start, word| set_bits(word).map(|x| u64::from(wanted(start + x)) << x).sum());
    }

    /// Sets in `out` the words here, changed where they are not empty. They come with the place of their first pixel.
    fn changed(&self, out: &mut Self, change: impl Fn(usize, u64) -> u64) {
        out.sized_like(self);
        for k in 0..self.strips() {
            let rows = self.words[self.strip(k)].iter().zip(&mut out.words[self.strip(k)]);
            for (y, (&word, out)) in rows.enumerate() {
                *out = if word == 0 { 0 } else { change(y * self.width + k * WORD, word) };
            }
        }
    }

    /// Gives the runs of rows that are set, as x, y and length, row after row. A run ends at every word.
    pub(crate) fn each_run(&self, mut found: impl FnMut(usize, usize, usize)) {
        for y in 0..self.height {
            for k in 0..self.strips() {
                let mut left = self.words[self.at(k, y)];
                while left != 0 {
                    let from = left.trailing_zeros() as usize;
                    let length = (!(left >> from)).trailing_zeros() as usize;
                    // The carry runs through the lowest run, and out of it into nothing.
                    left &= left.wrapping_add(1 << from);
                    found(k * WORD + from, y, length);
                }
            }
        }
    }

    /// Gives the same as places counted row after row.
    pub(crate) fn each_piece(&self, mut found: impl FnMut(Range<usize>)) {
        self.each_run(|x, y, length| found(y * self.width + x..y * self.width + x + length));
    }

    /// Sets in `out` the part `at` of this mask.
    pub(crate) fn part(&self, at: Rect, out: &mut Self) {
        let (x, y) = (at.x as usize, at.y as usize);
        debug_assert!(at.right() as usize <= self.width && at.bottom() as usize <= self.height, "{at:?}");
        (out.width, out.height) = (at.width as usize, at.height as usize);
        out.words.resize(out.strips() * out.height, 0);
        for k in 0..out.strips() {
            let (from, shift) = ((x + k * WORD) / WORD, (x + k * WORD) % WORD);
            let rows = |k: usize| self.words.get(self.at(k, y)..self.at(k, y + out.height)).unwrap_or(&[]);
            let there = first(out.width - k * WORD);
            let strip = out.strip(k);
            let out = &mut out.words[strip];
            out.iter_mut().zip(rows(from)).for_each(|(out, low)| *out = low >> shift & there);
            if shift > 0 {
                out.iter_mut().zip(rows(from + 1)).for_each(|(out, high)| *out |= high << (WORD - shift) & there);
            }
        }
    }

    /// Joins another mask of the same size to this one.
    pub(crate) fn add(&mut self, other: &Self) {
        debug_assert_eq!((self.width, self.height), (other.width, other.height));
        self.words.iter_mut().zip(&other.words).for_each(|(a, b)| *a |= b);
    }

    /// Takes the pixels of another mask of the same size out of this one.
    pub(crate) fn take(&mut self, other: &Self) {
        debug_assert_eq!((self.width, self.height), (other.width, other.height));
        self.words.iter_mut().zip(&other.words).for_each(|(a, b)| *a &= !b);
    }

    /// Keeps the pixels that another mask of the same size has too.
    pub(crate) fn keep(&mut self, other: &Self) {
        debug_assert_eq!((self.width, self.height), (other.width, other.height));
        self.words.iter_mut().zip(&other.words).for_each(|(a, b)| *a &= b);
    }

    /// Turns every pixel over.
    pub(crate) fn turn_over(&mut self) {
        for k in 0..self.strips() {
            let (strip, all) = (self.strip(k), first(self.width - k * WORD));
            self.words[strip].iter_mut().for_each(|word| *word = !*word & all);
        }
    }

    /// Widens every row by a pixel on either side.
    fn widen_across(&mut self) {
        if self.width <= WORD {
            let all = first(self.width);
            self.words.iter_mut().for_each(|word| *word |= (*word << 1 | *word >> 1) & all);
            return;
        }
        for y in 0..self.height {
            let mut before = 0;
            for k in 0..self.strips() {
                let (at, next) = (self.at(k, y), self.at(k + 1, y));
                let (word, after) = (self.words[at], self.words.get(next).copied().unwrap_or(0));
                self.words[at] |= (word << 1 | word >> 1 | before >> (WORD - 1) | after << (WORD - 1)) & first(self.width - k * WORD);
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
        if self.strips() != 1 || self.height == 0 {
            return false;
        }
        let (all, last) = (first(self.width), self.height - 1);
        let open = |y: usize| !self.words[y] & all;
        let side = |y: usize| if y == 0 || y == last { all } else { 1 | 1 << (self.width - 1) };
        reached.sized_like(self);
        reached.words.iter_mut().enumerate().for_each(|(y, word)| *word = side(y) & open(y));
        spread(&mut reached.words, open, |word| word);
        reached.words.iter().enumerate().all(|(y, &word)| word == open(y))
    }

    /// Whether what is set hangs together over sides and corners, told quickly. False also where the mask is too wide to tell.
    pub(crate) fn is_one_piece(&self, reached: &mut Self) -> bool {
        let Some(start) = self.words.iter().position(|&word| word != 0).filter(|_| self.strips() == 1) else { return false };
        reached.reset_like(self);
        reached.words[start] = self.words[start] & self.words[start].wrapping_neg();
        spread(&mut reached.words, |y| self.words[y], |word| word | word << 1 | word >> 1);
        reached.words == self.words
    }

    /// Joins another mask, moved by `rows` up and down, to this one.
    fn add_moved(&mut self, other: &Self, rows: usize) {
        if rows == 0 {
            return self.add(other);
        }
        let keep = self.height.saturating_sub(rows);
        for k in 0..self.strips() {
            let (strip, from) = (self.strip(k), &other.words[self.strip(k)]);
            let to = &mut self.words[strip];
            to[self.height - keep..].iter_mut().zip(from).for_each(|(a, b)| *a |= b);
            to.iter_mut().zip(&from[self.height - keep..]).for_each(|(a, b)| *a |= b);
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

/// Spreads what is reached, a word a row, over all that hangs together with it in what is open. `beside` are the pixels that those of one row
/// touch in the next.
fn spread(reached: &mut [u64], open: impl Fn(usize) -> u64, beside: impl Fn(u64) -> u64) {
    let last = reached.len().saturating_sub(1);
    loop {
        let mut grown = false;
        // Down and up again, each row filled from what the row before reached.
        for y in (0..=last).chain((0..last).rev()) {
            let near = beside(reached[y.saturating_sub(1)] | reached[(y + 1).min(last)]);
            let seeds = (reached[y] | near) & open(y);
            let filled = fill_up(seeds, open(y)) | fill_up(seeds.reverse_bits(), open(y).reverse_bits()).reverse_bits();
            grown |= filled != reached[y];
            reached[y] = filled;
        }
        if !grown {
            return;
        }
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
