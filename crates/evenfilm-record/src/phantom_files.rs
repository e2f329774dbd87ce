//! Phantom lots: a folder of rendered pictures with its sheet and its truth. Everything written says that it is rendered, not photographed.

use crate::fault::Fault;
use evenfilm_core::phantom::{Blank, Blur, Camera, Dark, Film, FilmSpec, Lamp, PhantomSpec, Truth, truth};
use evenfilm_core::plane::{Rect, Samples};
use evenfilm_core::random::{Draws, Source};
use serde::{Deserialize, Serialize};
use std::fs::{self, File};
use std::io::{BufWriter, Seek, Write};
use std::path::{Path, PathBuf};
use tiff::encoder::colortype::{ColorType, Gray8, Gray16};
use tiff::encoder::{Rational, TiffEncoder, TiffKind, TiffValue};
use tiff::tags::{ResolutionUnit, Tag};

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

/// What lies on the slides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PhantomKind {
    /// A hazy film with single particles, clumps and gaps.
    Film,
    /// Separate flat discs on an even haze.
    Discs,
}

impl PhantomKind {
    /// The word that files and command line use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Film => "film",
            Self::Discs => "discs",
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
            film: match kind {
                PhantomKind::Film => FilmSpec::film(),
                PhantomKind::Discs => FilmSpec::discs(),
            },
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
    /// Objects of which something is seen.
    pub objects: usize,
    /// Gaps of which something is seen.
    pub gaps: usize,
    /// Particle area ÷ field area, %.
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
            let film = Film::lay(&spec, slide, field);
            let file = format!("f{:02}.{extension}", slide * options.fields + field + 1);
            write_picture(&folder.join(&file), &film, options)?;
            let truth = Truth::of(&film);
            told.push(FieldFile::new(&file, PhantomOptions::slide_name(slide), &truth));
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

fn write_picture(path: &Path, picture: &dyn Samples, options: &PhantomOptions) -> Result<(), Fault> {
    let file = File::create_new(path).map_err(|err| failed(&err, path))?;
    let mut out = BufWriter::with_capacity(1 << 20, file);
    match options.file {
        PictureFile::Tiff => write_tiff(&mut out, picture, options, path)?,
        PictureFile::Png => write_png(&mut out, picture, options, path)?,
    }
    let file = out.into_inner().map_err(|err| failed(&err, path))?;
    file.sync_all().map_err(|err| failed(&err, path))
}

fn write_tiff(out: &mut (impl Write + Seek), picture: &dyn Samples, options: &PhantomOptions, path: &Path) -> Result<(), Fault> {
    let bytes = match options.bits {
        Bits::Eight => 1,
        Bits::Sixteen => 2,
    };
    let as_bytes = |counts: &[u16]| counts.iter().map(|&c| c.to_le_bytes()[0]).collect::<Vec<u8>>();
    let big = Rect::whole(picture.size()).area() * bytes >= BIG_TIFF_FROM;
    let done = match (options.bits, big) {
        (Bits::Eight, false) => TiffEncoder::new(out).and_then(|t| strips::<Gray8, _, _>(t, picture, options, as_bytes)),
        (Bits::Eight, true) => TiffEncoder::new_big(out).and_then(|t| strips::<Gray8, _, _>(t, picture, options, as_bytes)),
        (Bits::Sixteen, false) => TiffEncoder::new(out).and_then(|t| strips::<Gray16, _, _>(t, picture, options, <[u16]>::to_vec)),
        (Bits::Sixteen, true) => TiffEncoder::new_big(out).and_then(|t| strips::<Gray16, _, _>(t, picture, options, <[u16]>::to_vec)),
    };
    done.map_err(|err| failed(&err, path))
}

/// Renders and writes strip by strip, so that memory does not grow with the picture.
fn strips<C: ColorType, W: Write + Seek, K: TiffKind>(
    mut tiff: TiffEncoder<W, K>,
    picture: &dyn Samples,
    options: &PhantomOptions,
    samples: impl Fn(&[u16]) -> Vec<C::Inner>,
) -> tiff::TiffResult<()>
where
    [C::Inner]: TiffValue,
{
    let (width, height) = picture.size();
    let mut image = tiff.new_image::<C>(width, height)?;
    image.encoder().write_tag(Tag::ImageDescription, ORIGIN)?;
    image.resolution_unit(ResolutionUnit::Centimeter);
    let per_cm = Rational { n: whole(1e7 / options.um_per_px), d: 1000 };
    image.x_resolution(Rational { n: per_cm.n, d: per_cm.d });
    image.y_resolution(per_cm);
    image.rows_per_strip(STRIP_ROWS.min(height))?;
    let mut y = 0;
    while y < height {
        let at = Rect::new(0, y, width, STRIP_ROWS.min(height - y));
        image.write_strip(&samples(&rendered(picture, at)))?;
        y += STRIP_ROWS;
    }
    image.finish()
}

/// A rectangle of a rendered picture; rendering cannot fail.
fn rendered(picture: &dyn Samples, at: Rect) -> Vec<u16> {
    let mut counts = vec![0; at.width as usize * at.height as usize];
    // Phantoms are computed, not read: `Samples::read` has no way to fail here.
    let _ = picture.read(at, &mut counts);
    counts
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates; the scale is checked to be above 0")]
fn whole(x: f64) -> u32 {
    (x + 0.5) as u32
}

/// `Compression::Fast` writes the same bytes whichever zlib is linked.
fn write_png(out: &mut impl Write, picture: &dyn Samples, options: &PhantomOptions, path: &Path) -> Result<(), Fault> {
    let (width, height) = picture.size();
    let mut encoder = png::Encoder::new(out, width, height);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_compression(png::Compression::Fast);
    // Noise is what fills these files, and the mean of two neighbours carries less of it than one.
    encoder.set_filter(png::Filter::Avg);
    let counts = rendered(picture, Rect::whole((width, height)));
    let bytes: Vec<u8> = match options.bits {
        Bits::Eight => counts.iter().map(|&c| c.to_le_bytes()[0]).collect(),
        Bits::Sixteen => counts.iter().flat_map(|&c| c.to_be_bytes()).collect(),
    };
    encoder.set_depth(match options.bits {
        Bits::Eight => png::BitDepth::Eight,
        Bits::Sixteen => png::BitDepth::Sixteen,
    });
    let write = |mut encoder: png::Encoder<'_, _>| {
        encoder.add_text_chunk("Comment".to_owned(), ORIGIN.to_owned())?;
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&bytes)?;
        writer.finish()
    };
    write(encoder).map_err(|err| failed(&err, path))
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

/// `truth.json`.
#[derive(Serialize)]
struct TruthFile {
    origin: String,
    format: u32,
    lot: String,
    kind: &'static str,
    seed: u64,
    files: Vec<String>,
    columns: u32,
    rows: u32,
    um_per_px: f64,
    blur_sigma_um: f64,
    film_od: f64,
    particle_od: f64,
    pooled: Pooled,
    fields: Vec<FieldFile>,
}

impl TruthFile {
    fn new(options: &PhantomOptions, files: Vec<String>, fields: Vec<FieldFile>, truths: &[Truth]) -> Self {
        // The smallest diameter that an automatic cut counts: 6 pixels, or two resolution widths of 0.61 λ/NA.
        let resolution_um = 0.61 * options.wavelength_nm * 1e-3 / options.numerical_aperture;
        let from_um = f64::max(6.0 * options.um_per_px, 2.0 * resolution_um);
        Self {
            origin: format!("{ORIGIN}: true values from geometry, in the order of the fields"),
            format: 1,
            lot: options.lot.clone(),
            kind: options.kind.word(),
            seed: options.seed,
            files,
            columns: options.size.0,
            rows: options.size.1,
            um_per_px: options.um_per_px,
            blur_sigma_um: rounded(options.spec(0).blur.sigma_um()),
            film_od: options.film.od,
            particle_od: options.film.particle_od,
            pooled: Pooled::new(truths, from_um),
            fields,
        }
    }
}

/// All fields together.
#[derive(Serialize)]
struct Pooled {
    objects: usize,
    gaps: usize,
    particle_area_pct: f64,
    uncovered_area_pct: f64,
    largest_gap_um: f64,
    sizes_of_all: Option<SizesFile>,
    sizes_as_counted: Option<SizesFile>,
}

impl Pooled {
    fn new(truths: &[Truth], from_um: f64) -> Self {
        let mean = |of: fn(&Truth) -> f64| rounded(truths.iter().map(of).sum::<f64>() / truths.len().max(1) as f64);
        Self {
            objects: truths.iter().map(|t| t.objects.len()).sum(),
            gaps: truths.iter().map(|t| t.gaps.len()).sum(),
            particle_area_pct: mean(Truth::particle_area_pct),
            uncovered_area_pct: mean(Truth::uncovered_area_pct),
            largest_gap_um: rounded(truths.iter().fold(0.0, |m, t| m.max(t.largest_gap_um()))),
            sizes_of_all: SizesFile::new(truths, 0.0),
            sizes_as_counted: SizesFile::new(truths, from_um),
        }
    }

