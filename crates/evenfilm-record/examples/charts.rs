//! Measures a lot and writes its charts as SVG files, light and dark, narrow and wide.
//!
//! `cargo run --release -p evenfilm-record --example charts -- sample-images/TS-0401 charts`

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use evenfilm_record::chart::{self, Canvas, Palette, Scene};
use evenfilm_record::fault::Fault;
use evenfilm_record::folder::{Batch, Options};
use evenfilm_record::lot::{self, Job, ObjectiveOutcome, Shown};
use evenfilm_record::time::Moment;

/// The sizes that charts are drawn at.
const CANVASES: [(&str, Canvas); 3] = [
    ("narrow", Canvas { width: 320.0, height: 200.0, points: 10.0 }),
    ("plain", Canvas { width: 480.0, height: 300.0, points: 11.0 }),
    ("wide", Canvas { width: 900.0, height: 420.0, points: 13.0 }),
];

fn main() {
    let mut arguments = std::env::args().skip(1).map(PathBuf::from);
    let (Some(lot), Some(out)) = (arguments.next(), arguments.next()) else {
        eprintln!("use: charts LOT OUT");
        return;
    };
    if let Err(fault) = draw(&lot, &out) {
        eprintln!("{fault}");
    }
}

fn draw(lot: &Path, out: &Path) -> Result<(), Fault> {
    let batch = Batch::open(lot, &Options::default())?;
    let (cancel, moment) = (AtomicBool::new(false), Moment::from_epoch("1772615700")?);
    let records = out.join("records");
    let job = Job { out: &records, moment: &moment, program_version: env!("CARGO_PKG_VERSION"), cancel: &cancel, tell: &|_| () };
    let measured = lot::measure(&batch, &job)?;
    let Some((outcome, shown)) = measured.objectives().into_iter().zip(measured.shown()).next() else { return Ok(()) };
    for (name, canvas) in CANVASES {
        for (chart, scene) in charts(&outcome, &shown, canvas) {
            write(out, &format!("{chart}-{name}"), &scene);
        }
    }
    for id in ["x50_0_um", "x90_3_um", "uncovered_area_pct", "largest_gap_um", "agglomerate_fraction_pct", "span_3"] {
        let scene = chart::answer_bar(&chart::AnswerData::of(&outcome, id), &chart::ANSWER_CANVAS);
        write(out, &format!("answer-{id}"), &scene);
    }
    let full = chart::AnswerData {
        value: Some(4.2),
        ends: Some([3.1, 5.6]),
        min: Some(2.0),
        max: Some(5.0),
        ..chart::AnswerData::of(&outcome, "x50_3_um")
    };
    let none = chart::AnswerData { value: None, ends: None, ..full.clone() };
    for (name, data) in [("full", &full), ("none", &none), ("nothing", &chart::AnswerData { min: None, max: None, ..none.clone() })] {
        write(out, &format!("answer-{name}"), &chart::answer_bar(data, &chart::ANSWER_CANVAS));
    }
    Ok(())
}

fn charts(outcome: &ObjectiveOutcome, shown: &Shown<'_>, canvas: Canvas) -> Vec<(String, Scene)> {
    use chart::{Curves, GapsBy, LevelHeight, SizesBy};
    let fields = shown.counting();
    let sizes = chart::SizeData::of(&fields, shown.recipe).with_limits(&outcome.judgement);
    let gaps = chart::GapsData::of(&fields, shown.recipe).with_limits(&outcome.judgement);
    let mut all = Vec::new();
    for (by, name) in [(SizesBy::Number, "number"), (SizesBy::Volume, "volume")] {
        for (curves, kind) in [(Curves::Both, "both"), (Curves::Density, "density"), (Curves::Cumulative, "cumulative")] {
            let options = chart::SizeOptions { canvas, by, curves };
            all.push((format!("sizes-{name}-{kind}"), chart::size_distribution(&sizes, &options)));
        }
    }
    for (by, name) in [(GapsBy::Area, "area"), (GapsBy::Number, "number")] {
        all.push((format!("gaps-{name}"), chart::gaps(&gaps, &chart::GapOptions { canvas, by })));
    }
    let none = chart::GapsData { gaps: Some(Vec::new()), ..gaps };
    all.push(("gaps-none".into(), chart::gaps(&none, &chart::GapOptions { canvas, by: GapsBy::Area })));
    for id in ["x50_3_um", "uncovered_area_pct"] {
        let values = shown.fields.iter().map(|field| {
            let value = chart::FieldValue::of(field.number, field.slide, field.result, shown.recipe, id);
            chart::FieldValue { rejected: !field.stays, ..value }
        });
        all.push((format!("fields-{id}"), chart::fields(&chart::FieldsData::of(outcome, id, values.collect()), &canvas)));
    }
    let levels = chart::LevelData { bins: levels(), from: 0.0, step: 1.0 / 1024.0 };
    for (height, name) in [(LevelHeight::Root, "root"), (LevelHeight::Log, "log")] {
        let options = chart::LevelOptions { canvas, height, ..chart::LevelOptions::default() };
        all.push((format!("levels-{name}"), chart::level_histogram(&levels, &options)));
    }
    all
}

/// Levels such as a hazy film with some powder and some bare places has; invented.
fn levels() -> Vec<u64> {
    let bell = |light: f64, middle: f64, width: f64| 1.0 / (1.0 + ((light - middle) / width).powi(4));
    let count = |i: u32| {
        let light = (f64::from(i) + 0.5) / 1024.0;
        400.0 * bell(light, 0.1, 0.05) + 90_000.0 * bell(light, 0.45, 0.02) + 900.0 * bell(light, 1.0, 0.015)
    };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count")]
    let counts = (0..2048).map(|i| count(i) as u64).collect();
    counts
}

fn write(out: &Path, name: &str, scene: &Scene) {
    for (palette, look) in [(Palette::LIGHT, "light"), (Palette::DARK, "dark")] {
        let path = out.join(format!("{name}-{look}.svg"));
        if let Err(error) = std::fs::write(&path, chart::svg(scene, &palette)) {
            eprintln!("{}: {error}", path.display());
        }
    }
}
