//! Clumps, kinds and what is left out, on films rendered independently of this program (`reference/render_films.py`); the bars are those of
//! `reference/score_films.py`.

use evenfilm_tests::number;
use serde_json::Value;

use super::lot::{Lot, Table};

/// A thing that was planted, in px.
struct Planted {
    field: usize,
    kind: String,
    at: [f64; 2],
    diameter: f64,
    /// Longest side of its box; of a crack its length.
    length: f64,
    touches_frame: bool,
    under_dust: bool,
    constituents: f64,
}

/// The things, or the gaps, that were planted in a lot.
fn planted(lot: &Lot, gaps: bool) -> Vec<Planted> {
    let um_per_px = number(&lot.truth["um_per_px"]);
    let names: Vec<&str> = lot.truth["object_columns"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    let at = |name: &str| names.iter().position(|n| *n == name).unwrap();
    let mut all = Vec::new();
    for (field, truth) in (1..).zip(lot.truth["fields"].as_array().unwrap()) {
        let object = |row: &Value| {
            let cell = |name: &str| number(&row[at(name)]);
            Planted {
                field,
                kind: row[at("kind")].as_str().unwrap().to_owned(),
                at: [cell("x_px"), cell("y_px")],
                diameter: cell("diameter_px"),
                length: cell("box_w_px").max(cell("box_h_px")),
                touches_frame: cell("touches_frame") > 0.0,
                under_dust: cell("under_dust") > 0.0,
                constituents: cell("constituents"),
            }
        };
        let gap = |gap: &Value| {
            let diameter = number(&gap["diameter_um"]) / um_per_px;
            Planted {
                field,
                kind: gap["kind"].as_str().unwrap().to_owned(),
                at: [number(&gap["x_px"]), number(&gap["y_px"])],
                diameter,
                length: gap["length_um"].as_f64().map_or(diameter, |l| l / um_per_px),
                touches_frame: gap["touches_frame"] == true,
                under_dust: false,
                constituents: 1.0,
            }
        };
        let rows = truth[if gaps { "gaps" } else { "objects" }].as_array().unwrap();
        all.extend(rows.iter().map(|row| if gaps { gap(row) } else { object(row) }));
    }
    all
}

/// Rows of a table as they lie in the fields, in px.
struct Found {
    field: Vec<f64>,
    x: Vec<f64>,
    y: Vec<f64>,
    diameter: Vec<f64>,
    /// Largest Feret diameter; of gaps the diameter.
    length: Vec<f64>,
}

impl Found {
    fn of(table: &Table, um_per_px: f64, length: &str) -> Self {
        let px = |id: &str| table.numbers(id).iter().map(|v| v / um_per_px).collect::<Vec<_>>();
        Self { field: table.numbers("field"), x: px("x_um"), y: px("y_um"), diameter: px("diameter_um"), length: px(length) }
    }

    /// The row that a planted thing was found as. A speck may have merged with powder, so it is looked for by place alone: the nearest in half
    /// lengths of the row, within one. Else within 0.6 of the thing's box, the nearest in place and size.
    fn row(&self, thing: &Planted) -> Option<usize> {
        let rank = |i: usize| {
            let far = libm::hypot(self.x[i] - thing.at[0], self.y[i] - thing.at[1]);
            if thing.kind == "dust" {
                let halves = far / (0.5 * self.length[i]).max(1.5);
                return (halves <= 1.0).then_some(halves);
            }
            let boxes = far / (0.6 * thing.length + 1.5);
            (boxes <= 1.0).then(|| boxes + 0.5 * libm::log(self.diameter[i].max(0.1) / thing.diameter).abs())
        };
        let here = (0..self.x.len()).filter(|&i| (self.field[i] - thing.field as f64).abs() < 0.5);
        here.filter_map(|i| Some((i, rank(i)?))).min_by(|a, b| a.1.total_cmp(&b.1)).map(|(i, _)| i)
    }
}

fn um_per_px(lot: &Lot) -> f64 {
    number(&lot.truth["um_per_px"])
}

/// Shares of a lot's planted things of some kinds that were found as a row of one of these kinds; powder at dust does not count.
fn named(lot: &Lot, gaps: bool, kinds: &[&str], names: &[&str]) -> f64 {
    let table = if gaps { lot.gaps.as_ref().unwrap() } else { &lot.objects };
    let found = Found::of(table, um_per_px(lot), if gaps { "diameter_um" } else { "feret_max_um" });
    let words = table.column("kind");
    let things: Vec<Planted> =
        planted(lot, gaps).into_iter().filter(|t| kinds.contains(&t.kind.as_str()) && !(t.kind == "powder" && t.under_dust)).collect();
    assert!(things.len() >= 4, "{kinds:?}");
    things.iter().filter(|t| found.row(t).is_some_and(|i| names.contains(&words[i]))).count() as f64 / things.len() as f64
}

#[test]
fn clumps_are_agglomerates_with_their_constituents() {
    // Bars: fraction within 2 points by both rules; constituents of the whole objects within 15 % in total.
    let lot = Lot::measured("kept-clumps-16");
    let by_constituents = Lot::of("films/kept-clumps-16", Some("[agglomerates]\nrule = \"constituents\"\n"));
    for (lot, truth) in [(&lot, "agglomerate_fraction_size5_pct"), (&by_constituents, "agglomerate_fraction_constituents4_pct")] {
        let (found, expected) = (lot.value("agglomerate_fraction_pct"), lot.truth(truth));
        assert!((found - expected).abs() <= 2.0, "{truth}: {found} {expected}");
    }
    let found = Found::of(&lot.objects, um_per_px(&lot), "feret_max_um");
    let constituents = lot.objects.numbers("constituents");
    let whole: Vec<(f64, f64)> = planted(&lot, false)
        .iter()
        .filter(|t| !t.touches_frame)
        .filter_map(|t| Some((t.constituents, constituents[found.row(t)?])))
        .collect();
    let (expected, found) = whole.iter().fold((0.0, 0.0), |sum, w| (sum.0 + w.0, sum.1 + w.1));
    assert!(whole.len() > 30 && (found / expected - 1.0f64).abs() <= 0.15, "{found} of {expected} constituents in {}", whole.len());
}

#[test]
fn planted_things_are_named_rightly() {
    // Bars: 90 % of each, and no more than 2 % of the powder taken for something else. All of them are at least 5 resolutions long.
    let lot = Lot::measured("kept-kinds-8");
    for (gaps, planted, name) in [
        (false, &["bubble", "droplet"][..], "hollow"),
        (false, &["fibre"], "fibre"),
        (false, &["dust"], "dust"),
        (true, &["crack"], "crack"),
    ] {
        let share = named(&lot, gaps, planted, &[name]);
        assert!(share >= 0.9, "{planted:?}: {share}");
    }
    let misnamed = named(&lot, false, &["powder"], &["hollow", "fibre", "crystal", "dust"]);
    assert!(misnamed <= 0.02, "{misnamed} of the powder");
}

#[test]
fn what_is_left_out_is_the_sum_of_its_rows() {
    // Exact arithmetic on the record's own rows, to the digits that they are written with.
    let lot = Lot::measured("kept-kinds-8");
    let (kinds, areas) = (lot.objects.column("kind"), lot.objects.numbers("area_um2"));
    let mut all = [0.0; 2];
    for kind in ["hollow", "fibre", "crystal", "dust"] {
        let rows: Vec<f64> = kinds.iter().zip(&areas).filter(|(k, _)| **k == kind).map(|(_, a)| *a).collect();
        let (count, share) = (rows.len() as f64, 1e-4 * rows.iter().sum::<f64>() / lot.value("field_area_mm2"));
        assert!(count > 0.0 && (lot.value(&format!("left_out_{kind}_objects")) - count).abs() < 1e-9, "{kind}");
        assert!((lot.value(&format!("left_out_{kind}_area_pct")) / share - 1.0).abs() < 1e-6, "{kind}: {share}");
        all = [all[0] + count, all[1] + share];
    }
    assert!((lot.value("left_out_objects") - all[0]).abs() < 1e-9);
    assert!((lot.value("left_out_area_pct") / all[1] - 1.0).abs() < 1e-6);
    let counts =
        lot.objects.column("counted").iter().zip(&kinds).filter(|(c, k)| **c == "true" && !["powder", "unsure"].contains(*k)).count();
    assert_eq!(counts, 0);
}

#[test]
fn a_bubble_among_powder_does_not_move_the_median() {
    // Bars: the bubble is hollow; x50_3 within 2 % of the powder's. What the record says that the bubble would add is what it adds.
    let lot = Lot::measured("kept-bubble-8");
    let bubble = planted(&lot, false).into_iter().find(|t| t.kind == "bubble").unwrap();
    let row = Found::of(&lot.objects, um_per_px(&lot), "feret_max_um").row(&bubble).unwrap();
    assert_eq!(lot.objects.column("kind")[row], "hollow");
    let (found, expected) = (lot.value("x50_3_um"), lot.truth("x50_3_um"));
    assert!((found / expected - 1.0).abs() <= 0.02, "{found} {expected}");
    let with_it = Lot::of("films/kept-bubble-8", Some("[kinds]\nleave_out = []\n"));
    assert!((with_it.value("objects") - lot.value("objects") - 1.0).abs() < 1e-9 && with_it.value("x50_3_um") > 2.0 * found);
    assert!((with_it.value("x50_3_um") - lot.value("left_out_x50_3_um")).abs() < 1e-9);
    let added = with_it.value("particle_area_pct") - lot.value("particle_area_pct");
    assert!((added - lot.value("left_out_area_pct")).abs() < 1e-9, "{added}");
}
