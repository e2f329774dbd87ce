//! The film's level by sub-areas, from the pixels that show film.

use std::sync::LazyLock;

use rayon::prelude::*;

use super::{BAND, Correction, Scratch, bands};
use crate::order::in_turn;
use crate::plane::{Level, ONE, Plane, Rect, Samples, Stage, Stop, Watch, single};
use crate::reuse;

/// Most sub-areas in a picture; larger pictures get larger ones.
const MOST_CELLS: u64 = 4096;

/// Bins of a histogram of levels, on a square-root scale: 0.6 % wide at the empty slide, 3 % at transmission 0.03.
pub(super) const BINS: usize = 512;

/// Every so many rows are looked at: 1024 pixels of a sub-area of 64 px.
const EVERY: usize = 4;

/// Bands whose histograms are held at a time.
const BANDS_AT_ONCE: usize = 64;

/// A sub-area counts as bare where its median is within this of the empty slide.
const NEARLY_BARE: f64 = 0.03;

/// Least share of sub-areas that must show film for its level to be trusted.
const LEAST_FILM: f64 = 0.02;

/// Least share of a sub-area's pixels that must show film for its own level.
const LEAST_OF_CELL: f64 = 0.15;

static BIN_OF: LazyLock<Vec<u16>> = LazyLock::new(|| (0..=u16::MAX).map(bin_of).collect());

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "2·√65535 is below 512")]
fn bin_of(level: Level) -> u16 {
    (2.0 * f64::from(level).sqrt()) as u16
}

/// Middle level of a bin.
pub(super) fn middle(bin: usize) -> f64 {
    within(bin, 0.5)
}

/// Level at a share of the way through a bin.
fn within(bin: usize, share: f64) -> f64 {
    let root = 0.5 * (bin as f64 + share);
    root * root
}

/// A smooth map of the film's level: values at the centres of square sub-areas, linear between them, constant beyond the outer ones.
#[derive(Clone, Debug)]
pub struct FilmGrid {
    cell: u32,
    value: Plane<f32>,
}

impl FilmGrid {
    /// The same level everywhere.
    pub fn flat(level: f64) -> Self {
        Self { cell: BAND, value: Plane::from_elem((1, 1), single(level)) }
    }

    /// Film level at a place of the field, px.
    pub fn at(&self, x: f64, y: f64) -> f64 {
        let (rows, columns) = self.value.dim();
        let (r, fr) = self.between(y, rows);
        let (c, fc) = self.between(x, columns);
        let (r1, c1) = ((r + 1).min(rows - 1), (c + 1).min(columns - 1));
        let v = |r: usize, c: usize| f64::from(self.value[[r, c]]);
        let upper = v(r, c) + (v(r, c1) - v(r, c)) * fc;
        let lower = v(r1, c) + (v(r1, c1) - v(r1, c)) * fc;
        upper + (lower - upper) * fr
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "cut to 0..count first")]
    fn between(&self, at: f64, count: usize) -> (usize, f64) {
        let place = (at / f64::from(self.cell) - 0.5).clamp(0.0, (count - 1) as f64);
        (place as usize, place - (place as usize) as f64)
    }

    /// Values of the sub-areas, row after row.
    pub fn values(&self) -> impl Iterator<Item = f64> + '_ {
        self.value.iter().map(|&v| f64::from(v))
    }
}

/// What a first look at the levels of a field tells.
#[derive(Clone, Debug)]
pub struct Seen {
    /// The film's level; `None` where too little film shows.
    pub film: Option<FilmGrid>,
    /// Levels of the sub-areas that show enough film themselves, in order.
    pub cell_levels: Vec<f64>,
    /// Share of the field's pixels that show film, 0 to 1.
    pub share: f64,
    /// Spread of the film's pixels about the map, relative to the film's level: noise and fine texture together (1.4826 × MAD).
    pub spread: f64,
    /// Median level of all pixels.
    pub median: f64,
}

/// Histograms of the sub-areas.
pub(super) struct Cells {
    pub(super) side: u32,
    pub(super) across: usize,
    pub(super) counts: Vec<[u32; BINS]>,
}

/// First look at a field. `bare_known`: level [`ONE`] is the empty slide (a blank was given). `noise` is the noise of a pixel as a share of
/// the empty slide.
///
/// # Errors
/// [`Stop`].
pub fn look(field: &dyn Samples, correction: &Correction<'_>, bare_known: bool, noise: f64, watch: Watch<'_>) -> Result<Seen, Stop> {
    let cells = histograms(field, correction, watch)?;
    Ok(seen(&cells, bare_known, noise))
}

