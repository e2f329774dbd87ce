//! Bare places seen in a picture without a blank.
//!
//! Bare glass lets all light through: it is the lightest there is, one level wherever it lies, flat inside, and bounded by edges as sharp as
//! the lens draws them. Thin film is none of the last three. A field shows bare places where flat pieces well above the film crowd at one
//! level, nothing flat is lighter, and the way between film and that level is short.

use super::{Correction, in_bands};
use crate::plane::{Level, Rect, Samples, Stage, Stop, Watch};

/// Side of the blocks in which pieces are looked at, px; a flat piece is three blocks wide and high.
const BLOCK: usize = 3;

/// How far the blocks of a flat piece may lie from their mean, relative.
const FLAT: f64 = 0.02;

/// Pieces count as lighter than the film from so many of its spreads on, as logarithms, and from [`LEAST_ABOVE`] on.
const SPREADS_ABOVE: f64 = 4.0;
const LEAST_ABOVE: f64 = 0.08;

/// Steps of the histogram of levels above the film, as logarithms.
const STEP: f64 = 0.01;
const STEPS: usize = 350;

/// Pieces within so much of the crowd's middle are of its level, as a logarithm, once bare places helped to tell the light; before that so
/// many spreads of the film, whose unevenness misleads the light.
const NEAR: f64 = 0.06;
const SPREADS_NEAR: f64 = 4.0;

/// The share of the flat pieces lighter than the film that makes a crowd.
const CROWD: f64 = 0.2;

/// The share of the flat pieces above half way that must be of one level, and the share that may be lighter still.
const OF_ONE_LEVEL: f64 = 0.6;
const LIGHTER_STILL: f64 = 0.1;

/// Fewest flat pieces: one gap of about 20 px across has them.
const FEWEST: u32 = 6;

/// Fewest ways from film to bare that are looked at.
const FEWEST_EDGES: u32 = 8;

/// Longest way from a quarter to three quarters, along a row: that of a Gaussian edge is 1.35 blur widths straight across, about twice that on
/// a slant. The blur is not yet measured and may be twice what the optics promise.
const WAY_BLURS: f64 = 4.0;
const WAY_PX: f64 = 2.0;

/// Blur taken where the optics do not tell, px.
const ASSUMED_BLUR: f64 = 1.0;

/// Side of the pieces of the picture whose bare places are taken together, px.
const SIDE: u32 = 64;

/// What is asked of a field.
pub(super) struct Question {
    /// Level of the film, which the correction makes even.
    pub(super) film: f64,
    /// Spread of the film's pixels, as a logarithm.
    pub(super) spread: f64,
    /// Noise of a pixel of film, relative to it.
    pub(super) noise: f64,
    /// Blur that the optics promise, px.
    pub(super) blur_px: Option<f64>,
    /// Whether the light is known from bare places too.
    pub(super) again: bool,
}

impl Question {
    /// How far from the crowd's middle a piece is still of its level, as a logarithm.
    fn near(&self) -> f64 {
        if self.again { NEAR } else { NEAR.max(SPREADS_NEAR * self.spread) }
    }
}

/// Where bare was seen.
pub(super) struct Places {
    /// Middle of what lies in one piece of the picture, px, and how far it is above the film, as a logarithm.
    pub(super) seen: Vec<([f64; 2], f64)>,
}

/// Looks for bare places. The correction gives levels at which the film is even.
pub(super) fn find(field: &dyn Samples, evened: &Correction<'_>, asked: &Question, watch: Watch<'_>) -> Result<Option<Places>, Stop> {
    let parts = in_bands(field, evened, (Stage::Survey, watch), |band, levels, _| {
        let mut steps = [0u32; STEPS];
        flat_pieces(band, levels, asked, |_, ratio| steps[step_of(ratio)] += 1);
        steps
    })?;
    let mut steps = [0u32; STEPS];
    for part in parts {
        steps.iter_mut().zip(part).for_each(|(s, p)| *s += p);
    }
    let Some(bare) = level_of_bare(&steps, step_of(asked.near())) else { return Ok(None) };
    let parts = in_bands(field, evened, (Stage::Survey, watch), |band, levels, _| {
        let mut pieces = vec![Piece::default(); field.size().0.div_ceil(SIDE) as usize];
        flat_pieces(band, levels, asked, |at, ratio| {
            if (ratio - bare).abs() < asked.near() + 0.5 * STEP {
                pieces[(at.x / SIDE) as usize].add(at, ratio);
            }
        });
        let mut ways = [0u32; 64];
        let rise = libm::exp(bare) - 1.0;
        let [low, high] = [0.25, 0.75].map(|share| asked.film * (1.0 + share * rise));
        levels.chunks_exact(band.width.max(1) as usize).for_each(|row| ways_of(row, low, high, &mut ways));
        (pieces, ways)
    })?;
    let mut ways = [0u32; 64];
    let mut seen = Vec::new();
    for (pieces, part) in parts {
        ways.iter_mut().zip(part).for_each(|(w, p)| *w += p);
        seen.extend(pieces.iter().filter_map(Piece::middle));
    }
    let longest = WAY_BLURS * asked.blur_px.unwrap_or(ASSUMED_BLUR) + WAY_PX;
    Ok(median_way(&ways).is_some_and(|way| way <= longest).then_some(Places { seen }))
}

