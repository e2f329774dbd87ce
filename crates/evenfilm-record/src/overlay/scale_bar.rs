//! The scale bar: a round length, its number, on a plate that is seen on any picture.

use super::{Canvas, INK, PLATE};

/// Columns and rows of a character.
pub(super) const GLYPH: (usize, usize) = (5, 9);

/// Rows of each character, the leftmost pixel in the highest of five bits; the last two rows hang below the line.
const GLYPHS: [(char, [u8; 9]); 13] = [
    ('0', [0b01110, 0b10001, 0b10011, 0b10101, 0b11001, 0b10001, 0b01110, 0, 0]),
    ('1', [0b00100, 0b01100, 0b00100, 0b00100, 0b00100, 0b00100, 0b01110, 0, 0]),
    ('2', [0b01110, 0b10001, 0b00001, 0b00110, 0b01000, 0b10000, 0b11111, 0, 0]),
    ('3', [0b01110, 0b10001, 0b00001, 0b00110, 0b00001, 0b10001, 0b01110, 0, 0]),
    ('4', [0b00010, 0b00110, 0b01010, 0b10010, 0b11111, 0b00010, 0b00010, 0, 0]),
    ('5', [0b11111, 0b10000, 0b11110, 0b00001, 0b00001, 0b10001, 0b01110, 0, 0]),
    ('6', [0b00110, 0b01000, 0b10000, 0b11110, 0b10001, 0b10001, 0b01110, 0, 0]),
    ('7', [0b11111, 0b00001, 0b00010, 0b00100, 0b01000, 0b01000, 0b01000, 0, 0]),
    ('8', [0b01110, 0b10001, 0b10001, 0b01110, 0b10001, 0b10001, 0b01110, 0, 0]),
    ('9', [0b01110, 0b10001, 0b10001, 0b01111, 0b00001, 0b00010, 0b01100, 0, 0]),
    ('.', [0, 0, 0, 0, 0, 0b01100, 0b01100, 0, 0]),
    ('µ', [0, 0, 0b10010, 0b10010, 0b10010, 0b10010, 0b11101, 0b10000, 0b10000]),
    ('m', [0, 0, 0b11010, 0b10101, 0b10101, 0b10101, 0b10101, 0, 0]),
];

/// Draws the bar into the lower right corner; a picture too small for it stays without.
pub(super) fn draw(canvas: &mut Canvas, um_per_px: f64) {
    let dot = (canvas.width.min(canvas.height) / 360).max(1);
    let Some((label, bar)) = round_length(canvas.width, um_per_px) else { return };
    let text_width = (label.chars().count() * (GLYPH.0 + 1) - 1) * dot;
    let pad = 4 * dot;
    let (width, height) = (bar.max(text_width) + 2 * pad, (GLYPH.1 + 5) * dot + 2 * pad);
    let margin = 8 * dot;
    if width + 2 * margin > canvas.width || height + 2 * margin > canvas.height {
        return;
    }
    let (left, top) = (canvas.width - margin - width, canvas.height - margin - height);
    // A light rim sets the dark plate off from dark pictures.
    fill(canvas, [left - dot, top - dot, width + 2 * dot, height + 2 * dot], INK);
    fill(canvas, [left, top, width, height], PLATE);
    write(canvas, [left + (width - text_width) / 2, top + pad], dot, &label);
    fill(canvas, [left + (width - bar) / 2, top + pad + (GLYPH.1 + 2) * dot, bar, 3 * dot], INK);
}

/// The longest of 1, 2, 5 × 10ⁿ µm that takes at most a fifth of the width: its text, and the pixels it takes.
fn round_length(width: usize, um_per_px: f64) -> Option<(String, usize)> {
    let most = width as f64 * um_per_px / 5.0;
    let mut best = None;
    for (power, exponent) in (-2..=5).map(|e| (libm::pow(10.0, f64::from(e)), e)) {
        for digit in [1.0, 2.0, 5.0] {
            if digit * power <= most {
                best = Some((digit, power, exponent));
            }
        }
    }
    let (digit, power, exponent) = best?;
    let text = match exponent {
        ..0 => format!("{:.*} µm", usize::try_from(-exponent).unwrap_or(0), digit * power),
        0..=2 => format!("{:.0} µm", digit * power),
        _ => format!("{:.0} mm", digit * power / 1000.0),
    };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and the width")]
    Some((text, (digit * power / um_per_px + 0.5) as usize))
}

/// Fills a rectangle: left, top, width, height.
pub(super) fn fill(canvas: &mut Canvas, [left, top, width, height]: [usize; 4], index: u8) {
    for y in top..top + height {
        (left..left + width).for_each(|x| canvas.set(x, y, index));
    }
}

/// Writes a text from its upper left corner, each dot a square of `dot` pixels.
pub(super) fn write(canvas: &mut Canvas, [left, top]: [usize; 2], dot: usize, text: &str) {
    for (place, c) in text.chars().enumerate() {
        let Some((_, rows)) = GLYPHS.iter().find(|(glyph, _)| *glyph == c) else { continue };
        for (y, row) in rows.iter().enumerate() {
            for x in (0..GLYPH.0).filter(|x| row >> (GLYPH.0 - 1 - x) & 1 == 1) {
                fill(canvas, [left + (place * (GLYPH.0 + 1) + x) * dot, top + y * dot, dot, dot], INK);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_round_and_true() {
        let cases = [
            (960, 0.25, "20 µm", 80),
            (4000, 0.25, "200 µm", 800),
            (4096, 4.0, "2 mm", 500),
            (500, 0.004, "0.2 µm", 50),
            (1000, 0.5, "100 µm", 200),
            (999, 0.5, "50 µm", 100),
            (640, 0.1, "10 µm", 100),
        ];
        for (width, um_per_px, text, px) in cases {
            assert_eq!(round_length(width, um_per_px), Some((text.into(), px)));
        }
        assert_eq!(round_length(1, 0.001), None);
    }

    #[test]
    fn every_character_of_a_length_can_be_drawn() {
        for c in "0123456789.µm".chars() {
            assert!(GLYPHS.iter().any(|(glyph, _)| *glyph == c), "{c}");
        }
    }

    #[test]
    fn small_pictures_stay_as_they_are() {
        for width in 1..30 {
            let mut canvas = Canvas { width, height: 20, indices: vec![9; width * 20] };
            draw(&mut canvas, 0.25);
            assert!(canvas.indices.iter().all(|&i| i == 9));
        }
    }
}
