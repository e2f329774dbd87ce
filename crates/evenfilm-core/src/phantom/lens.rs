//! The lens: blur of a film's light, in intensity, without a grid.
//!
//! A point spread function that is round, with encircled energy E(ρ), is the divergence of the field r̂ E(ρ)/(2πρ). So by the divergence
//! theorem the blurred cover of any shape is a line integral around its outline,
//! B(p) = ∮ G(|q − p|) (q − p) × dq with G(ρ) = E(ρ)/(2πρ²),
//! whose integrand is smooth and bounded: no supersampling, no cut kernel, tails and all.

use std::f64::consts::{PI, TAU};

/// How the lens blurs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Blur {
    /// The incoherent Airy pattern (2J₁(v)/v)², v = 2π NA ρ/λ (G. B. Airy 1835; Born & Wolf, Principles of Optics, 8.5.2).
    Airy {
        /// Numerical aperture, above 0.
        numerical_aperture: f64,
        /// Wavelength, nm, above 0.
        wavelength_nm: f64,
    },
    /// A Gaussian of this standard deviation per axis.
    Gaussian {
        /// µm, above 0.
        sigma_um: f64,
    },
}

impl Blur {
    /// The Gaussian commonly put in place of the Airy pattern: σ = 0.21 λ/NA, which fits its central lobe.
    pub fn gaussian_of(numerical_aperture: f64, wavelength_nm: f64) -> Self {
        Self::Gaussian { sigma_um: 0.21 * wavelength_nm * 1e-3 / numerical_aperture }
    }

    /// 2π NA/λ, px⁻¹: v of the Airy pattern per pixel; 0 for the Gaussian, which has no aperture.
    pub(super) fn per_px(self, um_per_px: f64) -> f64 {
        match self {
            Self::Gaussian { .. } => 0.0,
            Self::Airy { numerical_aperture, wavelength_nm } => TAU * numerical_aperture / (wavelength_nm * 1e-3) * um_per_px,
        }
    }

    /// Standard deviation of the central lobe, µm: 0.21 λ/NA for the Airy pattern.
    pub fn sigma_um(self) -> f64 {
        match self {
            Self::Gaussian { sigma_um } => sigma_um,
            Self::Airy { numerical_aperture, wavelength_nm } => 0.21 * wavelength_nm * 1e-3 / numerical_aperture,
        }
    }
}

/// Steps of the table of G per σ of the central lobe; linear reading is then true to 2·10⁻⁵ of its peak.
const STEPS_PER_SIGMA: f64 = 100.0;
/// Reach of the table in σ; beyond, the energy is 1 − tail/ρ.
const TABLE_SIGMAS: f64 = 48.0;
/// Cover below which the tail of a shape is left out.
const TAIL_CUT: f64 = 5e-4;

/// A blur at the scale of a picture. Lengths are in pixels.
#[derive(Clone, Debug)]
pub struct Lens {
    /// Standard deviation of the central lobe.
    pub sigma_px: f64,
    /// How far defocus spreads the light of a point beyond that by geometry; 0 in focus.
    pub(super) spread_px: f64,
    /// Energy outside ρ is `tail`/ρ far out: 2/(πa) for the Airy pattern, a = 2π NA/λ; 0 for the Gaussian.
    tail: f64,
    per_px: f64,
    pub(super) table: Vec<f64>,
}

impl Lens {
    /// The lens as a picture of this scale sees it, in focus.
    pub fn new(blur: Blur, um_per_px: f64) -> Self {
        let mut lens = Self::blank(blur, um_per_px, 0.0);
        let sigma_px = lens.sigma_px;
        let energy: Box<dyn Fn(f64) -> f64> = match blur {
            Blur::Gaussian { .. } => Box::new(move |rho| -libm::expm1(-0.5 * (rho / sigma_px) * (rho / sigma_px))),
            Blur::Airy { .. } => {
                let a = blur.per_px(um_per_px);
                Box::new(move |rho| airy_energy(a * rho))
            }
        };
        lens.table = lens.radii().map(|rho| energy(rho) / (TAU * rho * rho)).collect();
        lens
    }

