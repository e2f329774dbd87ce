//! Phases as runs: every row of the picture as the pieces of it that are gap or particle; what is left is film.
//!
//! [`cut`] makes the runs of one level each, [`join`] joins them to components. Nothing here looks at an object twice.

use rayon::prelude::*;

use crate::light::{Correction, Counts, FilmGrid, in_bands};
use crate::plane::{Level, ONE, Rect, Samples, Stage, Stop, Watch};

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

/// The owner of runs too small or too faint to be anything.
pub const NOBODY: u32 = u32::MAX;

impl RunMap {
    /// Indices of the runs of a row.
    pub fn row(&self, y: u32) -> std::ops::Range<usize> {
        self.row_start[y as usize] as usize..self.row_start[y as usize + 1] as usize
    }

    /// Indices of the runs of a row that reach into columns `x0` up to and without `x1`.
    pub fn row_within(&self, y: u32, x0: u32, x1: u32) -> std::ops::Range<usize> {
        let row = self.row(y);
        let runs = &self.runs[row.clone()];
        let first = runs.partition_point(|r| r.x1 <= x0);
        let last = first + runs[first..].partition_point(|r| r.x0 < x1);
        row.start + first..row.start + last
    }

    /// Number of pixels in all runs.
    pub fn area(&self) -> u64 {
        self.runs.iter().map(|r| u64::from(r.x1 - r.x0)).sum()
    }

    /// Number of pixels in the runs of an owner.
    pub fn area_of(&self, owner: u32) -> u64 {
        self.runs.iter().zip(&self.owner).filter(|(_, of)| **of == owner).map(|(r, _)| u64::from(r.x1 - r.x0)).sum()
    }

    /// The pieces between the runs, without owners.
    #[must_use]
    pub fn complement(&self, width: u32) -> Self {
        let mut out = Self::default();
        let rows = u32::try_from(self.row_start.len().saturating_sub(1)).unwrap_or(0);
        for y in 0..rows {
            out.row_start.push(count32(out.runs.len()));
            let mut x0 = 0;
            for run in &self.runs[self.row(y)] {
                if run.x0 > x0 {
                    out.runs.push(Run { x0, x1: run.x0 });
                }
                x0 = x0.max(run.x1);
            }
            if width > x0 {
                out.runs.push(Run { x0, x1: width });
            }
        }
        out.row_start.push(count32(out.runs.len()));
        out
    }

    /// Runs given with their row and owner, in any order, of a picture with this many rows. `pieces` is asked twice and must give the same.
    pub fn from_pieces<I: IntoIterator<Item = (u32, Run, u32)>>(rows: u32, pieces: impl Fn() -> I) -> Self {
        let mut row_start = vec![0u32; rows as usize + 1];
        // Not `for`, which asks nested iterators anew for every piece.
        pieces().into_iter().for_each(|(y, ..)| row_start[y as usize + 1] += 1);
        for y in 1..row_start.len() {
            row_start[y] += row_start[y - 1];
        }
        let mut next = row_start.clone();
        let count = row_start[rows as usize] as usize;
        let mut map = Self { row_start, runs: vec![Run { x0: 0, x1: 0 }; count], owner: vec![0; count] };
        pieces().into_iter().for_each(|(y, run, owner)| {
            let place = &mut next[y as usize];
            (map.runs[*place as usize], map.owner[*place as usize]) = (run, owner);
            *place += 1;
        });
        map.sort_rows();
        map
    }

    /// Puts the runs of every row in order.
    fn sort_rows(&mut self) {
        /// Threads take so many rows; a picture of no more is done before one wakes up.
        const AT_ONCE: usize = 64;
        let (mut runs, mut owners) = (&mut self.runs[..], &mut self.owner[..]);
        let mut rows = Vec::with_capacity(self.row_start.len());
        for ends in self.row_start.windows(2) {
            let count = (ends[1] - ends[0]) as usize;
            rows.push((runs.split_off_mut(..count).unwrap_or_default(), owners.split_off_mut(..count).unwrap_or_default()));
        }
        let sort = |sorted: &mut Vec<(u32, u32, u32)>, (runs, owners): (&mut [Run], &mut [u32])| {
            sorted.clear();
            sorted.extend(runs.iter().zip(&*owners).map(|(run, &owner)| (run.x0, owner, run.x1)));
            sorted.sort_unstable();
            for ((run, to), &(x0, owner, x1)) in runs.iter_mut().zip(owners).zip(&*sorted) {
                (*run, *to) = (Run { x0, x1 }, owner);
            }
        };
        if rows.len() <= AT_ONCE {
            let mut sorted = Vec::new();
            for row in rows {
                sort(&mut sorted, row);
            }
        } else {
            rows.into_par_iter().with_min_len(AT_ONCE).for_each_init(Vec::new, sort);
        }
    }
}

