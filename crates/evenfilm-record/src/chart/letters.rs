//! How much room letters take.

/// Width of a text, points, for its size in points: an upper bound for common faces without serifs (measured against none of them exactly;
/// our own classes, as wide as the widest face in use here). Too much room only adds air.
pub(super) fn width(text: &str, size: f64) -> f64 {
    text.chars().map(of).sum::<f64>() * size
}

/// Width of a letter in sizes.
fn of(letter: char) -> f64 {
    match letter {
        'i' | 'j' | 'l' | 'I' | '.' | ',' | ':' | ';' | '\'' | '|' | ' ' | '·' => 0.33,
        'f' | 't' | 'r' | '(' | ')' | '-' | '/' | '²' | '⁻' => 0.42,
        'm' | 'w' | 'M' | 'W' | '%' | '@' | '→' | '←' | '≤' | '≥' => 0.95,
        'A'..='Z' => 0.74,
        _ => 0.635,
    }
}
