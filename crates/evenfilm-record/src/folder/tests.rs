//! Folders made here, usable and not.

use std::fs;
use std::io::Cursor;

use evenfilm_core::recipe::LightFrom;
use tempfile::TempDir;
use tiff::encoder::{Rational, TiffEncoder, colortype};
use tiff::tags::{ResolutionUnit, Tag};

use super::*;
use crate::sheet::Tone;

/// A 16-bit picture of some size with a scale of so many pixels per cm.
fn tiff16(width: u32, height: u32, per_cm: Option<u32>) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut file).unwrap();
    let mut image = encoder.new_image::<colortype::Gray16>(width, height).unwrap();
    if let Some(n) = per_cm {
        for tag in [Tag::XResolution, Tag::YResolution] {
            image.encoder().write_tag(tag, Rational { n, d: 1 }).unwrap();
        }
        image.encoder().write_tag(Tag::ResolutionUnit, ResolutionUnit::Centimeter.to_u16()).unwrap();
    }
    image.write_data(&vec![1000; (width * height) as usize]).unwrap();
    file.into_inner()
}

fn png8() -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, 2, 2);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.write_header().unwrap().write_image_data(&[1, 2, 3, 4]).unwrap();
    file
}

/// A file of a test folder by the kind that its content stands for.
fn content(what: &str) -> Vec<u8> {
    match what {
        "plain" => tiff16(2, 2, None),
        "scaled" => tiff16(2, 2, Some(40_000)),
        "other scale" => tiff16(2, 2, Some(39_000)),
        "large" => tiff16(3, 2, None),
        "png8" => png8(),
        text => text.as_bytes().to_vec(),
    }
}

/// Names, and contents as [`content`] takes them.
pub(super) type Files<'a> = &'a [(&'a str, &'a str)];

/// A folder with these files, contents by [`content`].
pub(super) fn folder(files: Files<'_>) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, what) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, content(what)).unwrap();
    }
    folder
}

pub(super) fn open(files: Files<'_>) -> Result<Batch, Fault> {
    Batch::open(folder(files).path(), &Options::default())
}

fn names(batch: &Batch) -> Vec<&str> {
    batch.fields.iter().map(|field| field.source.name.as_str()).collect()
}

const SCALED: &str = "lot = 'L'\n[microscope]\num_per_px = 0.25\nblank = 'blank.tif'\ndark = 'dark.tif'";

#[test]
fn without_entries_every_picture_is_a_field_in_natural_order() {
    let batch = open(&[
        (SHEET, SCALED),
        ("blank.tif", "plain"),
        ("dark.tif", "plain"),
        ("f10.tif", "plain"),
        ("f2.tif", "plain"),
        ("f1.TIFF", "plain"),
        ("renamed", "plain"),
        (".f3.tif", "plain"),
        ("truth.json", "{}"),
        ("README", "text"),
        ("corrections.csv", "field,thing,change,reason"),
        ("below/f4.tif", "plain"),
    ])
    .unwrap();
    assert_eq!(names(&batch), ["f1.TIFF", "f2.tif", "f10.tif", "renamed"]);
    assert_eq!(batch.objectives[0].blank.as_ref().unwrap().name, "blank.tif");
    assert_eq!(batch.objectives[0].dark.as_ref().unwrap().name, "dark.tif");
    assert_eq!(
        (batch.objectives[0].scale.um_per_px, batch.objectives[0].tone, batch.objectives[0].optics().full_scale),
        (0.25, Tone::Linear, 65535)
    );
    assert_eq!(batch.recipe.light.from, Some(LightFrom::Blank));
    assert_eq!((batch.recipe_file, batch.limits_file), (None, None));
}

