//! `evenfilm verify`: fresh records are whole, and whatever is done to one is found.

use std::fs;
use std::path::Path;

use sha2::{Digest, Sha256};

use super::{Bench, code, json, text};

const LOT: &str = "phantom-film-1";

/// A bench with two records of one lot in `out`.
fn measured() -> Bench {
    let bench = Bench::new();
    fs::write(bench.path("lot/corrections.csv"), "field,thing,change,reason\nf02.tif,field,leave_out,too dark\n").unwrap();
    for _ in 0..2 {
        let done = bench.run(&["measure", "lot", "--out", "out"]);
        assert_eq!(code(&done), Some(0), "{}", text(&done.stderr));
    }
    bench
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let to = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &to);
        } else {
            fs::copy(entry.path(), to).unwrap();
        }
    }
}

fn sha256(path: &Path) -> String {
    Sha256::digest(fs::read(path).unwrap())
        .iter()
        .flat_map(|byte| [byte >> 4, byte & 15])
        .map(|digit| char::from(b"0123456789abcdef"[usize::from(digit)]))
        .collect()
}

/// Makes the digests of a manifest anew, of files that are there.
fn digests(record: &Path, manifest: &str) {
    let line = |line: &str| line.split_once("  ").map(|(_, name)| format!("{}  {name}\n", sha256(&record.join(name)))).unwrap();
    let lines: String = fs::read_to_string(record.join(manifest)).unwrap().lines().map(line).collect();
    fs::write(record.join(manifest), lines).unwrap();
}

/// Makes all digests anew, as whoever can write everything would.
fn seal_again(record: &Path) {
    digests(record, "manifest-sha256.txt");
    digests(record, "tagmanifest-sha256.txt");
}

fn edit(path: &Path, from: &str, to: &str) {
    let old = fs::read_to_string(path).unwrap();
    assert!(old.contains(from), "{from} in {}", path.display());
    fs::write(path, old.replacen(from, to, 1)).unwrap();
}

fn append(path: &Path, line: &str) {
    let old = fs::read_to_string(path).unwrap_or_default();
    fs::write(path, format!("{old}{line}\n")).unwrap();
}

fn flip(path: &Path) {
    let mut bytes = fs::read(path).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(path, bytes).unwrap();
}

