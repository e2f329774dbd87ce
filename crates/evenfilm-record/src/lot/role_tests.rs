//! What a sheet names beside fields is kept as it is and never counted; slides are the units of a lot.

use std::collections::BTreeMap;
use std::fs;

use tiff::encoder::TiffEncoder;
use tiff::encoder::colortype::Gray16;

use super::tests::{assert_whole, rows};
use super::*;
use crate::folder::Options;
use crate::phantom_files::{PhantomKind, PhantomOptions, write_phantom};
use crate::time::Moment;

fn measured(lot: &Path, out: &Path) -> Result<LotOutcome, Fault> {
    let (moment, cancel) = (Moment::from_epoch("1772615700")?, AtomicBool::new(false));
    let job = Job { out, occasion: &Occasion::at(moment.clone(), "0.0.0"), cancel: &cancel, tell: &|_| {} };
    run(&Batch::open(lot, &Options::default())?, &job)
}

fn phantom(lot: &Path, slides: u32, fields: u32) {
    let options = PhantomOptions { slides, fields, size: (480, 360), ..PhantomOptions::new(PhantomKind::Film, 5) };
    write_phantom(lot, &options).unwrap();
}

/// A 16-bit picture of pages that are one count each.
fn even(path: &Path, (width, height): (u32, u32), pages: &[u16]) {
    let mut file = TiffEncoder::new(fs::File::create(path).unwrap()).unwrap();
    for &count in pages {
        file.write_image::<Gray16>(width, height, &vec![count; (width * height) as usize]).unwrap();
    }
}

fn add(lot: &Path, text: &str) {
    let sheet = lot.join("batch.toml");
    let before = fs::read_to_string(&sheet).unwrap();
    fs::write(sheet, before + text).unwrap();
}

fn entries(list: &[(&str, &str)]) -> String {
    list.iter().map(|(file, rest)| ["[[picture]]\nfile = \"", file, "\"\n", rest, "\n"].concat()).collect()
}

#[test]
fn what_is_no_field_is_kept_byte_for_byte_and_never_counted() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    phantom(&path("lot"), 1, 2);
    add(&path("lot"), &entries(&[("f01.tif", "slide = \"A\""), ("f02.tif", "slide = \"A\"")]));
    let plain = measured(&path("lot"), &path("out")).unwrap();

    let jpeg: &[u8] = include_bytes!("../../../../tests/reference/formats/pillow-colour-420.jpg");
    let bmp: &[u8] = include_bytes!("../../../../tests/reference/formats/grey8.bmp");
    fs::create_dir(path("lot/more")).unwrap();
    for (name, content) in [
        ("lot/more/overview.jpg", jpeg),
        ("lot/label.bmp", bmp),
        ("lot/cut.tif", &b"II*\0\x08\0\0\0"[..]),
        ("lot/certificate 1.pdf", b"%PDF-1.7\n%\xE2\xE3\xCF\xD3\n"),
        ("lot/notes.txt", "room at 23 \u{b0}C\r\n".as_bytes()),
        ("lot/empty.txt", b""),
        ("protocol.pdf", b"%PDF-1.4"),
    ] {
        fs::write(path(name), content).unwrap();
    }
    // Larger than the fields, and a page among others.
    even(&path("lot/ruling.tif"), (700, 500), &[40_000]);
    even(&path("lot/stack.tif"), (90, 60), &[1, 2, 3]);
    let kept = [
        ("ruling.tif", "role = \"ruling\""),
        ("more/overview.jpg", "role = \"overview\"\nslide = \"A\""),
        ("label.bmp", "role = \"label\""),
        ("cut.tif", "role = \"overview\""),
        ("certificate 1.pdf", "role = \"evidence\""),
        ("notes.txt", "role = \"evidence\""),
        ("empty.txt", "role = \"evidence\""),
        ("../protocol.pdf", "role = \"evidence\""),
        ("stack.tif#2", "role = \"overview\""),
    ];
    add(&path("lot"), &entries(&kept));
    let with = measured(&path("lot"), &path("out")).unwrap();

    assert_whole(&with.record_dir);
    for (name, _) in kept {
        let name = name.split('#').next().unwrap();
        let archived = with.record_dir.join("data/images").join(name.trim_start_matches("../"));
        let same = fs::read(archived).unwrap() == fs::read(path("lot").join(name)).unwrap();
        assert!(same, "{name}");
    }
    let table = |outcome: &LotOutcome, name: &str| fs::read(outcome.record_dir.join("data").join(name)).unwrap();
    for name in ["fields.csv", "objects.csv", "gaps.csv"] {
        assert!(table(&with, name) == table(&plain, name), "{name}");
    }
    assert_eq!(with.objectives[0].values, plain.objectives[0].values);
    assert_eq!(with.objectives[0].notes, plain.objectives[0].notes);
}