#[test]
fn with_entries_those_with_the_role() {
    let sheet = "lot = 'L'\npicture = [{ file = 'b.tif', slide = 'B', x_mm = 1 }, { file = 'a.tif', microscope = '40x' },\n\
                 { file = 'label.txt', role = 'label' }, { file = '../blank.tif', role = 'blank' }]\n[microscopes.40x]\num_per_px = 0.5";
    let sheet = sheet.replace(", slide = 'B'", ", microscope = '40x', slide = 'B'");
    let files = folder(&[("lot/batch.toml", &sheet), ("lot/a.tif", "plain"), ("lot/b.tif", "plain"), ("lot/c.tif", "plain")]);
    fs::write(files.path().join("lot/label.txt"), "label").unwrap();
    fs::write(files.path().join("blank.tif"), content("plain")).unwrap();
    let batch = Batch::open(&files.path().join("lot"), &Options::default()).unwrap();
    assert_eq!(names(&batch), ["b.tif", "a.tif"]);
    assert_eq!((batch.fields[0].slide.as_str(), batch.fields[1].slide.as_str()), ("B", ""));
    assert_eq!((batch.fields[0].place.x_mm, batch.objectives[0].scale.um_per_px), (Some(1.0), 0.5));
    assert_eq!(batch.objectives[0].name.as_deref(), Some("40x"));
    assert_eq!(batch.objectives[0].blank.as_ref().unwrap().name, "../blank.tif");
}

#[test]
fn the_sheet_as_used_gives_the_same_lot() {
    let files = folder(&[(SHEET, "lot = 'L'\n[slide]\nsubstrate = 'glass'"), ("f1.tif", "scaled"), ("f2.tif", "scaled")]);
    let batch = Batch::open(files.path(), &Options::default()).unwrap();
    assert_eq!((batch.objectives[0].scale.um_per_px, batch.objectives[0].scale.source.as_deref()), (0.25, Some("picture file")));
    let used = batch.sheet_as_used().canonical();
    assert!(used.contains("um_per_px = 0.25\nscale_source = \"picture file\"\ntone = \"linear\"\n"), "{used}");
    fs::write(files.path().join(SHEET), &used).unwrap();
    let again = Batch::open(files.path(), &Options::default()).unwrap();
    assert_eq!(again.sheet_as_used().canonical(), used);
    assert_eq!((&again.objectives[0].scale, &again.fields), (&batch.objectives[0].scale, &batch.fields));
}

#[test]
fn recipe_and_limits_beside_above_or_named() {
    let (recipe, limits) = ("name = 'near'", "[[limit]]\nquantity = 'gaps'\nmax = 1");
    let files = folder(&[
        ("up/recipe.toml", "name = 'above'"),
        ("up/limits.toml", limits),
        ("up/lot/batch.toml", "lot = 'L'\n[microscope]\num_per_px = 1"),
        ("up/lot/f.tif", "plain"),
        ("named.toml", "name = 'named'"),
    ]);
    let lot = files.path().join("up/lot");
    let found = |options: &Options| {
        let batch = Batch::open(&lot, options).unwrap();
        (batch.recipe.name, batch.recipe_file.unwrap().parent().unwrap().file_name().unwrap().to_owned(), batch.limits.is_some())
    };
    assert_eq!(found(&Options::default()), ("above".into(), "up".into(), true));
    fs::write(lot.join("recipe.toml"), recipe).unwrap();
    assert_eq!(found(&Options::default()), ("near".into(), "lot".into(), true));
    let named = Options { recipe: Some(files.path().join("named.toml")), ..Options::default() };
    assert_eq!(found(&named).0, "named");
    let none = Options { recipe: Some(files.path().join("none.toml")), ..Options::default() };
    assert!(Batch::open(&lot, &none).unwrap_err().message.contains("the recipe cannot be read"));
    fs::write(lot.join("recipe.toml"), "[light]\nfrom = 'blank'").unwrap();
    let fault = Batch::open(&lot, &Options::default()).unwrap_err();
    assert!(fault.file.unwrap().ends_with("recipe.toml") && fault.message.contains("names none"));
}

