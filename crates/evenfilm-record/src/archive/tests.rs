//! Archives under test: revisions, full disks, left-overs.

use std::io::Write as _;
use std::process::Command;
use std::thread;

use super::*;
use crate::fault::FaultKind;

fn seal(staging: Staging) -> Result<Sealed, Fault> {
    staging.seal(&mut |bag, revision| {
        bag.put("record.csv", format!("revision\r\n{}\r\n", revision.number).as_bytes())?;
        Ok(vec![("External-Identifier", "lot".into())])
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
    let first = seal(Staging::begin(out.path(), "TS/1").unwrap()).unwrap();
    let second = seal(Staging::begin(out.path(), "TS/1").unwrap()).unwrap();
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
    let sealed = seal(Staging::begin(out.path(), "L").unwrap()).unwrap();
    assert_eq!(sealed.revision, 4);
    assert!(info(&sealed).contains("Previous-Tag-Manifest-SHA256: unreadable in r3\n"));
}

#[test]
fn a_dropped_record_leaves_what_was_there() {
    let out = tempfile::tempdir().unwrap();
    let deep = out.path().join("a/b");
    let mut staging = Staging::begin(&deep, "L").unwrap();
    staging.bag.put("x/y.csv", b"1").unwrap();
    drop(staging);
    assert_eq!(names(out.path()), Vec::<String>::new());

    seal(Staging::begin(&deep, "L").unwrap()).unwrap();
    drop(Staging::begin(&deep, "L").unwrap());
    let failed = Staging::begin(&deep, "L").unwrap().seal(&mut |_, _| Err(Fault::interrupted()));
    assert_eq!(failed.unwrap_err().kind, FaultKind::Interrupted);
    assert_eq!(names(&deep.join("L")), ["r1"]);
}

#[test]
fn two_at_once_get_numbers_of_their_own_and_one_chain() {
    let out = tempfile::tempdir().unwrap();
    let mut sealed: Vec<Sealed> = thread::scope(|scope| {
        let threads: Vec<_> = (0..8).map(|_| scope.spawn(|| seal(Staging::begin(out.path(), "L").unwrap()).unwrap())).collect();
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
                    let staging = Staging::begin(out, "L").unwrap();
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
    let running = Staging::begin(out.path(), "L").unwrap();
    let lot = out.path().join("L");
    let dead = lot.join(".staging-1-0");
    fs::create_dir_all(dead.join("bag/data")).unwrap();
    fs::write(dead.join("lock"), "").unwrap();
    fs::write(dead.join("bag/data/half.csv"), "1,").unwrap();
    fs::create_dir(lot.join(".staging-1-1")).unwrap();
    drop(Staging::begin(out.path(), "L").unwrap());
    assert_eq!(names(&lot), [running.folder.file_name().unwrap().to_str().unwrap()]);
    seal(running).unwrap();
    assert_eq!(names(&lot), ["r1"]);
}

#[test]
fn an_output_path_that_is_a_file_is_named() {
    let out = tempfile::tempdir().unwrap();
    let file = out.path().join("results");
    fs::write(&file, "x").unwrap();
    for path in [file.clone(), file.join("below")] {
        let fault = Staging::begin(&path, "L").unwrap_err();
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
    let mut staging = Staging::begin(mount.0.path(), "L").unwrap();
    let fault = staging.bag.put("objects.csv", &vec![b'1'; 1 << 20]).unwrap_err();
    assert!(fault.message.contains("the disk is full") && fault.remedy.contains("free some space"), "{fault}");
    drop(staging);
    assert_eq!(names(mount.0.path()), Vec::<String>::new());

    // Full only when an original is copied.
    let from = tempfile::NamedTempFile::new().unwrap();
    fs::write(from.path(), vec![7; 1 << 20]).unwrap();
    let mut staging = Staging::begin(mount.0.path(), "L").unwrap();
    let fault = staging.bag.copy("images/f.tif", from.path()).unwrap_err();
    assert!(fault.message.contains("the disk is full"), "{fault}");
    drop(staging);
    assert_eq!(names(mount.0.path()), Vec::<String>::new());
}

#[test]
fn a_read_only_disk_is_named() {
    let Some(mount) = Mount::new("size=256k,ro") else { return };
    let fault = Staging::begin(mount.0.path(), "L").unwrap_err();
    assert!(fault.message.contains("read-only") && fault.kind == FaultKind::Work, "{fault}");
}