/// Where the runs of every row stand, so that those of a window are found without a search.
#[derive(Clone, Debug, Default)]
pub(crate) struct Places {
    /// Blocks of [`PLACE`] columns in a row.
    blocks: usize,
    /// For every row and block the first run that reaches into the block or beyond.
    first: Vec<u32>,
}

/// Columns of a block of [`Places`].
const PLACE: u32 = 128;

impl Places {
    /// The places of the runs of a picture with this many columns.
    pub(crate) fn of(map: &RunMap, width: u32) -> Self {
        let blocks = width.div_ceil(PLACE) as usize;
        let rows = map.row_start.len().saturating_sub(1);
        let mut first = Vec::with_capacity(blocks * rows);
        for ends in map.row_start.windows(2) {
            let mut next = ends[0];
            for block in 0..count32(blocks) {
                while next < ends[1] && map.runs[next as usize].x1 <= block * PLACE {
                    next += 1;
                }
                first.push(next);
            }
        }
        Self { blocks, first }
    }

    /// The runs of a row that reach into columns `x0` up to and without `x1`: their indices.
    pub(crate) fn within<'a>(&self, map: &'a RunMap, y: u32, x0: u32, x1: u32) -> impl Iterator<Item = usize> + use<'a> {
        let first = self.first[y as usize * self.blocks + (x0 / PLACE) as usize] as usize;
        let last = map.row_start[y as usize + 1] as usize;
        let runs = (first..).zip(&map.runs[first..last]);
        runs.skip_while(move |(_, run)| run.x1 <= x0).take_while(move |(_, run)| run.x0 < x1).map(|(i, _)| i)
    }
}

