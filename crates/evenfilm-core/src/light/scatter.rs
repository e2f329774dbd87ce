//! Dark field: how far scattered light must be turned down so that the brightest particle is still above black.
//!
//! Assumed: a place scatters in proportion to what it holds, an even scatterer shows the light, and scattered light adds. Levels are then
//! 1 less a share of the scattered light, which is linear in intensity: edges stay half way.

use super::Correction;
use super::film::{BINS, histograms, middle};
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::{Lamp, Light, Optics, Reference};
    use crate::plane::{Plane, Rect};
    use crate::recipe::Film;
    use std::sync::atomic::AtomicBool;

    /// Light of a field of 128 px with a bright square, over a scatterer of 20000 counts and an empty slide of 1000.
    fn light_with(bright: u16, then: impl Fn(&Light<'_>, &Plane<u16>)) {
        let cancel = AtomicBool::new(false);
        let watch = Watch { cancel: &cancel, tell: &|_, _| () };
        let (white, dark) = (Plane::from_elem((128, 128), 20_000u16), Plane::from_elem((128, 128), 1000u16));
        let field = Plane::from_shape_fn((128, 128), |(r, c)| match (r, c) {
            (40..48, 40..48) => bright,
            (80..120, 80..120) => 1000,
            _ => 5750,
        });
        let lamp = Lamp::new(Some(&white), Some(&dark), watch).unwrap().in_dark_field();
        let optics = Optics { um_per_px: 0.25, numerical_aperture: None, wavelength_nm: None, full_scale: u16::MAX };
        then(&lamp.light(&field, Film::Auto, &optics, watch).unwrap(), &field);
    }

    fn levels(light: &Light<'_>, field: &Plane<u16>) -> [f64; 3] {
        let levels = light.correction.levels(field, Rect::new(0, 0, 128, 128)).unwrap();
        [(100, 100), (10, 10), (44, 44)].map(|at| f64::from(levels[at]) / f64::from(ONE))
    }

    #[test]
    fn scattered_light_lowers_the_level() {
        light_with(15_250, |light, field| {
            assert_eq!(light.reference, Reference::Scatterer);
            let [bare, film, particle] = levels(light, field);
            assert!((bare - 1.0).abs() < 1e-4 && (film - 0.75).abs() < 1e-4 && (particle - 0.25).abs() < 1e-4, "{bare} {film} {particle}");
        });
    }

    #[test]
    fn what_scatters_more_than_the_scatterer_is_turned_down_to_fit() {
        light_with(58_000, |light, field| {
            let [bare, film, particle] = levels(light, field);
            assert!((bare - 1.0).abs() < 1e-4 && particle > 0.02 && particle < 0.1, "{bare} {film} {particle}");
            // Linear in intensity: the film keeps its share of the particle.
            assert!(((1.0 - film) / (1.0 - particle) - 4750.0 / 57_000.0).abs() < 1e-3, "{film} {particle}");
        });
    }
}
