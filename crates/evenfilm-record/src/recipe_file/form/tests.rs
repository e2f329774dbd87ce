//! The recipe's table against its reader and writer.

use std::path::Path;

use toml_edit::Document;

use super::*;
use crate::recipe_file::{canonical, parse, resolved};

/// Values that may be chosen, ends of ranges among them, and some that may not.
fn tried(choice: &Choice) -> Vec<ChoiceValue> {
    let near = |span: Span, slider: Slider| {
        let ends = [span.low(), span.high(), slider.low, slider.high].into_iter().filter(|end| end.is_finite());
        ends.flat_map(|end| [end, end.next_down(), end.next_up(), end - 1.0, end + 1.0]).chain([f64::NAN, 1e300]).map(ChoiceValue::Number)
    };
    let words = |words: Words| words.iter().map(|(word, _)| *word).collect::<Vec<_>>();
    match choice.kind {
        ChoiceKind::Flag => vec![ChoiceValue::Flag(true), ChoiceValue::Flag(false), ChoiceValue::Auto],
        ChoiceKind::Number(span, slider) => near(span, slider).chain([ChoiceValue::Auto]).collect(),
        ChoiceKind::NumberOrAuto(span, slider) => near(span, slider).chain([ChoiceValue::Auto, ChoiceValue::Flag(true)]).collect(),
        ChoiceKind::Whole(least, most, _) => {
            [least, least.saturating_sub(1), least + 1, most, most.saturating_add(1)].into_iter().map(ChoiceValue::Whole).collect()
        }
        ChoiceKind::Words(all) => words(all).into_iter().chain(["powder"]).map(ChoiceValue::Word).collect(),
        ChoiceKind::Kinds(all) => vec![ChoiceValue::Words(words(all)), ChoiceValue::Words(vec![]), ChoiceValue::Words(vec!["powder"])],
    }
}

#[test]
fn every_key_but_the_label_is_a_choice_and_back() {
    let written = canonical(&resolved(&Recipe::default(), true).unwrap());
    let document = Document::parse(written.as_str()).unwrap();
    let keys = document.as_table().iter().filter_map(|(name, item)| Some((name, item.as_table()?)));
    let known: Vec<_> = keys.flat_map(|(name, table)| table.iter().map(move |(key, _)| (name, key))).collect();
    assert_eq!(CHOICES.iter().map(|choice| (choice.section, choice.key)).collect::<Vec<_>>(), known);
    for question in Question::ALL {
        assert!(CHOICES.iter().any(|choice| choice.question == *question) && question.words().ends_with('?'));
    }
    for choice in CHOICES {
        assert!(choice.reason.len() > 40 && choice.reason.ends_with('.') && !choice.label.ends_with(':'), "{}", choice.key);
    }
}

#[test]
fn what_is_set_is_got_and_read_again_and_nothing_else_changes() {
    for choice in CHOICES {
        let mut allowed = 0;
        for value in tried(choice) {
            let mut recipe = Recipe::default();
            if choice.set(&mut recipe, value.clone()).is_err() {
                assert_eq!(recipe, Recipe::default(), "{} {value:?}", choice.key);
                continue;
            }
            allowed += 1;
            assert_eq!(choice.get(&recipe), value, "{}", choice.key);
            let read = parse(&canonical(&recipe), Path::new("recipe.toml")).unwrap_or_else(|fault| panic!("{value:?}: {fault}"));
            assert_eq!(read, recipe, "{} {value:?}", choice.key);
            choice.set(&mut recipe, choice.built_in()).unwrap();
            assert_eq!(recipe, Recipe::default(), "{} {value:?}", choice.key);
        }
        assert!(allowed > 0 && allowed < tried(choice).len(), "{}: some are allowed and some are not", choice.key);
    }
}

#[test]
fn the_reader_refuses_what_cannot_be_set() {
    for choice in CHOICES {
        for value in tried(choice) {
            let text = match &value {
                ChoiceValue::Number(number) => format!("{number:?}").replace("NaN", "nan"),
                ChoiceValue::Whole(whole) => whole.to_string(),
                ChoiceValue::Auto => "\"auto\"".into(),
                ChoiceValue::Flag(flag) => flag.to_string(),
                ChoiceValue::Word("") => continue,
                ChoiceValue::Word(word) => format!("{word:?}"),
                ChoiceValue::Words(words) => format!("{words:?}"),
            };
            let read = parse(&format!("[{}]\n{} = {text}", choice.section, choice.key), Path::new("recipe.toml"));
            let set = choice.set(&mut Recipe::default(), value.clone());
            assert_eq!(read.is_ok(), set.is_ok(), "{} = {text}: {set:?}, {read:?}", choice.key);
        }
    }
}

#[test]
fn sliders_lie_within_what_may_be_typed_and_hold_the_built_in_value() {
    for choice in CHOICES {
        let (slider, built_in) = match (choice.kind, choice.built_in()) {
            (ChoiceKind::Number(span, slider) | ChoiceKind::NumberOrAuto(span, slider), value) => {
                assert!(span.holds(slider.low) && span.holds(slider.high), "{}", choice.key);
                (slider, if let ChoiceValue::Number(number) = value { number } else { slider.low })
            }
            (ChoiceKind::Whole(least, most, slider), ChoiceValue::Whole(value)) => {
                assert!(slider.low >= least as f64 && slider.high <= most as f64, "{}", choice.key);
                (slider, value as f64)
            }
            _ => continue,
        };
        assert!((slider.low..=slider.high).contains(&built_in) && slider.step > 0.0, "{}", choice.key);
    }
}

#[test]
fn what_a_person_types() {
    let check = |section: &str, key: &str, text: &str| choice(section, key).unwrap().check(text);
    assert_eq!(check("particles", "edge", "0,55"), Ok(ChoiceValue::Number(0.55)));
    assert_eq!(check("particles", "edge", "1").unwrap_err(), "must be above 0 and below 1");
    assert_eq!(check("particles", "min_diameter_um", "Auto"), Ok(ChoiceValue::Auto));
    assert_eq!(check("particles", "min_diameter_um", "1,5 µm"), Ok(ChoiceValue::Number(1.5)));
    assert_eq!(check("kinds", "leave_out", "dust, Fibres"), Ok(ChoiceValue::Words(vec!["dust", "fibre"])));
    assert_eq!(check("chance", "placements", "0").unwrap_err(), "must be a whole number from 1 to 100000");
    assert_eq!(check("light", "film", "clear"), Ok(ChoiceValue::Word("clear")));
    assert!(check("particles", "detect", "otsu").is_err(), "not measured by this version");
    let otsu = parse("[particles]\ndetect = \"otsu\"", Path::new("r")).unwrap();
    assert_eq!(choice("particles", "detect").unwrap().get(&otsu), ChoiceValue::Word("auto"));
}
