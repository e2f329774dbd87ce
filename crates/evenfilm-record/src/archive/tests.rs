//! Archives under test: revisions, full disks, left-overs.

use std::io::Write as _;
use std::process::Command;
use std::thread;

use super::*;
use crate::fault::FaultKind;
use crate::time::Moment;

fn occasion() -> Occasion {
    Occasion::at(Moment::from_epoch("1772615700").unwrap(), "0.0.0")
}

fn seal(staging: Staging) -> Result<Sealed, Fault> {
    staging.seal(&occasion(), &mut |bag, revision, _| {
        bag.put("record.csv", format!("revision\r\n{}\r\n", revision.number).as_bytes())?;
        Ok(Said { info: vec![("External-Identifier", "lot".into())], before: Vec::new(), entry: Entry::new("record") })
    })
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

fn info(sealed: &Sealed) -> String {
    fs::read_to_string(sealed.folder.join("bag-info.txt")).unwrap()
}

#[test]
fn revisions_form_a_chain() {
    let out = tempfile::tempdir().unwrap();
    let first = seal(Staging::begin(out.path(), "TS/1", &occasion()).unwrap()).unwrap();
    let second = seal(Staging::begin(out.path(), "TS/1", &occasion()).unwrap()).unwrap();
    assert_eq!((first.revision, second.revision), (1, 2));
    assert!(!info(&first).contains("Previous"));
    assert!(info(&second).contains(&format!("Previous-Tag-Manifest-SHA256: {}\n", first.tag_manifest_sha256)));
    assert_eq!(names(second.folder.parent().unwrap()), ["r1", "r2"]);
    assert_eq!(fs::read(second.folder.join("data/record.csv")).unwrap(), b"revision\r\n2\r\n");
}

#[test]
fn gaps_in_the_history_stay_and_strangers_are_no_revisions() {
    let out = tempfile::tempdir().unwrap();
    for name in ["r3", "r007", "rx", "r4294967295", "signoffs"] {
        fs::create_dir_all(out.path().join("L").join(name)).unwrap();
    }
    let sealed = seal(Staging::begin(out.path(), "L", &occasion()).unwrap()).unwrap();
    assert_eq!(sealed.revision, 4);
    assert!(info(&sealed).contains("Previous-Tag-Manifest-SHA256: unreadable in r3\n"));
}

#[test]
fn a_dropped_record_leaves_what_was_there() {
    let out = tempfile::tempdir().unwrap();
    let deep = out.path().join("a/b");
    let mut staging = Staging::begin(&deep, "L", &occasion()).unwrap();
    staging.bag.put("x/y.csv", b"1").unwrap();
    drop(staging);
    assert_eq!(names(out.path()), Vec::<String>::new());

    seal(Staging::begin(&deep, "L", &occasion()).unwrap()).unwrap();
    drop(Staging::begin(&deep, "L", &occasion()).unwrap());
    let failed = Staging::begin(&deep, "L", &occasion()).unwrap().seal(&occasion(), &mut |_, _, _| Err(Fault::interrupted()));
    assert_eq!(failed.unwrap_err().kind, FaultKind::Interrupted);
    assert_eq!(names(&deep.join("L")), ["r1"]);
}

#[test]
fn two_at_once_get_numbers_of_their_own_and_one_chain() {
    let out = tempfile::tempdir().unwrap();
    let mut sealed: Vec<Sealed> = thread::scope(|scope| {
        let threads: Vec<_> =
            (0..8).map(|_| scope.spawn(|| seal(Staging::begin(out.path(), "L", &occasion()).unwrap()).unwrap())).collect();
        threads.into_iter().map(|t| t.join().unwrap()).collect()
    });
    sealed.sort_by_key(|s| s.revision);
    assert_eq!(sealed.iter().map(|s| s.revision).collect::<Vec<_>>(), (1..=8).collect::<Vec<_>>());
    for pair in sealed.windows(2) {
        assert!(info(&pair[1]).contains(&pair[0].tag_manifest_sha256), "r{} names the one before", pair[1].revision);
    }
    for s in &sealed {
        assert_eq!(fs::read_to_string(s.folder.join("data/record.csv")).unwrap(), format!("revision\r\n{}\r\n", s.revision));
    }
    assert_eq!(names(&out.path().join("L")).len(), 8);
}

#[test]
fn runs_that_begin_and_give_up_together_do_not_disturb_each_other() {
    let out = tempfile::tempdir().unwrap();
    thread::scope(|scope| {
        for i in 0..6 {
            let out = out.path();
            scope.spawn(move || {
                for _ in 0..20 {
                    let staging = Staging::begin(out, "L", &occasion()).unwrap();
                    if i == 0 { drop(seal(staging).unwrap()) } else { drop(staging) }
                }
            });
        }
    });
    assert_eq!(names(&out.path().join("L")).len(), 20);
}

#[test]
fn what_a_killed_run_left_goes_and_what_runs_stays() {
    let out = tempfile::tempdir().unwrap();
    let running = Staging::begin(out.path(), "L", &occasion()).unwrap();
    let lot = out.path().join("L");
    let dead = lot.join(".staging-1-0");
    fs::create_dir_all(dead.join("bag/data")).unwrap();
    fs::write(dead.join("lock"), "").unwrap();
    fs::write(dead.join("bag/data/half.csv"), "1,").unwrap();
    fs::create_dir(lot.join(".staging-1-1")).unwrap();
    drop(Staging::begin(out.path(), "L", &occasion()).unwrap());
    assert_eq!(names(&lot), [running.folder.file_name().unwrap().to_str().unwrap()]);
    seal(running).unwrap();
    assert_eq!(names(&lot), ["r1"]);
}

/// Makes of a record what a stop leaves that falls between its entry in the journal and its name.
fn unname(record: &Path) -> PathBuf {
    let staging = record.parent().unwrap().join(".staging-1-7");
    fs::create_dir(&staging).unwrap();
    fs::write(staging.join("lock"), "").unwrap();
    fs::rename(record, staging.join("bag")).unwrap();
    staging
}

#[test]
fn what_the_journal_calls_sealed_gets_its_place_from_the_next_run() {
    let out = tempfile::tempdir().unwrap();
    let lot = out.path().join("L");
    let first = seal(Staging::begin(out.path(), "L", &occasion()).unwrap()).unwrap();
    unname(&first.folder);
    let second = seal(Staging::begin(out.path(), "L", &occasion()).unwrap()).unwrap();
    assert_eq!((names(&lot), second.revision), (vec!["r1".to_owned(), "r2".to_owned()], 2));
    assert_eq!(tag_digest(&lot.join("r1")).as_ref(), Some(&first.tag_manifest_sha256));
    assert!(info(&second).contains(&first.tag_manifest_sha256));
    let journal = fs::read_to_string(out.path().join("journal.jsonl")).unwrap();
    let events: Vec<String> =
        journal.lines().map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap()["event"].to_string()).collect();
    assert_eq!(events, ["\"record\"", "\"recovered\"", "\"record\""]);

    // Without a journal to ask, what could be sealed stays; with one that does not name it, it goes.
    unname(&second.folder);
    let file = out.path().join("journal.jsonl");
    fs::remove_file(&file).unwrap();
    drop(Staging::begin(out.path(), "L", &occasion()).unwrap());
    assert_eq!(names(&lot), [".staging-1-7", "r1"]);
    fs::write(&file, "").unwrap();
    drop(Staging::begin(out.path(), "L", &occasion()).unwrap());
    assert_eq!(names(&lot), ["r1"]);
}

