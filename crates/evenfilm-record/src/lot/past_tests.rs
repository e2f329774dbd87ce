//! Records and what came before them, under test: the journal, reasons, what changed, pictures of other lots, times; and records measured again.

use std::fs;
use std::path::Path;

use serde_json::Value;

use super::tests::{rows, tree};
use super::*;
use crate::folder::Options;
use crate::journal;
use crate::phantom_files::{PhantomKind, PhantomOptions, write_phantom};
use crate::time::Moment;

const LIMITS: &str = "product = \"p\"\nversion = \"1\"\n[[limit]]\nquantity = \"uncovered_area_pct\"\nmax = 50\n";

/// A folder with a small lot and one for records.
struct Bench(tempfile::TempDir);

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let options = PhantomOptions { fields: 2, size: (320, 240), ..PhantomOptions::new(PhantomKind::Film, 5) };
        write_phantom(&folder.path().join("lot"), &options).unwrap();
        Self(folder)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn occasion() -> Occasion {
        Occasion::at(Moment::from_epoch("1772615700").unwrap(), "0.0.0")
    }

    fn job<T>(&self, occasion: &Occasion, work: impl FnOnce(&Batch, &Job<'_>) -> T) -> T {
        let cancel = AtomicBool::new(false);
        let batch = Batch::open(&self.path("lot"), &Options::default()).unwrap();
        work(&batch, &Job { out: &self.path("out"), occasion, cancel: &cancel, tell: &|_| {} })
    }

    fn measure(&self, occasion: &Occasion) -> LotOutcome {
        self.job(occasion, |batch, job| run(batch, job).unwrap())
    }

    /// Opens the lot anew and shows its numbers to somebody.
    fn show(&self) {
        self.job(&Self::occasion(), |batch, job| {
            let inspected = inspect(batch, job, &mut Memo::default()).unwrap();
            shown(batch, &inspected, job).unwrap();
        });
    }

    fn journal(&self) -> Vec<Value> {
        let text = fs::read_to_string(self.path("out/journal.jsonl")).unwrap();
        text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }

    fn events(&self) -> Vec<String> {
        self.journal().iter().map(|entry| entry["event"].as_str().unwrap().to_owned()).collect()
    }

    /// Renames the lot, its pictures stay.
    fn rename(&self, from: &str, to: &str) {
        let sheet = fs::read_to_string(self.path("lot/batch.toml")).unwrap();
        fs::write(self.path("lot/batch.toml"), sheet.replace(from, to)).unwrap();
    }
}

fn info(outcome: &LotOutcome) -> String {
    fs::read_to_string(outcome.record_dir.join("bag-info.txt")).unwrap()
}

fn flags(outcome: &LotOutcome) -> Vec<&'static str> {
    outcome.flags().filter(|flag| flag.field.is_none()).map(|flag| flag.flag.id).collect()
}

#[test]
fn a_record_is_put_down_before_it_has_its_name() {
    let bench = Bench::new();
    let outcome = bench.measure(&Bench::occasion());
    let entries = bench.journal();
    assert_eq!(entries.len(), 1);
    let entry = &entries[0];
    assert_eq!((&entry["event"], &entry["lot"], &entry["revision"]), (&"record".into(), &outcome.lot.as_str().into(), &1.into()));
    assert_eq!(entry["tag_manifest_sha256"].as_str(), crate::archive::tag_digest(&outcome.record_dir).as_deref());
    // What the journal says of numbers and pictures is what the record holds.
    let number = entry["results"][0]["numbers"]["uncovered_area_pct"].as_f64();
    assert_eq!(number, outcome.value("uncovered_area_pct").unwrap().value);
    let listed: Vec<(String, String)> = rows(&outcome.record_dir, "pictures.csv")
        .iter()
        .filter(|row| &row[2] == "field")
        .map(|row| (row[1].into(), row[3].into()))
        .collect();
    assert_eq!(listed.len(), 2);
    assert!(listed.iter().all(|(file, sha256)| entry["pictures"][file] == **sha256), "{listed:?}");
    let recipe = rows(&outcome.record_dir, "record.csv")[0].iter().find(|cell| cell.len() == 64).unwrap().to_owned();
    assert_eq!(entry["rests_on"]["recipe"], *recipe);
}

