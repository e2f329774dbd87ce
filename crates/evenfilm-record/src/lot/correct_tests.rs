//! Corrections applied to lots: what changes, what stays, and what both records say.

use std::collections::BTreeMap;
use std::fs;

use super::tests::{assert_whole, rows};
use super::*;
use crate::folder::Options;
use crate::phantom_files::{PhantomKind, PhantomOptions, write_phantom};
use crate::time::Moment;

const HEAD: &str = "field,thing,x_um,y_um,change,to,reason,by,at\n";

struct Bench(tempfile::TempDir);

impl Bench {
    /// A lot of three fields on one slide.
    fn new() -> Self {
        let bench = Self(tempfile::tempdir().unwrap());
        let options = PhantomOptions { fields: 3, size: (480, 360), ..PhantomOptions::new(PhantomKind::Film, 5) };
        write_phantom(&bench.path("lot"), &options).unwrap();
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn measured(&self, corrections: &str) -> Result<LotOutcome, Fault> {
        let file = self.path("lot/corrections.csv");
        if corrections.is_empty() {
            fs::remove_file(file).unwrap_or_default();
        } else {
            fs::write(file, HEAD.to_owned() + corrections).unwrap();
        }
        let (moment, cancel) = (Moment::from_epoch("1772615700")?, AtomicBool::new(false));
        let out = self.path("out");
        let job = Job { out: &out, occasion: &Occasion::at(moment.clone(), "0.0.0"), cancel: &cancel, tell: &|_| {} };
        run(&Batch::open(&self.path("lot"), &Options::default())?, &job)
    }
}

type Row = BTreeMap<String, String>;

/// A table by column names.
fn table(outcome: &LotOutcome, name: &str) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(outcome.record_dir.join("data").join(name)).unwrap();
    let header = reader.headers().unwrap().clone();
    let row = |row: csv::StringRecord| header.iter().map(str::to_owned).zip(row.iter().map(str::to_owned)).collect();
    rows(&outcome.record_dir, name).into_iter().map(row).collect()
}

/// The quantities of a record without what belongs to a revision or tells of rejections.
fn quantities(outcome: &LotOutcome, name: &str) -> Row {
    let mut row = table(outcome, name).remove(0);
    row.retain(|id, _| !["revision", "flags", "fields_rejected"].contains(&id.as_str()));
    row
}

fn exists(outcome: &LotOutcome, name: &str) -> bool {
    outcome.record_dir.join("data").join(name).exists()
}

fn found<'a>(rows: &'a [Row], wanted: &[(&str, &str)]) -> &'a Row {
    rows.iter().find(|row| wanted.iter().all(|(id, cell)| row[*id] == *cell)).unwrap()
}

