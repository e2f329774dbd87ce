//! Verdicts of whole lots: what they rest on, and what is missing when they are provisional.

use std::fs;

use super::tests::{assert_whole, rows};
use super::*;
use crate::folder::Options;
use crate::phantom_files::{PhantomKind, PhantomOptions, write_phantom};
use crate::time::Moment;

/// 2026-03-04, 09:15.
const NOW: u64 = 1_772_615_700;
const DAY: u64 = 86_400;

struct Bench(tempfile::TempDir);

impl Bench {
    /// A lot of four fields on two slides and its check, one locked recipe, limits that every phantom of the kind meets.
    fn new() -> Self {
        let bench = Self(tempfile::tempdir().unwrap());
        bench.write("recipe.toml", "locked = true\n[fields]\ncheck_max_age_days = 3\nscale_max_age_days = 300\n");
        bench.write("limits.toml", &limit("mean_0_um", 5.0));
        bench.render("check", "purpose = \"check\"\n", 1, "");
        bench.render("lot", "", 2, "[plan]\nslides = 2\nfields = 4\nplacement = \"grid\"\n");
        bench.change("lot", "um_per_px = 0.25", "um_per_px = 0.25\num_per_px_u = 0.001\nscale_date = 2025-06-01\ncheck = \"the check\"");
        bench
    }

    fn render(&self, name: &str, top: &str, slides: u32, tables: &str) {
        let options = PhantomOptions {
            fields: 2,
            slides,
            size: (480, 360),
            lot: format!("the {name}"),
            sheet_top: top.into(),
            sheet_tables: tables.into(),
            ..PhantomOptions::new(PhantomKind::Film, 5)
        };
        write_phantom(&self.path(name), &options).unwrap();
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).unwrap();
    }

    /// Changes the sheet of a lot.
    fn change(&self, lot: &str, from: &str, to: &str) {
        let path = self.path(lot).join("batch.toml");
        let sheet = fs::read_to_string(&path).unwrap();
        assert!(sheet.contains(from), "{sheet}");
        fs::write(path, sheet.replace(from, to)).unwrap();
    }

    fn measured(&self, lot: &str, at: u64) -> LotOutcome {
        let (moment, cancel) = (Moment::from_epoch(&at.to_string()).unwrap(), AtomicBool::new(false));
        let out = self.path("out");
        let job = Job { out: &out, occasion: &Occasion::at(moment.clone(), "0.0.0"), cancel: &cancel, tell: &|_| {} };
        run(&Batch::open(&self.path(lot), &Options::default()).unwrap(), &job).unwrap()
    }

    /// Verdict of the lot, and the flags of it as a whole.
    fn told(&self, at: u64) -> (Option<Verdict>, Vec<&'static str>) {
        let outcome = self.measured("lot", at);
        let judgement = &outcome.objectives[0].judgement;
        (judgement.verdict, judgement.flags.iter().map(|flag| flag.id).collect())
    }
}

fn limit(quantity: &str, max: f64) -> String {
    format!("[[limit]]\nquantity = \"{quantity}\"\nmax = {max:?}\n")
}

#[test]
fn a_verdict_rests_on_lock_plan_and_check() {
    let bench = Bench::new();
    assert_eq!(bench.told(NOW), (Some(Verdict::Provisional), vec!["no_check"]));
    let check = bench.measured("check", NOW - DAY);
    assert_eq!(check.objectives[0].judgement.verdict, Some(Verdict::Within), "a check needs neither plan nor check");
    assert_eq!(bench.told(NOW), (Some(Verdict::Within), vec![]));
    assert_eq!(bench.told(NOW + 3 * DAY), (Some(Verdict::Provisional), vec!["check_old"]));
    assert_eq!(bench.told(NOW + 30 * DAY), (Some(Verdict::Provisional), vec!["scale_old", "check_old"]));

    bench.write("recipe.toml", "[fields]\nscale_max_age_days = 3000\n");
    assert_eq!(bench.told(NOW), (Some(Verdict::Provisional), vec!["not_locked"]));
}

#[test]
fn a_check_that_is_not_within_or_not_whole_is_no_ground() {
    let bench = Bench::new();
    bench.write("check/limits.toml", &limit("mean_0_um", 0.5));
    assert_eq!(bench.measured("check", NOW).objectives[0].judgement.verdict, Some(Verdict::Outside));
    assert_eq!(bench.told(NOW), (Some(Verdict::Provisional), vec!["check_not_within"]));
    fs::remove_file(bench.path("check/limits.toml")).unwrap();
    let good = bench.measured("check", NOW);
    assert_eq!(bench.told(NOW), (Some(Verdict::Within), vec![]));
    let table = good.record_dir.join("data/record.csv");
    let text = fs::read_to_string(&table).unwrap();
    fs::write(&table, text.replace("within", "outside")).unwrap();
    assert_eq!(bench.told(NOW), (Some(Verdict::Provisional), vec!["no_check"]), "its digest is not that of its manifest");
    bench.change("check", "purpose = \"check\"", "purpose = \"lot\"");
    bench.measured("check", NOW);
    assert_eq!(bench.told(NOW).1, ["no_check"], "a lot is no check");
}

