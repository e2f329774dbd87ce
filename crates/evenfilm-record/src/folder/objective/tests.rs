//! Several objectives in one sheet: which picture belongs to which, and what each must say.

use std::fs;

use crate::folder::tests::{Files, folder, open};
use crate::folder::{Batch, Options, SHEET};
use crate::pictures::FULL_SCALE;
use evenfilm_core::recipe::LightFrom;

/// A sheet of three microscopes; the default one has a scale and a blank.
const HEAD: &str = "lot = 'L'\n[microscope]\num_per_px = 0.5\nblank = 'b.tif'\n[microscopes.40x]\num_per_px = 0.25\n[microscopes.63x]\n\
                    blank = 'b63.tif'\ndark = 'd63.tif'\n";

fn entries(list: &[(&str, &str)]) -> String {
    list.iter().map(|(file, rest)| ["[[picture]]\nfile = '", file, "'\n", rest, "\n"].concat()).collect()
}

fn batch(sheet: &str, files: Files<'_>) -> Batch {
    open(&[&[(SHEET, sheet)], files].concat()).unwrap()
}

#[test]
fn each_has_its_own_in_the_order_of_first_use() {
    let list = [
        ("f1.tif", "microscope = '40x'"),
        ("f2.tif", ""),
        ("f3.tif", "microscope = '40x'"),
        ("c.tif", "role = 'blank'\nmicroscope = '40x'"),
    ];
    let files = [("b.tif", "large"), ("c.tif", "plain"), ("f1.tif", "plain"), ("f2.tif", "large"), ("f3.tif", "plain")];
    let batch = batch(&(HEAD.to_owned() + &entries(&list)), &files);
    let found: Vec<_> = batch
        .objectives
        .iter()
        .map(|o| (o.word(), o.scale.um_per_px, o.fields.clone(), o.blank.as_ref().map(|b| b.name.as_str()), o.dark.is_none()))
        .collect();
    assert_eq!(found, [("40x", 0.25, vec![0, 2], Some("c.tif"), true), ("", 0.5, vec![1], Some("b.tif"), true)]);
    let of = |field| batch.objectives.iter().find(|o| o.fields.contains(&field)).map(crate::folder::Objective::word);
    assert_eq!([of(0), of(1), of(2), of(3)], [Some("40x"), Some(""), Some("40x"), None]);
    assert!(batch.notes().is_empty(), "{:?}", batch.notes());
}

#[test]
fn what_is_said_of_one_comes_before_what_is_said_of_all() {
    let blank_of = |name: &str, list: &[(&str, &str)]| {
        let files = [("b.tif", "plain"), ("b63.tif", "plain"), ("d63.tif", "plain"), ("c.tif", "plain"), ("f1.tif", "plain")];
        let field = format!("microscope = '{name}'");
        let batch = batch(&(HEAD.to_owned() + &entries(&[&[("f1.tif", field.as_str())], list].concat())), &files);
        (batch.objectives[0].blank.as_ref().unwrap().name.clone(), batch.objectives[0].dark.is_some())
    };
    assert_eq!(blank_of("40x", &[]), ("b.tif".into(), false), "that of the default one");
    assert_eq!(blank_of("63x", &[]), ("b63.tif".into(), true));
    assert_eq!(blank_of("63x", &[("b63.tif", "role = 'blank'\nmicroscope = '63x'")]), ("b63.tif".into(), true));
    assert_eq!(blank_of("40x", &[("c.tif", "role = 'blank'\nmicroscope = '40x'")]), ("c.tif".into(), false));
    assert_eq!(blank_of("40x", &[("c.tif", "role = 'blank'\nmicroscope = '63x'")]), ("b.tif".into(), false), "another's");
}

#[test]
fn a_blank_for_several_is_told() {
    let list = [("f1.tif", ""), ("f2.tif", "microscope = '40x'")];
    let files = [("b.tif", "plain"), ("f1.tif", "plain"), ("f2.tif", "plain")];
    let batch = batch(&(HEAD.to_owned() + &entries(&list)), &files);
    let note = "b.tif: serves as the blank of several microscopes; take one with each";
    assert_eq!(batch.notes(), [format!("the default microscope: {note}"), format!("the microscope 40x: {note}")]);
}

#[test]
fn the_recipe_of_the_lot_is_decided_where_all_agree() {
    let sheet = |blank: &str| {
        let list = [("f1.tif", "microscope = 'a'"), ("f2.tif", "microscope = 'b'")];
        format!("lot = 'L'\n[microscopes.a]\num_per_px = 1\n{blank}[microscopes.b]\num_per_px = 2\n{}", entries(&list))
    };
    let files = [("c.tif", "plain"), ("f1.tif", "plain"), ("f2.tif", "plain")];
    let one = batch(&sheet("blank = 'c.tif'\n"), &files);
    assert_eq!(one.recipe.light.from, None);
    assert_eq!(one.objectives.iter().map(|o| o.recipe.light.from).collect::<Vec<_>>(), [Some(LightFrom::Blank), Some(LightFrom::Picture)]);
    assert_eq!(batch(&sheet(""), &files).recipe.light.from, Some(LightFrom::Picture));
    let one_blank = sheet("blank = 'c.tif'\n");
    let asks = [&[(SHEET, one_blank.as_str()), ("recipe.toml", "[light]\nfrom = 'blank'")][..], &files].concat();
    let fault = open(&asks).unwrap_err();
    assert!(fault.message.starts_with("the microscope b: the recipe takes the light from a blank"), "{fault}");
    assert!(fault.file.unwrap().ends_with("recipe.toml"));
}