    fn summary(&self, fields: usize) -> PhantomSummary {
        PhantomSummary {
            fields,
            objects: self.objects,
            gaps: self.gaps,
            particle_area_pct: self.particle_area_pct,
            uncovered_area_pct: self.uncovered_area_pct,
        }
    }
}

/// Sizes of whole objects, frame-weighted, from `from_um` on.
#[derive(Serialize)]
struct SizesFile {
    from_um: f64,
    objects: usize,
    x10_0_um: f64,
    x50_0_um: f64,
    x90_0_um: f64,
    mean_0_um: f64,
    x10_3_um: f64,
    x50_3_um: f64,
    x90_3_um: f64,
    d32_um: f64,
    d43_um: f64,
}

impl SizesFile {
    fn new(truths: &[Truth], from_um: f64) -> Option<Self> {
        let sizes = truth::sizes(truths, from_um)?;
        let ([x10_0_um, x50_0_um, x90_0_um], [x10_3_um, x50_3_um, x90_3_um]) = (sizes.x_0_um.map(rounded), sizes.x_3_um.map(rounded));
        Some(Self {
            from_um: rounded(from_um),
            objects: sizes.objects,
            x10_0_um,
            x50_0_um,
            x90_0_um,
            mean_0_um: rounded(sizes.mean_0_um),
            x10_3_um,
            x50_3_um,
            x90_3_um,
            d32_um: rounded(sizes.d32_um),
            d43_um: rounded(sizes.d43_um),
        })
    }
}

/// One field.
#[derive(Serialize)]
struct FieldFile {
    file: String,
    slide: char,
    particle_area_pct: f64,
    uncovered_area_pct: f64,
    largest_gap_um: f64,
    objects: Vec<ObjectFile>,
    gaps: Vec<GapFile>,
}

impl FieldFile {
    fn new(file: &str, slide: char, truth: &Truth) -> Self {
        let objects = truth.objects.iter().map(|o| ObjectFile {
            x_um: rounded(o.centre_um[0]),
            y_um: rounded(o.centre_um[1]),
            area_um2: rounded(o.area_um2),
            area_in_frame_um2: rounded(o.area_in_frame_um2),
            diameter_um: rounded(o.diameter_um),
            constituents: o.constituents,
            touches_frame: o.touches_frame,
        });
        let gaps = truth.gaps.iter().map(|g| GapFile {
            x_um: rounded(g.centre_um[0]),
            y_um: rounded(g.centre_um[1]),
            form: g.form,
            area_um2: rounded(g.area_um2),
            area_in_frame_um2: rounded(g.area_in_frame_um2),
            diameter_um: rounded(g.diameter_um),
            largest_circle_um: rounded(g.largest_circle_um),
            touches_frame: g.touches_frame,
        });
        Self {
            file: file.to_owned(),
            slide,
            particle_area_pct: rounded(truth.particle_area_pct()),
            uncovered_area_pct: rounded(truth.uncovered_area_pct()),
            largest_gap_um: rounded(truth.largest_gap_um()),
            objects: objects.collect(),
            gaps: gaps.collect(),
        }
    }
}

#[derive(Serialize)]
struct ObjectFile {
    x_um: f64,
    y_um: f64,
    area_um2: f64,
    area_in_frame_um2: f64,
    diameter_um: f64,
    constituents: usize,
    touches_frame: bool,
}

#[derive(Serialize)]
struct GapFile {
    x_um: f64,
    y_um: f64,
    form: &'static str,
    area_um2: f64,
    area_in_frame_um2: f64,
    diameter_um: f64,
    largest_circle_um: f64,
    touches_frame: bool,
}

/// To four decimals: a tenth of a nanometre is truth enough.
fn rounded(x: f64) -> f64 {
    (x * 1e4).round() / 1e4
}

#[cfg(test)]
mod tests {
    use super::*;

