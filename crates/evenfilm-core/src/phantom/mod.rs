//! Films with known truth: rendered, invented pictures whose sizes, counts and areas follow from geometry, not from pixels.
//!
//! [`lay`] places gaps, [`clump`]s and single particles on the [`floor`], and [`strangers`], whose [`figure`]s are made of [`layer`]s; [`outline`]
//! and [`path`] are their forms, [`polygon`] what is read from them. [`sphere`] tells what a particle does to light, [`haze`] and [`margin`]
//! make the film uneven. [`lens`], out of focus [`depth`], and [`trace`] blur it in intensity; [`render`] turns a rectangle of it into
//! transmission; [`camera`] into counts, with uneven light and noise; [`truth`] states what is there. [`ruling`] is no film, but seen alike.
//! Everything follows from a [`PhantomSpec`] and the numbers of slide and field, with the same bytes on every machine and any number of
//! threads; any rectangle of a picture can be had alone, so its size is not bounded by memory.
//!
//! Assumed: bare gaps and particles have sharp edges and lie in planes; haze and particle densities add; the haze is given as the lens
//! shows it; dust takes its share of whatever lies beneath.

pub mod camera;
pub mod clump;
pub mod depth;
pub mod figure;
pub mod floor;
pub mod haze;
pub mod lay;
pub mod layer;
pub mod lens;
pub mod margin;
mod near;
pub mod outline;
pub mod path;
pub mod polygon;
pub mod render;
pub mod ruling;
pub mod sphere;
pub mod strangers;
#[cfg(test)]
mod tests;
pub mod trace;
pub mod truth;

pub use camera::{Blank, Camera, Dark, Lamp, Mode};
pub use lay::Film;
pub use lens::Blur;
pub use margin::Margin;
pub use ruling::{Ruled, Ruling, RulingSpec};
pub use sphere::Particle;
pub use strangers::{Amount, Placed, Sort, Sparse, Strangers, Width};
pub use truth::Truth;

/// A kind of thing that is laid at random: how many, how large. Diameters are log-normal by number, cut to a range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Population {
    /// Mean number per mm² of film; the number in a field is a Poisson one.
    pub per_mm2: f64,
    /// Median area-equivalent diameter before the cut, µm.
    pub median_um: f64,
    /// Geometric standard deviation before the cut, ≥ 1.
    pub gsd: f64,
    /// Smallest and largest diameter, µm; those outside are drawn again.
    pub range_um: [f64; 2],
}

/// Clumps: touching constituents with the diameters of the single particles, grown one by one at random places of the outline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clumps {
    /// Mean number per mm².
    pub per_mm2: f64,
    /// Mean number of constituents, > 2: 2 and a geometric number.
    pub constituents: f64,
    /// Largest number of constituents.
    pub most: u32,
}

/// What lies on a slide.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FilmSpec {
    /// Mean optical density of the haze; 0 is a clear film.
    pub od: f64,
    /// Coefficient of variation of the haze's optical density, %.
    pub haze_cv_pct: f64,
    /// Distance over which the haze's correlation falls to 1/e, µm.
    pub haze_length_um: f64,
    /// Optical density that a particle adds; a refracting one takes no note of it.
    pub particle_od: f64,
    /// How a particle takes light.
    pub particle: Particle,
    /// Refractive index of the film, which sets how deep the lens sees and what it accepts, > NA.
    pub refractive_index: f64,
    /// Powder lies within this distance above and below the plane of focus, µm, each object in a plane of its own; all else is in focus. At
    /// most 10, which keeps the light within the tables of the lens; a Gaussian blur has no depth.
    pub depth_um: f64,
    /// Single particles.
    pub singles: Population,
    /// Clumps.
    pub clumps: Clumps,
    /// Gaps: discs, ellipses and wobbly outlines in equal shares.
    pub gaps: Population,
    /// Everything else.
    pub strangers: Strangers,
    /// How powder and haze grow denser towards one side.
    pub margin: Margin,
    /// One large elliptic hole in the middle that bares this share of the field, %; 0 for none, at most 78.
    pub hole_pct: f64,
    /// Smallest clear distance between separate things, µm.
    pub clear_um: f64,
}

impl FilmSpec {
    /// A hazy film with single particles of 1–3 µm, clumps and gaps of 6–25 µm.
    pub const fn film() -> Self {
        Self {
            od: 0.35,
            haze_cv_pct: 4.0,
            haze_length_um: 9.0,
            particle_od: 0.9,
            particle: Particle::Flat,
            refractive_index: 1.5,
            depth_um: 0.0,
            singles: Population { per_mm2: 9000.0, median_um: 1.8, gsd: 1.3, range_um: [1.0, 3.0] },
            clumps: Clumps { per_mm2: 500.0, constituents: 5.0, most: 40 },
            gaps: Population { per_mm2: 120.0, median_um: 10.0, gsd: 1.5, range_um: [6.0, 25.0] },
            strangers: Strangers::NONE,
            margin: Margin::NONE,
            hole_pct: 0.0,
            clear_um: 1.2,
        }
    }

