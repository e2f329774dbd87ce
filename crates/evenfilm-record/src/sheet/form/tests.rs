//! The form's table against the reader: neither knows a key or allows a value that the other does not.

use super::*;
use crate::sheet::{About, Microscope, Mixing, Plan, Powder, Sample, Slide};

fn read(text: &str) -> Result<Sheet, Fault> {
    check_text(text, Path::new("lot"))
}

/// A sheet with this entry alone, beside the name of the lot.
fn sheet_of(entry: &Entry, value: NewValue) -> Edited {
    let mut sheet = Edited::of_text("lot = 'L'\n").unwrap();
    entry.set(&mut sheet, Some(value)).unwrap();
    sheet
}

/// Something that may be typed.
fn allowed(entry: &Entry) -> Vec<String> {
    match entry.kind {
        EntryKind::Text => vec!["a text".into()],
        EntryKind::File => vec!["sub/a.tif".into()],
        EntryKind::Number(span) => vec![if span.holds(1.5) { "1,5" } else { "150" }.into()],
        EntryKind::Whole(least) => vec![least.to_string(), u32::MAX.to_string()],
        EntryKind::Date => vec!["2024-02-29".into()],
        EntryKind::Flag => vec!["yes".into(), "no".into()],
        EntryKind::Choice(words) => words.iter().flat_map(|(word, label)| [(*word).to_owned(), (*label).to_owned()]).collect(),
    }
}

#[test]
fn every_key_of_the_reader_is_an_entry_and_back() {
    let mut known: Vec<(&str, &str)> = vec![("", "lot")];
    let of = |section, keys: &'static [&'static str]| keys.iter().map(move |key| (section, *key));
    known.extend(of("", About::KEYS).chain(of("powder", Powder::KEYS)).chain(of("mixing", Mixing::KEYS)));
    known.extend(of("sample", Sample::KEYS).chain(of("slide", Slide::KEYS)));
    known.extend(of("plan", Plan::KEYS).chain(of("microscope", Microscope::KEYS)));
    let entries: Vec<_> = ENTRIES.iter().map(|entry| (entry.section, entry.key)).collect();
    assert_eq!(entries, known, "in the order of the documentation");
    let sections: Vec<&str> = SECTIONS.iter().map(|(section, _)| *section).collect();
    let mut order: Vec<&str> = ENTRIES.iter().map(|entry| entry.section).collect();
    order.dedup();
    assert_eq!(order, sections);
}

#[test]
fn a_sheet_with_every_entry_is_accepted_and_says_what_was_typed() {
    let mut sheet = Edited::new();
    for entry in ENTRIES {
        for text in allowed(entry) {
            let value = check(entry, &text).unwrap_or_else(|wrong| panic!("{} {text}: {wrong}", entry.key)).unwrap();
            entry.set(&mut sheet, Some(value.clone())).unwrap();
            read(sheet.text()).unwrap_or_else(|fault| panic!("{text}: {fault}"));
            // What the form shows is what it takes.
            let shown = &current(sheet.text())[&(entry.section, entry.key)];
            assert_eq!(check(entry, shown), Ok(Some(value)), "{} {text}", entry.key);
        }
    }
    let shown = current(sheet.text());
    assert_eq!(shown.len(), ENTRIES.len());
    assert_eq!((shown[&("powder", "density_g_cm3")].as_str(), shown[&("sample", "reshaken")].as_str()), ("1.5", "false"));
    let said = read(sheet.text()).unwrap();
    assert_eq!((said.mixing.passes, said.microscope.blank.as_deref()), (Some(u32::MAX), Some("sub/a.tif")));
}

#[test]
fn the_form_refuses_what_the_reader_refuses() {
    for entry in ENTRIES {
        let tried: Vec<(String, NewValue)> = match entry.kind {
            EntryKind::Number(span) => {
                let ends = [span.low(), span.high()].into_iter().filter(|end| end.is_finite());
                let near = ends.flat_map(|end| [end, end.next_down(), end.next_up(), end - 1.0, end + 1.0]);
                near.chain([1e300, -1e300]).map(|value| (format!("{value:?}"), value.into())).collect()
            }
            EntryKind::Whole(least) => {
                let near = [i64::from(least), i64::from(least) - 1, i64::from(u32::MAX), i64::from(u32::MAX) + 1];
                near.iter().map(|&value| (value.to_string(), NewValue::One(Written::Whole(value)))).collect()
            }
            EntryKind::Choice(_) => vec![("nothing known".into(), "nothing known".into())],
            EntryKind::Date => vec![("2026-02-30".into(), "2026-02-30".into()), ("4.3.2026".into(), "4.3.2026".into())],
            EntryKind::Flag => vec![("maybe".into(), "maybe".into())],
            EntryKind::Text | EntryKind::File => vec![(" ".into(), " ".into())],
        };
        for (text, value) in tried {
            let by_reader = read(sheet_of(entry, value).text());
            let by_form = check(entry, &text);
            if text.trim().is_empty() {
                // An empty entry leaves the sheet, so that neither an empty text nor an empty name is written.
                assert_eq!(by_form.is_err(), entry.needed, "{}", entry.key);
                continue;
            }
            assert_eq!(by_form.is_ok(), by_reader.is_ok(), "{} {text}: {by_form:?}, {by_reader:?}", entry.key);
        }
    }
}

#[test]
fn what_is_wrong_is_said_in_words() {
    let wrong = |section: &str, key: &str, text: &str| check(entry(section, key).unwrap(), text).unwrap_err();
    assert_eq!(wrong("", "lot", "  "), "must be filled in");
    assert_eq!(wrong("", "lot", "a\tb"), "must be in one line, without tabs");
    assert_eq!(wrong("microscope", "um_per_px", "0"), "must be above 0 and at most 1000");
    assert_eq!(wrong("mixing", "rotor_diameter_mm", "-1"), "must be above 0");
    assert_eq!(wrong("", "sampled_on", "04/03/2026"), "must be written as year, month and day: 2026-03-04");
    assert_eq!(wrong("", "sampled_on", "2026-02-30"), "is no day of the calendar");
    assert_eq!(wrong("microscope", "tone", "gamma"), "must be one of: Linear, sRGB");
    assert_eq!(check(entry("microscope", "um_per_px").unwrap(), "0,25 µm per pixel"), Ok(Some(0.25.into())));
    assert_eq!(check(entry("", "product").unwrap(), " "), Ok(None));
}

#[test]
fn the_form_shows_what_the_file_says() {
    let text = "lot = \"L\\u0041\"\nmicroscope.um_per_px = 0.250\nslide = { substrate = 'glass' }\n[mixing]\nspeed_rpm = 6_000\npasses = 0x10\n\
        setting = ['a']\n[slides.A]\ndried = 'x'\n[microscopes.40x]\num_per_px = 0.1 # sharp\n";
    let shown: Vec<_> = current(text).into_iter().map(|((section, key), said)| format!("{section} {key} {said}")).collect();
    let expected = [" lot LA", "microscope um_per_px 0.250", "mixing passes 16", "mixing speed_rpm 6000", "slide substrate glass"];
    assert_eq!(shown, expected);
    assert_eq!(current_of(text, "slides", "A"), BTreeMap::from([(("slide", "dried"), "x".to_owned())]));
    assert_eq!(current_of(text, "microscopes", "40x"), BTreeMap::from([(("microscope", "um_per_px"), "0.1".to_owned())]));
    assert_eq!(current("lot = 'L"), BTreeMap::new());
}