/// What is done to a copy of the lot's folder, and the ids that must be among the faults of its records, r1 and r2.
type Case = (&'static str, fn(&Path), [&'static [&'static str]; 2]);

const CASES: &[Case] = &[
    ("a file is added", |lot| fs::write(lot.join("r1/data/more.txt"), "x").unwrap(), [&["unlisted", "oxum"], &[]]),
    ("a file beside the payload", |lot| fs::write(lot.join("r1/notes.txt"), "x").unwrap(), [&["tag_file_unlisted"], &[]]),
    ("a file is removed", |lot| fs::remove_file(lot.join("r1/data/gaps.csv")).unwrap(), [&["missing", "oxum"], &[]]),
    ("a manifest is removed", |lot| fs::remove_file(lot.join("r1/manifest-sha256.txt")).unwrap(), [&["missing", "no_manifest"], &[]]),
    (
        "the tag manifest is removed",
        |lot| fs::remove_file(lot.join("r1/tagmanifest-sha256.txt")).unwrap(),
        [&["missing"], &["chain_broken"]],
    ),
    ("bagit.txt is removed", |lot| fs::remove_file(lot.join("r1/bagit.txt")).unwrap(), [&["declaration_missing"], &[]]),
    (
        "a file is renamed",
        |lot| fs::rename(lot.join("r1/data/recipe.toml"), lot.join("r1/data/recipe2.toml")).unwrap(),
        [&["missing", "unlisted"], &[]],
    ),
    (
        "a picture is swapped and the manifest made anew, but not the tag manifest",
        |lot| {
            fs::copy(lot.join("r1/data/images/f02.tif"), lot.join("r1/data/images/f01.tif")).unwrap();
            digests(&lot.join("r1"), "manifest-sha256.txt");
        },
        [&["changed", "picture_differs"], &[]],
    ),
    (
        "a picture is swapped and everything made anew",
        |lot| {
            fs::copy(lot.join("r1/data/images/f02.tif"), lot.join("r1/data/images/f01.tif")).unwrap();
            seal_again(&lot.join("r1"));
        },
        [&["picture_differs"], &["chain_broken"]],
    ),
    (
        "a recipe is changed and everything made anew",
        |lot| {
            append(&lot.join("r2/data/recipe.toml"), "# x");
            seal_again(&lot.join("r2"));
        },
        [&[], &["recipe_differs", "oxum"]],
    ),
    (
        "the chain is changed",
        |lot| {
            let info = fs::read_to_string(lot.join("r2/bag-info.txt")).unwrap();
            let digest = info.lines().find_map(|line| line.strip_prefix("Previous-Tag-Manifest-SHA256: ")).unwrap();
            edit(&lot.join("r2/bag-info.txt"), digest, &"0".repeat(64));
            seal_again(&lot.join("r2"));
        },
        [&[], &["chain_broken"]],
    ),
    (
        "the chain is left out",
        |lot| {
            edit(&lot.join("r2/bag-info.txt"), "Previous-Tag-Manifest-SHA256", "Note");
            seal_again(&lot.join("r2"));
        },
        [&[], &["chain_broken"]],
    ),
    ("a number is skipped", |lot| fs::rename(lot.join("r2"), lot.join("r3")).unwrap(), [&[], &["revision_folder"]]),
    (
        "a record is a later one",
        |lot| {
            edit(&lot.join("r2/bag-info.txt"), "Evenfilm-Record-Version: 1", "Evenfilm-Record-Version: 2");
            seal_again(&lot.join("r2"));
        },
        [&[], &["record_version_newer"]],
    ),
    (
        "a record is of another lot",
        |lot| {
            edit(&lot.join("r2/data/batch.toml"), LOT, "phantom-film-2");
            seal_again(&lot.join("r2"));
        },
        [&[], &["lot_differs"]],
    ),
    (
        "a label is lost, another said twice",
        |lot| {
            edit(&lot.join("r2/bag-info.txt"), "Time-Source", "Evenfilm-Revision");
            seal_again(&lot.join("r2"));
        },
        [&[], &["label_missing", "label_twice"]],
    ),
    (
        "a cell is no number",
        |lot| {
            edit(&lot.join("r2/data/fields.csv"), ",320,240,", ",320,24.5,");
            seal_again(&lot.join("r2"));
        },
        [&[], &["table_cell", "oxum"]],
    ),
    (
        "a table has lines of another program",
        |lot| {
            edit(&lot.join("r2/data/fields.csv"), "\r\n", "\n");
            seal_again(&lot.join("r2"));
        },
        [&[], &["table"]],
    ),
    (
        "a column has another name",
        |lot| {
            edit(&lot.join("r2/data/gaps.csv"), "x_um", "y_um");
            seal_again(&lot.join("r2"));
        },
        [&[], &["table_header"]],
    ),
    (
        "a row is cut short",
        |lot| {
            append(&lot.join("r2/data/objects.csv"), "1,2\r");
            seal_again(&lot.join("r2"));
        },
        [&[], &["table_row", "oxum"]],
    ),
    (
        "a table says nothing of itself",
        |lot| {
            fs::remove_file(lot.join("r2/data/gaps.csv-metadata.json")).unwrap();
            edit(&lot.join("r2/manifest-sha256.txt"), "gaps.csv-metadata.json", "gaps.csv");
        },
        [&[], &["missing", "listed_twice"]],
    ),
    (
        "a path goes up",
        |lot| {
            append(&lot.join("r1/manifest-sha256.txt"), &format!("{}  data/../../../secret", "0".repeat(64)));
            digests(&lot.join("r1"), "tagmanifest-sha256.txt");
        },
        [&["path_outside"], &["chain_broken"]],
    ),
    (
        "a path goes up in code",
        |lot| append(&lot.join("r1/manifest-sha256.txt"), &format!("{}  data/%2e%2e/secret", "0".repeat(64))),
        [&["path_percent", "changed"], &[]],
    ),
    (
        "files are to be fetched",
        |lot| fs::write(lot.join("r1/fetch.txt"), "https://example.org/x - /etc/x\n").unwrap(),
        [&["fetch_list", "path_outside"], &[]],
    ),
    (
        "corrections are taken out",
        |lot| {
            for name in ["corrections.csv", "corrections.csv-metadata.json"] {
                fs::remove_file(lot.join("r2/data").join(name)).unwrap();
                let manifest = fs::read_to_string(lot.join("r2/manifest-sha256.txt")).unwrap();
                let kept: String =
                    manifest.lines().filter(|line| !line.ends_with(&format!("/{name}"))).flat_map(|line| [line, "\n"]).collect();
                fs::write(lot.join("r2/manifest-sha256.txt"), kept).unwrap();
            }
            seal_again(&lot.join("r2"));
        },
        [&[], &["missing", "oxum"]],
    ),
    ("the record before is gone", |lot| fs::remove_dir_all(lot.join("r1")).unwrap(), [&["revision_missing"], &[]]),
    #[cfg(unix)]
    (
        "a picture lies elsewhere",
        |lot| {
            fs::rename(lot.join("r1/data/images/f01.tif"), lot.join("../f01.tif")).unwrap();
            std::os::unix::fs::symlink(lot.join("../f01.tif"), lot.join("r1/data/images/f01.tif")).unwrap();
        },
        [&["symlink", "missing"], &[]],
    ),
    #[cfg(unix)]
    (
        "a record lies elsewhere",
        |lot| {
            fs::rename(lot.join("r1"), lot.join("../../elsewhere")).unwrap();
            std::os::unix::fs::symlink("../../elsewhere", lot.join("r1")).unwrap();
        },
        [&["symlink"], &[]],
    ),
];

/// The ids of a record's faults or notes.
fn ids<'a>(record: &'a serde_json::Value, key: &str) -> Vec<&'a str> {
    let mut ids: Vec<_> = record[key].as_array().unwrap().iter().map(|fault| fault["id"].as_str().unwrap()).collect();
    ids.dedup();
    ids
}

