//! Several objectives in one lot, kept apart: row for row the values of lots that have one objective each.
//!
//! The scenes are those under `reference/films`, rendered independently of this program: a hazy film on two slides, a film with everything
//! that is not powder (its dust lies at one place of all its fields), and a film in dark field.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use evenfilm_record::folder::{Batch, Options};
use evenfilm_record::lot::{Job, LotOutcome, run};
use evenfilm_record::occasion::Occasion;
use evenfilm_record::time::Moment;
use evenfilm_tests::reference;

/// An objective: its name in the sheet, the kept film that stands for its pictures, and its fields with their slides.
struct Objective {
    name: &'static str,
    film: &'static str,
    section: &'static str,
    fields: &'static [(&'static str, &'static str)],
}

const LOW: Objective = Objective {
    name: "10x",
    film: "kept-hazy-8",
    section: "um_per_px = 0.5\nnumerical_aperture = 0.3\nscale_source = \"ruling A\"\nscale_date = 2026-02-01\n",
    fields: &[("f01.tif", "A"), ("f02.tif", "B")],
};
const HIGH: Objective = Objective {
    name: "40x",
    film: "kept-kinds-8",
    section: "um_per_px = 0.25\nnumerical_aperture = 0.519\n",
    fields: &[("f01.tif", "A"), ("f02.tif", "B"), ("f03.tif", "A"), ("f04.tif", "B")],
};
const DARK: Objective = Objective {
    name: "40x dark field",
    film: "kept-darkfield-16",
    section: "um_per_px = 0.24\nmode = \"darkfield\"\nnumerical_aperture = 0.65\n",
    fields: &[("f01.tif", "B")],
};

/// How the sheet names a picture of the empty slide.
#[derive(Clone, Copy, PartialEq)]
enum Blank {
    InSection,
    InEntry,
    /// Dark field has its pictures, the others none.
    None,
}

/// A lot of these objectives, whose fields the sheet names by turns.
fn lot(folder: &Path, objectives: &[&Objective], blank: Blank) -> PathBuf {
    let mut sheet = "lot = \"L\"\n[microscope]\nwavelength_nm = 550\ntone = \"linear\"\n".to_owned();
    let mut entries = Vec::new();
    for Objective { name, film, section, fields } in objectives {
        fs::create_dir_all(folder.join(film)).unwrap();
        let lit = blank != Blank::None || *name == DARK.name;
        for (file, _) in fields.iter().chain(lit.then_some(&("blank.tif", ""))).chain((*name == DARK.name).then_some(&("dark.tif", ""))) {
            fs::copy(reference().join("films").join(film).join(file), folder.join(film).join(file)).unwrap();
        }
        writeln!(sheet, "[microscopes.\"{name}\"]\n{section}").unwrap();
        if *name == DARK.name {
            writeln!(sheet, "dark = \"{film}/dark.tif\"").unwrap();
        }
        let entry = |file: &str, rest: String| format!("[[picture]]\nfile = \"{film}/{file}\"\nmicroscope = \"{name}\"\n{rest}\n");
        if lit && blank == Blank::InEntry {
            entries.push((0, entry("blank.tif", "role = \"blank\"".into())));
        } else if lit {
            writeln!(sheet, "blank = \"{film}/blank.tif\"").unwrap();
        }
        entries.extend((1..).zip(*fields).map(|(turn, (file, slide))| (turn, entry(file, format!("slide = \"{slide}\"")))));
    }
    entries.sort_by_key(|(turn, _)| *turn);
    for (_, entry) in entries {
        sheet += &entry;
    }
    fs::write(folder.join("batch.toml"), sheet).unwrap();
    folder.to_path_buf()
}

fn measured(lot: &Path, out: &Path) -> LotOutcome {
    let (moment, cancel) = (Moment::from_epoch("1772615700").unwrap(), AtomicBool::new(false));
    let job = Job { out, occasion: &Occasion::at(moment.clone(), "test"), cancel: &cancel, tell: &|_| () };
    run(&Batch::open(lot, &Options::default()).unwrap(), &job).unwrap()
}

