//! Sheets read, written and refused.

use super::*;

/// Every key of the documentation, in canonical form.
const FULL: &str = include_str!("full.toml");

fn parse(text: &str) -> Result<Sheet, Fault> {
    Sheet::parse(text, Path::new("batch.toml"))
}

#[test]
fn every_key_is_read_and_written() {
    let sheet = parse(FULL).unwrap();
    assert_eq!(sheet.canonical(), FULL);
    assert_eq!(sheet.slide("A").substrate.as_deref(), Some("glass"));
    assert_eq!(sheet.slide("A").wet_thickness_um, Some(30.0));
    assert_eq!(sheet.slide("B").wet_thickness_um, Some(27.0));
    assert_eq!(sheet.microscope(Some("40x")).um_per_px, Some(0.1));
    assert_eq!(sheet.about.sampled_on, Some(jiff::civil::date(2026, 3, 4)));
}

#[test]
fn what_the_program_assumes_is_written_out_and_no_more() {
    let expected = "lot = \"L\"\npurpose = \"lot\"\n\n[microscope]\nmode = \"transmitted\"\n";
    assert_eq!(parse("lot = 'L'").unwrap().canonical(), expected);
    let picture = parse("lot = 'L'\npicture = [{ file = 'a.tif' }]").unwrap().canonical();
    assert_eq!(picture, format!("{expected}\n[[picture]]\nfile = \"a.tif\"\nrole = \"field\"\n"));
}

#[test]
fn dates_are_dates_or_texts() {
    for day in ["2026-03-04", "\"2026-03-04\""] {
        let sheet = parse(&format!("lot = 'L'\nsampled_on = {day}")).unwrap();
        assert_eq!(sheet.about.sampled_on, Some(jiff::civil::date(2026, 3, 4)));
    }
}

#[test]
fn notes_keep_what_the_lab_wants() {
    let text = "lot = 'L'\n[note]\ndilution = '1:1'\n\"µ, two words\" = 3\nz = 1.5\nok = true\nday = 2026-01-02\nlines = \"a\\nb\"";
    let sheet = parse(text).unwrap();
    assert_eq!(sheet.notes[1], ("µ, two words".into(), Entry::Whole(3)));
    assert_eq!(parse(&sheet.canonical()).unwrap(), sheet);
    assert_eq!(sheet.notes[2].1.plain(), "1.5");
    assert_eq!(sheet.notes[5].1.plain(), "a\nb");
}

#[test]
fn names_of_lots() {
    let long = "x".repeat(300);
    for lot in ["a/b", "..", "C:", "=1+1", &long, "CON", "Ωμέγα", "🧴", "'\"\\"] {
        let written = Entry::from(lot).to_string();
        let sheet = parse(&format!("lot = {written}")).unwrap();
        assert_eq!(sheet.lot, lot);
        assert_eq!(parse(&sheet.canonical()).unwrap().lot, lot);
    }
}

