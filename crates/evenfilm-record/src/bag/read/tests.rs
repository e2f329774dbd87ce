//! Bags that somebody meddled with.

use std::fs;
use std::path::PathBuf;

use super::*;
use crate::bag::{Bag, PAYLOAD_MANIFEST, TAG_MANIFEST, is_whole};
use crate::digest::sha256_hex;

/// A bag with three files.
struct Made(tempfile::TempDir);

impl Made {
    fn new() -> Self {
        let made = Self(tempfile::tempdir().unwrap());
        let mut bag = Bag::begin(&made.root()).unwrap();
        for path in ["a.csv", "images/f01.tif", "é.txt"] {
            bag.put(path, path.as_bytes()).unwrap();
        }
        bag.close(&[("External-Identifier", "L".into())]).unwrap();
        assert!(is_whole(&made.root()));
        made
    }

    fn root(&self) -> PathBuf {
        self.0.path().join("bag")
    }

    fn path(&self, name: &str) -> PathBuf {
        self.root().join(name)
    }

    /// Writes a tag file, and the tag manifest anew.
    fn tag(&self, name: &str, content: &[u8]) {
        fs::write(self.path(name), content).unwrap();
        let line = |name: &str| format!("{}  {name}\n", sha256_hex(&fs::read(self.path(name)).unwrap()));
        let names = ["bag-info.txt", "bagit.txt", PAYLOAD_MANIFEST];
        fs::write(self.path(TAG_MANIFEST), names.map(line).concat()).unwrap();
    }

    /// The ids of all faults and notes, and where they are.
    fn found(&self) -> Vec<(&'static str, bool, String)> {
        let found = read(&self.root(), &*PRODUCTION).findings.into_list();
        found
            .into_iter()
            .map(|f| (f.id, f.is_fault, f.file.unwrap_or_default() + &f.line.map(|l| format!(":{l}")).unwrap_or_default()))
            .collect()
    }

    fn is(&self, id: &'static str, place: &str) {
        let found = self.found();
        assert!(found.contains(&(id, true, place.into())), "{id} at {place}: {found:?}");
        assert!(!is_whole(&self.root()));
    }
}

#[test]
fn findings_come_in_one_order_whatever_the_threads() {
    let made = Made::new();
    for i in 0..200 {
        fs::write(made.path(&format!("data/x{i}")), "x").unwrap();
    }
    for name in ["data/a.csv", "data/é.txt", "bagit.txt"] {
        fs::write(made.path(name), "changed").unwrap();
    }
    let with = |threads| rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| made.found());
    let one = with(1);
    assert_eq!(one, with(4));
    assert_eq!(one.iter().filter(|f| f.0 == "changed").count(), 3);
    assert_eq!(one.iter().filter(|f| f.0 == "unlisted").count(), 200);
}

#[test]
fn an_empty_folder_and_none() {
    let folder = tempfile::tempdir().unwrap();
    let ids = |path: &Path| read(path, &*PRODUCTION).findings.into_list().iter().map(|f| f.id).collect::<Vec<_>>();
    assert_eq!(ids(folder.path()), ["no_payload", "declaration_missing", "no_manifest"]);
    assert_eq!(ids(&folder.path().join("none"))[0], "unreadable");
    assert!(!is_whole(folder.path()) && !is_whole(&folder.path().join("none")));
}

#[test]
fn a_record_needs_its_tag_manifest_though_a_bag_does_not() {
    let made = Made::new();
    fs::remove_file(made.path(TAG_MANIFEST)).unwrap();
    assert_eq!(made.found(), []);
    assert!(!is_whole(&made.root()));
    fs::write(made.path(TAG_MANIFEST), "").unwrap();
    assert!(!is_whole(&made.root()));
}

#[test]
fn paths_of_manifests_lead_nowhere() {
    let made = Made::new();
    let outside = made.0.path().join("outside.txt");
    fs::write(&outside, "outside").unwrap();
    let digest = sha256_hex(b"outside");
    let manifest = fs::read_to_string(made.path(PAYLOAD_MANIFEST)).unwrap();
    let absolute = outside.to_str().unwrap();
    for (path, id) in [
        ("data/../../outside.txt", "path_outside"),
        (absolute, "path_outside"),
        ("data/%2e%2e/%2e%2e/outside.txt", "path_percent"),
        ("data/..\\..\\outside.txt", "path_outside"),
        ("~/outside.txt", "path_outside"),
        ("data/a\0.txt", "path_form"),
    ] {
        made.tag(PAYLOAD_MANIFEST, format!("{manifest}{digest}  {path}\n").as_bytes());
        made.is(id, "manifest-sha256.txt:4");
    }
    made.tag(PAYLOAD_MANIFEST, manifest.as_bytes());
    assert!(is_whole(&made.root()));
    let tags = fs::read_to_string(made.path(TAG_MANIFEST)).unwrap();
    fs::write(made.path(TAG_MANIFEST), format!("{tags}{digest}  ../outside.txt\n")).unwrap();
    made.is("path_outside", "tagmanifest-sha256.txt:4");
}