#[test]
fn a_number_is_never_given_twice() {
    let out = tempfile::tempdir().unwrap();
    let sealed = [0; 2].map(|_| seal(Staging::begin(out.path(), "L", &occasion()).unwrap()).unwrap());
    fs::remove_dir_all(&sealed[1].folder).unwrap();
    let third = seal(Staging::begin(out.path(), "L", &occasion()).unwrap()).unwrap();
    assert_eq!(third.revision, 3, "the one that was taken away keeps its number");
    assert!(info(&third).contains(&sealed[1].tag_manifest_sha256), "and its place in the chain");
}

#[test]
fn an_output_path_that_is_a_file_is_named() {
    let out = tempfile::tempdir().unwrap();
    let file = out.path().join("results");
    fs::write(&file, "x").unwrap();
    for path in [file.clone(), file.join("below")] {
        let fault = Staging::begin(&path, "L", &occasion()).unwrap_err();
        assert_eq!(fault.kind, FaultKind::Work);
        assert!(fault.message.contains("a file stands where a folder is needed"), "{fault}");
        assert!(fault.file.unwrap().starts_with(&file));
    }
}

/// A small file system in memory, where mounting is allowed.
struct Mount(tempfile::TempDir);

impl Mount {
    fn new(options: &str) -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let mut mount = Command::new("mount");
        mount.args(["-t", "tmpfs", "-o", options, "tmpfs"]).arg(folder.path());
        if mount.output().is_ok_and(|done| done.status.success()) {
            return Some(Self(folder));
        }
        let _ = writeln!(std::io::stderr(), "SKIPPED: mounting a small file system is not allowed here");
        None
    }
}

