//! What a particle does to the light that falls on it.

use super::layer::{Layer, panels};
use super::trace::gauss;
use std::f64::consts::{FRAC_PI_2, LN_10};

/// How a particle takes light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Particle {
    /// A flat disc of even optical density.
    Flat,
    /// A sphere that absorbs: its optical density is proportional to the chord, the stated one at its middle.
    Absorbing,
    /// A clear sphere that refracts and loses what it deviates past the lens; see [`kept_radius`].
    Refracting {
        /// Its refractive index ÷ that of the film, above 1.
        relative_index: f64,
    },
}

impl Particle {
    /// The layers of a particle of this radius, px, and the factor that all of them take. `od` is the optical density that it adds, `sine`
    /// that of the widest angle that the lens accepts within the film.
    pub(super) fn layers(self, radius: f64, od: f64, sine: f64, sigma_px: f64) -> (f64, Vec<Layer>) {
        match self {
            Self::Flat => (1.0 - libm::exp(-LN_10 * od), vec![Layer::disc(radius, 1.0)]),
            Self::Absorbing => (1.0, absorbing(radius, od, sigma_px)),
            Self::Refracting { relative_index } => {
                (1.0, vec![Layer::disc(radius, 1.0), Layer::disc(radius * kept_radius(relative_index, sine), -1.0)])
            }
        }
    }
}

/// A sphere of chord-proportional density as discs. Light taken at the radius R sin φ is 1 − exp(−κ cos φ), κ = OD ln 10; its rise
/// towards the centre, κ sin φ exp(−κ cos φ) dφ, is what each disc takes.
fn absorbing(radius: f64, od: f64, sigma_px: f64) -> Vec<Layer> {
    let kappa = od * LN_10;
    let layer = |[phi, weight]: [f64; 2]| {
        let (sin, cos) = libm::sincos(phi);
        Layer::disc(radius * sin, weight * kappa * sin * libm::exp(-kappa * cos))
    };
    gauss(0.0, FRAC_PI_2, panels(radius * FRAC_PI_2, sigma_px)).map(layer).collect()
}

/// Largest impact parameter, in radii, of the rays that a lens still collects from a clear sphere, 0 to 1.
///
/// Geometric optics (H. C. van de Hulst, Light Scattering by Small Particles, 12.2): parallel light, two refractions by Snell's law, so
/// that a ray at b is deviated by 2 (asin b − asin(b/m)). With h half the accepted angle, asin b − asin(b/m) = h gives
/// b = m sin h ÷ √(m² − 2 m cos h + 1). Assumed: nothing is lost by reflection at the surfaces, rays that are kept are seen where they
/// entered, and light that comes in obliquely from the condenser does as the parallel one. Holds for spheres many wavelengths across.
pub fn kept_radius(relative_index: f64, sine: f64) -> f64 {
    let m = relative_index;
    let h = 0.5 * libm::asin(sine.clamp(0.0, 1.0));
    let (sin, cos) = libm::sincos(h);
    // The widest deviation, that of the grazing ray, is 2 acos(1/m).
    if m * cos <= 1.0 { 1.0 } else { m * sin / (m * m - 2.0 * m * cos + 1.0).sqrt() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The closed form against the deviation itself, and the angle past which all is collected.
    #[test]
    fn kept_rays_are_those_the_lens_accepts() {
        for (m, sine) in [(1.05, 0.1), (1.33, 0.43), (1.5, 0.3), (2.0, 0.65)] {
            let b = kept_radius(m, sine);
            let deviation = 2.0 * (libm::asin(b) - libm::asin(b / m));
            assert!(b < 1.0 && (deviation - libm::asin(sine)).abs() < 1e-12, "{m} {sine} {b} {deviation}");
        }
        // 2 acos(1/1.01) = 16.1°, within 20°.
        assert!(kept_radius(1.01, 0.342) > 1.0 - 1e-12);
    }

    /// Summed over the disc, 1 − exp(−κ cos φ) is πR² (1 − 2 (1 − (1 + κ) exp(−κ))/κ²), and at the centre 1 − 10^(−OD).
    #[test]
    fn absorbing_spheres_take_the_light_of_their_chords() {
        for (radius, od) in [(2.0, 0.9), (6.0, 0.2), (16.0, 0.9), (40.0, 2.0)] {
            let layers = absorbing(radius, od, 0.71);
            let kappa = od * LN_10;
            let expected = 1.0 - 2.0 * (1.0 - (1.0 + kappa) * libm::exp(-kappa)) / (kappa * kappa);
            let taken = layers.iter().map(|l| l.taken * l.form.area()).sum::<f64>() / (std::f64::consts::PI * radius * radius);
            assert!((taken - expected).abs() < 5e-6, "{radius} {od} {taken} {expected}");
            let centre: f64 = layers.iter().map(|l| l.taken).sum();
            assert!((centre - (1.0 - libm::exp10(-od))).abs() < 5e-6);
        }
    }

    /// A thin sphere has two thirds of its middle density on average.
    #[test]
    fn mean_density_of_a_thin_sphere() {
        let layers = absorbing(10.0, 1e-4, 0.71);
        let mean = layers.iter().map(|l| l.taken * l.form.area()).sum::<f64>() / (std::f64::consts::PI * 100.0) / LN_10;
        assert!((mean / 1e-4 - 2.0 / 3.0).abs() < 1e-3, "{mean}");
    }
}
