//! Films rendered independently of this program (`reference/render_films.py`: numpy and scipy, blur through the transfer function, truth from
//! geometry), measured through the workflow that the command line uses and held against the truth.

use std::path::Path;
use std::sync::atomic::AtomicBool;

use evenfilm_record::folder::{Batch, Options};
use evenfilm_record::lot::{Job, LotOutcome, run};
use evenfilm_record::time::Moment;
use evenfilm_tests::{number, reference};
use serde_json::Value;

/// A kept lot: its truth, what was measured, and its rows of objects.csv by column name.
struct Lot {
    name: &'static str,
    truth: Value,
    outcome: LotOutcome,
    objects: Vec<Vec<String>>,
    columns: Vec<String>,
}

fn rows(path: &Path) -> (Vec<String>, Vec<Vec<String>>) {
    let text = std::fs::read_to_string(path).unwrap();
    let mut lines = text.lines().map(|l| l.split(',').map(str::to_owned).collect::<Vec<_>>());
    (lines.next().unwrap(), lines.collect())
}

fn measured(name: &'static str) -> Lot {
    let folder = reference().join("films").join(name);
    let truth = serde_json::from_str(&std::fs::read_to_string(folder.join("truth.json")).unwrap()).unwrap();
    let out = tempfile::tempdir().unwrap();
    let moment = Moment::now().unwrap();
    let cancel = AtomicBool::new(false);
    let job = Job { out: out.path(), moment: &moment, program_version: "test", cancel: &cancel, tell: &|_| () };
    let batch = Batch::open(&folder, &Options::default()).unwrap();
    let outcome = run(&batch, &job).unwrap();
    let (columns, objects) = rows(&outcome.record_dir.join("data/objects.csv"));
    Lot { name, truth, outcome, objects, columns }
}

impl Lot {
    fn truth(&self, id: &str) -> f64 {
        number(&self.truth["truth"][id])
    }

    fn value(&self, id: &str) -> f64 {
        self.outcome.value(id).and_then(|v| v.value).unwrap_or_else(|| panic!("{}: {id} was not measured", self.name))
    }

    fn column(&self, id: &str) -> Vec<&str> {
        let at = self.columns.iter().position(|c| c == id).unwrap();
        self.objects.iter().map(|row| row[at].as_str()).collect()
    }

    /// Holds a quantity against the truth, in % of it.
    fn within(&self, id: &str, true_value: f64, allowed_pct: f64) {
        let found = self.value(id);
        let off = 100.0 * (found / true_value - 1.0);
        assert!(off.abs() <= allowed_pct, "{} {id}: found {found}, true {true_value}: {off:+.2} %, allowed {allowed_pct} %", self.name);
    }

    /// Rows of objects.csv of kind powder or unsure against the true number of separate things, within 1 %.
    fn count_within_1_pct(&self) {
        let found = self.column("kind").iter().filter(|k| ["powder", "unsure"].contains(k)).count() as f64;
        let off = 100.0 * (found / self.truth("count") - 1.0);
        assert!(off.abs() <= 1.0, "{}: {found} of {} objects", self.name, self.truth("count"));
    }

    /// Diameters in px of the objects that the frame does not cut and that are at least 6 px and 4σ across, found or true.
    fn diameters(&self, found: bool) -> Vec<f64> {
        let um_per_px = number(&self.truth["um_per_px"]);
        let least = 6f64.max(4.0 * number(&self.truth["sigma_px"]));
        let all: Vec<(f64, bool)> = if found {
            let cut = self.column("touches_frame");
            self.column("diameter_um").iter().zip(cut).map(|(d, c)| (d.parse::<f64>().unwrap() / um_per_px, c == "true")).collect()
        } else {
            let names: Vec<&str> = self.truth["object_columns"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
            let at = |name: &str| names.iter().position(|n| *n == name).unwrap();
            let cut = |v: &Value| v.as_bool().unwrap_or_else(|| v.as_f64() == Some(1.0));
            let fields = self.truth["fields"].as_array().unwrap();
            let objects = fields.iter().flat_map(|f| f["objects"].as_array().unwrap());
            objects.map(|o| (number(&o[at("diameter_px")]), cut(&o[at("touches_frame")]))).collect()
        };
        all.into_iter().filter(|(d, cut)| !cut && *d >= least).map(|(d, _)| d).collect()
    }
}

/// Median and Sauter mean.
fn median_and_d32(mut diameters: Vec<f64>) -> (f64, f64) {
    diameters.sort_by(f64::total_cmp);
    let sum = |power| diameters.iter().map(|d| d.powi(power)).sum::<f64>();
    (diameters[diameters.len() / 2], sum(3) / sum(2))
}

#[test]
fn separate_flat_discs_have_their_true_diameters() {
    // Bars: x50_0 within 1 %, d32 within 0.3 %, from 6 px and 4σ across.
    for name in ["kept-discs-16", "kept-discs-airy-8"] {
        let lot = measured(name);
        lot.count_within_1_pct();
        lot.within("particle_area_pct", lot.truth("particle_area_pct"), 0.3);
        let (found, expected) = (median_and_d32(lot.diameters(true)), median_and_d32(lot.diameters(false)));
        assert!((found.0 / expected.0 - 1.0).abs() <= 0.01, "{name} x50_0: {found:?} {expected:?}");
        assert!((found.1 / expected.1 - 1.0).abs() <= 0.003, "{name} d32: {found:?} {expected:?}");
    }
}

#[test]
fn hazy_films_have_their_true_counts_and_areas() {
    // Bars: count within 1 %, uncovered area within 0.5 %, largest gap within 2 %, particle area within 3 %.
    for name in ["kept-hazy-8", "kept-hazy-airy-16", "kept-in-gaps-8"] {
        let lot = measured(name);
        lot.count_within_1_pct();
        lot.within("uncovered_area_pct", lot.truth("uncovered_area_pct"), 0.5);
        lot.within("largest_gap_um", lot.truth("largest_gap_um"), 2.0);
        lot.within("particle_area_pct", lot.truth("particle_area_pct"), 3.0);
        assert!((lot.value("gaps") - lot.truth("gaps")).abs() < 0.5);
    }
}

#[test]
fn one_hole_that_fills_most_of_the_field_does_not_fool_the_film_level() {
    // Bar: within 1 %.
    let lot = measured("kept-hole70-8");
    lot.within("uncovered_area_pct", lot.truth("uncovered_area_pct"), 1.0);
    lot.within("largest_gap_um", lot.truth("largest_gap_um"), 2.0);
    lot.count_within_1_pct();
}