/// The rows of a table that belong to a microscope, without the columns that may differ.
fn rows(record: &Path, table: &str, microscope: &str, without: &[&str]) -> Vec<Vec<(String, String)>> {
    let mut reader = csv::Reader::from_path(record.join("data").join(table)).unwrap();
    let header = reader.headers().unwrap().clone();
    let own = header.iter().position(|id| id == "microscope").unwrap();
    let all = reader.records().map(Result::unwrap).filter(|row| &row[own] == microscope);
    let cells = |row: csv::StringRecord| {
        let named = header.iter().zip(row.iter()).filter(|(id, _)| !without.contains(id));
        named.map(|(id, cell)| (id.to_owned(), cell.to_owned())).collect()
    };
    all.map(cells).collect()
}

/// Holds each objective of a lot against a lot of its own.
fn apart(blank: Blank) {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let all = [&LOW, &HIGH, &DARK];
    let together = measured(&lot(&path("together"), &all, blank), &path("out"));
    assert_eq!(together.objectives.iter().map(|o| o.microscope.as_str()).collect::<Vec<_>>(), all.map(|o| o.name));
    // Where only some have a blank, the recipe of the lot leaves open where the light comes from.
    let recipe: &[&str] = if blank == Blank::None { &["recipe_sha256"] } else { &[] };
    for (objective, seen) in all.iter().zip(&together.objectives) {
        let alone =
            measured(&lot(&path(&format!("lot {}", objective.name)), &[objective], blank), &path(&format!("out {}", objective.name)));
        for (table, without) in [("record.csv", recipe), ("fields.csv", &["field"]), ("objects.csv", &["field"]), ("gaps.csv", &["field"])]
        {
            let [found, wanted] = [&together, &alone].map(|outcome| rows(&outcome.record_dir, table, objective.name, without));
            assert!(!wanted.is_empty(), "{table} of {}", objective.name);
            assert_eq!(found.len(), wanted.len(), "{table} of {}", objective.name);
            for (found, wanted) in found.iter().zip(&wanted) {
                assert_eq!(found, wanted, "{table} of {}", objective.name);
            }
        }
        assert_eq!(seen.values, alone.objectives[0].values);
        let flags =
            |seen: &evenfilm_record::lot::ObjectiveOutcome| seen.flags.iter().map(|f| (f.file.clone(), f.flag.clone())).collect::<Vec<_>>();
        assert_eq!(flags(seen), flags(&alone.objectives[0]));
        for (file, _) in objective.fields {
            let drawn = |outcome: &LotOutcome| {
                let place = format!("data/overlays/{}/{}", objective.film, file.replace(".tif", ".png"));
                fs::read(outcome.record_dir.join(place)).unwrap()
            };
            assert!(drawn(&together) == drawn(&alone), "{file} of {}", objective.name);
        }
    }
    // Dust is told within the fields of one objective, and really was.
    if blank != Blank::None {
        assert!(together.objectives[1].value("left_out_dust_objects").unwrap().value.unwrap() > 0.0);
    }
    // What was used gives the same again.
    let again = path("again");
    fs::create_dir(&again).unwrap();
    fs::copy(together.record_dir.join("data/batch.toml"), path("together/batch.toml")).unwrap();
    fs::copy(together.record_dir.join("data/recipe.toml"), path("together/recipe.toml")).unwrap();
    let again = measured(&path("together"), &again);
    for table in ["record.csv", "fields.csv", "objects.csv", "gaps.csv", "batch.toml", "recipe.toml"] {
        let [found, wanted] = [&again, &together].map(|o| fs::read_to_string(o.record_dir.join("data").join(table)).unwrap());
        assert!(found == wanted, "{table}, measured again from the record's sheet");
    }
}

#[test]
fn objectives_of_one_lot_give_the_values_of_lots_apart() {
    apart(Blank::InSection);
}

#[test]
fn also_with_blanks_named_in_entries() {
    apart(Blank::InEntry);
}

#[test]
fn also_where_only_some_have_a_blank() {
    apart(Blank::None);
}
