//! Phantom lots: a folder of rendered pictures with its sheet and its truth. Everything written says that it is rendered, not photographed.

use crate::fault::Fault;
use evenfilm_core::phantom::{Blank, Blur, Camera, Dark, Film, FilmSpec, Lamp, Particle, PhantomSpec, Placed, Truth};
use evenfilm_core::random::{Draws, Source};
use serde::Deserialize;
use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};

mod pictures;
#[cfg(test)]
mod tests;
mod truth_file;

use pictures::write_picture;
use truth_file::{FieldFile, TruthFile};

/// What every file of a phantom says of itself.
pub const ORIGIN: &str = "rendered, invented data";
/// The file that tells the truth; a folder that holds it may be written again.
const TRUTH_FILE: &str = "truth.json";
/// Rows of a picture that are rendered and written at a time.
const STRIP_ROWS: u32 = 512;
/// Uncompressed pictures from this size on are written as BigTIFF, bytes.
const BIG_TIFF_FROM: u64 = 4_000_000_000;
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
    const fn extension(self) -> &'static str {
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
            full_well_e: 15_000.0,
            read_noise_e: 8.0,
            dark: false,
            film: kind.film(),
            placed: Vec::new(),
            slide_gsd: 1.0,
            lot: format!("phantom-{}-{seed}", kind.word()),
            sheet_top: String::new(),
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

    fn check(&self) -> Result<(), Fault> {
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

    fn slide_name(slide: u32) -> char {
        char::from_u32(u32::from('A') + slide).unwrap_or('A')
    }
}

/// Pooled truth of a phantom, for a summary in words.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PhantomSummary {
    /// Pictures of fields written.
    pub fields: usize,
    /// Objects of powder of which something is seen.
    pub objects: usize,
    /// Other objects.
    pub left_out_objects: usize,
    /// Gaps of which something is seen.
    pub gaps: usize,
    /// Powder area ÷ field area, %.
    pub particle_area_pct: f64,
    /// Gap area ÷ field area, %.
    pub uncovered_area_pct: f64,
}

/// Writes a phantom lot into `folder`: `batch.toml`, the fields `f01`, `f02`, …, `blank`, perhaps `dark`, and `truth.json`. It is written
/// beside and renamed into place.
///
/// # Errors
/// An input fault for options out of range, or a folder that holds anything but an earlier phantom; a work fault where writing fails.
pub fn write_phantom(folder: &Path, options: &PhantomOptions) -> Result<PhantomSummary, Fault> {
    options.check()?;
    let folder = &std::path::absolute(folder).map_err(|err| failed(&err, folder))?;
    refuse_what_is_not_ours(folder)?;
    let staging = beside(folder, "partial");
    let _ = fs::remove_dir_all(&staging);
    let done = fs::create_dir_all(&staging)
        .map_err(|err| failed(&err, &staging))
        .and_then(|()| fill(&staging, options))
        .and_then(|summary| put_in_place(&staging, folder).map(|()| summary));
    if done.is_err() {
        let _ = fs::remove_dir_all(&staging);
    }
    done
}

/// A hidden name in the same parent folder.
fn beside(folder: &Path, what: &str) -> PathBuf {
    let name = folder.file_name().map_or_else(|| "phantom".into(), |n| n.to_string_lossy().into_owned());
    folder.with_file_name(format!(".{name}.{what}-{}", std::process::id()))
}

fn failed(err: &dyn std::fmt::Display, path: &Path) -> Fault {
    Fault::work(format!("cannot write: {err}"), "check that the folder is writable and the disk has room").at(path)
}

/// Moves the staged folder to its name; an earlier phantom there goes when the new one stands.
fn put_in_place(staging: &Path, folder: &Path) -> Result<(), Fault> {
    let old = beside(folder, "old");
    let had_one = folder.exists();
    if had_one {
        fs::rename(folder, &old).map_err(|err| failed(&err, folder))?;
    }
    if let Err(err) = fs::rename(staging, folder) {
        if had_one {
            let _ = fs::rename(&old, folder);
        }
        return Err(failed(&err, folder));
    }
    if had_one {
        fs::remove_dir_all(&old).map_err(|err| failed(&err, &old))?;
    }
    Ok(())
}

