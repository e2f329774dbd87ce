//! What a phantom lot is made of.

use crate::fault::Fault;
use evenfilm_core::phantom::{Blur, Camera, FilmSpec, Lamp, Mode, Particle, PhantomSpec, Placed};
use evenfilm_core::random::{Draws, Source};

/// Random stream of the slides' own factors; fields use streams below 2⁵⁶.
const SLIDE_STREAM: u64 = 1 << 63;

evenfilm_core::choices! {
    /// What lies on the slides.
    PhantomKind {
        /// A hazy film with single particles, clumps and gaps.
        Film = "film",
        /// Separate flat discs on an even haze.
        Discs = "discs",
        /// The hazy film with bubbles, droplets, fibres, crystals, dust, cracks, dewetting and a coffee-ring margin.
        Kinds = "kinds",
        /// Separate absorbing spheres.
        Spheres = "spheres",
        /// Separate clear spheres that refract.
        Refracting = "refracting",
        /// Separate flat discs within 3 µm of the plane of focus.
        Depth = "depth",
    }
}

impl PhantomKind {
    /// What lies on its slides.
    pub const fn film(self) -> FilmSpec {
        match self {
            Self::Film => FilmSpec::film(),
            Self::Discs => FilmSpec::discs(),
            Self::Kinds => FilmSpec::kinds(),
            Self::Spheres => FilmSpec::spheres(),
            Self::Refracting => FilmSpec::refracting(),
            Self::Depth => FilmSpec::depth(),
        }
    }
}

/// Which blur the pictures get.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BlurChoice {
    /// The Airy pattern of aperture and wavelength.
    Airy,
    /// A Gaussian of σ = 0.21 λ/NA.
    Gaussian,
    /// A Gaussian of this σ, µm.
    Sigma(f64),
}

/// How pictures are stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PictureFile {
    /// Grey TIFF without compression, with the scale in its resolution tags.
    Tiff,
    /// Grey PNG, for small samples.
    Png,
}

impl PictureFile {
    pub(super) const fn extension(self) -> &'static str {
        match self {
            Self::Tiff => "tif",
            Self::Png => "png",
        }
    }
}

/// Samples of a grey picture, linear in light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bits {
    /// Full scale 255.
    Eight,
    /// Full scale 65535.
    Sixteen,
}

/// A phantom lot. [`PhantomOptions::new`] gives the defaults stated at each field.
#[derive(Clone, Debug)]
pub struct PhantomOptions {
    /// What lies on the slides.
    pub kind: PhantomKind,
    /// Seed of everything random; 1.
    pub seed: u64,
    /// Fields of each slide, above 0; 4.
    pub fields: u32,
    /// Slides, 1 to 26; 1.
    pub slides: u32,
    /// Columns and rows, above 0; 1600 × 1200.
    pub size: (u32, u32),
    /// 16 bit.
    pub bits: Bits,
    /// TIFF.
    pub file: PictureFile,
    /// Width of a pixel, µm, above 0; 0.25.
    pub um_per_px: f64,
    /// 0.65.
    pub numerical_aperture: f64,
    /// 550.
    pub wavelength_nm: f64,
    /// Airy.
    pub blur: BlurChoice,
    /// Tilt 10 % towards 30°, vignette 15 %.
    pub lamp: Lamp,
    /// Transmitted light; in dark field blank and dark picture are those of an even scatterer and of the empty slide.
    pub mode: Mode,
    /// Electrons at full scale; 15000.
    pub full_well_e: f64,
    /// Read noise, electrons; 8.
    pub read_noise_e: f64,
    /// Whether the camera counts 2 % without light, with a dark picture to correct it; no.
    pub dark: bool,
    /// What lies on a slide: that of the kind.
    pub film: FilmSpec,
    /// Things at stated places in every field; none.
    pub placed: Vec<Placed>,
    /// Spread between slides of the numbers of clumps and gaps, as a geometric standard deviation ≥ 1; 1.
    pub slide_gsd: f64,
    /// Name of the lot; `phantom-<kind>-<seed>`.
    pub lot: String,
    /// Further lines at the top of the sheet, TOML; none.
    pub sheet_top: String,
    /// Further lines of `[microscope]`, TOML; none.
    pub sheet_microscope: String,
    /// Further tables of the sheet, TOML, without `[microscope]`, `[[picture]]` and `[note]`; none.
    pub sheet_tables: String,
}

