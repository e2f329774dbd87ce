//! One scene, photographed and stored in several ways, gives one set of numbers: with and without a blank, with 8 and 16 bits, linear and coded
//! for a display, TIFF and PNG, with a dark offset, in transmitted light and in dark field.
//!
//! The scenes are those under `reference/films`, rendered independently of this program; the other ways are made from them here.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use evenfilm_record::folder::{Batch, Options};
use evenfilm_record::lot::{Job, LotOutcome, run};
use evenfilm_record::occasion::Occasion;
use evenfilm_record::pictures::{Picture, Reading};
use evenfilm_record::sheet::Tone;
use evenfilm_record::time::Moment;
use evenfilm_tests::reference;
use image::{ImageBuffer, Luma};

/// A lot in a folder of its own, to be changed before it is measured.
struct Copy {
    folder: tempfile::TempDir,
}

/// What was measured, and its table of objects.
struct Seen {
    outcome: LotOutcome,
    objects: String,
    _out: tempfile::TempDir,
}

impl Copy {
    fn of(name: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        for entry in fs::read_dir(reference().join("films").join(name)).unwrap() {
            let path = entry.unwrap().path();
            fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
        }
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn sheet(self, change: impl Fn(&str) -> String) -> Self {
        let sheet = self.path("batch.toml");
        fs::write(&sheet, change(&fs::read_to_string(&sheet).unwrap())).unwrap();
        self
    }

    /// Without the picture of the empty slide, or in dark field that of the scatterer.
    fn without_blank(self) -> Self {
        fs::remove_file(self.path("blank.tif")).unwrap();
        self.sheet(|text| text.replace("blank = \"blank.tif\"\n", ""))
    }

    fn recipe(self, text: &str) -> Self {
        fs::write(self.path("recipe.toml"), text).unwrap();
        self
    }

    /// Every picture as a PNG of other counts: `change` takes a count of 16 bits and gives one of `bits`.
    fn into_png(self, bits: u8, change: impl Fn(u16) -> u16) -> Self {
        let pictures = fs::read_dir(self.folder.path()).unwrap().map(|entry| entry.unwrap().path());
        for path in pictures.filter(|p| p.extension().is_some_and(|e| e == "tif")).collect::<Vec<_>>() {
            let counts = Picture::open(&path, &Reading::new(Some(Tone::Linear))).unwrap().counts().unwrap().mapv(&change);
            save(&path.with_extension("png"), bits, &counts);
            fs::remove_file(path).unwrap();
        }
        self.sheet(|text| text.replace(".tif", ".png"))
    }

    fn measured(self) -> Seen {
        let out = tempfile::tempdir().unwrap();
        let moment = Moment::now().unwrap();
        let cancel = AtomicBool::new(false);
        let job = Job { out: out.path(), occasion: &Occasion::at(moment.clone(), "test"), cancel: &cancel, tell: &|_| () };
        let batch = Batch::open(self.folder.path(), &Options::default()).unwrap();
        let outcome = run(&batch, &job).unwrap();
        let objects = fs::read_to_string(outcome.record_dir.join("data/objects.csv")).unwrap();
        Seen { outcome, objects, _out: out }
    }
}

fn save(path: &Path, bits: u8, counts: &evenfilm_core::plane::Plane<u16>) {
    let (height, width) = counts.dim();
    let (width, height) = (u32::try_from(width).unwrap(), u32::try_from(height).unwrap());
    if bits == 8 {
        let all = counts.iter().map(|&c| u8::try_from(c).unwrap()).collect();
        ImageBuffer::<Luma<u8>, Vec<u8>>::from_raw(width, height, all).unwrap().save(path).unwrap();
    } else {
        ImageBuffer::<Luma<u16>, Vec<u16>>::from_raw(width, height, counts.iter().copied().collect()).unwrap().save(path).unwrap();
    }
}

impl Seen {
    fn value(&self, id: &str) -> Option<f64> {
        self.outcome.value(id).unwrap().value
    }

    fn flags(&self) -> Vec<&'static str> {
        self.outcome.flags().filter(|f| f.field.is_some()).map(|f| f.flag.id).collect()
    }

