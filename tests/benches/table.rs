//! The stages of whole fields in ns per pixel and µs per object.

use std::path::Path;
use std::time::Instant;

use evenfilm_core::batch;
use evenfilm_core::field::{join_field, measure, refine_field, survey};
use evenfilm_core::light::Lamp;
use evenfilm_core::phantom::{FilmSpec, Population};
use evenfilm_record::phantom_files::{PhantomKind, PhantomOptions, write_phantom};
use evenfilm_record::pictures::{Picture, Reading};

use super::{RECIPE, SIZE, setting};

/// Each stage is run so often; the median counts.
const RUNS: usize = 7;

/// Renders both films and prints their table.
#[expect(clippy::print_stdout, reason = "a benchmark reports to its reader")]
pub(super) fn print() {
    let film = FilmSpec::film();
    let crowd = Population { per_mm2: 50_000.0, ..film.singles };
    let dense = FilmSpec { singles: crowd, clear_um: 0.8, ..film };
    let folder = tempfile::tempdir().expect("the system has room for scratch files");
    println!("\nns per pixel, median of {RUNS}; refine also in µs per object");
    println!(
        "{:<14}{:>8}{:>8}{:>9}{:>9}{:>9}{:>10}{:>9}{:>8}{:>8}",
        "", "objects", "blank", "survey", "cut…", "refine", "µs/object", "gaps", "batch", "whole"
    );
    for (name, film) in [("sparse", film), ("dense", dense)] {
        let lot = folder.path().join(name);
        let options = PhantomOptions { fields: 1, size: SIZE, film, ..PhantomOptions::new(PhantomKind::Film, 12) };
        write_phantom(&lot, &options).expect("the system has room for scratch files");
        for (source, held) in [("held", u64::MAX), ("by pieces", 0)] {
            println!("{name:<7}{source:<10}{}", row(&lot, held));
        }
    }
    println!("cut…: cut, join and calibrate; gaps: the whole less all other stages but the blank, so with flags and kinds");
}

fn row(lot: &Path, held: u64) -> String {
    let open = |file: &str| {
        let mut reading = Reading::new(None);
        reading.budget.held = held;
        Picture::open(&lot.join(file), &reading).expect("the phantom is a picture")
    };
    let (field, blank, set) = (open("f01.tif"), open("blank.tif"), setting());
    let lamp = || Lamp::new(Some(&blank), None, set.watch).expect("the blank can be read");
    let lit = lamp();
    let first = || survey(&field, &lit, &set).expect("the field can be read");
    let (surveyed, light) = first();
    let join = || join_field(&field, (&surveyed, &light), None, &set).expect("the field can be read");
    let joined = join();
    let refine = || refine_field(&field, &light, &joined, &set).expect("the field can be read");
    let objects = refine().objects.len();
    let all = || measure(&field, (&surveyed, &light), None, &set).expect("the field can be read");
    let result = all();
    let fields = [&result];
    let slides = ["A".to_owned()];
    let pixels = f64::from(SIZE.0) * f64::from(SIZE.1);
    let ns = |seconds: f64| seconds * 1e9 / pixels;
    let [blank_s, survey_s, cut_s, refine_s, measure_s, batch_s] = [
        median(|| drop(lamp())),
        median(|| drop(first())),
        median(|| drop(join())),
        median(|| drop(refine())),
        median(|| drop(all())),
        median(|| drop(batch::lot(&fields, &slides, 0, &RECIPE, None))),
    ];
    format!(
        "{objects:>5}{:>8.2}{:>9.2}{:>9.2}{:>9.2}{:>10.2}{:>9.2}{:>8.2}{:>8.2}",
        ns(blank_s),
        ns(survey_s),
        ns(cut_s),
        ns(refine_s),
        refine_s * 1e6 / objects.max(1) as f64,
        ns((measure_s - cut_s - refine_s).max(0.0)),
        ns(batch_s),
        ns(survey_s + measure_s + batch_s),
    )
}

fn median(mut work: impl FnMut()) -> f64 {
    let mut times: Vec<f64> = (0..RUNS)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[RUNS / 2]
}
