//! Files changed key by key: what stays, what is written where, what is refused.
//!
//! The expected texts follow from TOML 1.0 (<https://toml.io/en/v1.0.0>) and from what a person would write; no library states them.

use std::collections::BTreeMap;

use toml_edit::DocumentMut;

use super::*;

fn after(text: &str, section: &[&str], key: &str, value: Option<NewValue>) -> String {
    let mut edited = Edited::of_text(text).unwrap();
    edited.set(section, key, value).unwrap_or_else(|fault| panic!("{text}: {fault}"));
    edited.text().to_owned()
}

/// Everything a file may hold that a careless writer loses.
const NASTY: &str = "# The sheet of lot 7\r\n\
    lot = 'L'   # who named it?\r\n\
    microscope.um_per_px = 0.250 # from the ruling\r\n\
    operator = \"\"\"R4\"\"\"\n\
    microscope . tone = 'linear'\r\n\
    slide = { substrate = 'glass', dried.how = 'air', dried.hours = 24 } # one line\r\n\
    \r\n\
    \x20 [mixing] # as the log says\r\n\
    \x20 speed_rpm = 6_000\r\n\
    \t# between\r\n\
    \x20 time_min=1e1#tight\r\n\
    \r\n\
    [[picture]]\r\n\
    file = 'a.tif'\r\n\
    [slides.A]\r\n\
    substrate = 'quartz'\r\n\
    [[picture]]\r\n\
    file = 'b.tif'\r\n\
    [note]\r\n\
    list = [1, # one\r\n 2,\r\n]\r\n\
    'odd key' = true # kept\r\n\
    last = 1979-05-27";

#[test]
fn a_key_set_to_what_it_is_changes_nothing() {
    let same: [(&[&str], &str, NewValue); 9] = [
        (&[], "lot", "L".into()),
        (&[], "operator", "R4".into()),
        (&["microscope"], "um_per_px", 0.25.into()),
        (&["slide"], "substrate", "glass".into()),
        (&["slide", "dried"], "hours", 24u32.into()),
        (&["mixing"], "speed_rpm", 6000.0.into()),
        (&["mixing"], "time_min", 10.0.into()),
        (&["note"], "odd key", true.into()),
        (&["note"], "last", jiff::civil::date(1979, 5, 27).into()),
    ];
    for (section, key, value) in same {
        assert_eq!(after(NASTY, section, key, Some(value)), NASTY, "{key}");
    }
    assert_eq!(after(NASTY, &["powder"], "grade", None), NASTY, "what is not there cannot be removed");
    assert_eq!(after(NASTY, &["mixing"], "passes", None), NASTY);
}

#[test]
fn a_changed_value_leaves_every_other_byte() {
    let cases: [(&[&str], &str, NewValue, &str, &str); 8] = [
        (&[], "lot", "M".into(), "lot = 'L' ", "lot = \"M\" "),
        (&["microscope"], "um_per_px", 0.5.into(), "0.250 #", "0.5 #"),
        (&["microscope"], "tone", "srgb".into(), ". tone = 'linear'", ". tone = \"srgb\""),
        (&["slide"], "substrate", "steel".into(), "'glass'", "\"steel\""),
        (&["slide", "dried"], "hours", 36u32.into(), "24 }", "36 }"),
        (&["mixing"], "speed_rpm", 6500.0.into(), "6_000", "6500"),
        (&["mixing"], "time_min", 12.0.into(), "1e1#", "12.0#"),
        (&["note"], "list", vec!["a".to_owned(), "b".to_owned()].into(), "[1, # one\r\n 2,\r\n]", "[\"a\", \"b\"]"),
    ];
    for (section, key, value, from, to) in cases {
        assert_eq!(after(NASTY, section, key, Some(value)), NASTY.replacen(from, to, 1), "{key}");
    }
    let mut edited = Edited::of_text(NASTY).unwrap();
    edited.set_in_entry("picture", 1, "file", Some("c.tif".into())).unwrap();
    assert_eq!(edited.text(), NASTY.replace("'b.tif'", "\"c.tif\""));
}

#[test]
fn a_new_key_stands_behind_the_last_of_its_section() {
    let cases: [(&[&str], &str, &str, &str); 7] = [
        (&[], "product", "dried.hours = 24 } # one line\r\n", "product = \"x\"\r\n"),
        (&["microscope"], "check", "tone = 'linear'\r\n", "microscope.check = \"x\"\r\n"),
        (&["slide"], "diluent", "dried.hours = 24", ", diluent = \"x\""),
        (&["slide", "dried"], "where", "dried.hours = 24", ", dried.where = \"x\""),
        (&["mixing"], "setting", "time_min=1e1#tight\r\n", "  setting = \"x\"\r\n"),
        (&["slides", "A"], "dried", "'quartz'\r\n", "dried = \"x\"\r\n"),
        (&["note"], "z z", "last = 1979-05-27", "\r\n\"z z\" = \"x\""),
    ];
    for (section, key, behind, line) in cases {
        assert_eq!(after(NASTY, section, key, Some("x".into())), NASTY.replacen(behind, &format!("{behind}{line}"), 1), "{key}");
    }
}