#[test]
fn blanks_of_microscopes_not_in_use_are_kept_and_not_used() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    phantom(&path("lot"), 1, 1);
    add(&path("lot"), &entries(&[("f01.tif", "")]));
    let plain = measured(&path("lot"), &path("out")).unwrap();
    // Of other sizes than the field, and one that is no picture at all.
    even(&path("lot/b40.tif"), (30, 20), &[50_000]);
    even(&path("lot/b63.tif"), (40, 20), &[50_000]);
    fs::write(path("lot/d63.tif"), "not there yet").unwrap();
    let sections = "[microscopes.40x]\num_per_px = 0.1\nblank = \"b40.tif\"\n[microscopes.63x]\nblank = \"never taken.tif\"\n";
    let others = [("b63.tif", "role = \"blank\"\nmicroscope = \"63x\""), ("d63.tif", "role = \"dark\"\nmicroscope = \"63x\"")];
    add(&path("lot"), &(sections.to_owned() + &entries(&others)));
    let with = measured(&path("lot"), &path("out")).unwrap();
    assert_whole(&with.record_dir);
    for name in ["b40.tif", "b63.tif", "d63.tif"] {
        assert_eq!(fs::read(with.record_dir.join("data/images").join(name)).unwrap(), fs::read(path("lot").join(name)).unwrap(), "{name}");
    }
    assert_eq!(with.objectives.len(), 1);
    assert_eq!(with.objectives[0].values, plain.objectives[0].values);
}

#[test]
fn listed_twice_or_missing_is_an_error_with_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let lot = folder.path().join("lot");
    phantom(&lot, 1, 1);
    let sheet = fs::read_to_string(lot.join("batch.toml")).unwrap();
    let lines = sheet.lines().count();
    let field = ("f01.tif", "");
    for (more, line, words) in [
        (("f01.tif", "role = \"evidence\""), lines + 5, "two entries name one picture: f01.tif and f01.tif"),
        (("gone.pdf", "role = \"evidence\""), lines + 5, "the picture gone.pdf is named in the sheet and is not there"),
        (("more", "role = \"label\""), lines + 5, "the picture more is named in the sheet and is not there"),
        (("f01.tif#2", "role = \"evidence\""), lines + 5, ""),
    ] {
        fs::create_dir_all(lot.join("more")).unwrap();
        fs::write(lot.join("batch.toml"), sheet.clone() + &entries(&[field, more])).unwrap();
        let outcome = measured(&lot, &folder.path().join("out"));
        if words.is_empty() {
            assert!(outcome.is_ok(), "another page of a field is no second entry for it");
            continue;
        }
        let fault = outcome.unwrap_err();
        assert_eq!((fault.message.as_str(), fault.line), (words, Some(line)));
        assert!(fault.file.unwrap().ends_with("batch.toml") && !fault.remedy.is_empty());
    }
}

/// The number in a column of a table, row by row; NaN where a cell is empty.
fn column(record: &Path, table: &str, id: &str) -> Vec<f64> {
    let mut reader = csv::Reader::from_path(record.join("data").join(table)).unwrap();
    let at = reader.headers().unwrap().iter().position(|name| name == id).unwrap();
    rows(record, table).iter().map(|row| row[at].parse().unwrap_or(f64::NAN)).collect()
}