/// A folder is ours when every file in it is on the list of its truth file.
fn refuse_what_is_not_ours(folder: &Path) -> Result<(), Fault> {
    if !folder.exists() {
        return Ok(());
    }
    let unreadable = |err: std::io::Error| Fault::input(format!("cannot read the folder: {err}"), "name another folder").at(folder);
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        names.push(entry.map_err(unreadable)?.file_name().to_string_lossy().into_owned());
    }
    names.sort();
    let ours = fs::read(folder.join(TRUTH_FILE)).ok().and_then(|b| serde_json::from_slice::<Known>(&b).ok());
    let ours = ours.filter(|known| known.origin.starts_with(ORIGIN)).map(|known| known.files).unwrap_or_default();
    match names.iter().find(|name| !ours.contains(name)) {
        None => Ok(()),
        Some(other) => {
            Err(Fault::input("the folder holds something that no phantom wrote", "name a new or empty folder").at(folder.join(other)))
        }
    }
}

/// The part of a truth file that says which files are a phantom's.
#[derive(Deserialize)]
struct Known {
    origin: String,
    files: Vec<String>,
}

/// Writes every file of the lot into `folder`.
fn fill(folder: &Path, options: &PhantomOptions) -> Result<PhantomSummary, Fault> {
    let extension = options.file.extension();
    let mut files = vec!["batch.toml".to_owned(), TRUTH_FILE.to_owned()];
    let (mut told, mut truths) = (Vec::new(), Vec::new());
    for slide in 0..options.slides {
        let spec = options.spec(slide);
        for field in 0..options.fields {
            let film = Film::lay_around(&spec, slide, field, &options.placed);
            let file = format!("f{:02}.{extension}", slide * options.fields + field + 1);
            write_picture(&folder.join(&file), &film, options)?;
            let truth = Truth::of(&film);
            told.push(FieldFile::new(&file, PhantomOptions::slide_name(slide), &truth, options));
            truths.push(truth);
            files.push(file);
        }
    }
    let blank = format!("blank.{extension}");
    write_picture(&folder.join(&blank), &Blank(options.spec(0)), options)?;
    files.push(blank);
    if options.dark {
        let dark = format!("dark.{extension}");
        write_picture(&folder.join(&dark), &Dark(options.spec(0)), options)?;
        files.push(dark);
    }
    write_text(&folder.join("batch.toml"), &sheet(options))?;
    let truth = TruthFile::new(options, files, told, &truths);
    let text = serde_json::to_string(&truth).map_err(|err| failed(&err, folder))?;
    write_text(&folder.join(TRUTH_FILE), &(text + "\n"))?;
    Ok(truth.pooled.summary(truths.len()))
}

fn write_text(path: &Path, text: &str) -> Result<(), Fault> {
    let write = || {
        let mut file = File::create_new(path)?;
        file.write_all(text.as_bytes())?;
        file.sync_all()
    };
    write().map_err(|err| failed(&err, path))
}

/// The sheet of the lot.
fn sheet(options: &PhantomOptions) -> String {
    let extension = options.file.extension();
    let mut parts = vec![
        format!("# {ORIGIN}: no slide was cast and no microscope used\nlot = \"{}\"\n", options.lot),
        options.sheet_top.clone(),
        "\n".to_owned(),
        options.sheet_tables.clone(),
        format!("[microscope]\nmode = \"transmitted\"\num_per_px = {:?}\nscale_source = \"{ORIGIN}\"\n", options.um_per_px),
        format!("numerical_aperture = {:?}\nwavelength_nm = {:?}\n", options.numerical_aperture, options.wavelength_nm),
        format!("tone = \"linear\"\nblank = \"blank.{extension}\"\n"),
    ];
    if options.dark {
        parts.push(format!("dark = \"dark.{extension}\"\n"));
    }
    if options.slides > 1 {
        parts.extend((0..options.slides * options.fields).map(|number| {
            let slide = PhantomOptions::slide_name(number / options.fields);
            format!("\n[[picture]]\nfile = \"f{:02}.{extension}\"\nrole = \"field\"\nslide = \"{slide}\"\n", number + 1)
        }));
    }
    parts.push(format!("\n[note]\norigin = \"{ORIGIN}\"\n"));
    parts.concat()
}
