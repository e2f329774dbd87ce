//! Numbers as people read them: no more digits than they can bear.

use crate::lot::Value;

/// A value with its interval and unit: "2.34 ± 0.12 µm", or for rare events and tails "0.12 % (0.05 … 0.31)". The half width is the expanded
/// uncertainty. It has two significant digits and the value as many decimals, but the
/// value no fewer than two significant digits, beside however wide an interval, and no more than four, beside a narrow one that rests on a
/// few fields that happen to agree; the half width is then one of the last digit shown. Without an interval the value has three significant
/// digits. A half width of nothing is not shown, since no measurement has one.
pub fn words(value: &Value) -> String {
    let unit = if value.unit.is_empty() { String::new() } else { format!(" {}", value.unit) };
    if let (Some(v), [Some(low), Some(high)]) = (value.value, value.ends95) {
        return format!("{}{unit} ({} … {})", three_digits(v), three_digits(low), three_digits(high));
    }
    match (value.value, value.u95) {
        (None, _) => "not measured".into(),
        (Some(v), Some(ci)) if ci > 0.0 => {
            let decimals = if v == 0.0 { decimals(ci, 2) } else { decimals(ci, 2).clamp(decimals(v, 2), decimals(v, 4)) };
            let last = (0..decimals).fold(1.0, |unit, _| unit / 10.0);
            format!("{v:.decimals$} ± {:.decimals$}{unit}", ci.max(last))
        }
        (Some(v), _) => format!("{}{unit}", three_digits(v)),
    }
}

/// A value with the half width of its interval, both to two significant digits of the half width.
pub fn with_half_width(v: f64, half: f64) -> String {
    let decimals = if half > 0.0 { decimals(half, 2) } else { decimals(v, 6) };
    format!("{v:.decimals$} ± {half:.decimals$}")
}

/// A number with three significant digits; whole ones stay whole.
pub fn three_digits(v: f64) -> String {
    if v.fract() == 0.0 { format!("{v}") } else { format!("{v:.*}", decimals(v, 3)) }
}

/// The same without zeros at the end: for settings such as the smallest size counted.
pub fn short(v: f64) -> String {
    let text = three_digits(v);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// Decimals that show `digits` significant digits of a number.
fn decimals(of: f64, digits: i32) -> usize {
    let scientific = format!("{:.*e}", usize::try_from(digits - 1).unwrap_or(0), of);
    let power: i32 = scientific.split_once('e').and_then(|(_, power)| power.parse().ok()).unwrap_or(0);
    usize::try_from(digits - 1 - power).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lot::Interval;

    fn value(value: Option<f64>, u95: Option<f64>) -> Value {
        Value { id: "x", unit: "µm", value, ci95: None, u95, ends95: [None; 2], interval: Interval::BetweenFields }
    }

    #[test]
    fn digits_follow_the_interval() {
        let cases = [
            (Some(2.345_67), Some(0.123), "2.35 ± 0.12 µm"),
            (Some(2.345_67), Some(0.0996), "2.35 ± 0.10 µm"),
            (Some(1234.5), Some(56.7), "1234 ± 57 µm"),
            (Some(1234.5), Some(567.8), "1234 ± 568 µm"),
            (Some(0.001_234), Some(0.000_05), "0.001234 ± 0.000050 µm"),
            (Some(5.32), Some(27.9), "5.3 ± 27.9 µm"),
            (Some(0.351_25), Some(0.000_047), "0.3513 ± 0.0001 µm"),
            (Some(0.351_25), Some(0.000_47), "0.3513 ± 0.0005 µm"),
            (Some(0.0), Some(12.34), "0 ± 12 µm"),
            (Some(2.345_67), None, "2.35 µm"),
            (Some(0.0), Some(0.0), "0 µm"),
            (Some(23.0), None, "23 µm"),
            (None, None, "not measured"),
        ];
        for (v, ci, expected) in cases {
            assert_eq!(words(&value(v, ci)), expected);
        }
        let ends = Value { ends95: [Some(0.0123), Some(0.3456)], ..value(Some(0.1), None) };
        assert_eq!(words(&ends), "0.100 µm (0.0123 … 0.346)");
        let spread = Value { ci95: Some(0.3), ..value(Some(1.25), None) };
        assert_eq!(words(&spread), "1.25 µm", "the spread alone is not all that is known");
        assert_eq!([1.5, 0.333_333, 12.0, 100.0].map(short), ["1.5", "0.333", "12", "100"]);
    }
}
