//! The lot under test: whole bags, same bytes, stops.

use std::fs;
use std::sync::Mutex;
use std::time::Duration;

use super::*;
use crate::digest::sha256_hex;
use crate::fault::FaultKind;
use crate::folder::Options;
use crate::phantom_files::{PhantomKind, PhantomOptions, write_phantom};
use crate::time::Moment;

/// A small lot in a folder of its own, and a folder for records.
struct Bench {
    folder: tempfile::TempDir,
    cancel: AtomicBool,
    moment: Moment,
}

impl Bench {
    fn new(fields: u32) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let options = PhantomOptions { fields, size: (480, 360), ..PhantomOptions::new(PhantomKind::Film, 5) };
        write_phantom(&folder.path().join("lot"), &options).unwrap();
        Self { folder, cancel: AtomicBool::new(false), moment: Moment::from_epoch("1772615700").unwrap() }
    }

    fn lot(&self) -> PathBuf {
        self.folder.path().join("lot")
    }

    fn out(&self) -> PathBuf {
        self.folder.path().join("out")
    }

    fn batch(&self) -> Batch {
        Batch::open(&self.lot(), &Options::default()).unwrap()
    }

    fn run(&self, out: &Path, tell: &(dyn Fn(Event<'_>) + Sync)) -> Result<LotOutcome, Fault> {
        run(&self.batch(), &Job { out, occasion: &Occasion::at(self.moment.clone(), "0.0.0"), cancel: &self.cancel, tell })
    }
}

/// Every file below a folder with its content, sorted.
pub(super) fn tree(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files = Vec::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).unwrap().map(|entry| entry.unwrap().path()) {
            if entry.is_dir() {
                folders.push(entry);
            } else {
                let name = entry.strip_prefix(folder).unwrap().to_str().unwrap().replace('\\', "/");
                files.push((name, fs::read(&entry).unwrap()));
            }
        }
    }
    files.sort();
    files
}

pub(super) fn rows(record: &Path, name: &str) -> Vec<csv::StringRecord> {
    let mut reader = csv::Reader::from_path(record.join("data").join(name)).unwrap();
    reader.records().map(Result::unwrap).collect()
}

/// Whether a bag is whole: RFC 8493, section 3.
pub(super) fn assert_whole(record: &Path) {
    let files = tree(record);
    let content = |name: &str| &files.iter().find(|(n, _)| n == name).unwrap_or_else(|| panic!("no {name}")).1;
    let listed = |manifest: &str| -> Vec<(String, String)> {
        let lines = String::from_utf8(content(manifest).clone()).unwrap();
        lines.lines().map(|l| l.split_once("  ").unwrap()).map(|(sum, path)| (path.to_owned(), sum.to_owned())).collect()
    };
    for manifest in ["manifest-sha256.txt", "tagmanifest-sha256.txt"] {
        for (path, sum) in listed(manifest) {
            assert_eq!(sha256_hex(content(&path)), sum, "{path}");
        }
    }
    let payload: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).filter(|name| name.starts_with("data/")).collect();
    assert_eq!(listed("manifest-sha256.txt").iter().map(|(path, _)| path.as_str()).collect::<Vec<_>>(), payload);
    let bytes: usize = files.iter().filter(|(name, _)| name.starts_with("data/")).map(|(_, content)| content.len()).sum();
    let info = String::from_utf8(content("bag-info.txt").clone()).unwrap();
    assert!(info.contains(&format!("Payload-Oxum: {bytes}.{}\n", payload.len())), "{info}");
}

#[test]
fn a_record_is_whole_and_holds_what_was_used() {
    let bench = Bench::new(2);
    let before = tree(&bench.lot());
    let outcome = bench.run(&bench.out(), &|_| {}).unwrap();
    assert_eq!(tree(&bench.lot()), before, "pictures are only ever read");
    assert!(outcome.record_dir.is_absolute());
    assert_whole(&outcome.record_dir);
    for name in ["blank.tif", "f01.tif", "f02.tif"] {
        let kept = fs::read(outcome.record_dir.join("data/images").join(name)).unwrap();
        assert_eq!(kept, fs::read(bench.lot().join(name)).unwrap(), "{name}");
    }
    let read = |name: &str| fs::read_to_string(outcome.record_dir.join("data").join(name)).unwrap();
    let sheet = crate::sheet::Sheet::parse(&read("batch.toml"), Path::new("batch.toml")).unwrap();
    assert_eq!(sheet.canonical(), bench.batch().sheet_as_used().canonical());
    assert_eq!(rows(&outcome.record_dir, "fields.csv").len(), 2);
    assert_eq!(rows(&outcome.record_dir, "record.csv").len(), 1);
    let objects = rows(&outcome.record_dir, "objects.csv");
    let counted = objects.iter().filter(|row| &row[5] == "true").count();
    assert_eq!(outcome.value("objects").unwrap().value, Some(counted as f64));
    for table in ["record", "fields", "objects", "gaps"] {
        assert!(read(&format!("{table}.csv-metadata.json")).contains(&format!("\"url\": \"{table}.csv\"")));
    }
    let info = fs::read_to_string(outcome.record_dir.join("bag-info.txt")).unwrap();
    for line in
        ["Time-Source: SOURCE_DATE_EPOCH", "Bagging-Date: 2026-03-04", "Evenfilm-Record-Version: 1", "Bag-Software-Agent: evenfilm 0.0.0"]
    {
        assert!(info.contains(line), "{line}");
    }
}

