//! Numbers as text.
//!
//! Every measured number is rounded to 9 significant digits where it is written: far below any uncertainty, and enough that a last bit
//! which differs between ways of computing does not show. What is written is the shortest text of that rounded number: a dot for the
//! decimals, no thousands, no trailing zeros, no plus sign, never "-0". Numbers from 1e-7 up to below 1e15 have no exponent, others have
//! one ("2.5e-9"), which every reader of CSV takes. "Not measured" is the empty text.

/// Significant digits of written numbers.
pub const DIGITS: u32 = 9;

/// Powers of ten that a double holds exactly.
const TEN: [f64; 23] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22];

/// A number as text, rounded to [`DIGITS`] significant digits; empty for `None`, infinities and what is no number.
pub fn text(value: Option<f64>) -> String {
    let mut out = Vec::new();
    if let Some(value) = value {
        push(&mut out, value);
    }
    String::from_utf8(out).unwrap_or_default()
}

/// A number rounded as it is written: what a reader of the record gets.
pub fn rounded(value: f64) -> Option<f64> {
    text(Some(value)).parse().ok()
}

/// Appends the text of a number.
pub fn push(out: &mut Vec<u8>, value: f64) {
    if !value.is_finite() {
        return;
    }
    if value == 0.0 {
        out.push(b'0');
        return;
    }
    if value < 0.0 {
        out.push(b'-');
    }
    let size = value.abs();
    if (1e-7..1e15).contains(&size) { push_plain(out, size) } else { push_scientific(out, size) }
}

/// Appends a whole number.
pub fn push_whole(out: &mut Vec<u8>, value: u64) {
    let mut digits = [0; 20];
    out.extend_from_slice(decimal(value, &mut digits));
}

/// The decimal digits of a number, written into the end of `digits`.
fn decimal(mut value: u64, digits: &mut [u8; 20]) -> &[u8] {
    let mut at = digits.len();
    loop {
        at -= 1;
        digits[at] = b'0' + (value % 10) as u8;
        value /= 10;
        if value == 0 {
            return &digits[at..];
        }
    }
}

/// The first nine digits of a number from 1e-7 up to below 1e15 as a whole number, and the power of ten of its first digit.
fn nine_digits(size: f64) -> (u64, i32) {
    let mut power = -7;
    while power < 14 && size >= ten(power + 1) {
        power += 1;
    }
    let shift = 8 - power;
    let scaled = if shift >= 0 { size * TEN[shift.unsigned_abs() as usize] } else { size / TEN[shift.unsigned_abs() as usize] };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1e8 and 1e9, and cut on purpose")]
    let digits = (scaled + 0.5) as u64;
    if digits >= 1_000_000_000 { (digits / 10, power + 1) } else { (digits, power) }
}

fn ten(power: i32) -> f64 {
    let ten = TEN[power.unsigned_abs() as usize];
    if power < 0 { 1.0 / ten } else { ten }
}

fn push_plain(out: &mut Vec<u8>, size: f64) {
    let (digits, power) = nine_digits(size);
    let mut buffer = [0; 20];
    let digits = trim(decimal(digits, &mut buffer));
    let whole = usize::try_from(power + 1).unwrap_or(0);
    if power < 0 {
        out.extend_from_slice(b"0.");
        out.resize(out.len() + (-power - 1).unsigned_abs() as usize, b'0');
        out.extend_from_slice(digits);
    } else if digits.len() <= whole {
        out.extend_from_slice(digits);
        out.resize(out.len() + whole - digits.len(), b'0');
    } else {
        out.extend_from_slice(&digits[..whole]);
        out.push(b'.');
        out.extend_from_slice(&digits[whole..]);
    }
}

fn trim(digits: &[u8]) -> &[u8] {
    let end = digits.iter().rposition(|&d| d != b'0').map_or(1, |last| last + 1);
    &digits[..end]
}

fn push_scientific(out: &mut Vec<u8>, size: f64) {
    let text = format!("{size:.8e}");
    let (digits, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    out.extend_from_slice(digits.trim_end_matches('0').trim_end_matches('.').as_bytes());
    out.push(b'e');
    out.extend_from_slice(exponent.as_bytes());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_and_plain() {
        let cases = [
            (0.0, "0"),
            (-0.0, "0"),
            (1.0, "1"),
            (-1.5, "-1.5"),
            (0.1 + 0.2, "0.3"),
            (100.0, "100"),
            (1e-7, "0.0000001"),
            (1.23e-9, "1.23e-9"),
            (123_456_789.4, "123456789"),
            (1_234_567_894.0, "1234567890"),
            (2.0 / 3.0, "0.666666667"),
            (999_999_999.9, "1000000000"),
            (9.999_999_999e-8, "1e-7"),
            (0.999_999_999_9, "1"),
            (1e15, "1e15"),
            (1e300, "1e300"),
            (5e-324, "4.94065646e-324"),
            (12.5, "12.5"),
        ];
        for (value, expected) in cases {
            assert_eq!(text(Some(value)), expected, "{value:e}");
        }
    }

    #[test]
    fn not_measured_is_empty() {
        for value in [None, Some(f64::NAN), Some(f64::INFINITY), Some(f64::NEG_INFINITY)] {
            assert_eq!(text(value), "");
        }
    }

    #[test]
    fn reads_back_within_half_a_unit_of_the_ninth_digit_and_stays() {
        let mut value = 1.234_567_890_123e-12;
        for i in 0..4000 {
            value *= 1.017;
            let once = rounded(value).unwrap();
            assert!((once / value - 1.0).abs() <= 5.001e-9, "{i}: {value:e} became {once:e}");
            assert_eq!(rounded(once).map(f64::to_bits), Some(once.to_bits()));
            assert_eq!(once.to_bits(), format!("{value:.8e}").parse::<f64>().unwrap().to_bits(), "{value:e}");
        }
    }

    #[test]
    fn whole_numbers() {
        let mut out = Vec::new();
        push_whole(&mut out, 0);
        push_whole(&mut out, u64::MAX);
        assert_eq!(out, b"018446744073709551615");
    }
}
