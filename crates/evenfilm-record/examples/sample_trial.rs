//! Makes the invented trial of `sample-images/`: three mixing settings, four lots each, two slides a lot, two fields a slide, with shared
//! recipe and limits, a check slide with limits of its own, and a ruling seen through the same objective. Rendered, not photographed; the same bytes every time.
//!
//! `cargo run --release -p evenfilm-record --example sample_trial -- sample-images`

use evenfilm_core::phantom::{Clumps, FilmSpec, Lamp, Population};
use evenfilm_core::random::{Draws, Source};
use evenfilm_record::fault::Fault;
use evenfilm_record::phantom_files::{Bits, ORIGIN, PhantomKind, PhantomOptions, PictureFile, RulingOptions, write_phantom, write_ruling};
use std::path::{Path, PathBuf};

/// Random effects of lots; each lot's pictures take its own seed.
const TRIAL_SEED: u64 = 401;
/// Spread of clumps and gaps between lots and between slides, as geometric standard deviations.
const LOT_GSD: f64 = 1.18;
const SLIDE_GSD: f64 = 1.12;

/// Lot name of the check slide.
const CHECK: &str = "CHECK-1";
/// What the ruling says of the scale.
const SCALE_U: &str = "um_per_px_u = 0.00002\n";

/// One mixing setting, and what it does to the film.
struct Setting {
    rpm: u32,
    minutes: u32,
    power_w: u32,
    singles_per_mm2: f64,
    clumps_per_mm2: f64,
    constituents: f64,
    gaps_per_mm2: f64,
    gap_um: f64,
}

const SETTINGS: [Setting; 3] = [
    Setting {
        rpm: 3000,
        minutes: 10,
        power_w: 120,
        singles_per_mm2: 6500.0,
        clumps_per_mm2: 1300.0,
        constituents: 9.0,
        gaps_per_mm2: 260.0,
        gap_um: 11.0,
    },
    Setting {
        rpm: 6000,
        minutes: 10,
        power_w: 350,
        singles_per_mm2: 8000.0,
        clumps_per_mm2: 650.0,
        constituents: 6.0,
        gaps_per_mm2: 110.0,
        gap_um: 9.5,
    },
    Setting {
        rpm: 9000,
        minutes: 10,
        power_w: 910,
        singles_per_mm2: 9000.0,
        clumps_per_mm2: 280.0,
        constituents: 4.0,
        gaps_per_mm2: 45.0,
        gap_um: 8.0,
    },
];

/// Which setting each lot was made with, in the order of making: each setting once in every three, so that the day does not mix with it.
const ORDER: [usize; 12] = [1, 0, 2, 2, 1, 0, 0, 2, 1, 1, 2, 0];

fn main() -> Result<(), Fault> {
    let folder = PathBuf::from(std::env::args_os().nth(1).unwrap_or_else(|| "sample-images".into()));
    for (number, &setting) in (0_u32..).zip(&ORDER) {
        let options = lot(number, &SETTINGS[setting]);
        let summary = write_phantom(&folder.join(&options.lot), &options)?;
        eprintln!("{} {} rpm: {summary:?}", options.lot, SETTINGS[setting].rpm);
    }
    let check = folder.join(CHECK);
    // No phantom writes limits, and none writes over what is not its own.
    let _ = std::fs::remove_file(check.join("limits.toml"));
    write_phantom(&check, &check_slide())?;
    write(&check.join("limits.toml"), CHECK_LIMITS)?;
    write_ruling(&folder.join("ruling"), &ruling())?;
    write(&folder.join("recipe.toml"), RECIPE)?;
    write(&folder.join("limits.toml"), LIMITS)
}

fn write(path: &Path, text: &str) -> Result<(), Fault> {
    let text = format!("# part of an invented trial: {ORIGIN}\n{text}");
    std::fs::write(path, text).map_err(|err| Fault::work(format!("cannot write: {err}"), "check the folder").at(path))
}

/// The retained slide: singles and gaps that do not change, in two fields.
fn check_slide() -> PhantomOptions {
    let film = FilmSpec::film();
    let clumps = Clumps { per_mm2: 250.0, constituents: 4.0, most: 60 };
    PhantomOptions {
        fields: 2,
        film: FilmSpec { clumps, ..film },
        lot: CHECK.into(),
        sheet_top: "product = \"Retained slide 1\"\npurpose = \"check\"\noperator = \"R4\"\nbench = \"bench 2\"\n".into(),
        sheet_microscope: SCALE_U.into(),
        ..like_the_lots(PhantomOptions::new(PhantomKind::Film, TRIAL_SEED * 100 + 99))
    }
}

/// A ruling of 10 µm, turned a little, through the objective and the light of the lots.
fn ruling() -> RulingOptions {
    let base = RulingOptions::new(TRIAL_SEED);
    let picture = PhantomOptions { fields: 1, ..like_the_lots(base.picture) };
    RulingOptions { picture, turn: Some(2.4), ..base }
}

