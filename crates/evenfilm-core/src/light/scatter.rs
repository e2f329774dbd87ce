//! Dark field: how far scattered light must be turned down so that the brightest particle is still above black.
//!
//! Assumed: a place scatters in proportion to what it holds, an even scatterer shows the light, and scattered light adds. Levels are then
//! 1 less a share of the scattered light, which is linear in intensity: edges stay half way.

use super::film::{BINS, histograms, middle};
use super::Correction;
use crate::plane::{ONE, Samples, Stop, Watch, single};

/// The scale of the look at the brightest, so that what scatters eight times as much as the reference is still seen.
pub(super) const LOOK: f32 = 0.25;

/// The brightest pixels but for this share must keep above black; hot pixels are fewer.
const BRIGHTEST: f64 = 2e-4;

/// How much of the range they may take.
const ROOM: f64 = 0.95;

/// The factor on scattered light that leaves the brightest particles above black: 1 at most. `look` gives scattered light, not inverted, at
/// the scale [`LOOK`].
pub(super) fn room(field: &dyn Samples, look: &Correction<'_>, watch: Watch<'_>) -> Result<f32, Stop> {
    let cells = histograms(field, look, watch)?;
    let mut whole = vec![0u64; BINS];
    for histogram in &cells.counts {
        whole.iter_mut().zip(histogram).for_each(|(w, &c)| *w += u64::from(c));
    }
    let allowed = BRIGHTEST * whole.iter().sum::<u64>() as f64;
    let mut above = 0.0;
    let brightest = (0..BINS).rev().find(|&bin| {
        above += whole[bin] as f64;
        above > allowed
    });
    let scattered = brightest.map_or(0.0, middle) / (f64::from(ONE) * f64::from(LOOK));
    Ok(if scattered > ROOM { single(ROOM / scattered) } else { 1.0 })
}
