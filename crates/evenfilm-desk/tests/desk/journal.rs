//! What is shown is put down in the journal, or it is told that it is not.

use std::fs;
use std::path::Path;

use egui::{Key, Modifiers};
use evenfilm_desk::Run;
use evenfilm_record::journal::{JOURNAL, check_folder};

use crate::bench::{Bench, sample};

/// The events of a journal with the words of each line.
fn events(records: &Path) -> Vec<(String, String)> {
    assert!(check_folder(records, None).unwrap().unwrap().findings.is_empty(), "the journal hangs together");
    let text = fs::read_to_string(records.join(JOURNAL)).unwrap();
    let event = |line: &str| {
        let value: serde_json::Value = serde_json::from_str(line).unwrap();
        (value["event"].as_str().unwrap().to_owned(), line.to_owned())
    };
    text.lines().map(event).collect()
}

fn names(events: &[(String, String)]) -> Vec<&str> {
    events.iter().map(|(event, _)| event.as_str()).collect()
}

#[test]
fn numbers_are_put_down_when_they_are_shown() {
    let mut bench = Bench::with("TS-0402");
    let records = bench.lot().folder.parent().unwrap().join("records");
    let first = events(&records);
    assert_eq!(names(&first), ["shown"]);
    assert!(first[0].1.contains("TS-0402") && first[0].1.contains("uncovered_area_pct"));
    // The same numbers once more are no others.
    bench.press("Sheet");
    bench.press("Picture");
    bench.key(Modifiers::COMMAND, Key::PageUp);
    assert_eq!(events(&records).len(), 1);
    // Other choices give other numbers, and others are shown.
    bench.change_a_choice();
    bench.settle();
    assert_eq!(names(&events(&records)), ["shown", "shown"]);
    bench.key(Modifiers::COMMAND, Key::Z);
    bench.settle();
    assert_eq!(names(&events(&records)), ["shown", "shown", "shown"]);
    bench.press("Write the record");
    bench.settle();
    assert_eq!(names(&events(&records)), ["shown", "shown", "shown", "record"]);
}

#[test]
fn numbers_that_cannot_be_put_down_are_shown_and_that_is_told_until_it_works() {
    let folder = tempfile::tempdir().unwrap();
    let lot = sample("TS-0402", &folder.path().join("lots"));
    let records = lot.parent().unwrap().join("records");
    fs::write(&records, "a file in the way").unwrap();
    let mut bench = Bench::on(folder, Some(lot));
    bench.settle();
    assert!(bench.lot().is_current() && bench.quantity("objects").unwrap() > 10.0, "the numbers are shown");
    for words in ["put down nowhere", "a file stands where a folder is needed", "choose another folder of records"] {
        assert!(bench.reads(words), "{words}");
    }
    assert_eq!(fs::read_to_string(&records).unwrap(), "a file in the way");
    // It stays while other numbers are shown.
    bench.change_a_choice();
    bench.settle();
    assert!(bench.reads("put down nowhere"));
    // Another folder: what is shown is put down there.
    let elsewhere = bench.folder.path().join("elsewhere");
    bench.press("Choose a folder…");
    bench.type_into("Folder of records; empty is a folder named records beside the lot", &elsewhere.display().to_string());
    bench.key(Modifiers::NONE, Key::Enter);
    bench.key(Modifiers::NONE, Key::Escape);
    bench.settle();
    assert!(!bench.reads("put down nowhere"));
    assert_eq!(names(&events(&elsewhere)), ["shown"]);
}

#[test]
fn what_is_in_the_way_can_be_moved_and_tried_again() {
    let folder = tempfile::tempdir().unwrap();
    let lot = sample("TS-0402", &folder.path().join("lots"));
    let records = lot.parent().unwrap().join("records");
    fs::write(&records, "").unwrap();
    let mut bench = Bench::on(folder, Some(lot));
    bench.settle();
    fs::remove_file(&records).unwrap();
    bench.press("Try again");
    bench.settle();
    assert!(!bench.reads("put down nowhere"));
    assert_eq!(names(&events(&records)), ["shown"]);
}

#[test]
fn settings_of_the_lab_that_cannot_be_used_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let lot = sample("TS-0402", &folder.path().join("lots"));
    let records = lot.parent().unwrap().join("records");
    fs::create_dir_all(&records).unwrap();
    fs::write(records.join("settings.toml"), "controled = true\n").unwrap();
    let mut bench = Bench::on(folder, Some(lot));
    bench.settle();
    assert!(matches!(bench.lot().run, Run::Failed(_)));
    assert!(bench.reads("controled") && bench.reads("settings.toml"), "the wrong key and its file are named");
    fs::remove_file(records.join("settings.toml")).unwrap();
    bench.press("Measure again");
    bench.settle();
    assert!(bench.lot().is_current());
}

#[test]
fn a_refusal_is_put_down() {
    let mut bench = Bench::with("TS-0402");
    let folder = bench.lot().folder.clone();
    let records = folder.parent().unwrap().join("records");
    let sheet = fs::read_to_string(folder.join("batch.toml")).unwrap();
    fs::write(folder.join("batch.toml"), sheet.replace("blank", "blanck")).unwrap();
    fs::write(folder.join("batch.toml"), sheet.replace("blank.", "no-such-blank.")).unwrap();
    bench.press("Write the record");
    bench.settle();
    assert!(bench.reads("Not written"));
    let found = events(&records);
    assert_eq!(names(&found), ["shown", "refused"]);
    assert!(found[1].1.contains("no-such-blank"), "{}", found[1].1);
}
