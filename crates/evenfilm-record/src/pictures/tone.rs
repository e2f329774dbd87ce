//! Counts to linear counts: tone, then the plane of a colour picture.

use std::sync::OnceLock;

use evenfilm_core::recipe::Channel;

use super::Counts;
use crate::sheet::Tone;

/// The table of 16-bit display counts, which takes longer to make than to use.
static WIDE: OnceLock<Vec<u16>> = OnceLock::new();

/// Linear 16-bit counts of one plane. `channels` is the number of samples of a pixel; opacity is left aside.
pub(super) fn linear(counts: Counts, channels: u8, tone: Tone, channel: Channel) -> Vec<u16> {
    match (counts, tone) {
        (Counts::Sixteen(samples), Tone::Linear) if channels == 1 => samples,
        (Counts::Sixteen(samples), Tone::Linear) => plane(&samples, channels, channel, |count| count),
        (Counts::Sixteen(samples), Tone::Srgb) => {
            let table = WIDE.get_or_init(|| (0..=u16::MAX).map(|code| srgb_count(code, u16::MAX)).collect());
            plane(&samples, channels, channel, |count| table[usize::from(count)])
        }
        (Counts::Eight(samples), Tone::Linear) => plane(&samples, channels, channel, |count: u8| u16::from(count) * 257),
        (Counts::Eight(samples), Tone::Srgb) => {
            let table = narrow_table();
            plane(&samples, channels, channel, |count| table[usize::from(count)])
        }
    }
}

/// The table of 8-bit display counts. Its length is part of its type, which spares a check at every pixel.
fn narrow_table() -> [u16; 256] {
    let mut table = [0; 256];
    for (code, count) in (0..).zip(&mut table) {
        *count = srgb_count(code, 255);
    }
    table
}

fn plane<T: Copy>(samples: &[T], channels: u8, channel: Channel, linear: impl Fn(T) -> u16) -> Vec<u16> {
    match channels {
        1 => samples.iter().map(|&sample| linear(sample)).collect(),
        2 => samples.as_chunks().0.iter().map(|&[grey, _]| linear(grey)).collect(),
        3 => of_colours(samples.as_chunks().0, |&[red, green, blue]| [red, green, blue], channel, linear),
        _ => of_colours(samples.as_chunks().0, |&[red, green, blue, _]| [red, green, blue], channel, linear),
    }
}

fn of_colours<T: Copy, P>(pixels: &[P], colours: impl Fn(&P) -> [T; 3], channel: Channel, linear: impl Fn(T) -> u16) -> Vec<u16> {
    let one = |place: usize| pixels.iter().map(|pixel| linear(colours(pixel)[place])).collect();
    match channel {
        Channel::Red => one(0),
        Channel::Green => one(1),
        Channel::Blue => one(2),
        Channel::Luminance => pixels.iter().map(|pixel| luminance(colours(pixel).map(&linear))).collect(),
    }
}

/// Weighted sum of linear primaries, rounded: 0.2126, 0.7152 and 0.0722 (Rec. ITU-R BT.709-6, item 3.2) as shares of 2¹⁶, which they fill.
fn luminance([red, green, blue]: [u16; 3]) -> u16 {
    let sum = 13_933 * u32::from(red) + 46_871 * u32::from(green) + 4_732 * u32::from(blue) + (1 << 15);
    let [_, _, low, high] = sum.to_le_bytes();
    u16::from_le_bytes([low, high])
}

/// Linear count, full scale 65535, of a display count of this full scale.
fn srgb_count(code: u16, full_scale: u16) -> u16 {
    let light = srgb_to_linear(f64::from(code) / f64::from(full_scale));
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "light lies within 0 and 1")]
    let count = (light * 65535.0 + 0.5) as u16;
    count
}

/// Light for a display value, both relative to white (IEC 61966-2-1:1999, 5.2).
fn srgb_to_linear(value: f64) -> f64 {
    if value <= 0.04045 { value / 12.92 } else { libm::pow((value + 0.055) / 1.055, 2.4) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Linear values of 8-bit codes by the formula of IEC 61966-2-1, from memory.
    const LIGHT_OF_CODE: [(u16, f64); 6] = [(0, 0.0), (10, 0.003_035_3), (64, 0.051_269), (128, 0.215_861), (188, 0.502_886), (255, 1.0)];

    #[test]
    fn srgb_codes() {
        for (code, light) in LIGHT_OF_CODE {
            for found in [narrow_table()[usize::from(code)], srgb_count(code * 257, u16::MAX)] {
                let found = f64::from(found) / 65535.0;
                assert!((found - light).abs() < 1e-5, "code {code}: {found}, expected {light}");
            }
        }
        assert!(narrow_table().is_sorted());
    }

    #[test]
    fn planes_of_a_colour_picture() {
        let pixel = || Counts::Sixteen(vec![60_000, 30_000, 10_000]);
        let cases = [(Channel::Red, 60_000), (Channel::Green, 30_000), (Channel::Blue, 10_000), (Channel::Luminance, 34_934)];
        for (channel, expected) in cases {
            assert_eq!(linear(pixel(), 3, Tone::Linear, channel), [expected]);
        }
        assert_eq!(linear(Counts::Eight(vec![255; 4]), 4, Tone::Srgb, Channel::Luminance), [65535]);
        assert_eq!(linear(Counts::Eight(vec![7, 255, 9, 0]), 2, Tone::Linear, Channel::Blue), [7 * 257, 9 * 257]);
    }
}
