//! Intervals of what is pooled over fields of slides: ordinary quantities, rare events, and the tails of size distributions.
//!
//! Fields of one slide do not describe a lot. Everywhere here the unit of replication is the slide where there are several, and what is
//! covered is the lot; with one slide it is the field, and what is covered is that slide. `slides[i]` numbers the slide of field `i`, in any
//! order, from 0. How often the intervals hold what they should is simulated in `tests/src/simulate.rs` and printed by
//! `cargo bench -p evenfilm-tests --bench coverage`.

mod rare;
mod tails;

pub use rare::{Events, rare};
pub(crate) use tails::Resampled;
pub use tails::{ENOUGH, ENOUGH_D43, Tails, tails};

use crate::statistics::half_width;

/// Half width of the interval of an ordinary quantity at this `level` (0 to 1), in its unit: t · s/√n over the means of the slides, or over the
/// fields where there is one slide. `None` with fewer than two units.
pub fn ordinary(fields: &[f64], slides: &[usize], level: f64) -> Option<f64> {
    let several = several(slides);
    let means: Vec<f64> = if several {
        grouped(slides).iter().map(|of| of.iter().map(|&i| fields[i]).sum::<f64>() / of.len() as f64).collect()
    } else {
        fields.to_vec()
    };
    half_width(&means, level)
}

fn several(slides: &[usize]) -> bool {
    slides.iter().any(|s| *s != slides[0])
}

/// Indices of the fields of each slide, slides by their number.
fn grouped(slides: &[usize]) -> Vec<Vec<usize>> {
    let mut names = slides.to_vec();
    names.sort_unstable();
    names.dedup();
    names.iter().map(|name| (0..slides.len()).filter(|&i| slides[i] == *name).collect()).collect()
}

/// The fields that make up each unit of replication.
fn units(slides: &[usize]) -> Vec<Vec<usize>> {
    if several(slides) { grouped(slides) } else { (0..slides.len()).map(|i| vec![i]).collect() }
}
