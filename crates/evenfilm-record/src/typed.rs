//! What a person typed into a form, made into numbers and words.

use crate::toml_file::Span;

/// A number within a range, with a point or a comma for the decimals. The unit may stand behind it.
///
/// # Errors
/// In words: it is no number, can be read in two ways, or lies out of range.
pub(crate) fn number(text: &str, unit: &str, range: Span) -> Result<f64, String> {
    let plain = plain(without_unit(text, unit))?;
    let value: f64 = plain.parse().map_err(|_| "must be a number".to_owned())?;
    if !value.is_finite() {
        return Err("must be a finite number".into());
    }
    if range.holds(value) { Ok(value) } else { Err(format!("must be {range}")) }
}

/// A whole number within a range, both ends in it.
///
/// # Errors
/// As [`number`].
pub(crate) fn whole(text: &str, unit: &str, least: u64, most: u64) -> Result<u64, String> {
    let text = without_unit(text, unit);
    let range = if most >= u64::from(u32::MAX) { format!("of at least {least}") } else { format!("from {least} to {most}") };
    let wrong = || format!("must be a whole number {range}");
    if !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit()) {
        return text.parse().ok().filter(|value| (least..=most).contains(value)).ok_or_else(wrong);
    }
    // Says what is wrong with the number, where it is one with two meanings.
    plain(text)?;
    Err(wrong())
}

/// True or false, as files and people say it.
pub(crate) fn flag(text: &str) -> Result<bool, String> {
    match text.to_lowercase().as_str() {
        "true" | "yes" => Ok(true),
        "false" | "no" => Ok(false),
        _ => Err("must be yes or no".into()),
    }
}

/// One of some words, as the file or as a person says it.
pub(crate) fn word(text: &str, words: &[(&'static str, &'static str)]) -> Result<&'static str, String> {
    let found = words.iter().find(|(word, label)| *word == text || label.to_lowercase() == text.to_lowercase());
    let labels = || words.iter().map(|(_, label)| *label).collect::<Vec<_>>().join(", ");
    found.map(|(word, _)| *word).ok_or_else(|| format!("must be one of: {}", labels()))
}

fn without_unit<'t>(text: &'t str, unit: &str) -> &'t str {
    let text = text.trim();
    if unit.is_empty() { text } else { text.strip_suffix(unit).map_or(text, str::trim_end) }
}

/// The number with a point for the decimals and a plain minus sign.
fn plain(text: &str) -> Result<String, String> {
    let text = text.replace('\u{2212}', "-");
    let count = |c: char| text.matches(c).count();
    if text.contains(|c: char| c.is_whitespace() || c == '\'' || c == '\u{2019}') && text.contains(|c: char| c.is_ascii_digit()) {
        return Err("must be written without anything between its digits".into());
    }
    match (count(','), count('.')) {
        (0, 0 | 1) => Ok(text),
        (1, 0) => {
            let (before, after) = text.split_once(',').unwrap_or_default();
            let digits = before.trim_start_matches(['-', '+']);
            let grouped = (1..=3).contains(&digits.len()) && !digits.starts_with('0');
            if grouped && after.len() == 3 && after.bytes().all(|byte| byte.is_ascii_digit()) {
                return Err(format!("can be read as {before}.{after} and as {before}{after}; write one of the two"));
            }
            Ok(format!("{before}.{after}"))
        }
        _ => Err("can be read in two ways; write it without marks between thousands: 1234.5".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_as_people_type_them() {
        let cases = [
            ("0,25", Ok(0.25)),
            ("0.25 µm", Ok(0.25)),
            (" 0,250µm ", Ok(0.25)),
            ("1,5", Ok(1.5)),
            ("1234,5", Ok(1234.5)),
            ("1.234", Ok(1.234)),
            ("\u{2212}3", Ok(-3.0)),
            ("1e-3", Ok(0.001)),
            ("1,5e2", Ok(150.0)),
            (".5", Ok(0.5)),
            ("1,234", Err("can be read as 1.234 and as 1234")),
            ("-12,345", Err("can be read as -12.345 and as -12345")),
            ("1.234,5", Err("two ways")),
            ("1,234.5", Err("two ways")),
            ("1.234.567", Err("two ways")),
            ("1 234", Err("without anything between its digits")),
            ("1'234", Err("without anything between")),
            ("about 3", Err("without anything between")),
            ("many", Err("must be a number")),
            ("nan", Err("finite")),
            ("-inf", Err("finite")),
            ("1e999", Err("finite")),
            ("µm", Err("must be a number")),
        ];
        for (text, expected) in cases {
            match (number(text, "µm", Span::ANY), expected) {
                (Ok(found), Ok(expected)) => assert_eq!(found.to_bits(), f64::to_bits(expected), "{text}"),
                (Err(found), Err(expected)) => assert!(found.contains(expected), "{text}: {found}"),
                (found, expected) => panic!("{text}: {found:?}, expected {expected:?}"),
            }
        }
        assert_eq!(number("0", "", Span::POSITIVE).unwrap_err(), "must be above 0");
        assert_eq!(number("100,1", "%", Span::PERCENT).unwrap_err(), "must be at least 0 and at most 100");
    }

    #[test]
    fn whole_numbers_flags_and_words() {
        assert_eq!(whole("12", "", 1, u64::MAX), Ok(12));
        assert_eq!(whole("0", "", 1, u64::MAX).unwrap_err(), "must be a whole number of at least 1");
        for text in ["1.5", "-1", "99999999999999999999999", "7", "x", ""] {
            assert_eq!(whole(text, "", 1, 6).unwrap_err(), "must be a whole number from 1 to 6", "{text}");
        }
        assert!(whole("1,000", "", 1, u64::MAX).unwrap_err().contains("1.000 and as 1000"));
        assert_eq!((flag("Yes"), flag("false")), (Ok(true), Ok(false)));
        assert!(flag("maybe").is_err());
        let words = [("by eye", "Chosen by eye"), ("grid", "On a grid")];
        assert_eq!((word("by eye", &words), word("on a GRID", &words)), (Ok("by eye"), Ok("grid")));
        assert_eq!(word("x", &words).unwrap_err(), "must be one of: Chosen by eye, On a grid");
    }
}
