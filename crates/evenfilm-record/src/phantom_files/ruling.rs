//! Phantom rulings: rendered pictures of lines of known pitch, and their truth.

use std::path::Path;

use evenfilm_core::phantom::{FilmSpec, Ruling, RulingSpec, Sparse};
use evenfilm_core::random::{Draws, Source};
use serde::Serialize;

use super::pictures::write_picture;
use super::{ORIGIN, PhantomKind, PhantomOptions, TRUTH_FILE, staged, write_truth};
use crate::fault::Fault;

/// Random stream of turns and places; pictures use streams below 2⁵⁶.
const TURN_STREAM: u64 = 3 << 62;
/// Largest turn that is drawn, degrees.
const LARGEST_TURN_DEG: f64 = 12.0;

/// Pictures of a ruling.
#[derive(Clone, Debug)]
pub struct RulingOptions {
    /// Size, scale, lens, light, camera, number of pictures (its `fields`); of its film the dust alone counts: 4 specks of 2–8 µm.
    pub picture: PhantomOptions,
    /// The ruling; turn and place are drawn for each picture unless `turn` says otherwise.
    pub ruling: RulingSpec,
    /// Turn of all pictures, degrees from x towards y; drawn up to 12° either way.
    pub turn: Option<f64>,
}

impl RulingOptions {
    /// The defaults under this seed.
    pub fn new(seed: u64) -> Self {
        let mut film = FilmSpec::glass();
        film.strangers.dust = Sparse { size_um: [2.0, 8.0], ..film.strangers.dust.per_field(4) };
        let picture = PhantomOptions { film, ..PhantomOptions::new(PhantomKind::Discs, seed) };
        Self { picture, ruling: RulingSpec::new(), turn: None }
    }
}

/// Writes pictures `ruling01`, `ruling02`, … (one alone is `ruling`) and `truth.json` into `folder`, which is written beside and renamed into
/// place. Gives their number.
///
/// # Errors
/// As [`write_phantom`](super::write_phantom).
pub fn write_ruling(folder: &Path, options: &RulingOptions) -> Result<u32, Fault> {
    options.picture.check()?;
    staged(folder, |staging| fill(staging, options))
}

fn fill(folder: &Path, options: &RulingOptions) -> Result<u32, Fault> {
    let (picture, spec) = (&options.picture, options.picture.spec(0));
    let mut draws = Draws::new(Source::new(picture.seed, TURN_STREAM));
    let mut told = Vec::new();
    for number in 0..picture.fields {
        let drawn = draws.between(-LARGEST_TURN_DEG, LARGEST_TURN_DEG);
        let ruling = RulingSpec { angle_deg: options.turn.unwrap_or(drawn), offset: draws.between(-0.5, 0.5), ..options.ruling };
        let name = if picture.fields == 1 { "ruling".to_owned() } else { format!("ruling{:02}", number + 1) };
        let file = format!("{name}.{}", picture.file.extension());
        let laid = Ruling::lay(&spec, &ruling, number);
        write_picture(&folder.join(&file), &laid, picture)?;
        told.push(PictureTruth::new(file, &laid));
    }
    let files = told.iter().map(|picture| picture.file.clone()).chain([TRUTH_FILE.to_owned()]).collect();
    let ruling = &options.ruling;
    let truth = Truth {
        origin: format!("{ORIGIN}: true places of lines, in the order of the pictures"),
        format: 1,
        kind: "ruling",
        seed: picture.seed,
        files,
        columns: picture.size.0,
        rows: picture.size.1,
        um_per_px: picture.um_per_px,
        blur_sigma_um: rounded(spec.blur.sigma_um()),
        mode: picture.mode.word(),
        ruled: ruling.ruled.word(),
        pitch_um: ruling.pitch_um,
        line_width_um: ruling.width_um,
        line_lengths_um: ruling.lengths_um,
        light_taken: ruling.taken,
        line_placement_sd_um: ruling.placement_um,
        pictures: told,
    };
    write_truth(&folder.join(TRUTH_FILE), &truth)?;
    Ok(picture.fields)
}

/// `truth.json` of a ruling.
#[derive(Serialize)]
struct Truth {
    origin: String,
    format: u32,
    kind: &'static str,
    seed: u64,
    files: Vec<String>,
    columns: u32,
    rows: u32,
    um_per_px: f64,
    blur_sigma_um: f64,
    mode: &'static str,
    ruled: &'static str,
    pitch_um: f64,
    line_width_um: f64,
    line_lengths_um: [f64; 3],
    light_taken: f64,
    line_placement_sd_um: f64,
    pictures: Vec<PictureTruth>,
}

#[derive(Serialize)]
struct PictureTruth {
    file: String,
    angle_deg: f64,
    /// Where line 0 crosses the middle of the picture, pitches.
    offset: f64,
    lines: Vec<LineTruth>,
}

#[derive(Serialize)]
struct LineTruth {
    number: i32,
    upright: bool,
    /// How far off its even place it lies, µm.
    off_um: f64,
}

impl PictureTruth {
    fn new(file: String, laid: &Ruling) -> Self {
        let lines = laid.bars.iter().map(|bar| LineTruth { number: bar.number, upright: bar.upright, off_um: rounded(bar.off_um) });
        Self { file, angle_deg: laid.ruling.angle_deg, offset: laid.ruling.offset, lines: lines.collect() }
    }
}

/// To six decimals, a picometre.
fn rounded(x: f64) -> f64 {
    (x * 1e6).round() / 1e6
}