/// RFC 8493, 2.2.2 names the reserved elements; the rest is the house's.
#[test]
fn the_bag_says_who_when_and_why() {
    let bench = Bench::new();
    let mut occasion = Bench::occasion();
    occasion.origin = crate::origin::Origin { user: "r4".into(), computer: "bench-2".into(), zone: "Europe/Vienna +01:00".into() };
    let first = info(&bench.measure(&occasion));
    for line in [
        "External-Identifier: phantom-film-5\n",
        "Bag-Group-Identifier: phantom-film-5\nBag-Count: 1 of ?\n",
        "Bagging-Date: 2026-03-04\n",
        "Time-Source: SOURCE_DATE_EPOCH\n",
        "Evenfilm-Measured-At: 2026-03-04T09:15:00Z\nEvenfilm-Sealed-At: 2026-03-04T09:15:00Z\n",
        "Evenfilm-Recipe-From: built in\nEvenfilm-Limits-From: none\n",
        "Evenfilm-Origin: not recorded",
    ] {
        assert!(first.contains(line), "{line} in:\n{first}");
    }
    assert!(!first.contains("r4") && !first.contains("Evenfilm-Reason") && !first.contains("Evenfilm-Changed"), "{first}");
    assert_eq!((&bench.journal()[0]["user"], &bench.journal()[0]["computer"]), (&"r4".into(), &"bench-2".into()));

    // By the clock, the record has them too.
    fs::write(bench.path("recipe.toml"), "name = \"mine\"\n").unwrap();
    occasion.moment = Moment::now().unwrap();
    if !occasion.moment.is_clock() {
        return;
    }
    let second = info(&bench.measure(&occasion.because(" lamp was\nreplaced ")));
    for line in [
        "Evenfilm-User: r4\nEvenfilm-Computer: bench-2\nEvenfilm-Zone: Europe/Vienna +01:00\n",
        "Bag-Count: 2 of ?\n",
        "Time-Source: clock\n",
        "Evenfilm-Reason: lamp was replaced\nEvenfilm-Changed: since the record before: recipe\n",
        "Evenfilm-Recipe-From: in the folder above the sheet: /",
    ] {
        assert!(second.contains(line), "{line} in:\n{second}");
    }
}

#[test]
fn measuring_again_without_a_reason_is_a_flag() {
    let bench = Bench::new();
    let first = bench.measure(&Bench::occasion());
    let (without, with) = (bench.measure(&Bench::occasion()), bench.measure(&Bench::occasion().because("a second look")));
    assert_eq!([&first, &without, &with].map(|outcome| flags(outcome).contains(&"no_reason")), [false, true, false]);
    assert!(info(&without).contains("Evenfilm-Reason: nobody said\n"), "{}", info(&without));
    assert_eq!(bench.journal()[2]["reason"], "a second look");
    assert!(info(&with).contains("since the record before: nothing that numbers rest on\n"));
}

#[test]
fn a_recipe_or_limits_that_changed_after_numbers_were_seen_are_a_flag() {
    let bench = Bench::new();
    fs::write(bench.path("limits.toml"), LIMITS).unwrap();
    // Looking twice at the same is one entry.
    (0..2).for_each(|_| bench.show());
    assert!(!flags(&bench.measure(&Bench::occasion())).contains(&"changed_since"), "what was shown is what was kept");
    fs::write(bench.path("limits.toml"), LIMITS.replace("50", "60")).unwrap();
    bench.show();
    let changed = bench.measure(&Bench::occasion().because("new limits"));
    let flag = changed.flags().find(|flag| flag.flag.id == "changed_since").unwrap();
    assert_eq!(flag.flag.value, Some(1.0));
    assert!(flag.flag.advice.contains("another limits"), "{}", flag.flag.advice);
    assert_eq!(bench.events(), ["shown", "record", "shown", "record"]);
}

#[test]
fn corrections_are_put_down_once_with_their_lines() {
    let bench = Bench::new();
    bench.measure(&Bench::occasion());
    let line = "f01.tif,field,leave_out,dust on the lens";
    fs::write(bench.path("lot/corrections.csv"), format!("field,thing,change,reason\n{line}\n")).unwrap();
    bench.show();
    bench.measure(&Bench::occasion().because("dust"));
    assert_eq!(bench.events(), ["record", "correction", "shown", "record"]);
    assert!(bench.journal()[1]["text"].as_str().unwrap().contains("dust on the lens"));
    fs::remove_file(bench.path("lot/corrections.csv")).unwrap();
    bench.measure(&Bench::occasion().because("taken back"));
    assert_eq!(bench.events()[4..], ["correction", "record"]);
    assert_eq!(bench.journal()[4]["lines"], 0);
}

#[test]
fn a_picture_of_two_lots_is_a_flag() {
    let bench = Bench::new();
    bench.measure(&Bench::occasion());
    bench.rename("phantom-film-5", "another");
    let other = bench.measure(&Bench::occasion());
    let flag = other.flags().find(|flag| flag.flag.id == "other_lot").unwrap();
    assert_eq!(flag.flag.value, Some(2.0));
    assert!(info(&other).contains("Evenfilm-Note: lot phantom-film-5 counts the same pictures: f01.tif, f02.tif\n"), "{}", info(&other));
    assert!(!flags(&bench.measure(&Bench::occasion().because("x"))).is_empty());
}

#[test]
fn times_before_their_predecessors_are_a_flag() {
    let bench = Bench::new();
    bench.measure(&Bench::occasion());
    let earlier = Occasion::at(Moment::from_epoch("1772615699").unwrap(), "0.0.0").because("x");
    let outcome = bench.measure(&earlier);
    assert!(flags(&outcome).contains(&"times_disagree"));
    assert!(info(&outcome).contains("measured before 2026-03-04T09:15:00Z, when the journal last speaks of this lot"));
}