#[test]
fn a_new_section_stands_behind_the_last_of_its_kind() {
    let behind = |behind: &str, lines: &str| NASTY.replacen(behind, &format!("{behind}{lines}"), 1);
    let made = after(NASTY, &["slides", "B 2"], "dried", Some("x".into()));
    assert_eq!(made, behind("'quartz'\r\n", "\r\n[slides.\"B 2\"]\r\ndried = \"x\"\r\n"));
    let made = after(NASTY, &["powder"], "grade", Some("x".into()));
    assert_eq!(made, format!("{NASTY}\r\n\r\n[powder]\r\ngrade = \"x\"\r\n"));
    let made = after(NASTY, &["slide", "sides"], "up", Some(true.into()));
    assert_eq!(made, behind("dried.hours = 24", ", sides.up = true"));
    let mut edited = Edited::of_text(NASTY).unwrap();
    assert_eq!(edited.entries("picture"), 2);
    edited.set_in_entry("picture", 2, "file", Some("c.tif".into())).unwrap();
    assert_eq!(edited.text(), behind("'b.tif'\r\n", "\r\n[[picture]]\r\nfile = \"c.tif\"\r\n"));
    edited.set_in_entry("picture", 2, "role", Some("blank".into())).unwrap();
    assert!(edited.text().contains("\"c.tif\"\r\nrole = \"blank\"\r\n"));

    assert_eq!(after("", &["powder"], "grade", Some("x".into())), "[powder]\ngrade = \"x\"\n");
    assert_eq!(after("", &[], "lot", Some("x".into())), "lot = \"x\"\n");
    assert_eq!(after("[powder]", &[], "lot", Some("x".into())), "lot = \"x\"\n[powder]");
    assert_eq!(after("[powder]", &["powder"], "grade", Some("x".into())), "[powder]\ngrade = \"x\"");
    assert_eq!(after("slides.A.dried = 'x'", &["slides", "B"], "dried", Some("y".into())), "slides.A.dried = 'x'\nslides.B.dried = \"y\"");
    assert_eq!(after("slide = { # c\n}", &["slide"], "dried", Some("y".into())), "slide = { dried = \"y\" # c\n}");
    assert_eq!(after("slide = {}", &["slide"], "dried", Some("y".into())), "slide = { dried = \"y\" }");
    let mut edited = Edited::of_text("picture = [{ file = 'a' }]").unwrap();
    edited.set_in_entry("picture", 1, "file", Some("b".into())).unwrap();
    assert_eq!(edited.text(), "picture = [{ file = 'a' }, { file = \"b\" }]");
}

#[test]
fn what_is_removed_takes_its_line_and_leaves_its_comment() {
    let cases: [(&[&str], &str, &str, &str); 8] = [
        (&[], "lot", "lot = 'L'   # who", "# who"),
        (&[], "operator", "operator = \"\"\"R4\"\"\"\n", ""),
        (&["microscope"], "tone", "microscope . tone = 'linear'\r\n", ""),
        (&["slide"], "substrate", "substrate = 'glass', ", ""),
        (&["slide", "dried"], "hours", ", dried.hours = 24", ""),
        (&["mixing"], "time_min", "time_min=1e1#tight", "#tight"),
        (&["note"], "list", "list = [1, # one\r\n 2,\r\n]\r\n", ""),
        (&["note"], "last", "last = 1979-05-27", ""),
    ];
    for (section, key, from, to) in cases {
        assert_eq!(after(NASTY, section, key, None), NASTY.replacen(from, to, 1), "{key}");
    }
    assert_eq!(after("a = { b = 1 }", &["a"], "b", None), "a = {}");
}

/// Everything that a text says: the way to each value, and the value.
fn said(text: &str) -> BTreeMap<Vec<String>, String> {
    fn walk(item: &Item, way: &[String], found: &mut BTreeMap<Vec<String>, String>) {
        let below = |name: &str| [way, &[name.to_owned()]].concat();
        match item {
            _ if item.is_table_like() => {
                item.as_table_like().into_iter().flat_map(|table| table.iter()).for_each(|(key, item)| walk(item, &below(key), found));
            }
            Item::ArrayOfTables(tables) => {
                tables.iter().enumerate().for_each(|(i, table)| walk(&Item::Table(table.clone()), &below(&format!("#{i}")), found));
            }
            _ => {
                let value = item.as_value().cloned().unwrap().decorated("", "");
                found.insert(way.to_vec(), value.to_string());
            }
        }
    }
    let mut found = BTreeMap::new();
    walk(text.parse::<DocumentMut>().unwrap().as_item(), &[], &mut found);
    found
}