impl PhantomOptions {
    /// The defaults of a kind.
    pub fn new(kind: PhantomKind, seed: u64) -> Self {
        Self {
            kind,
            seed,
            fields: 4,
            slides: 1,
            size: (1600, 1200),
            bits: Bits::Sixteen,
            file: PictureFile::Tiff,
            um_per_px: 0.25,
            numerical_aperture: 0.65,
            wavelength_nm: 550.0,
            blur: BlurChoice::Airy,
            lamp: Lamp { tilt_pct: 10.0, tilt_deg: 30.0, vignette_pct: 15.0 },
            mode: Mode::Transmitted,
            full_well_e: 15_000.0,
            read_noise_e: 8.0,
            dark: false,
            film: kind.film(),
            placed: Vec::new(),
            slide_gsd: 1.0,
            lot: format!("phantom-{}-{seed}", kind.word()),
            sheet_top: String::new(),
            sheet_microscope: String::new(),
            sheet_tables: String::new(),
        }
    }

    /// What the pictures of a slide follow from.
    pub fn spec(&self, slide: u32) -> PhantomSpec {
        let mut film = self.film;
        let mut draws = Draws::new(Source::new(self.seed, SLIDE_STREAM | u64::from(slide)));
        film.clumps.per_mm2 *= draws.log_normal(1.0, self.slide_gsd);
        film.gaps.per_mm2 *= draws.log_normal(1.0, self.slide_gsd);
        let (numerical_aperture, wavelength_nm) = (self.numerical_aperture, self.wavelength_nm);
        PhantomSpec {
            seed: self.seed,
            size: self.size,
            um_per_px: self.um_per_px,
            blur: match self.blur {
                BlurChoice::Airy => Blur::Airy { numerical_aperture, wavelength_nm },
                BlurChoice::Gaussian => Blur::gaussian_of(numerical_aperture, wavelength_nm),
                BlurChoice::Sigma(sigma_um) => Blur::Gaussian { sigma_um },
            },
            film,
            lamp: self.lamp,
            mode: self.mode,
            camera: Camera {
                full_scale: match self.bits {
                    Bits::Eight => 255,
                    Bits::Sixteen => u16::MAX,
                },
                exposure: 0.8,
                full_well_e: self.full_well_e,
                read_noise_e: self.read_noise_e,
                black_pct: if self.dark { 2.0 } else { 0.0 },
                blank_frames: 16,
            },
        }
    }

    /// Whether the lot has a dark picture.
    pub(super) fn has_dark(&self) -> bool {
        self.dark || self.mode == Mode::Darkfield
    }

    pub(super) fn check(&self) -> Result<(), Fault> {
        let above_zero = [
            ("scale", self.um_per_px),
            ("numerical aperture", self.numerical_aperture),
            ("wavelength", self.wavelength_nm),
            ("full well", self.full_well_e),
            ("blur", if let BlurChoice::Sigma(sigma) = self.blur { sigma } else { 1.0 }),
        ];
        for (what, value) in above_zero {
            if !value.is_finite() || value <= 0.0 {
                return Err(Fault::input(format!("the {what} of a phantom is {value}"), "give a number above 0"));
            }
        }
        if self.film.refractive_index <= self.numerical_aperture {
            return Err(Fault::input("no lens has so wide an aperture in this film", "give an aperture below the film's refractive index"));
        }
        if !(0.0..=10.0).contains(&self.film.depth_um) {
            return Err(Fault::input(format!("a depth of {} µm", self.film.depth_um), "give 0 to 10 µm"));
        }
        let sizes = || self.placed.iter().flat_map(|p| [p.size_um, p.width_um]);
        let places = || self.placed.iter().flat_map(|p| [p.centre_um[0], p.centre_um[1], p.angle_deg]);
        if sizes().any(|x| !x.is_finite() || x <= 0.0) || places().any(|x| !x.is_finite()) {
            return Err(Fault::input("a thing without size, width or place", "give sizes and widths above 0"));
        }
        let aperture_needed = self.film.depth_um > 0.0 || matches!(self.film.particle, Particle::Refracting { .. });
        if aperture_needed && self.blur != BlurChoice::Airy {
            return Err(Fault::input("depth and refraction need an aperture, and a Gaussian has none", "choose the Airy blur"));
        }
        if self.size.0 == 0 || self.size.1 == 0 {
            return Err(Fault::input("a phantom without pixels", "give columns and rows above 0"));
        }
        if self.fields == 0 || !(1..=26).contains(&self.slides) {
            return Err(Fault::input("a phantom without fields, or with other than 1 to 26 slides", "give at least one field and slide"));
        }
        Ok(())
    }

    pub(super) fn slide_name(slide: u32) -> char {
        char::from_u32(u32::from('A') + slide).unwrap_or('A')
    }
}