    /// Number of objects found, of any size.
    fn found(&self) -> usize {
        self.objects.lines().count() - 1
    }

    /// Holds quantities against those of another way, in % of them.
    fn agrees(&self, what: &str, other: &Self, ids: &[&str], allowed_pct: f64) {
        for id in ids {
            let (found, wanted) = (self.value(id), other.value(id));
            let (Some(found), Some(wanted)) = (found, wanted) else { panic!("{what}, {id}: {found:?} beside {wanted:?}") };
            let off = 100.0 * (found / wanted - 1.0);
            assert!(off.abs() <= allowed_pct, "{what}, {id}: {found} beside {wanted}: {off:+.2} %, allowed {allowed_pct} %");
        }
    }
}

const SIZES: [&str; 3] = ["x50_0_um", "x50_3_um", "particle_area_pct"];
const GAPS: [&str; 2] = ["uncovered_area_pct", "largest_gap_um"];
const OPTICAL_DENSITY: [&str; 4] = ["film_od", "film_od_cv_pct", "gap_cut_od_pct", "thin_area_pct"];

#[test]
fn with_and_without_a_blank_where_bare_places_are_seen() {
    // Tilt 20 %, vignette 30 %; gaps of 2.7 to 70 % of the field; 8 and 16 bit.
    for name in ["kept-hazy-8", "kept-hazy-airy-16", "kept-in-gaps-8", "kept-hole70-8", "kept-clumps-16"] {
        let (with, without) = (Copy::of(name).measured(), Copy::of(name).without_blank().measured());
        without.agrees(name, &with, &SIZES, 1.0);
        without.agrees(name, &with, &GAPS, 1.0);
        without.agrees(name, &with, &["gaps"], 0.0);
        assert_eq!(without.found(), with.found(), "{name}");
        // What is uneven over the whole field is taken for light, so that the film's density is less sure and its spread unknown.
        without.agrees(name, &with, &["film_od"], 5.0);
        assert_eq!(without.value("film_od_cv_pct"), None);
        assert!(without.outcome.flags().any(|f| f.flag.id == "no_blank" && f.flag.advice.contains("lightest even places")));
        assert!(!with.flags().contains(&"no_blank"));
    }
}

#[test]
fn without_a_blank_and_without_bare_places_sizes_stand_and_bare_is_not_measured() {
    let (with, without) = (Copy::of("kept-discs-16").measured(), Copy::of("kept-discs-16").without_blank().measured());
    without.agrees("kept-discs-16", &with, &SIZES, 1.0);
    assert!(GAPS.iter().chain(&OPTICAL_DENSITY).all(|id| without.value(id).is_none()));
    assert!(without.outcome.flags().any(|f| f.flag.id == "no_blank" && f.flag.advice.contains("cannot be told from film")));
}

#[test]
fn a_bubble_is_no_bare_place() {
    let without = Copy::of("kept-bubble-8").without_blank().measured();
    without.agrees("kept-bubble-8", &Copy::of("kept-bubble-8").measured(), &SIZES, 1.0);
    assert_eq!(without.value("uncovered_area_pct"), None);
}

#[test]
fn a_clear_film_is_bare_outside_its_particles_with_and_without_a_blank() {
    let recipe = "[light]\nfilm = \"clear\"\n";
    let name = "kept-discs-airy-8";
    let with = Copy::of(name).recipe(recipe).measured();
    let without = Copy::of(name).without_blank().recipe(recipe).measured();
    without.agrees(name, &with, &SIZES, 1.0);
    without.agrees(name, &with, &GAPS, 1.0);
    let all = without.value("uncovered_area_pct").unwrap() + without.value("particle_area_pct").unwrap();
    assert!((all - 100.0).abs() < 0.01, "{all}");
    assert!(without.outcome.flags().any(|f| f.flag.id == "no_blank" && f.flag.advice.contains("the recipe says so")));
}

#[test]
fn eight_and_sixteen_bits() {
    let name = "kept-hazy-airy-16";
    let (sixteen, eight) = (Copy::of(name).measured(), Copy::of(name).into_png(8, |c| (c + 128) / 257).measured());
    eight.agrees("8 bit", &sixteen, &["x50_0_um", "uncovered_area_pct"], 1.0);
}