#[test]
fn kinds_by_hand_change_what_counts_and_the_record_has_both() {
    let bench = Bench::new();
    let before = bench.measured("").unwrap();
    assert!(!exists(&before, "corrections.csv") && !exists(&before, "record-uncorrected.csv"));
    let (objects, gaps) = (table(&before, "objects.csv"), table(&before, "gaps.csv"));
    let object = found(&objects, &[("field", "2"), ("kind", "powder"), ("counted", "true")]);
    let gap = found(&gaps, &[("field", "1"), ("touches_frame", "false")]);
    let lines = format!(
        "f02.tif,object,{},{},kind,dust,first thought,R4,\nf01.tif,gap,{},{},kind,streak,\"seen, by eye\",R4,2026-03-04\n\
         f02.tif,object,{},{},kind,fibre,a hair,R4,2026-03-04T09:15:00Z\n",
        object["x_um"], object["y_um"], gap["x_um"], gap["y_um"], object["x_um"], object["y_um"]
    );
    let after = bench.measured(&lines).unwrap();
    assert_whole(&after.record_dir);
    // Of two lines for one object the later counts; nothing else changes.
    let changed = |name: &str, rows: &[Row]| {
        let now = table(&after, name);
        let differ = rows.iter().zip(&now).filter(|(a, b)| a != b).map(|(_, b)| b.clone()).collect::<Vec<_>>();
        assert_eq!((now.len(), differ.len()), (rows.len(), 1), "{name}");
        ["field", "id", "kind", "kind_by", "kind_value", "counted"].map(|id| differ[0][id].clone())
    };
    assert_eq!(changed("objects.csv", &objects), ["2", &object["id"], "fibre", "hand", "", "false"]);
    assert_eq!(changed("gaps.csv", &gaps), ["1", &gap["id"], "streak", "hand", "", &gap["counted"]]);
    let number = |outcome: &LotOutcome, id: &str| outcome.value(id).unwrap().value.unwrap();
    assert!((number(&before, "objects") - number(&after, "objects") - 1.0).abs() < 1e-9);
    assert!((number(&after, "left_out_fibre_objects") - number(&before, "left_out_fibre_objects") - 1.0).abs() < 1e-9);
    assert_eq!(quantities(&after, "record-uncorrected.csv"), quantities(&before, "record.csv"));
    assert_ne!(quantities(&after, "record.csv"), quantities(&before, "record.csv"));
    for name in ["record-uncorrected.csv-metadata.json", "corrections.csv-metadata.json"] {
        assert!(exists(&after, name), "{name}");
    }
    assert!(!exists(&after, "record-without-rejected.csv"));
    let overlay = |outcome: &LotOutcome, name: &str| fs::read(outcome.record_dir.join("data/overlays").join(name)).unwrap();
    assert!(overlay(&before, "f02.png") != overlay(&after, "f02.png"), "drawn again");
    assert!(overlay(&before, "f03.png") == overlay(&after, "f03.png"));
    assert!(
        after.objectives[0].notes[0].starts_with("corrected by hand (kinds: 3, fields rejected: 0)"),
        "{:?}",
        after.objectives[0].notes
    );

    // The record's own file gives the record again.
    let kept = fs::read_to_string(after.record_dir.join("data/corrections.csv")).unwrap();
    let again = bench.measured(kept.strip_prefix(&HEAD.replace('\n', "\r\n")).unwrap()).unwrap();
    for name in ["objects.csv", "gaps.csv", "fields.csv", "corrections.csv"] {
        let [a, b] = [&after, &again].map(|outcome| fs::read(outcome.record_dir.join("data").join(name)).unwrap());
        assert!(a == b, "{name}");
    }
}

/// The values of the lot without one of its fields, as if it had never been photographed.
fn without(bench: &Bench, field: &str) -> Row {
    let (away, there) = (bench.path("away.tif"), bench.path("lot").join(field));
    fs::rename(&there, &away).unwrap();
    let outcome = bench.measured("").unwrap();
    fs::rename(&away, &there).unwrap();
    quantities(&outcome, "record.csv")
}

#[test]
fn a_field_that_overlaps_leaves_the_numbers() {
    let bench = Bench::new();
    let (all, fewer) = (bench.measured("").unwrap(), without(&bench, "f02.tif"));
    let after = bench.measured("f02.tif,field,,,leave_out,,overlap: shows f01 again,R4,\n").unwrap();
    assert_eq!(quantities(&after, "record.csv"), fewer);
    assert_eq!(quantities(&after, "record-uncorrected.csv"), quantities(&all, "record.csv"));
    let counts = |name: &str| ["fields", "fields_rejected"].map(|id| table(&after, name)[0][id].clone());
    assert_eq!((counts("record.csv"), counts("record-uncorrected.csv")), (["2".into(), "1".into()], ["3".into(), "0".into()]));
    let fields = table(&after, "fields.csv");
    assert_eq!(fields.iter().map(|row| row["rejected"].as_str()).collect::<Vec<_>>(), ["", "overlap: shows f01 again", ""]);
    assert!(
        fields
            .iter()
            .zip(table(&all, "fields.csv"))
            .all(|(row, before)| row["x50_0_um"] == before["x50_0_um"] && !row["x50_0_um"].is_empty())
    );
    assert_eq!((after.objectives[0].fields, exists(&after, "record-without-rejected.csv")), (2, false));
    assert!(after.flags().all(|flag| flag.flag.id != "rejected_by_hand"));
}