#[test]
fn a_plan_is_kept_or_extended_once() {
    let bench = Bench::new();
    bench.measured("check", NOW);
    bench.change("lot", "fields = 4", "fields = 3");
    assert_eq!(bench.told(NOW), (Some(Verdict::Provisional), vec!["plan_not_kept"]));
    bench.change("lot", "fields = 3", "fields = 3\nextension_fields = 1");
    assert_eq!(bench.told(NOW), (Some(Verdict::Within), vec![]));
    let wide = bench.measured("lot", NOW);
    bench.change("lot", "fields = 3\nextension_fields = 1", "fields = 4");
    let plain = bench.measured("lot", NOW);
    let width = |outcome: &LotOutcome| {
        let [low, high] = outcome.objectives[0].judgement.decisions[0].decision.interval.unwrap();
        high - low
    };
    assert!(width(&wide) > 1.05 * width(&plain), "two looks are judged at 97.5 %: {} {}", width(&wide), width(&plain));
    assert_eq!(wide.value("mean_0_um").unwrap().u95, plain.value("mean_0_um").unwrap().u95, "what is printed stays at 95 %");
    bench.change("lot", "slides = 2", "slides = 3");
    assert_eq!(bench.told(NOW).1, ["plan_not_kept"]);
    bench.change("lot", "slides = 3", "slides = 2");
    bench.change("lot", "placement = \"grid\"", "placement = \"by eye\"");
    assert_eq!(bench.told(NOW), (Some(Verdict::Provisional), vec!["placed_by_eye"]));
    bench.change("lot", "[plan]\nslides = 2\nfields = 4\nplacement = \"by eye\"\n", "");
    assert_eq!(bench.told(NOW), (Some(Verdict::Provisional), vec!["no_plan"]));
}

#[test]
fn the_record_says_what_decided_and_why() {
    let bench = Bench::new();
    bench.measured("check", NOW);
    bench.write("limits.toml", &[limit("mean_0_um", 0.5), limit("besag_l_max", 1.0), limit("uncovered_area_pct", 90.0)].concat());
    let outcome = bench.measured("lot", NOW);
    assert_whole(&outcome.record_dir);
    let decisions: Vec<[String; 3]> =
        rows(&outcome.record_dir, "decisions.csv").iter().map(|row| [1, 8, 9].map(|at| row[at].to_owned())).collect();
    let expected = [
        ["mean_0_um", "outside", "interval beyond"],
        ["besag_l_max", "undecided", "not measured"],
        ["uncovered_area_pct", "within", "interval within"],
    ];
    assert_eq!(decisions, expected.map(|row| row.map(str::to_owned)));
    let mut reader = csv::Reader::from_path(outcome.record_dir.join("data/record.csv")).unwrap();
    let header = reader.headers().unwrap().clone();
    let row = reader.records().next().unwrap().unwrap();
    let cell = |id: &str| row[header.iter().position(|name| name == id).unwrap()].to_owned();
    assert_eq!((cell("verdict"), cell("verdict_scope")), ("outside".to_owned(), "lot".to_owned()));
    assert_eq!(cell("check"), "the check r1 of 2026-03-04T09:15:00Z: within");
    assert_eq!(cell("check_sha256").len(), 64);
    assert!(["x50_0_um_u95", "uncovered_area_pct_low95", "uncovered_area_pct_high95"].iter().all(|id| !cell(id).is_empty()));

    // The budget adds up, and what the sheet states of the scale is in it: 0.4 % of every length.
    let budget = rows(&outcome.record_dir, "uncertainty.csv");
    let of = |component: &str| {
        let row = budget.iter().find(|row| &row[1] == "mean_0_um" && &row[3] == component).unwrap();
        (row[4].parse::<f64>().unwrap(), row[6].parse::<f64>().unwrap())
    };
    let parts = ["slides", "fields", "counting", "edge", "scale"].map(of);
    let combined = of("combined");
    let squares: f64 = parts.iter().map(|(u, _)| u * u).sum();
    assert!((squares.sqrt() / combined.0 - 1.0).abs() < 1e-6 && (parts.iter().map(|(_, share)| share).sum::<f64>() - 100.0).abs() < 1e-6);
    let mean: f64 = cell("mean_0_um").parse().unwrap();
    assert!((of("scale").0 / (0.004 * mean) - 1.0).abs() < 1e-6, "{} {mean}", of("scale").0);
}

#[test]
fn without_limits_nothing_is_told() {
    let bench = Bench::new();
    fs::remove_file(bench.path("limits.toml")).unwrap();
    assert_eq!(bench.told(NOW), (None, vec![]));
    let record = bench.path("out/the lot/r1");
    assert!(record.exists() && !record.join("data/decisions.csv").exists() && record.join("data/uncertainty.csv").exists());
}

#[test]
fn one_slide_speaks_of_itself_only() {
    let bench = Bench::new();
    let outcome = bench.measured("check", NOW);
    let record = fs::read_to_string(outcome.record_dir.join("data/record.csv")).unwrap();
    assert!(record.contains(",within,slide,"), "{record}");
    assert_eq!(outcome.objectives[0].scope(), "slide");
}