impl Drop for Mount {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.0.path()).output();
    }
}

#[test]
fn a_full_disk_is_named_and_left_as_it_was() {
    let Some(mount) = Mount::new("size=256k") else { return };
    let mut staging = Staging::begin(mount.0.path(), "L", &occasion()).unwrap();
    let fault = staging.bag.put("objects.csv", &vec![b'1'; 1 << 20]).unwrap_err();
    assert!(fault.message.contains("the disk is full") && fault.remedy.contains("free some space"), "{fault}");
    drop(staging);
    assert_eq!(names(mount.0.path()), Vec::<String>::new());

    // Full only when an original is copied.
    let from = tempfile::NamedTempFile::new().unwrap();
    fs::write(from.path(), vec![7; 1 << 20]).unwrap();
    let mut staging = Staging::begin(mount.0.path(), "L", &occasion()).unwrap();
    let fault = staging.bag.copy("images/f.tif", from.path()).unwrap_err();
    assert!(fault.message.contains("the disk is full"), "{fault}");
    drop(staging);
    assert_eq!(names(mount.0.path()), Vec::<String>::new());
}

#[test]
fn a_read_only_disk_is_named() {
    let Some(mount) = Mount::new("size=256k,ro") else { return };
    let fault = Staging::begin(mount.0.path(), "L", &occasion()).unwrap_err();
    assert!(fault.message.contains("read-only") && fault.kind == FaultKind::Work, "{fault}");
}

#[test]
fn a_folder_that_goes_while_it_is_written_is_named() {
    let out = tempfile::tempdir().unwrap();
    let lots = out.path().join("records");
    seal(Staging::begin(&lots, "L", &occasion()).unwrap()).unwrap();
    let mut staging = Staging::begin(&lots, "L", &occasion()).unwrap();
    fs::remove_dir_all(&lots).unwrap();
    let fault = staging.bag.put("x.csv", b"1").unwrap_err();
    assert!(fault.kind == FaultKind::Work && fault.message.contains("folder is missing"), "{fault}");
    assert_eq!(seal(staging).unwrap_err().kind, FaultKind::Work);
    assert_eq!(names(out.path()), Vec::<String>::new(), "nothing is made where somebody took all away");
}

#[test]
fn records_from_before_a_journal_are_put_down_once() {
    let out = tempfile::tempdir().unwrap();
    let first = seal(Staging::begin(out.path(), "L", &occasion()).unwrap()).unwrap();
    let journal = out.path().join("journal.jsonl");
    // None at all, and one that somebody began and wrote nothing to: also by another program at the same moment.
    for begun in [false, true] {
        fs::remove_file(&journal).unwrap();
        if begun {
            fs::write(&journal, "").unwrap();
        }
        (0..2).for_each(|_| drop(Journal::open(out.path(), &occasion()).unwrap()));
        let text = fs::read_to_string(&journal).unwrap();
        assert_eq!(text.lines().count(), 1, "{text}");
        assert!(text.contains(r#""event":"found""#) && text.contains(&first.tag_manifest_sha256), "{text}");
    }
}
