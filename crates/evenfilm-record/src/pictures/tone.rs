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
            let table = WIDE.get_or_init(|| srgb_table(u16::MAX));
            plane(&samples, channels, channel, |count| table[usize::from(count)])
        }
        (Counts::Eight(samples), Tone::Linear) => plane(&samples, channels, channel, |count: u8| u16::from(count) * 257),
        (Counts::Eight(samples), Tone::Srgb) => {
            let table = srgb_table(255);
            plane(&samples, channels, channel, |count| table[usize::from(count)])
        }
    }
}

fn plane<T: Copy>(samples: &[T], channels: u8, channel: Channel, linear: impl Fn(T) -> u16) -> Vec<u16> {
    if channels == 1 {
        return samples.iter().map(|&sample| linear(sample)).collect();
    }
    let pixels = samples.chunks_exact(usize::from(channels));
    match (channels, channel) {
        (2, _) | (_, Channel::Red) => pixels.map(|pixel| linear(pixel[0])).collect(),
        (_, Channel::Green) => pixels.map(|pixel| linear(pixel[1])).collect(),
        (_, Channel::Blue) => pixels.map(|pixel| linear(pixel[2])).collect(),
        (_, Channel::Luminance) => pixels.map(|pixel| luminance([pixel[0], pixel[1], pixel[2]].map(&linear))).collect(),
    }
}

/// Weighted sum of linear primaries, rounded: 0.2126, 0.7152 and 0.0722 (Rec. ITU-R BT.709-6, item 3.2).
fn luminance([red, green, blue]: [u16; 3]) -> u16 {
    let sum = 2126 * u32::from(red) + 7152 * u32::from(green) + 722 * u32::from(blue);
    u16::try_from((sum + 5000) / 10_000).unwrap_or(u16::MAX)
}

/// Linear counts, full scale 65535, of every display count from 0 to `full_scale`.
fn srgb_table(full_scale: u16) -> Vec<u16> {
    let full = f64::from(full_scale);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the share lies within 0 and 1")]
    let count = |code: u16| (srgb_to_linear(f64::from(code) / full) * 65535.0 + 0.5) as u16;
    (0..=full_scale).map(count).collect()
}

/// Light for a display value, both relative to white (IEC 61966-2-1:1999, 5.2).
fn srgb_to_linear(value: f64) -> f64 {
    if value <= 0.04045 { value / 12.92 } else { libm::pow((value + 0.055) / 1.055, 2.4) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Linear values of 8-bit codes by the formula of IEC 61966-2-1, from memory.
    const LIGHT_OF_CODE: [(usize, f64); 6] = [(0, 0.0), (10, 0.003_035_3), (64, 0.051_269), (128, 0.215_861), (188, 0.502_886), (255, 1.0)];

    #[test]
    fn srgb_codes() {
        for (table, step) in [(srgb_table(255), 1), (srgb_table(u16::MAX), 257)] {
            for (code, light) in LIGHT_OF_CODE {
                let found = f64::from(table[code * step]) / 65535.0;
                assert!((found - light).abs() < 1e-5, "code {code}: {found}, expected {light}");
            }
            assert!(table.is_sorted());
        }
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