#[test]
fn the_sheet_as_used_gives_the_same_objectives() {
    let list = [("f1.tif", ""), ("f2.tif", "microscope = '40x'"), ("c.tif", "role = 'blank'\nmicroscope = '40x'")];
    let sheet = "lot = 'L'\n[microscope]\nnumerical_aperture = 0.3\n[microscopes.40x]\num_per_px = 0.125\n".to_owned() + &entries(&list);
    let files = folder(&[(SHEET, &sheet), ("f1.tif", "scaled"), ("f2.tif", "plain"), ("c.tif", "plain")]);
    let batch = Batch::open(files.path(), &Options::default()).unwrap();
    let used = batch.sheet_as_used().canonical();
    fs::write(files.path().join(SHEET), &used).unwrap();
    let again = Batch::open(files.path(), &Options::default()).unwrap();
    assert_eq!(again.sheet_as_used().canonical(), used);
    let known =
        |batch: &Batch| batch.objectives.iter().map(|o| (o.scale.um_per_px, o.tone, o.full_scale, o.blank.clone())).collect::<Vec<_>>();
    assert_eq!(known(&again), known(&batch));
    assert_eq!(batch.objectives[1].full_scale, FULL_SCALE);
    // The scale of one file must not be taken for the source of the other's.
    assert_eq!(again.objectives[1].scale.source.as_deref(), Some("the sheet"));
}

#[test]
fn what_an_objective_lacks_is_named() {
    let sheet = |rest: &str, list: &[(&str, &str)]| format!("lot = 'L'\n{rest}{}", entries(list));
    let two = [("f.tif", "microscope = '10x'"), ("g.tif", "microscope = '40x'")];
    let scaled = "[microscopes.10x]\num_per_px = 1\n[microscopes.40x]\n";
    let plain = [("f.tif", "plain"), ("g.tif", "plain")];
    let cases: [(String, Files<'_>, [&str; 2]); 6] = [
        (
            sheet(scaled, &two),
            &plain,
            ["g.tif:0: the scale of the microscope 40x is missing: neither sheet nor picture", "below [microscopes.40x]"],
        ),
        (
            sheet(scaled, &[("f.tif", "microscope = '10x'"), ("g.tif", "")]),
            &plain,
            ["g.tif:0: the scale of the default microscope is missing", "below [microscope]"],
        ),
        (
            sheet(scaled, &[("f.tif", "microscope = '40'")]),
            &plain,
            [
                "batch.toml:6: the picture f.tif names the microscope 40, which the sheet does not describe; the nearest known one is 40x",
                "[microscopes.",
            ],
        ),
        (
            sheet("[microscope]\num_per_px = 1\n", &[("f.tif", ""), ("g.tif", "role = 'blank'\nmicroscope = '40x'")]),
            &plain,
            [
                "batch.toml:8: the picture g.tif names the microscope 40x, which the sheet does not describe; it describes none by name",
                "[microscopes.",
            ],
        ),
        (
            sheet(scaled, &[("f.tif", "microscope = '10x'"), ("g.tif", "microscope = '10x'")]),
            &[("f.tif", "plain"), ("g.tif", "large")],
            ["g.tif:0: the field is 3 × 2 pixels, the field f.tif 2 × 2", "one camera setting"],
        ),
        (
            sheet("[microscopes.10x]\num_per_px = 1\nblank = 'g.tif'\n", &two[..1])
                + &entries(&[("c.tif", "role = 'blank'\nmicroscope = '10x'")]),
            &[("f.tif", "plain"), ("g.tif", "plain"), ("c.tif", "plain")],
            ["batch.toml:0: two pictures are named as blank: g.tif and c.tif", "one for each microscope"],
        ),
    ];
    for (sheet, files, [expected, remedy]) in cases {
        let fault = open(&[&[(SHEET, sheet.as_str())], files].concat()).unwrap_err();
        let file = fault.file.as_ref().and_then(|file| file.file_name()).unwrap_or_default().display().to_string();
        let found = format!("{file}:{}: {}", fault.line.unwrap_or(0), fault.message);
        assert!(
            found.starts_with(expected) && fault.remedy.contains(remedy),
            "{sheet}\n  gave      {found}\n  {}\n  expected  {expected}",
            fault.remedy
        );
    }
}

#[test]
fn limits_name_microscopes_of_the_sheet() {
    let files = [("b.tif", "plain"), ("f.tif", "plain")];
    let sheet = HEAD.to_owned() + &entries(&[("f.tif", "")]);
    let limits =
        |name: &str| format!("[[limit]]\nquantity = 'gaps'\nmicroscope = '{name}'\nmax = 1\n[[limit]]\nquantity = 'gaps'\nmax = 2");
    let known = open(&[&[(SHEET, sheet.as_str()), ("limits.toml", &limits("40x"))], &files[..]].concat()).unwrap();
    let held = |name| known.limits.as_ref().unwrap().of_microscope(name).map(|limit| limit.max).collect::<Vec<_>>();
    assert_eq!((held(None), held(Some("40x"))), (vec![Some(2.0)], vec![Some(1.0), Some(2.0)]));
    assert_eq!(known.notes(), ["the limit of gaps is for the microscope 40x, which no field was taken with"]);
    let fault = open(&[&[(SHEET, sheet.as_str()), ("limits.toml", &limits("60x"))], &files[..]].concat()).unwrap_err();
    assert!(
        fault.message.contains("the limit of gaps names the microscope 60x") && fault.message.ends_with("the nearest known one is 40x"),
        "{fault}"
    );
    assert!(fault.file.unwrap().ends_with("limits.toml"));
}