/// Size, light and camera of all pictures.
fn like_the_lots(base: PhantomOptions) -> PhantomOptions {
    PhantomOptions {
        size: (960, 720),
        bits: Bits::Eight,
        file: PictureFile::Png,
        lamp: Lamp { tilt_pct: 8.0, tilt_deg: 25.0, vignette_pct: 12.0 },
        // A deep well keeps noise, and so the files, small.
        full_well_e: 120_000.0,
        ..base
    }
}

/// The lot of this number.
fn lot(number: u32, setting: &Setting) -> PhantomOptions {
    let mut draws = Draws::new(Source::new(TRIAL_SEED, u64::from(number)));
    let base = FilmSpec::film();
    let clumps = setting.clumps_per_mm2 * draws.log_normal(1.0, LOT_GSD);
    let gaps = setting.gaps_per_mm2 * draws.log_normal(1.0, LOT_GSD);
    let film = FilmSpec {
        od: base.od * draws.log_normal(1.0, 1.03),
        singles: Population { per_mm2: setting.singles_per_mm2, ..base.singles },
        clumps: Clumps { per_mm2: clumps, constituents: setting.constituents, most: 60 },
        gaps: Population { per_mm2: gaps, median_um: setting.gap_um, ..base.gaps },
        ..base
    };
    PhantomOptions {
        fields: 2,
        slides: 2,
        film,
        slide_gsd: SLIDE_GSD,
        lot: format!("TS-{:04}", 401 + number),
        sheet_top: sheet_top(number),
        sheet_microscope: format!("{SCALE_U}check = \"{CHECK}\"\n"),
        sheet_tables: sheet_tables(setting),
        ..like_the_lots(PhantomOptions::new(PhantomKind::Film, TRIAL_SEED * 100 + u64::from(number)))
    }
}

fn sheet_top(number: u32) -> String {
    let operator = ["R4", "R7", "K2"][number as usize / 2 % 3];
    format!(
        "product = \"Mineral lotion, zinc oxide 15 % w/w\"\npurpose = \"lot\"\nsampled_on = 2026-03-{:02}\noperator = \"{operator}\"\nbench = \"bench 2\"\nretained_sample = \"shelf C-{}\"\n",
        2 + number / 3,
        11 + number
    )
}

fn sheet_tables(setting: &Setting) -> String {
    format!(
        r#"[powder]
grade = "ZnO-A"
supplier_lot = "88-1207"
coating = "none"
density_g_cm3 = 5.61
primary_diameter_um = 0.25

[mixing]
setting = "{rpm} rpm, {minutes} min"
device = "rotor_stator"
rotor_diameter_mm = 32.0
gap_mm = 0.3
speed_rpm = {rpm}
time_min = {minutes}
passes = 1
temperature_c = 45
batch_mass_kg = 2.0
batch_volume_l = 1.82
power_w = {power_w}
viscosity_pa_s = 0.5
density_kg_m3 = 1100

[sample]
age_days = 1
stored_at_c = 25
sampled_from = "middle"
reshaken = true

[slide]
substrate = "glass"
applicator_gap_um = 50
wet_thickness_um = 27
wet_thickness_um_u = 2
powder_pct_w_w = 15
nonvolatile_pct = 35
carrier_density_g_cm3 = 0.98
diluent = "none"
dried = "24 h, 23 °C, 50 % RH"

[plan]
slides = 2
fields = 4
placement = "random"
edge_margin_mm = 5

"#,
        rpm = setting.rpm,
        minutes = setting.minutes,
        power_w = setting.power_w
    )
}

const RECIPE: &str = r#"name = "film"
version = "1"
locked = true

[light]
channel = "luminance"
from = "blank"
film = "auto"

[particles]
detect = "auto"
noise_factor = 6.0
fixed_level = 0.5
edge = 0.5
min_diameter_um = "auto"
contrast = "constant"
fill_holes = "dark"

[gaps]
edge = 0.5
min_diameter_um = 2.0

[objects]
split = true
split_depth_um = 0.15
frame = "weighted"
model_u_pct = 0.0

[kinds]
leave_out = ["hollow", "fibre", "crystal", "dust"]

[agglomerates]
rule = "size"
min_diameter_um = 5.0
min_constituents = 4

[fields]
reject = ["overlap"]
scale_max_age_days = 365
check_max_age_days = 7

[chance]
placements = 200
seed = 1

[concern]
gap_um = 25
agglomerate_um = 25
"#;

const LIMITS: &str = r#"product = "Mineral lotion, zinc oxide 15 % w/w"
version = "1"
wanted_relative_accuracy_pct = 10

[[limit]]
quantity = "uncovered_area_pct"
max = 1.5
rule = "guarded"

[[limit]]
quantity = "x90_3_um"
max = 10
rule = "guarded"

[[limit]]
quantity = "largest_gap_um"
max = 25
rule = "simple"
"#;

const CHECK_LIMITS: &str = r#"product = "Retained slide 1"
version = "1"

[[limit]]
quantity = "x50_0_um"
min = 1.90
max = 2.06
rule = "simple"

[[limit]]
quantity = "uncovered_area_pct"
min = 0.45
max = 0.65
rule = "simple"

[[limit]]
quantity = "film_od"
min = 0.340
max = 0.360
rule = "simple"
"#;