/// What was refused is put down where there is a journal, and begins none.
#[test]
fn refusals_are_put_down() {
    let bench = Bench::new();
    let fault = Fault::input("no scale", "add um_per_px").at("batch.toml").on_line(3);
    journal::refused(&bench.path("out"), "L", &fault, &Bench::occasion()).unwrap();
    assert!(!bench.path("out").exists());
    bench.measure(&Bench::occasion());
    journal::refused(&bench.path("out"), "L", &fault, &Bench::occasion()).unwrap();
    let entry = &bench.journal()[1];
    assert_eq!((&entry["event"], &entry["message"], &entry["line"]), (&"refused".into(), &"no scale".into(), &3.into()));
}

impl Bench {
    fn again(&self, record: &Path) -> Again {
        let (scratch, cancel) = (tempfile::tempdir().unwrap(), AtomicBool::new(false));
        let before = tree(&self.path("out"));
        let job = Job {
            out: scratch.path(),
            occasion: &Occasion { program_version: "0.0.1".into(), ..Self::occasion() },
            cancel: &cancel,
            tell: &|_| {},
        };
        let found = again(record, &job).unwrap();
        assert!(tree(&self.path("out")) == before, "looking changes nothing");
        found
    }
}

#[test]
fn a_record_measured_again_gives_its_numbers() {
    let bench = Bench::new();
    fs::write(bench.path("limits.toml"), LIMITS).unwrap();
    // Names that lead out of the folder, and the pictures they name, are no longer needed.
    fs::rename(bench.path("lot/blank.tif"), bench.path("blank.tif")).unwrap();
    bench.rename("blank = \"blank.tif\"", "blank = \"../blank.tif\"");
    fs::write(bench.path("lot/corrections.csv"), "field,thing,change,reason\nf01.tif,field,leave_out,overlap\n").unwrap();
    let outcome = bench.measure(&Bench::occasion());
    fs::remove_dir_all(bench.path("lot")).unwrap();
    let found = bench.again(&outcome.record_dir);
    assert!(found.differences.is_empty() && found.compared > 1000, "{found:#?}");
    assert_eq!((found.archived_by.as_str(), found.measured_by.as_str()), ("0.0.0", "0.0.1"));
}

#[test]
fn a_number_that_does_not_come_out_again_is_named() {
    let bench = Bench::new();
    let outcome = bench.measure(&Bench::occasion());
    let change = |table: &str, row: usize, column: &str, to: &str| {
        let path = outcome.record_dir.join("data").join(table);
        let mut reader = csv::Reader::from_path(&path).unwrap();
        let header = reader.headers().unwrap().clone();
        let at = header.iter().position(|id| id == column).unwrap();
        let mut rows: Vec<Vec<String>> = reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
        rows[row][at] = to.to_owned();
        let mut writer = csv::Writer::from_path(&path).unwrap();
        writer.write_record(&header).unwrap();
        for row in &rows {
            writer.write_record(row).unwrap();
        }
        writer.flush().unwrap();
    };
    change("record.csv", 0, "x50_3_um", "1.5");
    change("objects.csv", 2, "area_um2", "7");
    change("record.csv", 0, "verdict", "within");
    let found = bench.again(&outcome.record_dir);
    let told: Vec<_> =
        found.differences.iter().map(|d| (d.table.as_str(), d.row.as_str(), d.quantity.as_str(), d.archived.as_str())).collect();
    assert_eq!(told, [("objects.csv", "field 1, id 3", "area_um2", "7"), ("record.csv", "", "x50_3_um", "1.5")]);
    assert_eq!(found.differing, 2);

    // A row and a table that are gone.
    let objects = outcome.record_dir.join("data/objects.csv");
    let text = fs::read_to_string(&objects).unwrap();
    fs::write(&objects, text.split_inclusive('\n').take(text.lines().count() - 1).collect::<String>()).unwrap();
    fs::remove_file(outcome.record_dir.join("data/gaps.csv")).unwrap();
    let found = bench.again(&outcome.record_dir);
    assert!(found.differences.iter().any(|d| d.table == "gaps.csv" && d.again == "a table"), "{found:#?}");
    assert!(found.differences.iter().any(|d| d.table == "objects.csv" && d.again == "a row"), "{found:#?}");
}

#[test]
fn a_record_that_lacks_a_picture_says_so() {
    let bench = Bench::new();
    let outcome = bench.measure(&Bench::occasion());
    fs::remove_file(outcome.record_dir.join("data/images/f02.tif")).unwrap();
    let (scratch, cancel) = (tempfile::tempdir().unwrap(), AtomicBool::new(false));
    let job = Job { out: scratch.path(), occasion: &Bench::occasion(), cancel: &cancel, tell: &|_| {} };
    let fault = again(&outcome.record_dir, &job).unwrap_err();
    assert!(fault.to_string().contains("f02.tif"), "{fault}");
}
