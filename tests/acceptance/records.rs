//! Records of every layout that a program ever wrote: read, found whole, and measured again.

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use evenfilm_record::journal;
use evenfilm_record::lot::{self, Job};
use evenfilm_record::occasion::Occasion;
use evenfilm_record::settings::Settings;
use evenfilm_record::signoff;
use evenfilm_record::time::Moment;
use evenfilm_record::verify;

fn kept() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/records");
    let mut found: Vec<PathBuf> =
        std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).filter(|path| path.is_dir()).collect();
    found.sort();
    found
}

/// `reference/records/v<N>`, made by the first program of its layout. A program that is meant to give other numbers for an old record says
/// here how many, and why.
#[test]
fn records_of_every_layout_stay_readable() {
    let layouts = kept();
    assert_eq!(layouts.len().to_string(), evenfilm_record::archive::RECORD_VERSION, "a layout without a record that is kept");
    for out in layouts {
        let records = verify::find(&out).unwrap();
        assert_eq!(records.len(), 2, "{}", out.display());
        for record in &records {
            let verified = verify::record(record);
            assert!(verified.findings.is_empty(), "{:#?}", verified.findings);
            let (scratch, cancel) = (tempfile::tempdir().unwrap(), AtomicBool::new(false));
            let occasion = Occasion::at(Moment::from_epoch("1772615700").unwrap(), "test");
            let again = lot::again(record, &Job { out: scratch.path(), occasion: &occasion, cancel: &cancel, tell: &|_| () }).unwrap();
            assert_eq!(again.differing, 0, "{again:#?}");
            assert!(again.compared > 500 && again.archived_by == "0.1.0", "{again:#?}");
        }
        let signed = signoff::of_record(&records[1], &Settings::find(&out).unwrap());
        let standing: Vec<&str> = signed.iter().map(|found| found.statement.as_ref().unwrap().standing.as_str()).collect();
        assert_eq!(standing, [signoff::SIGNED, signoff::TYPED]);
        assert!(signed.iter().all(signoff::Found::is_in_order) && signed[0].key.is_some());
        let journal = journal::check_folder(&out, None).unwrap().unwrap();
        assert!(journal.is_whole() && journal.entries == 5, "{journal:#?}");
    }
}