#[test]
fn formats_that_keep_the_pixels_give_the_same_numbers() {
    for (name, bits) in [("kept-hazy-8", 8), ("kept-hazy-airy-16", 16)] {
        let tiff = Copy::of(name).measured();
        let png = Copy::of(name).into_png(bits, |c| if bits == 8 { c / 257 } else { c }).measured();
        assert_eq!(tiff.outcome.objectives[0].values, png.outcome.objectives[0].values, "{name}");
        assert_eq!(tiff.objects.replace(".tif", ".png"), png.objects, "{name}");
    }
}

#[test]
fn a_picture_coded_for_a_display_gives_the_numbers_of_the_linear_one() {
    // IEC 61966-2-1, coded to 8 bits; bar: 1 %.
    let coded = |count: u16| {
        let linear = f64::from(count) / 65535.0;
        let value = if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * libm::pow(linear, 1.0 / 2.4) - 0.055 };
        (0..=255).min_by_key(|&code: &u16| (f64::from(code) - 255.0 * value).abs().to_bits()).unwrap()
    };
    let codes: Vec<u16> = (0..=u16::MAX).map(coded).collect();
    for name in ["kept-hazy-airy-16", "kept-clumps-16"] {
        let linear = Copy::of(name).measured();
        let coded = Copy::of(name).into_png(8, |c| codes[usize::from(c)]).sheet(|text| text.replace("linear", "srgb")).measured();
        coded.agrees(name, &linear, &["x50_0_um", "particle_area_pct", "film_od", "uncovered_area_pct"], 1.0);
    }
}

#[test]
fn a_dark_offset_changes_nothing() {
    let offset = |place: usize| u16::try_from(700 + place % 311).unwrap();
    let name = "kept-hazy-airy-16";
    let plain = Copy::of(name).measured();
    let lot = Copy::of(name).into_png(16, |c| c);
    for picture in ["f01.png", "blank.png", "dark.png"] {
        let image = image::open(lot.path(if picture == "dark.png" { "blank.png" } else { picture })).unwrap().into_luma16();
        let mut image = image;
        for (place, pixel) in image.pixels_mut().enumerate() {
            pixel.0[0] = offset(place) + if picture == "dark.png" { 0 } else { pixel.0[0] };
        }
        image.save(lot.path(picture)).unwrap();
    }
    let raised = lot.sheet(|text| text.replace("blank =", "dark = \"dark.png\"\nblank =")).measured();
    // The noise of the blank is judged with its offset, so that it may be averaged otherwise; nothing else may differ.
    raised.agrees(name, &plain, &SIZES, 0.01);
    raised.agrees(name, &plain, &GAPS, 0.01);
    raised.agrees(name, &plain, &OPTICAL_DENSITY, 0.01);
}

#[test]
fn transmitted_light_and_dark_field_of_one_scene() {
    let transmitted = Copy::of("kept-hazy-airy-16").measured();
    let dark_field = Copy::of("kept-darkfield-16").measured();
    let by_film = Copy::of("kept-darkfield-16").without_blank().measured();
    for (what, seen) in [("dark field", &dark_field), ("dark field without a scatterer", &by_film)] {
        seen.agrees(what, &transmitted, &["x50_0_um", "uncovered_area_pct", "largest_gap_um", "particle_area_pct"], 1.0);
        seen.agrees(what, &transmitted, &["gaps"], 0.0);
        assert_eq!(seen.found(), transmitted.found(), "{what}");
        assert!(OPTICAL_DENSITY.iter().all(|id| seen.value(id).is_none()), "{what}");
        let columns: Vec<&str> = seen.objects.lines().next().unwrap().split(',').collect();
        let peak = columns.iter().position(|c| *c == "od_peak").unwrap();
        assert!(seen.objects.lines().skip(1).all(|row| row.split(',').nth(peak) == Some("")), "{what}");
    }
    assert!(dark_field.flags().is_empty(), "{:?}", dark_field.flags());
    assert_eq!(by_film.flags(), ["relative_to_film"]);
}