#[test]
fn folders_that_cannot_be_used() {
    let sheet = |rest: &str| format!("lot = 'L'\n[microscope]\num_per_px = 0.25\n{rest}");
    let cases: [(&str, Files<'_>, &str); 22] = [
        ("lot = 'L'", &[("f.tif", "plain")], "f.tif:0: the scale is missing: neither sheet nor picture states it"),
        ("lot = 'L'", &[("f.tif", "scaled"), ("g.tif", "plain")], "g.tif:0: the scale is missing"),
        ("lot = 'L'", &[("f.tif", "scaled"), ("g.tif", "other scale")], "g.tif:0: two scales disagree: the picture says 0.2564"),
        (&sheet(""), &[("f.tif", "other scale")], "f.tif:0: two scales disagree"),
        ("lot = 'L'\n[microscope]\num_per_px = 0", &[("f.tif", "scaled")], "batch.toml:3: um_per_px in [microscope] is 0"),
        (&sheet(""), &[("f.png", "png8")], "f.png:0: 8-bit counts can stand for light in two ways"),
        (&sheet("blank = 'b.tif'"), &[("b.tif", "large"), ("f.tif", "plain")], "b.tif:0: the blank is 3 × 2 pixels, the field f.tif 2 × 2"),
        (&sheet("dark = 'b.tif'"), &[("b.tif", "large"), ("f.tif", "plain")], "b.tif:0: the dark picture is 3 × 2"),
        (&sheet(""), &[("g.tif", "large"), ("f.tif", "plain")], "g.tif:0: the field is 3 × 2 pixels, the field f.tif 2 × 2"),
        (&sheet("blank = 'none.tif'"), &[("f.tif", "plain")], "batch.toml:4: the picture none.tif is named in the sheet and is not there"),
        (&sheet("[[picture]]\nfile = 'g.tif'"), &[("f.tif", "plain")], "batch.toml:5: the picture g.tif is named"),
        (
            &sheet("[[picture]]\nfile = 'f.tif'\n[[picture]]\nfile = './f.tif'"),
            &[("f.tif", "plain")],
            "batch.toml:7: two entries name one picture: f.tif and ./f.tif",
        ),
        (
            &sheet("[[picture]]\nfile = 'f.tif'\nmicroscope = '40x'"),
            &[("f.tif", "plain")],
            "batch.toml:5: the picture f.tif names the microscope 40x",
        ),
        (&sheet(""), &[("notes.txt", "text")], "batch.toml:0: the folder holds no picture of a field"),
        (
            &sheet("[[picture]]\nfile = 'f.tif'\nrole = 'label'"),
            &[("f.tif", "plain")],
            "batch.toml:0: no [[picture]] of the sheet is a field",
        ),
        (
            &sheet("blank = 'b.tif'\n[[picture]]\nfile = 'c.tif'\nrole = 'blank'"),
            &[("b.tif", "plain"), ("c.tif", "plain")],
            "batch.toml:0: two pictures are named as blank: b.tif and c.tif",
        ),
        (
            &sheet("blank = 'b.tif'\ndark = 'b.tif'"),
            &[("b.tif", "plain"), ("f.tif", "plain")],
            "batch.toml:0: the picture b.tif is named as blank and as dark",
        ),
        (
            &sheet("dark = 'f.tif'\n[[picture]]\nfile = 'f.tif'"),
            &[("f.tif", "plain")],
            "batch.toml:0: the picture f.tif is named as field and as dark",
        ),
        (&sheet(""), &[("f.tif", "text in a renamed file")], "f.tif:0: the file is neither TIFF, PNG, JPEG nor BMP"),
        (&sheet(""), &[("f.tif", "")], "f.tif:0: the file is empty"),
        (&sheet(""), &[("recipe.toml", "nam = 'x'"), ("f.tif", "plain")], "recipe.toml:1: unknown key nam; the nearest known one is name"),
        (&sheet(""), &[("limits.toml", "[[limit]]"), ("f.tif", "plain")], "limits.toml:1: a [[limit]] names no quantity"),
    ];
    for (sheet, files, expected) in cases {
        let fault = open(&[&[(SHEET, sheet)], files].concat()).unwrap_err();
        let file = fault.file.as_ref().and_then(|file| file.file_name()).unwrap_or_default().display().to_string();
        let found = format!("{file}:{}: {}", fault.line.unwrap_or(0), fault.message);
        assert!(found.starts_with(expected), "{sheet}\n  gave      {found}\n  expected  {expected}");
        assert!(!fault.remedy.is_empty());
    }
}

#[test]
fn a_folder_without_a_sheet_stands_for_those_below() {
    let sheet = |lot: &str| format!("lot = \"{lot}\"\n[microscope]\num_per_px = 1");
    let files = folder(&[
        ("lot10/batch.toml", &sheet("J")),
        ("lot10/f.tif", "plain"),
        ("lot2/batch.toml", &sheet("B")),
        ("lot2/f.tif", "plain"),
        ("lot2/inner/batch.toml", &sheet("no lot of its own")),
        ("deep/er/batch.toml", &sheet("D\u{e9}")),
        ("deep/er/f.tif", "plain"),
        ("lot3/batch.toml", &sheet("De\u{301}")),
        ("lot4/batch.toml", "lot ="),
        ("out/J/r1/bagit.txt", ""),
        ("out/J/r1/data/batch.toml", &sheet("J")),
        ("recipe.toml", ""),
    ]);
    #[cfg(unix)]
    std::os::unix::fs::symlink(files.path(), files.path().join("deep/loop")).unwrap();
    let top = files.path().to_path_buf();
    let opened = open_all(&[top.clone(), top.join("lot2"), top.join("lot99"), top.join("recipe.toml")], &Options::default());
    let found = opened.iter().map(|one| (one.folder.strip_prefix(&top).unwrap().to_str().unwrap(), one.lot.as_deref()));
    let expected = [
        ("deep/er", Some("D\u{e9}")),
        ("lot2", Some("B")),
        ("lot3", Some("De\u{301}")),
        ("lot4", None),
        ("lot10", Some("J")),
        ("lot99", None),
        ("recipe.toml", None),
    ];
    assert_eq!(found.collect::<Vec<_>>(), expected);
    let ok = opened.iter().map(|one| one.batch.is_ok()).collect::<Vec<_>>();
    assert_eq!(ok, [true, true, false, false, true, false, false]);
    let message = |at: usize| opened[at].batch.as_ref().unwrap_err().message.clone();
    assert!(message(2).contains("another lot of this call is also named"), "{}", message(2));
    assert!(message(5).contains("no such folder") && message(6).contains("a file, not a folder"));
}

#[test]
fn folders_without_lots() {
    let cases: [(Files<'_>, &str, &str); 3] = [
        (&[], "the folder is empty", "batch.toml"),
        (&[("f.tif", "plain")], "there is no sheet batch.toml", "write one"),
        (&[("batch.toml.txt", "lot = 'L'")], "there is no sheet batch.toml", "rename batch.toml.txt"),
    ];
    for (files, message, remedy) in cases {
        let files = folder(files);
        let opened = open_all(&[files.path().to_path_buf()], &Options::default());
        let fault = opened[0].batch.as_ref().unwrap_err();
        assert!(fault.message.contains(message) && fault.remedy.contains(remedy), "{fault}");
    }
}

#[test]
fn names_in_natural_order() {
    let sorted = ["", "F1", "f", "f01", "f1", "f1a", "f2", "f2.tif", "f10", "f10a2", "f10a10", "g", "é", "日本2", "日本10"];
    for (i, a) in sorted.iter().enumerate() {
        for (j, b) in sorted.iter().enumerate() {
            assert_eq!(natural_order(a, b), i.cmp(&j), "{a} {b}");
        }
    }
    let huge = "9".repeat(400);
    assert!(natural_order(&huge, &format!("1{huge}")).is_lt());
}