    fn small(bits: Bits, file: PictureFile) -> PhantomOptions {
        let base = PhantomOptions::new(PhantomKind::Film, 3);
        PhantomOptions { size: (200, 150), fields: 2, slides: 2, bits, file, dark: true, ..base }
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_lot_is_whole_and_the_same_again() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("lot");
        let options = small(Bits::Sixteen, PictureFile::Tiff);
        let first = write_phantom(&folder, &options).unwrap();
        assert_eq!(names(&folder), ["batch.toml", "blank.tif", "dark.tif", "f01.tif", "f02.tif", "f03.tif", "f04.tif", "truth.json"]);
        assert_eq!(names(parent.path()), ["lot"]);
        let before: Vec<Vec<u8>> = names(&folder).iter().map(|n| fs::read(folder.join(n)).unwrap()).collect();
        assert_eq!(write_phantom(&folder, &options).unwrap(), first);
        let after: Vec<Vec<u8>> = names(&folder).iter().map(|n| fs::read(folder.join(n)).unwrap()).collect();
        assert!(before == after && first.fields == 4 && first.objects > 0);
    }

    /// The written picture read back by the decoder is what was rendered.
    #[test]
    fn pictures_hold_what_was_rendered() {
        let parent = tempfile::tempdir().unwrap();
        for (bits, file) in [(Bits::Eight, PictureFile::Tiff), (Bits::Sixteen, PictureFile::Tiff), (Bits::Eight, PictureFile::Png)] {
            let options = small(bits, file);
            let folder = parent.path().join(format!("{bits:?}-{file:?}"));
            write_phantom(&folder, &options).unwrap();
            let expected = rendered(&Film::lay(&options.spec(1), 1, 0), Rect::new(0, 0, 200, 150));
            let path = folder.join(format!("f03.{}", file.extension()));
            assert_eq!(decoded(&path), expected, "{}", path.display());
        }
    }