/// Bare places of one piece of the picture, summed.
#[derive(Clone, Default)]
struct Piece {
    count: f64,
    x: f64,
    y: f64,
    ratio: f64,
}

impl Piece {
    fn add(&mut self, at: Rect, ratio: f64) {
        self.count += 1.0;
        self.x += f64::from(at.x) + f64::from(at.width) / 2.0;
        self.y += f64::from(at.y) + f64::from(at.height) / 2.0;
        self.ratio += ratio;
    }

    fn middle(&self) -> Option<([f64; 2], f64)> {
        (self.count > 0.0).then(|| ([self.x / self.count, self.y / self.count], self.ratio / self.count))
    }
}

/// Calls `found` with every flat piece of a band that is lighter than the film, and how much, as a logarithm.
fn flat_pieces(band: Rect, levels: &[Level], asked: &Question, mut found: impl FnMut(Rect, f64)) {
    let (across, down) = (band.width as usize / BLOCK, band.height as usize / BLOCK);
    if across < 3 || down < 3 {
        return;
    }
    let width = band.width as usize;
    let mut sums = vec![0u32; across * down];
    for (row, line) in levels.chunks_exact(width).take(down * BLOCK).enumerate() {
        let into = &mut sums[row / BLOCK * across..][..across];
        into.iter_mut().zip(line.chunks_exact(BLOCK)).for_each(|(s, c)| *s += c.iter().map(|&l| u32::from(l)).sum::<u32>());
    }
    let pixels = (BLOCK * BLOCK) as f64;
    let least = asked.film * pixels * libm::exp((SPREADS_ABOVE * asked.spread).max(LEAST_ABOVE));
    for row in 1..down - 1 {
        for column in 1..across - 1 {
            if f64::from(sums[row * across + column]) < least {
                continue;
            }
            let around = || (row - 1..=row + 1).flat_map(|r| sums[r * across + column - 1..=r * across + column + 1].iter());
            let mean = f64::from(around().sum::<u32>()) / 9.0;
            // Shot noise falls with the root of the level.
            let noise = asked.noise * (asked.film * pixels / mean).sqrt() / BLOCK as f64;
            let allowed = mean * FLAT.max(4.0 * noise);
            if mean >= least && around().all(|&s| (f64::from(s) - mean).abs() <= allowed) {
                let at = |i: usize, first: u32| first + u32::try_from((i - 1) * BLOCK).unwrap_or(0);
                let side = u32::try_from(3 * BLOCK).unwrap_or(0);
                found(Rect::new(at(column, band.x), at(row, band.y), side, side), libm::log(mean / (asked.film * pixels)));
            }
        }
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "cut to the steps first")]
fn step_of(ratio: f64) -> usize {
    (ratio / STEP).clamp(0.0, (STEPS - 1) as f64) as usize
}