pub(super) fn histograms(field: &dyn Samples, correction: &Correction<'_>, watch: Watch<'_>) -> Result<Cells, Stop> {
    let size = field.size();
    let pixels = u64::from(size.0) * u64::from(size.1);
    let mut side = BAND;
    while (pixels / u64::from(side)).div_ceil(u64::from(side)) > MOST_CELLS {
        side += BAND;
    }
    let across = size.0.div_ceil(side) as usize;
    let down = size.1.div_ceil(side) as usize;
    let all = bands(size);
    let per_row = (side / BAND) as usize;
    let mut cells = Cells { side, across, counts: Vec::with_capacity(across * down) };
    // Some bands at a time, so that no more than their own histograms are held beside the sum.
    for (group, some) in all.chunks(BANDS_AT_ONCE).enumerate() {
        let parts = in_turn(some.len(), |index| {
            let band = some[index];
            watch.poll()?;
            (watch.tell)(Stage::Survey, band.y as f32 / size.1.max(1) as f32);
            let mut counts = vec![[0u32; BINS]; across];
            reuse::with(|(scratch, levels): &mut (Scratch, Vec<Level>)| {
                for y in (band.y..band.bottom()).step_by(EVERY) {
                    correction.levels_into(field, Rect::new(0, y, size.0, 1), scratch, levels)?;
                    add_row(levels, side, &mut counts);
                }
                Ok(counts)
            })
        })?;
        for (band, counts) in (group * BANDS_AT_ONCE..).zip(parts) {
            if band.is_multiple_of(per_row) {
                cells.counts.extend(counts);
                continue;
            }
            for (to, from) in cells.counts[band / per_row * across..].iter_mut().zip(counts) {
                to.iter_mut().zip(from).for_each(|(t, f)| *t += f);
            }
        }
    }
    Ok(cells)
}

/// Adds a row to the histograms of the sub-areas that it crosses.
fn add_row(levels: &[Level], side: u32, counts: &mut [[u32; BINS]]) {
    let bins = &*BIN_OF;
    for (piece, histogram) in levels.chunks(side as usize).zip(counts) {
        for &level in piece {
            histogram[bins[level as usize] as usize & (BINS - 1)] += 1;
        }
    }
}

fn seen(cells: &Cells, bare_known: bool, noise: f64) -> Seen {
    let medians: Vec<f64> = cells.counts.par_iter().filter_map(|h| quantile(h, 0, BINS - 1, 0.5)).collect();
    let whole = sum_of(&cells.counts);
    let nothing = Seen {
        film: None,
        cell_levels: Vec::new(),
        share: 0.0,
        spread: noise.max(1e-4),
        median: quantile(&whole, 0, BINS - 1, 0.5).unwrap_or(0.0),
    };
    let bare_from = f64::from(ONE) * (1.0 - NEARLY_BARE.max(3.0 * noise));
    let mut film_cells: Vec<f64> = if bare_known { medians.iter().copied().filter(|&m| m < bare_from).collect() } else { medians.clone() };
    if film_cells.is_empty() || (film_cells.len() as f64) < LEAST_FILM * medians.len() as f64 {
        return Seen { spread: spread_when_clear(&whole, noise), ..nothing };
    }
    film_cells.sort_by(f64::total_cmp);
    let film = film_cells[film_cells.len() / 2];
    let (low, high) = window_of(film, bare_known);
    let first: Vec<Option<f64>> = cells.counts.par_iter().map(|h| film_of(h, low, high)).collect();
    let spread = spread_of(cells, &first, (low, high)).max(noise * 0.5);
    let levels: Vec<Option<f64>> =
        cells.counts.par_iter().zip(&first).map(|(h, m)| m.map(|m| trimmed_mean(h, m, 2.5 * spread * m))).collect();
    let own: Vec<f64> = levels.iter().flatten().copied().collect();
    if own.is_empty() {
        return nothing;
    }
    let film_pixels = total(&whole, low, high);
    let share = film_pixels / total(&whole, 0, BINS - 1).max(1.0);
    Seen { film: Some(filled(cells, &levels)), cell_levels: own, share, spread, ..nothing }
}

/// Spread of the pixels around the empty slide where there is no film.
fn spread_when_clear(whole: &[u32; BINS], noise: f64) -> f64 {
    let (low, high) = (bin_of(ONE / 10 * 8) as usize, BINS - 1);
    let Some(centre) = quantile(whole, low, high, 0.5) else { return noise.max(1e-4) };
    let spread = quantile(whole, low, high, 0.75).unwrap_or(centre) - quantile(whole, low, high, 0.25).unwrap_or(centre);
    (spread / 1.349 / centre).max(noise).max(1e-4)
}