/// Student's t for 95 % and two degrees of freedom: 4.303 (any printed table, such as NIST/SEMATECH e-Handbook 1.3.6.7.2).
#[test]
fn several_slides_count_as_their_means() {
    let folder = tempfile::tempdir().unwrap();
    let lot = folder.path().join("lot");
    phantom(&lot, 3, 2);
    let outcome = measured(&lot, &folder.path().join("out")).unwrap();
    assert_eq!((outcome.objectives[0].slides, outcome.objectives[0].fields), (3, 6));
    for id in ["film_od", "particle_area_pct", "x50_0_um"] {
        let fields = column(&outcome.record_dir, "fields.csv", id);
        let means: Vec<f64> = fields.chunks(2).map(|pair| f64::midpoint(pair[0], pair[1])).collect();
        let mean = means.iter().sum::<f64>() / 3.0;
        let deviation = (means.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / 2.0).sqrt();
        let expected = 4.3027 * deviation / 3f64.sqrt();
        let found = outcome.value(id).unwrap().ci95.unwrap();
        assert!((found / expected - 1.0).abs() < 1e-4, "{id}: {found} beside {expected}");
    }
    let slides: Vec<String> = rows(&outcome.record_dir, "fields.csv").iter().map(|row| row[1].to_owned()).collect();
    assert_eq!(slides, ["A", "A", "B", "B", "C", "C"]);
}

#[test]
fn what_is_said_of_a_slide_overrides_and_the_rest_is_filled_up() {
    let folder = tempfile::tempdir().unwrap();
    let lot = folder.path().join("lot");
    phantom(&lot, 2, 1);
    add(&lot, "[slide]\nsubstrate = \"glass\"\nwet_thickness_um = 27\n[slides.B]\nwet_thickness_um = 30\n");
    let outcome = measured(&lot, &folder.path().join("out")).unwrap();
    let used = crate::sheet::Sheet::read(&outcome.record_dir.join("data/batch.toml")).unwrap();
    let known = ["A", "B"].map(|name| (used.slide(name).substrate.clone(), used.slide(name).wet_thickness_um));
    assert_eq!(known, [27.0, 30.0].map(|um| (Some("glass".to_owned()), Some(um))));
}

/// The film level of a field that shows none is the median of its own slide's others: log10 of blank ÷ film, by hand; a film without noise reads
/// within 0.002.
#[test]
fn the_film_level_comes_from_the_same_slide_and_objective() {
    let folder = tempfile::tempdir().unwrap();
    let lot = folder.path();
    let size = (128, 128);
    let counts = [("a1", 20_000), ("bare", 60_000), ("b1", 12_000), ("a2", 22_000), ("b2", 12_000), ("bare b", 60_000), ("other", 30_000)];
    for (name, count) in counts {
        even(&lot.join(format!("{name}.tif")), size, &[count]);
    }
    even(&lot.join("blank.tif"), size, &[60_000]);
    let list = [
        ("a1.tif", "slide = \"A\""),
        ("bare.tif", "slide = \"A\""),
        ("b1.tif", "slide = \"B\""),
        // The same slide through another objective says nothing of this one.
        ("other.tif", "slide = \"A\"\nmicroscope = \"40x\""),
        ("a2.tif", "slide = \"A\""),
        ("b2.tif", "slide = \"B\""),
        ("bare b.tif", "slide = \"B\""),
    ];
    let head = "lot = \"L\"\n[microscope]\num_per_px = 0.25\nblank = \"blank.tif\"\n[microscopes.40x]\num_per_px = 0.1\n";
    fs::write(lot.join("batch.toml"), head.to_owned() + &entries(&list)).unwrap();
    let outcome = measured(lot, &lot.join("out")).unwrap();
    let ods = column(&outcome.record_dir, "fields.csv", "film_od");
    let names: Vec<String> = rows(&outcome.record_dir, "fields.csv").iter().map(|row| row[3].replace(".tif", "")).collect();
    let found: BTreeMap<&str, f64> = names.iter().map(String::as_str).zip(ods).collect();
    for (name, film) in [("a1", 20_000.0), ("bare", 21_000.0), ("b2", 12_000.0), ("bare b", 12_000.0), ("other", 30_000.0)] {
        let expected = libm::log10(60_000.0 / film);
        assert!((found[name] - expected).abs() < 4e-3, "{name}: {} beside {expected}", found[name]);
    }
}