    /// A lens whose table is still to be filled.
    pub(super) fn blank(blur: Blur, um_per_px: f64, spread_px: f64) -> Self {
        let sigma_px = blur.sigma_um() / um_per_px;
        let tail = match blur {
            Blur::Gaussian { .. } => 0.0,
            Blur::Airy { .. } => 2.0 / (PI * blur.per_px(um_per_px)),
        };
        Self { sigma_px, spread_px, tail, per_px: STEPS_PER_SIGMA / sigma_px, table: Vec::new() }
    }

    /// The distances that the table holds G for. The limit at 0 is read just beside it: E grows as ρ², and 10⁻² step keeps all digits that
    /// matter.
    pub(super) fn radii(&self) -> impl Iterator<Item = f64> + use<> {
        let per_px = self.per_px;
        let steps = super::floor_index(STEPS_PER_SIGMA * TABLE_SIGMAS);
        (0..=steps).map(move |step| f64::max(step as f64, 1e-2) / per_px)
    }

    /// G at the squared distance, px⁻².
    pub fn weight(&self, rho2: f64) -> f64 {
        let rho = rho2.sqrt();
        let step = rho * self.per_px;
        let cell = super::floor_index(step);
        match (self.table.get(cell), self.table.get(cell + 1)) {
            (Some(a), Some(b)) => a + (b - a) * (step - cell as f64),
            _ => (1.0 - self.tail / rho) / (TAU * rho2),
        }
    }

    /// How far from a shape of this area its light is followed: 6 σ, and for the Airy pattern until its tail adds less than 5·10⁻⁴ of
    /// cover (the point spread falls as tail/(2πρ³)); out of focus, as much further as the light is spread.
    pub fn reach_px(&self, area_px2: f64) -> f64 {
        let tails = libm::cbrt(area_px2 * self.tail / (TAU * TAIL_CUT));
        tails.max(6.0 * self.sigma_px) + self.spread_px
    }
}

/// Share of the light of an Airy pattern within v: 1 − J₀²(v) − J₁²(v) (Rayleigh 1881; Born & Wolf 8.5.2, eq. 18).
pub fn airy_energy(v: f64) -> f64 {
    if v < 1e-3 {
        return 0.25 * v * v;
    }
    let (j0, j1) = (libm::j0(v), libm::j1(v));
    1.0 - j0 * j0 - j1 * j1
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Born & Wolf, table 8.2 and section 8.5.2: the first dark ring is at v = 1.220π = 3.8317 and holds 83.8 % of the light, the second
    /// at 7.0156 and 91.0 %, the third at 10.1735 and 93.8 %.
    #[test]
    fn airy_rings() {
        for (zero, energy) in [(3.8317, 0.838), (7.0156, 0.910), (10.1735, 0.938)] {
            assert!(libm::j1(zero).abs() < 5e-5);
            assert!((airy_energy(zero) - energy).abs() < 5e-4, "{zero}");
        }
    }

    /// The table against the closed form, near, far and beyond its end.
    #[test]
    fn airy_weight_is_the_closed_form() {
        let lens = Lens::new(Blur::Airy { numerical_aperture: 0.65, wavelength_nm: 550.0 }, 0.25);
        let a = TAU * 0.65 / 0.55 * 0.25;
        let peak = a * a / (8.0 * PI);
        for rho in [1e-4, 0.3, 1.0, 2.06, 5.5, 33.0, 34.5, 100.0, 900.0_f64] {
            let expected = airy_energy(a * rho) / (TAU * rho * rho);
            assert!((lens.weight(rho * rho) - expected).abs() < 3e-5 * peak, "{rho}");
        }
    }

    #[test]
    fn gaussian_weight_is_the_closed_form() {
        let lens = Lens::new(Blur::Gaussian { sigma_um: 0.25 }, 0.25);
        for rho in [1e-4, 0.5, 1.0, 3.0, 47.0, 60.0_f64] {
            let expected = (1.0 - libm::exp(-0.5 * rho * rho)) / (TAU * rho * rho);
            assert!((lens.weight(rho * rho) - expected).abs() < 2e-6, "{rho}");
        }
    }

    /// 0.61 λ/NA and 0.21 λ/NA at 550 nm and NA 0.65.
    #[test]
    fn sigma_of_the_central_lobe() {
        assert!((Blur::gaussian_of(0.65, 550.0).sigma_um() - 0.177_692).abs() < 1e-6);
    }
}