/// Counts of runs are kept in 32 bits; a picture with more runs than that is not read (4 thousand million runs need a picture of 8 gigapixels).
pub(crate) fn count32(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

/// The levels that part the phases, relative to the film's map.
#[derive(Clone, Debug)]
pub struct Cuts {
    /// The film's level.
    pub film: FilmGrid,
    /// A pixel below this share of the film's level may belong to a particle.
    pub particle: f64,
    /// Where between film (0) and bare (1) a gap begins; `None` where bare places cannot be told from film.
    pub gap: Option<f64>,
}

impl Cuts {
    /// Level above which a pixel is a gap where the film has this level; 65535 where gaps are not measured.
    pub fn gap_level(&self, film: f64) -> f64 {
        self.gap.map_or(65535.0, |edge| film + edge * (f64::from(ONE) - film))
    }
}

/// What the cut gives.
#[derive(Clone, Debug, Default)]
pub struct Cut {
    /// Runs that may belong to particles.
    pub particle: RunMap,
    /// Darkest level of each particle run.
    pub darkest: Vec<Level>,
    /// Runs above the gap level.
    pub gap: RunMap,
    /// Lightest level of each gap run.
    pub lightest: Vec<Level>,
    /// Pixels between the gap level and half the film's optical density.
    pub thin: u64,
    /// Pixels beyond the camera's range: film and bare places at full scale, particles at full scale or black.
    pub clipped: [u64; 3],
}

/// Cuts a field into runs.
///
/// # Errors
/// [`Stop`].
pub fn cut(field: &dyn Samples, correction: &Correction<'_>, cuts: &Cuts, full_scale: u16, watch: Watch<'_>) -> Result<Cut, Stop> {
    let parts = in_bands(field, correction, (Stage::Cut, watch), |band, levels, counts| {
        let cut = cut_band(band, levels, cuts);
        Cut { clipped: clipped_of(&cut, (band, levels, counts), full_scale), ..cut }
    })?;
    let mut whole = Cut::default();
    for part in parts {
        append(&mut whole.particle, &part.particle);
        append(&mut whole.gap, &part.gap);
        whole.darkest.extend(part.darkest);
        whole.lightest.extend(part.lightest);
        whole.thin += part.thin;
        whole.clipped.iter_mut().zip(part.clipped).for_each(|(whole, part)| *whole += part);
    }
    whole.particle.row_start.push(count32(whole.particle.runs.len()));
    whole.gap.row_start.push(count32(whole.gap.runs.len()));
    Ok(whole)
}

/// Pixels of a band beyond the camera's range, by phase. Only where there are some are they told apart.
fn clipped_of(cut: &Cut, (band, levels, counts): (Rect, &[Level], Counts<'_>), full_scale: u16) -> [u64; 3] {
    let all = counts.at_full_scale(0..levels.len(), full_scale);
    let width = band.width as usize;
    let within = |map: &RunMap, of: &dyn Fn(std::ops::Range<usize>, usize) -> u64| {
        let ends = map.row_start.iter().skip(1).map(|&end| end as usize).chain([map.runs.len()]);
        let rows = map.row_start.iter().map(|&start| start as usize).zip(ends).enumerate();
        rows.flat_map(|(row, (start, end))| (start..end).map(move |i| (row, i)))
            .map(|(row, i)| of(row * width + map.runs[i].x0 as usize..row * width + map.runs[i].x1 as usize, i))
            .sum::<u64>()
    };
    let full = |map: &RunMap| if all == 0 { 0 } else { within(map, &|pixels, _| counts.at_full_scale(pixels, full_scale)) };
    let (bare, lit) = (full(&cut.gap), full(&cut.particle));
    // With a dark picture taken off, what is black was not black to the camera.
    let is_black = |i: usize| cut.darkest[i] == 0 && !counts.is_less_dark();
    let black = |pixels: std::ops::Range<usize>, i: usize| {
        if is_black(i) { levels[pixels].iter().filter(|&&level| level == 0).count() as u64 } else { 0 }
    };
    let black = if cut.darkest.contains(&0) { within(&cut.particle, &black) } else { 0 };
    [all.saturating_sub(bare + lit), bare, lit.max(black)]
}

/// Adds the rows of a band; the closing entry of `row_start` is the caller's.
fn append(whole: &mut RunMap, part: &RunMap) {
    let offset = count32(whole.runs.len());
    whole.row_start.extend(part.row_start.iter().map(|s| s + offset));
    whole.runs.extend_from_slice(&part.runs);
}

/// Side of the blocks over which the cut levels are taken as one, px: the film's map is linear over at least 64 px.
const BLOCK: u32 = 16;

#[derive(Clone, Copy)]
struct Block {
    particle: Level,
    gap: Level,
    thin: Level,
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "levels are cut to 0..=65535 first")]
fn blocks_of_row(cuts: &Cuts, y: u32, width: u32, out: &mut Vec<Block>) {
    let level = |of: f64| of.clamp(0.0, 65535.0) as Level;
    out.clear();
    out.extend((0..width.div_ceil(BLOCK)).map(|b| {
        let film = cuts.film.at(f64::from(b * BLOCK + BLOCK / 2), f64::from(y + BLOCK / 2));
        let thin = if cuts.gap.is_some() { (film * f64::from(ONE)).sqrt() } else { 65535.0 };
        Block { particle: level(film * cuts.particle), gap: level(cuts.gap_level(film)), thin: level(thin) }
    }));
}

fn cut_band(band: Rect, levels: &[Level], cuts: &Cuts) -> Cut {
    let mut out = Cut::default();
    let mut blocks = Vec::new();
    let mut classes = vec![0u8; band.width as usize];
    for (y, line) in (band.y..).zip(levels.chunks_exact(band.width.max(1) as usize)) {
        if (y - band.y).is_multiple_of(BLOCK) {
            blocks_of_row(cuts, y, band.width, &mut blocks);
        }
        out.thin += classify(line, &blocks, &mut classes);
        out.particle.row_start.push(count32(out.particle.runs.len()));
        out.gap.row_start.push(count32(out.gap.runs.len()));
        runs_of(&classes, |class, run| {
            let piece = &line[run.x0 as usize..run.x1 as usize];
            if class == PARTICLE {
                out.darkest.push(piece.iter().copied().min().unwrap_or(0));
                out.particle.runs.push(run);
            } else {
                out.lightest.push(piece.iter().copied().max().unwrap_or(0));
                out.gap.runs.push(run);
            }
        });
    }
    out
}

const PARTICLE: u8 = 1;
const GAP: u8 = 2;

/// The class of each pixel of a row, and the number of thin ones.
fn classify(line: &[Level], blocks: &[Block], classes: &mut [u8]) -> u64 {
    let mut thin = 0u64;
    for ((piece, class), block) in line.chunks(BLOCK as usize).zip(classes.chunks_mut(BLOCK as usize)).zip(blocks) {
        let mut above = 0u16;
        for (&level, c) in piece.iter().zip(class) {
            *c = u8::from(level < block.particle) * PARTICLE + u8::from(level > block.gap) * GAP;
            // Without branches: lighter than half the film's density, but not a gap.
            above += u16::from(level > block.thin) * u16::from(level <= block.gap);
        }
        thin += u64::from(above);
    }
    thin
}

/// Calls `found` for every run of one class other than film; eight pixels of film are passed at a time.
fn runs_of(classes: &[u8], mut found: impl FnMut(u8, Run)) {
    let mut x = 0;
    while x < classes.len() {
        let class = classes[x];
        let end = x + same(&classes[x..], class);
        if class != 0 {
            found(class, Run { x0: count32(x), x1: count32(end) });
        }
        x = end;
    }
}

/// How many entries from the first on equal `class`.
fn same(classes: &[u8], class: u8) -> usize {
    let pattern = u64::from_ne_bytes([class; 8]);
    let mut length = 0;
    for word in classes.chunks_exact(8) {
        let differs = u64::from_le_bytes([word[0], word[1], word[2], word[3], word[4], word[5], word[6], word[7]]) ^ pattern;
        if differs != 0 {
            return length + differs.trailing_zeros() as usize / 8;
        }
        length += 8;
    }
    length + classes[length..].iter().take_while(|&&c| c == class).count()
}

/// One connected piece of a phase.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Component {
    /// Its box.
    pub at: Rect,
    /// Number of pixels.
    pub area: u64,
    /// Most extreme level in it: darkest of a particle, lightest of a gap.
    pub extreme: Level,
}