/// The level at which the lighter flat pieces crowd, as a logarithm, where they do: the lightest crowd there is, with little above it and little
/// between it and half way to the film. What is darker is film by the rule that parts the two.
fn level_of_bare(steps: &[u32; STEPS], reach: usize) -> Option<f64> {
    let within = |middle: usize, reach: usize| -> u32 { steps[middle.saturating_sub(reach)..(middle + reach + 1).min(STEPS)].iter().sum() };
    let share = |count: u32, of: u32| f64::from(count) / f64::from(of.max(1));
    let (all, narrow) = (steps.iter().sum(), reach / 3);
    let lightest = (0..STEPS).rev().find(|&m| within(m, narrow) >= FEWEST && share(within(m, narrow), all) >= CROWD)?;
    let peak = (lightest.saturating_sub(2 * narrow)..=lightest).rev().max_by_key(|&m| within(m, narrow))?;
    let level = (peak as f64 + 0.5) * STEP;
    let bare: u32 = steps[step_of(libm::log(0.5 + 0.5 * libm::exp(level)))..].iter().sum();
    let lighter: u32 = steps[(peak + reach + 1).min(STEPS)..].iter().sum();
    let plain = share(within(peak, reach), bare) >= OF_ONE_LEVEL && share(lighter, bare) <= LIGHTER_STILL;
    // What crowds in the last step is lighter than can be told.
    (plain && peak + reach < STEPS).then_some(level)
}

/// Counts, by their length, the ways along a row from `low` or less to `high` or more and back.
fn ways_of(row: &[Level], low: f64, high: f64, ways: &mut [u32; 64]) {
    let (mut last_low, mut last_high): (Option<usize>, Option<usize>) = (None, None);
    for (x, &level) in row.iter().enumerate() {
        let level = f64::from(level);
        let from = if level >= high {
            last_high = Some(x);
            last_low.take()
        } else if level <= low {
            last_low = Some(x);
            last_high.take()
        } else {
            continue;
        };
        if let Some(from) = from {
            ways[(x - from - 1).min(63)] += 1;
        }
    }
}

/// Median length of the ways, px; `None` of too few.
fn median_way(ways: &[u32; 64]) -> Option<f64> {
    let all: u32 = ways.iter().sum();
    let mut below = 0;
    let place = ways.iter().position(|&c| {
        below += c;
        below >= all.div_ceil(2)
    })?;
    (all >= FEWEST_EDGES).then_some(place as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn steps(of: &[(usize, u32)]) -> [u32; STEPS] {
        let mut steps = [0; STEPS];
        for &(at, count) in of {
            steps[at] = count;
        }
        steps
    }

    #[test]
    fn bare_is_the_lightest_crowd() {
        let level = |of: &[(usize, u32)]| level_of_bare(&steps(of), step_of(NEAR));
        assert!((level(&[(80, 50), (81, 40), (15, 90)]).unwrap() - 0.805).abs() < 0.02, "thin film is no crowd of bare places");
        assert_eq!(level(&[(80, 3)]), None, "too few");
        assert_eq!(level(&[(80, 50), (81, 40), (95, 15)]), None, "something flat is lighter");
        assert_eq!(level(&(40..90).map(|m| (m, 20)).collect::<Vec<_>>()), None, "not of one level");
        assert_eq!(level(&[]), None);
    }

    #[test]
    fn ways_are_counted_up_and_down() {
        let mut ways = [0; 64];
        ways_of(&[10, 10, 40, 60, 90, 90, 50, 90, 20, 10, 30, 50, 60, 70, 80], 20.0, 80.0, &mut ways);
        assert_eq!((ways[0], ways[2], ways[4]), (1, 1, 1));
        assert_eq!(ways.iter().sum::<u32>(), 3);
        assert_eq!(median_way(&ways), None, "too few to judge by");
        ways[2] = 8;
        assert_eq!(median_way(&ways), Some(2.0));
    }

    #[test]
    fn a_flat_piece_is_flat_all_over_and_lighter_than_the_film() {
        let asked = Question { film: 1000.0, spread: 0.01, noise: 0.001, blur_px: None, again: true };
        let found = |level: &dyn Fn(usize, usize) -> u16| {
            let levels: Vec<u16> = (0..12 * 12).map(|i| level(i % 12, i / 12)).collect();
            let mut count = 0;
            flat_pieces(Rect::new(0, 0, 12, 12), &levels, &asked, |_, ratio| {
                count += 1;
                assert!((ratio - libm::log(2.0)).abs() < 0.02);
            });
            count
        };
        assert_eq!(found(&|_, _| 2000), 4);
        assert_eq!(found(&|_, _| 1050), 0);
        assert_eq!(found(&|x, _| if x < 3 { 1000 } else { 2000 }), 2);
        assert_eq!(found(&|x, _| 1600 + 40 * u16::try_from(x).unwrap()), 0);
    }
}