/// What `toml_edit` reads before and after: one value differs, and no other, for every value of nasty files.
#[test]
fn one_value_changes_and_no_other() {
    let full = include_str!("../sheet/full.toml");
    // Braces over several lines are TOML 1.1, which the reader takes too.
    let braces = "picture = [{ file = 'a', }]\nslide = {\n substrate = 'x', # one, two\n dried.how = 'y', # three, four\n}\nnote = { # c\n a = 1 }\nb.c.d = 1";
    let files = [braces.to_owned(), NASTY.to_owned(), full.to_owned(), full.replace('\n', "\r\n"), full.trim_end().to_owned()];
    for text in files {
        let before = said(&text);
        for way in before.keys() {
            let (key, section) = way.split_last().unwrap();
            let path: Vec<&str> = section.iter().map(String::as_str).collect();
            let edited = |key: &str, value: Option<NewValue>| {
                let mut edited = Edited::of_text(&text).unwrap();
                match path[..] {
                    [name, place] if place.starts_with('#') => edited.set_in_entry(name, place[1..].parse().unwrap(), key, value),
                    _ => edited.set(&path, key, value),
                }
                .unwrap();
                said(edited.text())
            };
            let new = [section, &["new".to_owned()]].concat();
            let mut expected = before.clone();
            expected.insert(way.clone(), "\"changed\"".into());
            assert_eq!(edited(key, Some("changed".into())), expected, "{way:?}");
            expected.remove(way);
            assert_eq!(edited(key, None), expected, "{way:?}");
            let mut expected = before.clone();
            expected.insert(new, "7".into());
            assert_eq!(edited("new", Some(7.0.into())), expected, "{way:?}");
        }
    }
}

#[test]
fn texts_are_written_in_one_line() {
    for text in ["'\"\\", "a\nb", "\u{7f}\u{0}\t", "🧴 µ", ""] {
        let made = after("# c", &[], "a", Some(text.into()));
        assert!(made.lines().count() <= 2, "{made}");
        assert_eq!(after(&made, &[], "a", Some(text.into())), made);
    }
}

#[test]
fn what_is_something_else_is_refused_and_nothing_is_changed() {
    let mut edited = Edited::of_text(NASTY).unwrap();
    let value = || Some(NewValue::from("x"));
    assert!(edited.set(&["lot"], "a", value()).unwrap_err().message.contains("lot is not a section"));
    assert!(edited.set(&[], "mixing", value()).unwrap_err().message.contains("mixing is not a value"));
    assert!(edited.set(&[], "slide", None).unwrap_err().message.contains("slide is not a value"));
    assert!(edited.set(&[], "picture", None).is_err() && edited.set(&["picture"], "file", value()).is_err());
    assert!(edited.set_in_entry("mixing", 0, "file", value()).unwrap_err().message.contains("not a list of sections"));
    assert!(edited.set_in_entry("picture", 3, "file", value()).unwrap_err().message.contains("has 2 entries"));
    assert!(edited.set(&["mixing"], "time_min", Some(f64::NAN.into())).is_err());
    assert_eq!(edited.text(), NASTY);
    assert!(Edited::of_text("lot = 'L").is_err());
}

#[test]
fn files_keep_mark_and_line_ends_and_are_not_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("batch.toml");
    let read = || fs::read(&path).unwrap();
    let marked = format!("{BYTE_ORDER_MARK}{NASTY}");
    fs::write(&path, &marked).unwrap();
    let mut edited = Edited::open(&path, "sheet").unwrap();
    assert!(!edited.is_changed());
    edited.set(&[], "lot", Some("M".into())).unwrap();
    assert!(edited.is_changed());
    edited.save(&path).unwrap();
    assert_eq!(read(), marked.replacen("'L'", "\"M\"", 1).into_bytes());
    edited.set(&[], "lot", Some("N".into())).unwrap();
    edited.save(&path).unwrap();
    assert!(!edited.is_changed());

    let theirs = b"lot = 'theirs'\n";
    fs::write(&path, theirs).unwrap();
    let refused = edited.save(&path).unwrap_err();
    assert!(refused.message.contains("changed by somebody else") && refused.file.as_deref() == Some(path.as_path()), "{refused}");
    assert!(Edited::new().save(&path).unwrap_err().message.contains("there is such a file already"));
    assert_eq!(read(), theirs);
    fs::remove_file(&path).unwrap();
    assert!(edited.save(&path).unwrap_err().message.contains("removed"));
    assert!(!path.exists());
    let mut new = Edited::new();
    new.set(&[], "lot", Some("L".into())).unwrap();
    new.save(&path).unwrap();
    assert_eq!(read(), b"lot = \"L\"\n");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left beside it");
}