    fn decoded(path: &Path) -> Vec<u16> {
        if path.extension().unwrap() == "png" {
            let mut reader = png::Decoder::new(std::io::BufReader::new(File::open(path).unwrap())).read_info().unwrap();
            let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
            reader.next_frame(&mut bytes).unwrap();
            return bytes.into_iter().map(u16::from).collect();
        }
        let mut decoder = tiff::decoder::Decoder::new(std::io::BufReader::new(File::open(path).unwrap())).unwrap();
        match decoder.read_image().unwrap() {
            tiff::decoder::DecodingResult::U8(v) => v.into_iter().map(u16::from).collect(),
            tiff::decoder::DecodingResult::U16(v) => v,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_folder_with_other_files_is_left_alone() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("lot");
        let options = small(Bits::Eight, PictureFile::Png);
        fs::create_dir(&folder).unwrap();
        write_phantom(&folder, &options).unwrap();
        fs::write(folder.join("corrections.csv"), "mine").unwrap();
        let fault = write_phantom(&folder, &options).unwrap_err();
        assert_eq!(fault.file.unwrap().file_name().unwrap(), "corrections.csv");
        assert_eq!(fs::read(folder.join("corrections.csv")).unwrap(), b"mine");
    }

    #[test]
    fn options_out_of_range_are_refused() {
        let parent = tempfile::tempdir().unwrap();
        let base = small(Bits::Eight, PictureFile::Png);
        for options in [
            PhantomOptions { size: (0, 10), ..base.clone() },
            PhantomOptions { fields: 0, ..base.clone() },
            PhantomOptions { um_per_px: -1.0, ..base.clone() },
            PhantomOptions { blur: BlurChoice::Sigma(f64::NAN), ..base.clone() },
        ] {
            assert!(write_phantom(&parent.path().join("lot"), &options).is_err());
        }
        assert!(names(parent.path()).is_empty());
    }

    #[test]
    fn everything_says_that_it_is_rendered() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("lot");
        write_phantom(&folder, &small(Bits::Eight, PictureFile::Png)).unwrap();
        for name in names(&folder) {
            let bytes = fs::read(folder.join(&name)).unwrap();
            assert!(bytes.windows(ORIGIN.len()).any(|w| w == ORIGIN.as_bytes()), "{name}");
        }
    }
}
