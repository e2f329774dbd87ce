//! Why a lot that has a record gets another one.

use std::fs;
use std::path::Path;

use egui::{Key, Modifiers};
use egui_kittest::kittest::{NodeT, Queryable};
use evenfilm_desk::WriteStage;

use crate::bench::{Bench, sample};

/// The reason that a record gives, as its `bag-info.txt` has it.
fn reason(record: &Path) -> Option<String> {
    let info = fs::read_to_string(record.join("bag-info.txt")).unwrap();
    info.lines().find_map(|line| line.strip_prefix("Evenfilm-Reason: ")).map(str::to_owned)
}

fn is_flagged(record: &Path) -> bool {
    fs::read_to_string(record.join("data/record.csv")).unwrap().contains("no_reason")
}

#[test]
fn another_record_asks_why_and_keeps_the_answer() {
    let mut bench = Bench::with("TS-0402");
    let lot = bench.lot().folder.parent().unwrap().join("records/TS-0402");
    bench.press("Write the record");
    bench.settle();
    assert_eq!(reason(&lot.join("r1")), None, "the first one needs none");
    bench.press("Close");
    bench.key(Modifiers::COMMAND, Key::Enter);
    bench.settle();
    assert!(bench.reads("Why another record of TS-0402?") && bench.reads("revision 1 of 20"), "the last record and its date");
    // Escape, and nothing is written.
    bench.key(Modifiers::NONE, Key::Escape);
    bench.settle();
    assert!(bench.window.state().state().over.is_none());
    assert!(!lot.join("r2").exists());
    bench.key(Modifiers::COMMAND, Key::Enter);
    bench.settle();
    // Enter alone keeps nothing without a reason.
    bench.key(Modifiers::NONE, Key::Enter);
    bench.settle();
    assert!(!lot.join("r2").exists());
    bench.window.get_by_label("The reason, kept in the new record").focus();
    bench.window.run_steps(2);
    bench.window.get_by_label("The reason, kept in the new record").type_text("field 2 taken again, it was out of focus");
    bench.window.run_steps(2);
    bench.key(Modifiers::NONE, Key::Enter);
    bench.settle();
    assert_eq!(reason(&lot.join("r2")).unwrap(), "field 2 taken again, it was out of focus");
    assert!(!is_flagged(&lot.join("r2")));
    // Without one it is kept, and flagged.
    bench.press("Close");
    bench.press("Write the record");
    bench.settle();
    assert!(bench.reads("revision 2 of 20") && bench.reads("nobody said why, and is flagged"));
    bench.press("Write without a reason");
    bench.settle();
    assert_eq!(reason(&lot.join("r3")).unwrap(), "nobody said");
    assert!(is_flagged(&lot.join("r3")));
}

#[test]
fn a_lab_that_asks_for_a_reason_gets_one() {
    let folder = tempfile::tempdir().unwrap();
    let lot = sample("TS-0402", &folder.path().join("lots"));
    let records = lot.parent().unwrap().join("records");
    fs::create_dir_all(&records).unwrap();
    fs::write(records.join("settings.toml"), "reason_required = true\n").unwrap();
    let mut bench = Bench::on(folder, Some(lot));
    bench.settle();
    bench.press("Write the record");
    bench.settle();
    bench.press("Close");
    bench.press("Write the record");
    bench.settle();
    assert!(bench.reads("The lab's settings ask for a reason"));
    assert!(bench.window.get_by_label("Write with this reason").accesskit_node().is_disabled());
    bench.type_into("The reason, kept in the new record", "  ");
    bench.key(Modifiers::NONE, Key::Enter);
    bench.settle();
    assert!(!records.join("TS-0402/r2").exists());
    bench.type_into("The reason, kept in the new record", "another blank");
    bench.press("Write with this reason");
    bench.settle();
    assert_eq!(reason(&records.join("TS-0402/r2")).unwrap(), "another blank");
}

#[test]
fn one_reason_goes_for_several() {
    let mut bench = Bench::empty();
    let lots = bench.folder.path().join("lots");
    for name in ["TS-0401", "TS-0402", "TS-0403"] {
        sample(name, &lots);
    }
    bench.type_into("Path of the folder", &lots.join("TS-0401").display().to_string());
    bench.press("Open");
    bench.settle();
    bench.press("Write the record");
    bench.settle();
    bench.press("Close");
    bench.press("Slides");
    bench.type_into("Path of the folder", &lots.display().to_string());
    bench.press("Open");
    bench.settle();
    bench.key(Modifiers::COMMAND.plus(Modifiers::SHIFT), Key::Enter);
    bench.wait_to_read("Why another record of TS-0401?");
    assert!(bench.reads("There is revision 1 of ") && bench.reads("Lots without a record yet: 2"));
    bench.type_into("The reason, kept in the new record", "a new blank");
    bench.key(Modifiers::NONE, Key::Enter);
    bench.settle();
    let records = lots.join("records");
    assert_eq!(reason(&records.join("TS-0401/r2")).unwrap(), "a new blank");
    assert_eq!((reason(&records.join("TS-0402/r1")), reason(&records.join("TS-0403/r1"))), (None, None));
    // Now all of them have one.
    bench.press("Close");
    bench.key(Modifiers::COMMAND.plus(Modifiers::SHIFT), Key::Enter);
    bench.wait_to_read("Why other records of 3 lots?");
    assert!(bench.reads("TS-0401: revision 2 of ") && bench.reads("TS-0403: revision 1 of "));
    bench.type_into("The reason, kept in each of the new records", "for the third time");
    bench.key(Modifiers::NONE, Key::Enter);
    bench.settle();
    for record in ["TS-0401/r3", "TS-0402/r2", "TS-0403/r2"] {
        assert_eq!(reason(&records.join(record)).unwrap(), "for the third time");
    }
    let queue = &bench.window.state().state().queue;
    assert!(queue.iter().all(|one| matches!(one.stage, WriteStage::Written(_))));
}

#[test]
fn a_record_that_is_still_being_written_counts_as_one() {
    let mut bench = Bench::with("TS-0402");
    bench.press("Write the record");
    bench.wait_to_read("Records of this session");
    bench.press("Close");
    bench.press("Write the record");
    bench.wait_to_read("Why another record of TS-0402?");
    bench.settle();
    assert_eq!(bench.window.state().state().queue.len(), 1);
}