#[test]
fn the_same_lot_gives_the_same_bytes_with_any_number_of_threads() {
    let bench = Bench::new(2);
    let records = [1, 2, 5].map(|threads| {
        let out = bench.folder.path().join(format!("out{threads}"));
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        tree(&pool.install(|| bench.run(&out, &|_| {})).unwrap().record_dir)
    });
    assert!(records[0] == records[1] && records[1] == records[2]);
    assert!(records[0].len() > 15);
}

#[test]
fn stopping_at_any_point_leaves_what_was_there() {
    let bench = Bench::new(2);
    bench.run(&bench.out(), &|_| {}).unwrap();
    let before = tree(&bench.out());
    let count = Mutex::new(0);
    bench.run(&bench.folder.path().join("other"), &|_| *count.lock().unwrap() += 1).unwrap();
    let events = *count.lock().unwrap();
    for stop_at in [1, 2, events / 3, events / 2, events] {
        let seen = Mutex::new(0);
        let outcome = bench.run(&bench.out(), &|_| {
            *seen.lock().unwrap() += 1;
            bench.cancel.store(*seen.lock().unwrap() >= stop_at, Ordering::Relaxed);
        });
        // The last event comes before the record is in its place, in whatever order threads tell theirs.
        assert_eq!(outcome.unwrap_err().kind, FaultKind::Interrupted, "at event {stop_at} of {events}");
        bench.cancel.store(false, Ordering::Relaxed);
        assert!(tree(&bench.out()) == before);
    }
}

#[test]
fn a_picture_that_changes_is_refused() {
    let bench = Bench::new(2);
    let picture = bench.lot().join("f02.tif");
    let outcome = bench.run(&bench.out(), &|event| {
        if matches!(event, Event::Field { number: 2, .. }) {
            std::thread::sleep(Duration::from_millis(20));
            let mut bytes = fs::read(&picture).unwrap();
            bytes.push(0);
            fs::write(&picture, bytes).unwrap();
        }
    });
    let fault = outcome.unwrap_err();
    assert!(fault.message.contains("changed while it was measured") && fault.kind == FaultKind::Input, "{fault}");
    assert!(!bench.out().exists());
}

#[test]
fn a_picture_that_goes_is_named() {
    let bench = Bench::new(3);
    let batch = bench.batch();
    fs::remove_file(bench.lot().join("f03.tif")).unwrap();
    let job = Job { out: &bench.out(), occasion: &Occasion::at(bench.moment.clone(), "0.0.0"), cancel: &bench.cancel, tell: &|_| {} };
    let fault = run(&batch, &job).unwrap_err();
    assert!(fault.file.unwrap().ends_with("f03.tif"));
    assert!(!bench.out().exists());
}

#[test]
fn a_bare_field_waits_for_the_others() {
    let bench = Bench::new(3);
    // The empty slide as a field: no film at all.
    fs::copy(bench.lot().join("blank.tif"), bench.lot().join("f00.tif")).unwrap();
    let waited = Mutex::new(Vec::new());
    let outcome = bench.run(&bench.out(), &|event| match event {
        Event::Waits { name, .. } => waited.lock().unwrap().push(format!("{name} waits")),
        Event::Done { name, .. } => waited.lock().unwrap().push(name.to_owned()),
        _ => {}
    });
    let outcome = outcome.unwrap();
    assert_eq!(*waited.lock().unwrap(), ["f00.tif waits", "f01.tif", "f02.tif", "f03.tif", "f00.tif"]);
    let files: Vec<String> = rows(&outcome.record_dir, "fields.csv").iter().map(|row| row[3].to_owned()).collect();
    assert_eq!(files, ["f00.tif", "f01.tif", "f02.tif", "f03.tif"]);
    assert!(outcome.value("uncovered_area_pct").unwrap().value.unwrap() > 20.0);
}