#[test]
fn a_field_that_somebody_dislikes_stays_in_the_numbers() {
    let bench = Bench::new();
    let (all, fewer) = (bench.measured("").unwrap(), without(&bench, "f02.tif"));
    let after = bench.measured("f02.tif,field,,,leave_out,,too many clumps,R4,\n").unwrap();
    assert_eq!(quantities(&after, "record.csv"), quantities(&all, "record.csv"));
    assert_eq!(quantities(&after, "record-without-rejected.csv"), fewer);
    assert_eq!(table(&after, "record-without-rejected.csv")[0]["fields_rejected"], "1");
    let flags: Vec<_> = after.flags().filter(|flag| flag.flag.id == "rejected_by_hand").map(|flag| flag.field).collect();
    assert_eq!(flags, [Some(2)]);
    let told = |name: &str| table(&after, name)[0]["flags"].contains("rejected_by_hand");
    assert_eq!([told("record.csv"), told("record-uncorrected.csv")], [true, false]);
    assert!(exists(&after, "record-without-rejected.csv-metadata.json"));
}

#[test]
fn a_bubble_taken_for_powder_and_back() {
    let bench = Bench(tempfile::tempdir().unwrap());
    let film = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference/films/kept-bubble-8");
    fs::create_dir(bench.path("lot")).unwrap();
    for name in ["batch.toml", "blank.tif", "f01.tif"] {
        fs::copy(film.join(name), bench.path("lot").join(name)).unwrap();
    }
    let before = bench.measured("").unwrap();
    let objects = table(&before, "objects.csv");
    let bubble = found(&objects, &[("kind", "hollow")]);
    let line = |to: &str| format!("f01.tif,object,{},{},kind,{to},looked twice,,\n", bubble["x_um"], bubble["y_um"]);
    let value = |outcome: &LotOutcome, id: &str| outcome.value(id).unwrap().value.unwrap();
    let powder = bench.measured(&line("powder")).unwrap();
    let bubbles = |outcome: &LotOutcome| value(outcome, "left_out_hollow_objects");
    assert!(bubbles(&before) > 0.0 && (bubbles(&before) - bubbles(&powder) - 1.0).abs() < 1e-9);
    assert!(value(&powder, "x50_3_um") > value(&before, "x50_3_um"));
    // And back.
    let back = bench.measured(&(line("powder") + &line("hollow"))).unwrap();
    assert_eq!(quantities(&back, "record.csv"), quantities(&before, "record.csv"));
}

#[test]
fn what_is_not_there_is_an_error_with_its_line() {
    let bench = Bench::new();
    let nowhere = "f01.tif,object,0,0,kind,dust,r,,\n";
    for (lines, number, words, remedy) in [
        (nowhere, 2, "there is no object at 0 µm, 0 µm of f01.tif", "objects.csv"),
        ("f01.tif,gap,0,0,kind,round,r,,\n", 2, "there is no gap at 0 µm, 0 µm of f01.tif", "gaps.csv"),
        ("f04.tif,field,,,leave_out,,r,,\n", 2, "the lot has no field f04.tif; the nearest is f0", "fields.csv"),
        ("f01.tif,object,121,1,kind,dust,r,,\n", 2, "the place 121 µm, 1 µm lies outside f01.tif, which is 120 × 90 µm", "objects.csv"),
        ("f01.tif,object,1,-1,kind,dust,r,,\n", 2, "the place 1 µm, -1 µm lies outside", "objects.csv"),
        (
            "f01.tif,field,,,leave_out,,overlap,,\nf02.tif,field,,,leave_out,,overlap,,\nf03.tif,field,,,leave_out,,overlap,,\n",
            4,
            "every field is rejected",
            "keep some",
        ),
    ] {
        let fault = bench.measured(lines).unwrap_err();
        assert!(fault.message.starts_with(words) && fault.remedy.contains(remedy), "{fault}");
        assert_eq!((fault.line, fault.kind), (Some(number), crate::fault::FaultKind::Input));
        assert!(fault.file.unwrap().ends_with("corrections.csv"));
    }
    assert!(!bench.path("out").exists(), "nothing is left of what was refused");
}