/// Joins the runs of a phase to components (8-connected), numbered in order of their first pixel. `keep` says which stay; runs of the others
/// belong to [`NOBODY`]. `extremes[i]` is the most extreme level of run i; `darker` whether dark is extreme.
pub fn join(map: &mut RunMap, extremes: &[Level], darker: bool, keep: impl Fn(&Component) -> bool) -> Vec<Component> {
    let mut owner = parents_of(map);
    let mut found: Vec<Component> = Vec::new();
    for y in 0..map.row_start.len().saturating_sub(1) {
        for i in map.row(count32(y)) {
            let run = map.runs[i];
            let here =
                Component { at: Rect::new(run.x0, count32(y), run.x1 - run.x0, 1), area: u64::from(run.x1 - run.x0), extreme: extremes[i] };
            // A parent stands before its run, so what it belongs to is known.
            let parent = owner[i] as usize;
            if parent == i {
                owner[i] = count32(found.len());
                found.push(here);
            } else {
                owner[i] = owner[parent];
                let whole = &mut found[owner[i] as usize];
                whole.at = whole.at.union(here.at);
                whole.area += here.area;
                whole.extreme = if darker { whole.extreme.min(here.extreme) } else { whole.extreme.max(here.extreme) };
            }
        }
    }
    let mut kept = Vec::with_capacity(found.len());
    let place: Vec<u32> = found
        .iter()
        .map(|c| {
            if !keep(c) {
                return NOBODY;
            }
            kept.push(*c);
            count32(kept.len() - 1)
        })
        .collect();
    for owner in &mut owner {
        *owner = place[*owner as usize];
    }
    map.owner = owner;
    kept
}

/// For every run an earlier one of its component, or itself where it is the first: union-find by least index, over neighbouring rows.
fn parents_of(map: &RunMap) -> Vec<u32> {
    let mut parent: Vec<u32> = (0..count32(map.runs.len())).collect();
    for y in 1..map.row_start.len().saturating_sub(1) {
        let (mut above, this) = (map.row_start[y - 1] as usize, map.row_start[y] as usize);
        for i in this..map.row_start[y + 1] as usize {
            let run = map.runs[i];
            // Corner to corner counts: runs touch when they overlap after growing one of them by a pixel.
            while above < this && map.runs[above].x1 < run.x0 {
                above += 1;
            }
            let mut j = above;
            while j < this && map.runs[j].x0 <= run.x1 {
                unite(&mut parent, i, j);
                j += 1;
            }
        }
    }
    parent
}

fn find(parent: &mut [u32], mut i: usize) -> usize {
    while parent[i] as usize != i {
        parent[i] = parent[parent[i] as usize];
        i = parent[i] as usize;
    }
    i
}

/// Unites by least index, so that a component's root is its first run and parents never point forward.
fn unite(parent: &mut [u32], a: usize, b: usize) {
    let (a, b) = (find(parent, a), find(parent, b));
    let (low, high) = (a.min(b), a.max(b));
    parent[high] = count32(low);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_in_any_order_are_put_in_theirs() {
        // Rows that one thread takes at once, and some more.
        for rows in [1, 63, 64, 65, 200] {
            let mut pieces: Vec<(u32, Run, u32)> =
                (0..rows * 5).map(|k| (k % rows, Run { x0: k / rows * 10, x1: k / rows * 10 + 3 }, k)).collect();
            let expected = RunMap {
                row_start: (0..=rows).map(|y| 5 * y).collect(),
                runs: (0..rows).flat_map(|_| (0..5).map(|k| Run { x0: 10 * k, x1: 10 * k + 3 })).collect(),
                owner: (0..rows).flat_map(|y| (0..5).map(move |k| k * rows + y)).collect(),
            };
            pieces.sort_by_key(|(y, run, _)| (run.x0 * 7 + y * 31) % 53);
            assert_eq!(RunMap::from_pieces(rows, || pieces.iter().copied()), expected, "{rows}");
        }
    }
}