/// Bins that film of about this level may fill: up to short of half way to bare, down to 1.6 times its optical density or half its level.
fn window_of(film: f64, bare_known: bool) -> (usize, usize) {
    let one = f64::from(ONE);
    let low = if bare_known { (libm::pow(film / one, 1.6) * one).max(0.5 * film) } else { 0.5 * film };
    let high = if bare_known { film + 0.45 * (one - film).max(0.0) } else { 1.5 * film };
    (bin(low), bin(high))
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "cut to the range of levels first")]
fn bin(level: f64) -> usize {
    bin_of(level.clamp(0.0, 65535.0) as u16) as usize
}

fn sum_of(histograms: &[[u32; BINS]]) -> [u32; BINS] {
    let mut whole = [0; BINS];
    for histogram in histograms {
        whole.iter_mut().zip(histogram).for_each(|(w, c)| *w += c);
    }
    whole
}

fn total(histogram: &[u32; BINS], low: usize, high: usize) -> f64 {
    histogram[low..=high].iter().map(|&c| u64::from(c)).sum::<u64>() as f64
}

/// Level below which a share of the pixels in some bins lies, linear within a bin.
fn quantile(histogram: &[u32; BINS], low: usize, high: usize, share: f64) -> Option<f64> {
    let wanted = share * total(histogram, low, high);
    let mut below = 0.0;
    for (bin, &count) in histogram.iter().enumerate().take(high + 1).skip(low) {
        let count = f64::from(count);
        if count > 0.0 && below + count >= wanted {
            return Some(within(bin, (wanted - below) / count));
        }
        below += count;
    }
    None
}

/// Median of the pixels of a sub-area that may be film, where there are enough of them.
fn film_of(histogram: &[u32; BINS], low: usize, high: usize) -> Option<f64> {
    let film = total(histogram, low, high);
    if film < LEAST_OF_CELL * total(histogram, 0, BINS - 1) || film < 1.0 { None } else { quantile(histogram, low, high, 0.5) }
}

/// Relative spread about the sub-areas' medians: 1.4826 × median absolute deviation, pooled.
fn spread_of(cells: &Cells, medians: &[Option<f64>], (low, high): (usize, usize)) -> f64 {
    const FINE: f64 = 2000.0;
    let mut deviations = [0u64; 2048];
    for (histogram, median) in cells.counts.iter().zip(medians) {
        let Some(median) = median else { continue };
        for (bin, &count) in histogram.iter().enumerate().take(high + 1).skip(low).filter(|(_, count)| **count > 0) {
            let off = ((middle(bin) / median - 1.0).abs() * FINE).min(2047.0);
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "cut to 0..=2047")]
            let place = off as usize;
            deviations[place] += u64::from(count);
        }
    }
    let half = deviations.iter().sum::<u64>().div_ceil(2);
    let mut below = 0;
    let place = deviations.iter().position(|&c| {
        below += c;
        below >= half
    });
    1.4826 * (place.unwrap_or(0) as f64 + 0.5) / FINE
}

/// Mean of the pixels within `reach` of `centre`.
fn trimmed_mean(histogram: &[u32; BINS], centre: f64, reach: f64) -> f64 {
    let (low, high) = (bin(centre - reach), bin(centre + reach));
    let count = total(histogram, low, high);
    if count < 1.0 {
        return centre;
    }
    (low..=high).map(|b| f64::from(histogram[b]) * middle(b)).sum::<f64>() / count
}

/// The map: sub-areas without a level of their own take the mean of their neighbours', from the nearest outwards.
fn filled(cells: &Cells, levels: &[Option<f64>]) -> FilmGrid {
    let across = cells.across;
    let down = levels.len() / across;
    let mut known = levels.to_vec();
    while known.iter().any(Option::is_none) {
        let before = known.clone();
        for (i, level) in known.iter_mut().enumerate().filter(|(_, l)| l.is_none()) {
            let near = around(i, across, down).filter_map(|j| before[j]);
            let (sum, count) = near.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
            if count > 0.0 {
                *level = Some(sum / count);
            }
        }
        if known == before {
            break;
        }
    }
    let value = known.iter().map(|l| single(l.unwrap_or(f64::from(ONE)))).collect();
    let value = Plane::from_shape_vec((down, across), value).unwrap_or_else(|_| Plane::from_elem((1, 1), ONE as f32));
    FilmGrid { cell: cells.side, value }
}

fn around(index: usize, across: usize, down: usize) -> impl Iterator<Item = usize> {
    let (r, c) = (index / across, index % across);
    (r.saturating_sub(1)..(r + 2).min(down)).flat_map(move |r| (c.saturating_sub(1)..(c + 2).min(across)).map(move |c| r * across + c))
}