#[test]
fn a_fresh_record_is_whole_and_said_so_in_words() {
    let bench = measured();
    let done = bench.run(&["verify", "out"]);
    let said = text(&done.stdout);
    assert_eq!(code(&done), Some(0), "{said}");
    for words in
        ["phantom-film-1 r1: whole; ", "phantom-film-1 r2: whole; ", " files, ", "2 records: 2 in order, 0 with faults", "gives no SPF"]
    {
        assert!(said.contains(words), "{words} in:\n{said}");
    }
    let document = json(&bench.run(&["verify", "--json", "out/phantom-film-1/r2", "out/phantom-film-1/r1"]));
    let records = document["records"].as_array().unwrap();
    assert!(records[0]["record_dir"].as_str().unwrap().ends_with("r2") && records[1]["record_dir"].as_str().unwrap().ends_with("r1"));
    for record in records {
        assert!(Path::new(record["record_dir"].as_str().unwrap()).is_absolute());
        assert_eq!((&record["ok"], ids(record, "faults"), ids(record, "notes")), (&true.into(), vec![], vec![]));
    }
    // The numbers of the first record are what the second one names.
    assert_eq!(records[1]["tag_manifest_sha256"], sha256(&bench.path("out/phantom-film-1/r1/tagmanifest-sha256.txt")));
}

