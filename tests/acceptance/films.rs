//! Films rendered independently of this program (`reference/render_films.py`: numpy and scipy, blur through the transfer function, truth from
//! geometry), measured through the workflow that the command line uses and held against the truth.

use evenfilm_tests::number;
use serde_json::Value;

use super::lot::Lot;

impl Lot {
    /// Holds a quantity against the truth, in % of it.
    fn within(&self, id: &str, true_value: f64, allowed_pct: f64) {
        let found = self.value(id);
        let off = 100.0 * (found / true_value - 1.0);
        assert!(off.abs() <= allowed_pct, "{} {id}: found {found}, true {true_value}: {off:+.2} %, allowed {allowed_pct} %", self.name);
    }

    /// Rows of objects.csv of kind powder or unsure against the true number of separate things, within 1 %.
    fn count_within_1_pct(&self) {
        let found = self.objects.column("kind").iter().filter(|k| ["powder", "unsure"].contains(k)).count() as f64;
        let off = 100.0 * (found / self.truth("count") - 1.0);
        assert!(off.abs() <= 1.0, "{}: {found} of {} objects", self.name, self.truth("count"));
    }

    /// Diameters in px of the objects that the frame does not cut and that are at least 6 px and 4σ across, found or true.
    fn diameters(&self, found: bool) -> Vec<f64> {
        let um_per_px = number(&self.truth["um_per_px"]);
        let least = 6f64.max(4.0 * number(&self.truth["sigma_px"]));
        let all: Vec<(f64, bool)> = if found {
            let cut = self.objects.column("touches_frame");
            self.objects.column("diameter_um").iter().zip(cut).map(|(d, c)| (d.parse::<f64>().unwrap() / um_per_px, c == "true")).collect()
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
        let lot = Lot::measured(name);
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
        let lot = Lot::measured(name);
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
    let lot = Lot::measured("kept-hole70-8");
    lot.within("uncovered_area_pct", lot.truth("uncovered_area_pct"), 1.0);
    lot.within("largest_gap_um", lot.truth("largest_gap_um"), 2.0);
    lot.count_within_1_pct();
}