#[test]
fn bad_sheets() {
    let cases = [
        ("product = 'P'", "1: the sheet does not name the lot"),
        ("lot = ''", "1: the name of the lot is empty"),
        ("\nlot = \"a\\tb\"", "2: the name of the lot holds a control character"),
        ("lot = 3", "1: lot is of type integer; wanted is a text in quotes"),
        ("lots = 'L'", "1: unknown key lots; the nearest known one is lot"),
        ("lot = 'L'\nlot = 'M'", "2: the file is not valid TOML: duplicate key"),
        ("lot = 'L'\n[powder]\n[powder]", "3: the file is not valid TOML"),
        ("lot = 'L'\n\n[mixing]\nspeed_rmp = 6000", "4: unknown key speed_rmp in [mixing]; the nearest known one is speed_rpm"),
        ("lot = 'L'\n[mixng]", "2: unknown key mixng; the nearest known one is mixing"),
        ("lot = 'L", "1: the file is not valid TOML"),
        ("lot = 'L'\n[mixing]\ntime_min = 1,5", "3: the file is not valid TOML"),
        ("lot = 'L'\n[microscope]\num_per_px = -0.25", "3: um_per_px in [microscope] is -0.25; it must be above 0 and at most 1000"),
        ("lot = 'L'\n[microscope]\num_per_px = 0", "3: um_per_px in [microscope] is 0; it must be above 0"),
        ("lot = 'L'\n[microscope]\num_per_px = \"0.25\"", "3: um_per_px in [microscope] is of type string; wanted is a number"),
        ("lot = 'L'\n[microscopes.40x]\num_per_px = -1", "3: um_per_px in [microscopes.40x] is -1"),
        ("lot = 'L'\n[slide]\nnonvolatile_pct = 140", "3: nonvolatile_pct in [slide] is 140; it must be at least 0 and at most 100"),
        ("lot = 'L'\n[slides.A]\npowder_pct = 1", "3: unknown key powder_pct in [slides.A]; the nearest known one is powder_pct_w_w"),
        ("lot = 'L'\n[slides]\nA = 1", "3: A in [slides] is of type integer; wanted is a section headed [slides.A]"),
        ("lot = 'L'\n[sample]\nstored_at_c = -300", "3: stored_at_c in [sample] is -300; it must be at least -273.15 and at most 1000"),
        ("lot = 'L'\n[mixing]\npasses = -1", "3: passes in [mixing] is -1; it must be a whole number from 0"),
        ("lot = 'L'\n[mixing]\ndevice = 'rotorstator'", "3: device in [mixing] is \"rotorstator\"; known are \"rotor_stator\""),
        ("lot = 'L'\nsampled_on = 2026-03-04T10:00:00", "2: sampled_on is 2026-03-04T10:00:00; wanted is a date such as"),
        ("lot = 'L'\nsampled_on = '4.3.2026'", "2: sampled_on is \"4.3.2026\"; wanted is a date such as 2026-03-04"),
        ("lot = 'L'\nsampled_on = 2026-02-30", "2: "),
        ("lot = 'L'\nsampled_on = 20260304", "2: sampled_on is of type integer; wanted is a date such as 2026-03-04"),
        ("lot = 'L'\n[[picture]]\nrole = 'field'", "2: a [[picture]] has no file"),
        ("lot = 'L'\n[[picture]]\nfile = 'a.tif'\nrole = 'feild'", "4: role in [[picture]] is \"feild\"; known are \"field\""),
        ("lot = 'L'\n[note]\nlist = [1]", "3: list in [note] is of type array; wanted is a text, a number, true or false, or a date"),
        ("lot = 'L'\n[plan]\nslides = 0", "3: slides in [plan] is 0; it must be a whole number from 1"),
    ];
    for (text, expected) in cases {
        let fault = parse(text).unwrap_err();
        let found = format!("{}: {}", fault.line.unwrap_or(0), fault.message);
        assert!(found.starts_with(expected), "{text}\n  gave      {found}\n  expected  {expected}");
        assert!(!fault.remedy.is_empty() && fault.file.is_some(), "{text}");
    }
}

#[test]
fn bad_files() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("batch.toml");
    let large = vec![b'#'; (1 << 20) + 1];
    let cases: [(&[u8], &str); 4] = [
        (b"\xEF\xBB\xBFlot = 'L'\nproduct = 1", "2: product is of type integer"),
        (b"lot = 'L'\nproduct = 'caf\xE9'", "2: the sheet is not UTF-8 text"),
        (&large, "0: the sheet is larger than 1 MiB"),
        (b"lot = 'L'\n\0", "2: the file is not valid TOML"),
    ];
    for (bytes, expected) in cases {
        std::fs::write(&path, bytes).unwrap();
        let fault = Sheet::read(&path).unwrap_err();
        let found = format!("{}: {}", fault.line.unwrap_or(0), fault.message);
        assert!(found.starts_with(expected), "{found}, expected {expected}");
        assert_eq!(fault.file.as_deref(), Some(path.as_path()));
    }
    assert!(Sheet::read(folder.path()).unwrap_err().message.contains("not a file"));
    assert!(Sheet::read(&folder.path().join("none.toml")).unwrap_err().message.contains("cannot be read"));
}

#[test]
fn no_text_makes_it_panic() {
    let deep = 1 << 18;
    for text in [format!("a = {}", "[".repeat(deep)), format!("lot = 'L'\n{}a = 1", "a.".repeat(deep)), format!("[{}a]", "a.".repeat(deep))]
    {
        assert!(parse(&text).is_err());
    }
    for cut in (0..FULL.len()).filter(|&cut| FULL.is_char_boundary(cut)) {
        let _ = parse(&FULL[..cut]);
        let _ = parse(&FULL[cut..]);
    }
}