#[test]
fn whatever_is_done_to_a_record_is_found() {
    let bench = measured();
    let mut wrong = Vec::new();
    for (i, (what, meddle, expected)) in CASES.iter().enumerate() {
        let out = bench.path(&format!("case-{i}"));
        copy(&bench.path("out").join(LOT), &out.join(LOT));
        meddle(&out.join(LOT));
        let done = bench.run(&["verify", "--json", out.to_str().unwrap()]);
        let document = json(&done);
        let records = document["records"].as_array().unwrap();
        let found: Vec<_> = records.iter().map(|record| ids(record, "faults")).collect();
        let all = records.iter().zip(expected).all(|(record, expected)| {
            let found = ids(record, "faults");
            record["ok"] == expected.is_empty() && expected.iter().all(|id| found.contains(id)) && found.is_empty() == expected.is_empty()
        });
        if !all || code(&done) != Some(3) {
            wrong.push(format!("{what}: {found:?}, exit {:?}\n{}", code(&done), document));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_flipped_byte_in_any_file_is_found() {
    let bench = measured();
    let record = bench.path("out").join(LOT).join("r2");
    let mut files: Vec<String> =
        fs::read_to_string(record.join("manifest-sha256.txt")).unwrap().lines().map(|line| line[66..].to_owned()).collect();
    files.extend(["bagit.txt", "bag-info.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt"].map(str::to_owned));
    assert!(files.len() > 20);
    for file in files {
        let kept = fs::read(record.join(&file)).unwrap();
        flip(&record.join(&file));
        let done = bench.run(&["verify", "--json", "out/phantom-film-1/r2"]);
        fs::write(record.join(&file), kept).unwrap();
        assert_eq!(code(&done), Some(3), "{file}");
        let faults = json(&done)["records"][0]["faults"].clone();
        let names =
            |fault: &serde_json::Value| fault["file"] == file.as_str() || (file.starts_with("tagmanifest") && fault["id"] == "changed");
        assert!(faults.as_array().unwrap().iter().any(names), "{file}: {faults}");
    }
    assert_eq!(code(&bench.run(&["verify", "out"])), Some(0));
}

#[test]
fn what_makes_nothing_wrong_is_a_note() {
    let bench = measured();
    let notes = |path: &str| {
        let done = bench.run(&["verify", "--json", path]);
        assert_eq!(code(&done), Some(0), "{}", text(&done.stdout));
        json(&done)["records"].as_array().unwrap().iter().map(|record| ids(record, "notes").join(" ")).collect::<Vec<_>>()
    };
    fs::create_dir_all(bench.path("out/phantom-film-1/.staging-1-0")).unwrap();
    fs::create_dir_all(bench.path("out/phantom-film-1/signoffs")).unwrap();
    fs::write(bench.path("out/phantom-film-1/list.txt"), "x").unwrap();
    assert_eq!(notes("out"), ["", "leftover stranger"]);
    copy(&bench.path("out").join(LOT).join("r2"), &bench.path("backup/of-today"));
    assert_eq!(notes("backup"), ["other_folder"]);
    fs::create_dir(bench.path("backup/of-today/data/images/new")).unwrap();
    assert_eq!(notes("backup/of-today"), ["empty_folder other_folder"]);
}

#[test]
fn what_is_no_record_is_2_and_one_of_several_is_1() {
    let bench = measured();
    for path in ["none", "lot/batch.toml", "lot"] {
        let done = bench.run(&["verify", path]);
        assert_eq!((code(&done), text(&done.stdout).as_str()), (Some(2), ""), "{path}");
        assert!(text(&done.stderr).contains("name the folder of a record"), "{}", text(&done.stderr));
    }
    let done = bench.run(&["verify", "none", "out", "--json"]);
    assert_eq!(code(&done), Some(1));
    let records = json(&done)["records"].clone();
    assert_eq!((records[0]["ok"].clone(), records[2]["error"]["kind"].clone()), (true.into(), "input".into()));
    flip(&bench.path("out/phantom-film-1/r1/data/record.csv"));
    assert_eq!(code(&bench.run(&["verify", "none", "out"])), Some(1), "1 outranks 3");
    let done = bench.run(&["verify", "out"]);
    let said = text(&done.stdout);
    assert_eq!(code(&done), Some(3));
    for words in [
        "phantom-film-1 r1: NOT WHOLE, ",
        "fault changed: data/record.csv: has changed",
        "take the record from a backup",
        "1 in order, 1 with faults",
    ] {
        assert!(said.contains(words), "{words} in:\n{said}");
    }
}
