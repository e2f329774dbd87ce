//! Depth: the lens as it shows what lies above or below its plane of focus.
//!
//! The incoherent transfer function of a round pupil out of focus (H. H. Hopkins, Proc. R. Soc. A 231 (1955) 91) gives the energy within
//! ρ by a Hankel transform, and that a [`Lens`] like the one in focus, for outlines of any form.
//! Its limits are those of that theory: the defocus is the quadratic phase k W₂₀ r² over the pupil with W₂₀ = z NA²/(2n), which falls short of
//! n z (1 − cos α) by NA²/(4n²), 5 % at the rim of NA 0.65 in a film of index 1.5; light is scalar, the condenser fills the pupil evenly, the
//! film has one index throughout, and a particle lies in its plane as a whole.

use super::PhantomSpec;
use super::lens::{Blur, Lens};
use super::trace::gauss;
use std::f64::consts::TAU;

/// Depths are whole multiples of this, µm.
pub const DEPTH_STEP_UM: f64 = 0.1;
/// Panels of the transform over the band of the lens, at four nodes each: as the table ends at v = 63, each holds a third of a period.
const BAND_PANELS: u32 = 64;
/// Panels of the overlap of the pupils.
const PUPIL_PANELS: u32 = 4;

/// The lens at one, two, … steps of depth, as far as a film goes; a Gaussian has no aperture and stays in focus.
pub(super) fn defocused(spec: &PhantomSpec) -> Vec<Lens> {
    let Blur::Airy { numerical_aperture, wavelength_nm } = spec.blur else { return Vec::new() };
    let sine = spec.accepted_sine();
    let slant = sine / (1.0 - sine * sine).max(1e-6).sqrt();
    let steps = super::floor_index(spec.film.depth_um / DEPTH_STEP_UM + 1e-9);
    let band: Vec<[f64; 2]> = gauss(0.0, 2.0, BAND_PANELS).collect();
    let mut deep: Vec<(Lens, Vec<f64>)> = (1..=steps)
        .map(|step| {
            let z = step as f64 * DEPTH_STEP_UM;
            let phase = TAU * z * numerical_aperture * sine / (wavelength_nm * 1e-3);
            let weights = band.iter().map(|[s, weight]| weight * transfer(*s, phase)).collect();
            (Lens::blank(spec.blur, spec.um_per_px, z * slant / spec.um_per_px), weights)
        })
        .collect();
    let a = spec.blur.per_px(spec.um_per_px);
    // E(ρ) = aρ ∫ T(s) J₁(aρs) ds, and the table holds E/(2πρ²); Bessel's function is the same at every depth.
    let radii: Vec<f64> = deep.first().map(|(lens, _)| lens.radii().collect()).unwrap_or_default();
    for rho in radii {
        let waves: Vec<f64> = band.iter().map(|[s, _]| libm::j1(a * rho * s)).collect();
        for (lens, weights) in &mut deep {
            lens.table.push(a / (TAU * rho) * waves.iter().zip(&*weights).fold(0.0, |sum, (wave, weight)| sum + wave * weight));
        }
    }
    deep.into_iter().map(|(lens, _)| lens).collect()
}

/// The transfer function at s, the spatial frequency in units of NA/λ, from 0 to 2: the overlap of two unit pupils s apart,
/// (4/π) ∫ cos(`phase` s x) √(1 − (x + s/2)²) dx from 0 to 1 − s/2, with x + s/2 = cos φ. The phase is 2k W₂₀.
fn transfer(s: f64, phase: f64) -> f64 {
    let value = |[phi, weight]: [f64; 2]| {
        let (sin, cos) = libm::sincos(phi);
        weight * libm::cos(phase * s * (cos - 0.5 * s)) * sin * sin
    };
    4.0 / std::f64::consts::PI * gauss(0.0, libm::acos(0.5 * s), PUPIL_PANELS).map(value).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::super::FilmSpec;
    use super::super::lens::airy_energy;
    use super::super::tests::spec;
    use super::*;

    /// In focus the overlap of two discs: (2/π)(acos(s/2) − (s/2)√(1 − s²/4)).
    #[test]
    fn transfer_in_focus_is_the_overlap_of_two_discs() {
        for s in [0.0, 0.3, 1.0, 1.7, 1.999_f64] {
            let half = 0.5 * s;
            let expected = 2.0 / std::f64::consts::PI * (libm::acos(half) - half * (1.0 - half * half).sqrt());
            assert!((transfer(s, 0.0) - expected).abs() < 1e-9, "{s}");
        }
    }

    /// Energy by another way: the field of a pupil with that phase, 2∫ exp(i W r²) J₀(vr) r dr, squared and summed over the plane.
    #[test]
    fn energy_is_that_of_the_diffracted_field() {
        let film = FilmSpec { depth_um: 3.0, ..FilmSpec::depth() };
        let spec = spec(&film);
        let a = spec.blur.per_px(spec.um_per_px);
        for z in [0.1, 1.0, 3.0] {
            let deep = defocused(&spec);
            let lens = &deep[super::super::floor_index(z / DEPTH_STEP_UM + 0.5) - 1];
            let w = 0.5 * TAU * z * 0.65 * 0.65 / 1.5 / 0.55;
            let intensity = |v: f64| {
                let field = gauss(0.0, 1.0, 24).fold([0.0; 2], |sum, [r, weight]| {
                    let (sin, cos) = libm::sincos(w * r * r);
                    let amplitude = 2.0 * weight * r * libm::j0(v * r);
                    [sum[0] + amplitude * cos, sum[1] + amplitude * sin]
                });
                field[0] * field[0] + field[1] * field[1]
            };
            for v in [0.5, 2.0, 5.0, 12.0, 30.0] {
                let expected: f64 = gauss(0.0, v, 60).map(|[v, weight]| weight * intensity(v) * 0.5 * v).sum();
                let rho = v / a;
                let found = lens.weight(rho * rho) * TAU * rho * rho;
                assert!((found - expected).abs() < 1e-4, "{z} {v} {found} {expected}");
            }
        }
    }

    /// Where the table ends the tail goes on as in focus: the slope of the transfer function at 0 does not depend on the phase.
    #[test]
    fn far_out_all_depths_are_alike() {
        let spec = spec(&FilmSpec::depth());
        let a = spec.blur.per_px(spec.um_per_px);
        for lens in defocused(&spec) {
            let rho = 62.0 / a;
            let energy = lens.weight(rho * rho) * TAU * rho * rho;
            assert!((energy - airy_energy(62.0)).abs() < 2e-3, "{energy}");
        }
    }
}