    /// Separate flat discs of 2–8 µm on an even haze: neither clumps nor gaps.
    pub const fn discs() -> Self {
        Self {
            od: 0.15,
            haze_cv_pct: 0.0,
            singles: Population { per_mm2: 4000.0, median_um: 3.5, gsd: 1.35, range_um: [1.5, 8.0] },
            clumps: Clumps { per_mm2: 0.0, constituents: 5.0, most: 40 },
            gaps: Population { per_mm2: 0.0, ..Self::film().gaps },
            clear_um: 2.0,
            ..Self::film()
        }
    }

    /// The hazy film with fewer particles and some of every stranger, and a margin with four times the powder along its left side.
    pub const fn kinds() -> Self {
        let film = Self::film();
        Self {
            singles: Population { per_mm2: 4000.0, ..film.singles },
            clumps: Clumps { per_mm2: 250.0, ..film.clumps },
            gaps: Population { per_mm2: 60.0, ..film.gaps },
            strangers: Strangers::some(),
            margin: Margin { width_um: 60.0, powder_times: 4.0, od_times: 1.2 },
            ..film
        }
    }

    /// Nothing but what lies on the optics: the clear glass beneath a ruling.
    pub const fn glass() -> Self {
        let none = Self::discs();
        Self { od: 0.0, singles: Population { per_mm2: 0.0, ..none.singles }, ..none }
    }

    /// Like [`Self::discs`], but absorbing spheres.
    pub const fn spheres() -> Self {
        Self { particle: Particle::Absorbing, ..Self::discs() }
    }

    /// Like [`Self::discs`], but clear spheres of zinc oxide, index 2.0.
    pub const fn refracting() -> Self {
        Self { particle: Particle::Refracting { relative_index: 4.0 / 3.0 }, ..Self::discs() }
    }

    /// Like [`Self::discs`], but within 3 µm of the plane of focus.
    pub const fn depth() -> Self {
        Self { depth_um: 3.0, ..Self::discs() }
    }
}

/// Everything that decides the pictures of a phantom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PhantomSpec {
    /// Seed of everything random.
    pub seed: u64,
    /// Columns and rows of a field, above 0.
    pub size: (u32, u32),
    /// Width of a pixel, µm, above 0.
    pub um_per_px: f64,
    /// The lens.
    pub blur: Blur,
    /// The film.
    pub film: FilmSpec,
    /// The light.
    pub lamp: Lamp,
    /// How the slide is lit.
    pub mode: Mode,
    /// The camera.
    pub camera: Camera,
}

impl PhantomSpec {
    /// The field as `[x0, y0, x1, y1]`, px.
    fn frame(&self) -> [f64; 4] {
        [0.0, 0.0, f64::from(self.size.0), f64::from(self.size.1)]
    }

    /// Sine of the widest angle in the film that the lens accepts, NA/n; 1 for a Gaussian, which has no aperture.
    fn accepted_sine(&self) -> f64 {
        match self.blur {
            Blur::Airy { numerical_aperture, .. } => (numerical_aperture / self.film.refractive_index).min(1.0),
            Blur::Gaussian { .. } => 1.0,
        }
    }

    /// The random stream of one purpose in one field of one slide.
    fn source(&self, slide: u32, field: u32, purpose: Purpose) -> crate::random::Source {
        let stream = u64::from(slide) << 40 | u64::from(field) << 8 | purpose as u64;
        crate::random::Source::new(self.seed, stream)
    }
}

/// What random numbers are for: each purpose has its own stream, so that a change to one leaves the others.
#[derive(Clone, Copy, Debug)]
enum Purpose {
    Haze = 1,
    Gaps = 2,
    Clumps = 3,
    Singles = 4,
    Noise = 5,
    Blank = 6,
    Dark = 7,
    Placed = 8,
    Depth = 9,
    Bubbles = 10,
    Droplets = 11,
    Fibres = 12,
    Needles = 13,
    Plates = 14,
    Dust = 15,
    Cracks = 16,
    Dewettings = 17,
    Ruling = 18,
}

/// The whole part of a number that is not negative, as an index; 0 below 0.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates, which is what is wanted")]
fn floor_index(x: f64) -> usize {
    x as usize
}