#[test]
fn a_tag_file_of_a_hundred_megabytes_is_not_read() {
    let made = Made::new();
    // A file with a hole: it takes no room on the disk.
    fs::File::options().write(true).open(made.path(PAYLOAD_MANIFEST)).unwrap().set_len(100_000_000).unwrap();
    made.is("too_large", PAYLOAD_MANIFEST);
    let made = Made::new();
    fs::File::options().write(true).open(made.path("bag-info.txt")).unwrap().set_len(2 << 20).unwrap();
    made.is("too_large", "bag-info.txt");
}

#[test]
fn hostile_text_is_told_in_few_words() {
    let made = Made::new();
    made.tag(PAYLOAD_MANIFEST, &b"x\n".repeat(1 << 20));
    made.tag("bag-info.txt", b"\xff\xfe:");
    let found = made.found();
    assert!(found.len() < 1100, "{}", found.len());
    made.is("manifest_line", "manifest-sha256.txt:1000");
    assert!(found.iter().any(|f| f.0 == "more"));
}

#[test]
fn names_composed_otherwise_are_the_same_file() {
    let made = Made::new();
    fs::rename(made.path("data/é.txt"), made.path("data/e\u{301}.txt")).unwrap();
    let found = made.found();
    // A disk that composes names itself shows none of it.
    assert!(found.iter().all(|f| f.0 == "other_spelling" && !f.1), "{found:?}");
    assert!(is_whole(&made.root()));
}

#[test]
fn digests_in_capitals_and_further_manifests() {
    let made = Made::new();
    let manifest = fs::read_to_string(made.path(PAYLOAD_MANIFEST)).unwrap();
    let capitals = manifest.lines().flat_map(|line| [line[..64].to_uppercase(), line[64..].to_owned(), "\n".into()]).collect::<String>();
    made.tag(PAYLOAD_MANIFEST, capitals.as_bytes());
    assert!(is_whole(&made.root()));
    fs::write(made.path("manifest-sha512.txt"), "").unwrap();
    made.is("not_in_every_manifest", "data/a.csv");
    fs::remove_file(made.path("manifest-sha512.txt")).unwrap();
    fs::write(made.path("manifest-md5.txt"), "").unwrap();
    made.is("digest_unknown", "manifest-md5.txt");
}

#[cfg(unix)]
mod unix {
    use std::os::unix::ffi::OsStrExt;
    use std::os::unix::fs::symlink;
    use std::process::Command;

    use super::*;

    #[test]
    fn links_are_not_followed() {
        let made = Made::new();
        symlink("a.csv", made.path("data/b.csv")).unwrap();
        made.is("symlink", "data/b.csv");
        let made = Made::new();
        // In place of a file, with the same content.
        fs::rename(made.path("data/a.csv"), made.0.path().join("a.csv")).unwrap();
        symlink(made.0.path().join("a.csv"), made.path("data/a.csv")).unwrap();
        made.is("symlink", "data/a.csv");
        made.is("missing", "data/a.csv");
        let made = Made::new();
        symlink("..", made.path("data/images/loop")).unwrap();
        symlink("self", made.path("self")).unwrap();
        made.is("symlink", "data/images/loop");
        made.is("symlink", "self");
        let made = Made::new();
        fs::rename(made.path("data"), made.0.path().join("data")).unwrap();
        symlink("../data", made.path("data")).unwrap();
        made.is("symlink", "data");
        made.is("no_payload", "data");
    }

    #[test]
    fn a_pipe_is_not_waited_for() {
        let made = Made::new();
        for name in ["data/pipe", "fetch.txt", "data/a.csv"] {
            let _ = fs::remove_file(made.path(name));
            assert!(Command::new("mkfifo").arg(made.path(name)).status().unwrap().success());
            made.is("special_file", name);
        }
    }

    #[test]
    #[cfg(target_os = "linux")]
    fn a_name_that_is_no_text() {
        let made = Made::new();
        fs::write(made.path("data").join(std::ffi::OsStr::from_bytes(b"\xff.csv")), "x").unwrap();
        made.is("name_not_text", "data/\u{fffd}.csv");
    }
}
