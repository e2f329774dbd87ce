//! Records: the same bytes as the command line's, progress, stopping, several.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use egui::{Key, Modifiers};
use evenfilm_desk::WriteStage;
use evenfilm_record::folder::{Batch, Options};
use evenfilm_record::lot::{self, Job};
use evenfilm_record::occasion::Occasion;

use crate::bench::{Bench, sample};

/// Every file below a folder, by its path in it.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let (mut found, mut open) = (BTreeMap::new(), vec![folder.to_path_buf()]);
    while let Some(next) = open.pop() {
        for entry in fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                found.insert(path.strip_prefix(folder).unwrap().to_path_buf(), fs::read(&path).unwrap());
            }
        }
    }
    found
}

/// Lines that hold the moment, and the digests of files that do.
fn without_moment(files: BTreeMap<PathBuf, Vec<u8>>, moment: &str) -> BTreeMap<PathBuf, Vec<u8>> {
    let digests = ["manifest-sha256.txt", "tagmanifest-sha256.txt", "bag-info.txt"];
    let plain = |(path, bytes): (PathBuf, Vec<u8>)| {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let bytes = if text.contains(moment) { text.replace(moment, "NOW").into_bytes() } else { bytes };
        (path, bytes)
    };
    files.into_iter().filter(|(path, _)| !digests.iter().any(|name| path.ends_with(name))).map(plain).collect()
}

#[test]
fn a_record_is_that_of_the_command_line_to_the_byte() {
    let mut bench = Bench::with("TS-0402");
    bench.press("Write the record");
    bench.settle();
    let WriteStage::Written(outcome) = &bench.window.state().state().queue[0].stage else { panic!("not written") };
    let (mine, lot_folder) = (outcome.record_dir.clone(), bench.lot().folder.clone());
    assert!(bench.reads("gives no SPF"), "the caution stands beside the summary");
    // The same call as `evenfilm measure` makes.
    let out = bench.folder.path().join("out");
    let batch = Batch::open(&lot_folder, &Options::default()).unwrap();
    let occasion = Occasion::now(&out, env!("CARGO_PKG_VERSION")).unwrap();
    let (cancel, tell) = (AtomicBool::new(false), |_: lot::Event<'_>| {});
    let job = Job { out: &out, occasion: &occasion, cancel: &cancel, tell: &tell };
    let theirs = lot::run(&batch, &job).unwrap().record_dir;
    let measured_at = |folder: &Path| {
        let info = fs::read_to_string(folder.join("data/record.csv")).unwrap();
        let is_moment = |text: &&str| text.len() == 20 && text.contains('T') && text.ends_with('Z');
        info.split([',', '"', '\n']).find(is_moment).unwrap().to_owned()
    };
    let (a, b) = (without_moment(files(&mine), &measured_at(&mine)), without_moment(files(&theirs), &measured_at(&theirs)));
    assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>());
    for (path, bytes) in &a {
        assert!(
            bytes == &b[path],
            "{} differs:\n{}\n{}",
            path.display(),
            String::from_utf8_lossy(bytes),
            String::from_utf8_lossy(&b[path])
        );
    }
    // The numbers on the desk are those of the record, and the record opens again as revision 2.
    assert_eq!(outcome.value("x50_0_um").unwrap().value, bench.quantity("x50_0_um"));
    bench.press("Close");
    bench.press("Write the record");
    bench.settle();
    bench.press("Write without a reason");
    bench.settle();
    let WriteStage::Written(second) = &bench.window.state().state().queue[1].stage else { panic!("not written") };
    assert_eq!(second.revision, 2);
}

#[test]
fn unsaved_choices_are_saved_first() {
    let mut bench = Bench::with("TS-0402");
    bench.change_a_choice();
    bench.settle();
    bench.press("Write the record");
    assert!(bench.reads("Not everything is saved"));
    bench.press("Save and write the record");
    bench.settle();
    let WriteStage::Written(outcome) = &bench.window.state().state().queue[0].stage else { panic!("not written") };
    assert_eq!(outcome.value("uncovered_area_pct").unwrap().value, bench.quantity("uncovered_area_pct"));
}

#[test]
fn several_lots_queue_and_one_that_waits_can_be_stopped() {
    let mut bench = Bench::empty();
    let lots = bench.folder.path().join("lots");
    for name in ["TS-0401", "TS-0402", "TS-0403"] {
        sample(name, &lots);
    }
    bench.type_into("Path of the folder", &lots.display().to_string());
    bench.press("Open");
    bench.settle();
    bench.key(Modifiers::COMMAND.plus(Modifiers::SHIFT), Key::Enter);
    bench.wait_to_read("Stop writing TS-0403");
    bench.press("Stop writing TS-0403");
    bench.settle();
    let stages: Vec<bool> = bench.window.state().state().queue.iter().map(|one| matches!(one.stage, WriteStage::Written(_))).collect();
    assert_eq!(stages, [true, true, false]);
    assert!(lots.join("records/TS-0402/r1").is_dir());
    assert!(!lots.join("records/TS-0403").exists(), "what was stopped leaves nothing");
    assert!(bench.reads("stopped; nothing was left behind"));
}
