//! Reading bags: every case of the Library of Congress's conformance suite, and two bags made by other means.
//!
//! `reference/bagit-conformance-suite/` is commit 9ab48705 of that suite (CC0). It says of each bag whether it is valid, invalid, or valid
//! with a warning; what is invalid on one system only is refused here on all, since a record may be carried from one to another.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use evenfilm_record::bag::read::{Algorithm, PRODUCTION, read};

const SUITE: &str = "reference/bagit-conformance-suite";

/// A case, the ids of what we find, and, where our verdict is another than the suite's, why.
type Case = (&'static str, &'static [&'static str], &'static str);

const FETCH: &str = "all files are there, but it says where to fetch them: a record is whole where it lies, and nothing is ever fetched";

const CASES: [Case; 60] = [
    ("v0.93/valid/basic-bag", &[], ""),
    ("v0.93/valid/duplicate-metadata-entries", &[], ""),
    ("v0.94/valid/basic-bag", &[], ""),
    ("v0.94/valid/duplicate-metadata-entries", &[], ""),
    ("v0.95/valid/basic-bag", &[], ""),
    ("v0.95/valid/duplicate-metadata-entries", &[], ""),
    ("v0.96/valid/bag-in-a-bag", &[], ""),
    ("v0.96/valid/bag-with-encoded-names", &[], ""),
    ("v0.96/valid/bag-with-escapable-characters", &[], ""),
    ("v0.96/valid/bag-with-leading-dot-slash-in-manifest", &["dot_slash"], ""),
    ("v0.96/valid/bag-with-space", &[], ""),
    ("v0.96/valid/basic-bag", &[], ""),
    ("v0.96/valid/duplicate-metadata-entries", &[], ""),
    ("v0.96/valid/holey-bag", &["fetch_list", "tag_file_unlisted"], FETCH),
    ("v0.97/invalid/baginfo-missing-encoding", &["changed", "declaration"], ""),
    ("v0.97/invalid/bom-in-bagit.txt", &["declaration"], ""),
    ("v0.97/invalid/corrupt-data-file", &["changed", "oxum"], ""),
    ("v0.97/invalid/corrupt-tag-file", &["changed"], ""),
    ("v0.97/invalid/extra-file-in-bag", &["oxum", "unlisted"], ""),
    ("v0.97/invalid/invalid-version-number", &["changed", "version_unknown"], ""),
    ("v0.97/invalid/missing-baginfo", &["missing"], ""),
    ("v0.97/invalid/missing-bagit.txt", &["declaration_missing", "missing"], ""),
    ("v0.97/invalid/out-of-scope-file-paths-using-dot-notation-for-fetch", &["fetch_list", "path_outside"], ""),
    ("v0.97/invalid/out-of-scope-file-paths-using-dot-notation", &["path_outside"], ""),
    ("v0.97/invalid/same-filename-listed-twice-with-different-hashes", &["changed", "listed_twice"], ""),
    ("v0.97/linux-only/out-of-scope-file-paths-using-absolute-path-for-fetch", &["fetch_list", "path_outside"], ""),
    ("v0.97/linux-only/out-of-scope-file-paths-using-absolute-path", &["path_outside"], ""),
    ("v0.97/linux-only/out-of-scope-file-paths-using-shortcut-for-fetch", &["fetch_list", "path_outside"], ""),
    ("v0.97/linux-only/out-of-scope-file-paths-using-shortcut-username-for-fetch", &["fetch_list", "path_outside"], ""),
    ("v0.97/linux-only/out-of-scope-file-paths-using-shortcut-username", &["path_outside"], ""),
    ("v0.97/linux-only/out-of-scope-file-paths-using-shortcut", &["path_outside"], ""),
    ("v0.97/valid/ISO-8859-1-encoded-tag-files", &[], ""),
    ("v0.97/valid/UTF-16-encoded-tag-files", &[], ""),
    ("v0.97/valid/bag-in-a-bag", &[], ""),
    ("v0.97/valid/bag-with-encoded-names", &[], ""),
    ("v0.97/valid/bag-with-escapable-characters", &[], ""),
    ("v0.97/valid/bag-with-leading-dot-slash-in-manifest", &["dot_slash"], ""),
    ("v0.97/valid/bag-with-space", &[], ""),
    ("v0.97/valid/basic-bag", &[], ""),
    ("v0.97/valid/duplicate-metadata-entries", &[], ""),
    ("v0.97/valid/holey-bag", &["fetch_list", "tag_file_unlisted"], FETCH),
    ("v0.97/valid/minimal-bag", &[], ""),
    ("v0.97/valid/uncommon-metadata-separators", &[], ""),
    (
        "v0.97/warning/duplicate-file-with-different-case",
        &["case_clash", "missing"],
        "the file in capitals is there only on a disk that does not tell capitals apart",
    ),
    ("v0.97/warning/made-with-md5sum-tools", &["check_sum_mark"], ""),
    ("v0.97/warning/relative-path", &["dot_slash"], ""),
    (
        "v0.97/warning/same-filename-listed-twice-with-different-normalization",
        &["other_spelling", "spelled_twice", "tag_file_unlisted"],
        "",
    ),
    ("v0.97/warning/same-filename-listed-twice-with-the-same-hash", &["listed_twice", "tag_file_unlisted"], ""),
    ("v0.97/warning/special-system-files", &["missing", "oxum"], "the suite lists .DS_Store and does not hold it, so a file is missing"),
    ("v0.97/windows-only/out-of-scope-file-paths-using-absolute-path-for-fetch", &["fetch_list", "path_outside"], ""),
    ("v0.97/windows-only/out-of-scope-file-paths-using-absolute-path", &["path_outside"], ""),
    ("v0.97/windows-only/out-of-scope-file-paths-using-shortcut-for-fetch", &["fetch_list", "path_form"], ""),
    ("v0.97/windows-only/out-of-scope-file-paths-using-shortcut", &["path_form"], ""),
    ("v0.97/windows-only/out-of-scope-file-paths-using-unc-for-fetch", &["fetch_list", "path_outside", "tag_file_unlisted"], ""),
    ("v0.97/windows-only/out-of-scope-file-paths-using-unc", &["path_outside"], ""),
    ("v1.0/invalid/bagit-with-invalid-whitespace", &["declaration"], ""),
    ("v1.0/invalid/notAllManifestsListAllFiles", &["unlisted"], ""),
    ("v1.0/invalid/same-filename-listed-twice-with-different-hashes", &["changed", "declaration", "listed_twice"], ""),
    ("v1.0/invalid/same-filename-listed-twice-with-the-same-hash", &["changed", "listed_twice", "tag_file_unlisted"], ""),
    ("v1.0/valid/basicBag", &[], ""),
];

fn reference(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// The suite also has MD5 and SHA-224, on which no record may rest.
fn algorithms() -> Vec<Algorithm> {
    let mut all = PRODUCTION.to_vec();
    all.extend([Algorithm::of::<md5::Md5>("md5"), Algorithm::of::<sha2::Sha224>("sha224")]);
    all
}

#[test]
fn the_conformance_suite() {
    let algorithms = algorithms();
    let mut wrong = Vec::new();
    for (case, expected, why) in CASES {
        let bag = read(&reference(SUITE).join(case), &algorithms);
        let is_valid = bag.findings.faults() == 0;
        let found = bag.findings.into_list();
        let same = match case.split('/').nth(1).unwrap() {
            "valid" => is_valid,
            "warning" => is_valid && !found.is_empty(),
            "invalid" | "linux-only" | "windows-only" => !is_valid,
            other => panic!("{other}"),
        };
        let ids: Vec<_> = found.iter().map(|finding| finding.id).collect::<BTreeSet<_>>().into_iter().collect();
        if ids != expected || same != why.is_empty() {
            wrong.push(format!("(\"{case}\", &{ids:?}, {same}),"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Every bag of the suite stands in the table: as many of each kind as `bagit.suite` of the check values says.
#[test]
fn no_case_is_left_out() {
    let mut there = BTreeSet::new();
    for folder in std::fs::read_dir(reference(SUITE)).unwrap().map(|entry| entry.unwrap().path()).filter(|path| path.is_dir()) {
        for kind in std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()) {
            let case = |entry: std::io::Result<std::fs::DirEntry>| entry.unwrap().path().strip_prefix(reference(SUITE)).unwrap().to_owned();
            there.extend(std::fs::read_dir(kind).unwrap().map(case));
        }
    }
    assert_eq!(there, CASES.iter().map(|(case, ..)| case.split('/').collect()).collect());
    let of = |kind: &str| CASES.iter().filter(|(case, ..)| case.split('/').nth(1) == Some(kind)).count();
    assert_eq!(["valid", "invalid", "warning", "linux-only", "windows-only"].map(of), [27, 15, 6, 6, 6]);
}

/// `bagit.sample` and `bagit.percent` of the check values: made with hashlib; the first one is accepted by another reader of bags, and of
/// the second one RFC 8493, 2.1.3, says how its name must be written (that reader does not know it).
#[test]
fn two_bags_made_by_other_means() {
    for (bag, payload) in [("bag_sample", (2, 11)), ("bag_percent_name", (1, 8))] {
        let bag = read(&reference("reference/values/data").join(bag), &*PRODUCTION);
        assert_eq!(bag.payload(), payload);
        assert_eq!(bag.findings.into_list(), []);
    }
}
