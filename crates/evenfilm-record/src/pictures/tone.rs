//! Samples to linear counts: tone, then the plane of a colour picture.

use std::cell::Cell;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};

use evenfilm_core::recipe::Channel;

use super::{FloatRange, Reading};
use crate::fault::Fault;
use crate::sheet::Tone;

/// The table of 16-bit display counts, which takes longer to make than to use.
static WIDE: OnceLock<Vec<u16>> = OnceLock::new();

/// How one sample is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Depth {
    /// A whole number of 8 bits.
    Eight,
    /// A whole number of 16 bits.
    Sixteen { big_endian: bool },
    /// IEEE 754 with 32 bits.
    Single { big_endian: bool },
    /// IEEE 754 with 64 bits.
    Double { big_endian: bool },
}

impl Depth {
    /// Bits of a sample.
    pub(super) const fn bits(self) -> u8 {
        match self {
            Self::Eight => 8,
            Self::Sixteen { .. } => 16,
            Self::Single { .. } => 32,
            Self::Double { .. } => 64,
        }
    }
}

/// How samples of a pixel lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Layout {
    /// How a sample is stored.
    pub(super) depth: Depth,
    /// Samples of a pixel, opacity and others included.
    pub(super) samples: usize,
    /// Whether the first three are red, green and blue; else the first is grey.
    pub(super) colours: bool,
    /// Whether 0 is white.
    pub(super) white_is_zero: bool,
}

/// Rows of samples to rows of linear counts.
pub(super) struct Linear {
    layout: Layout,
    tone: Tone,
    channel: Channel,
    /// 65535 over the value of a float picture that stands for full scale.
    float_gain: f64,
    narrow: [u16; 256],
    /// The bits of the largest finite value so far; those of floats from 0 on sort like their values.
    largest: AtomicU64,
    not_numbers: AtomicU64,
}

impl Linear {
    /// # Errors
    /// 8 bits, and nobody says what they stand for.
    pub(super) fn new(layout: Layout, reading: &Reading<'_>) -> Result<Self, Fault> {
        let tone = super::tone_of(layout.depth.bits(), reading.tone)?;
        let mut narrow = [0; 256];
        for (code, count) in (0_u8..=255).zip(&mut narrow) {
            let code = if layout.white_is_zero { 255 - code } else { code };
            *count = match tone {
                Tone::Linear => u16::from(code) * 257,
                Tone::Srgb => srgb_count(u16::from(code), 255),
            };
        }
        let float_gain = 65535.0 / reading.float_full_scale;
        Ok(Self { layout, tone, channel: reading.channel, float_gain, narrow, largest: AtomicU64::new(0), not_numbers: AtomicU64::new(0) })
    }

    /// Whether counts are the samples themselves, but for the order of their bytes.
    pub(super) fn is_straight(&self) -> bool {
        let layout = self.layout;
        matches!(layout.depth, Depth::Sixteen { .. }) && layout.samples == 1 && !layout.white_is_zero && self.tone == Tone::Linear
    }

    /// What the values of floats were so far.
    pub(super) fn seen(&self) -> FloatRange {
        let largest = f64::from_bits(self.largest.load(Ordering::Relaxed));
        FloatRange { largest, not_numbers: self.not_numbers.load(Ordering::Relaxed) }
    }

    /// Linear counts of as many pixels as `out` has.
    pub(super) fn row(&self, bytes: &[u8], out: &mut [u16]) {
        let white = self.layout.white_is_zero;
        let flip = if white { u16::MAX } else { 0 };
        match (self.layout.depth, self.tone) {
            (Depth::Eight, _) => self.plane(bytes, out, |[code]: [u8; 1]| self.narrow[usize::from(code)]),
            (Depth::Sixteen { big_endian: false }, Tone::Linear) => self.plane(bytes, out, |pair| u16::from_le_bytes(pair) ^ flip),
            (Depth::Sixteen { big_endian: true }, Tone::Linear) => self.plane(bytes, out, |pair| u16::from_be_bytes(pair) ^ flip),
            (Depth::Sixteen { big_endian }, Tone::Srgb) => {
                let table = WIDE.get_or_init(|| (0..=u16::MAX).map(|code| srgb_count(code, u16::MAX)).collect());
                let code = |pair| if big_endian { u16::from_be_bytes(pair) } else { u16::from_le_bytes(pair) };
                self.plane(bytes, out, |pair| table[usize::from(code(pair) ^ flip)]);
            }
            (Depth::Single { big_endian }, _) => {
                self.floats(bytes, out, |four| f64::from(if big_endian { f32::from_be_bytes(four) } else { f32::from_le_bytes(four) }));
            }
            (Depth::Double { big_endian }, _) => {
                self.floats(bytes, out, |eight| if big_endian { f64::from_be_bytes(eight) } else { f64::from_le_bytes(eight) });
            }
        }
    }

    /// What is no number is black, and counted.
    fn floats<const B: usize>(&self, bytes: &[u8], out: &mut [u16], value: impl Fn([u8; B]) -> f64) {
        let (largest, not_numbers) = (Cell::new(0.0_f64), Cell::new(0));
        self.plane(bytes, out, |sample| {
            let value = value(sample);
            if !value.is_finite() {
                not_numbers.set(not_numbers.get() + 1);
                return 0;
            }
            largest.set(largest.get().max(value));
            let light = value * self.float_gain;
            let light = if self.layout.white_is_zero { 65535.0 - light } else { light };
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates, which is what is asked for")]
            let count = (light + 0.5) as u16;
            count
        });
        self.largest.fetch_max(largest.get().to_bits(), Ordering::Relaxed);
        self.not_numbers.fetch_add(not_numbers.get(), Ordering::Relaxed);
    }

    fn plane<const B: usize>(&self, bytes: &[u8], out: &mut [u16], linear: impl Fn([u8; B]) -> u16) {
        let samples = bytes.as_chunks::<B>().0;
        match (self.layout.samples, self.layout.colours) {
            (1, _) => out.iter_mut().zip(samples).for_each(|(to, &sample)| *to = linear(sample)),
            (3, true) => self.colours(samples.as_chunks::<3>().0.iter().copied(), out, linear),
            (4, true) => self.colours(samples.as_chunks::<4>().0.iter().map(|&[r, g, b, _]| [r, g, b]), out, linear),
            (many, true) => self.colours(samples.chunks_exact(many).map(|of| [of[0], of[1], of[2]]), out, linear),
            (many, false) => out.iter_mut().zip(samples.chunks_exact(many)).for_each(|(to, of)| *to = linear(of[0])),
        }
    }

    fn colours<const B: usize>(&self, pixels: impl Iterator<Item = [[u8; B]; 3]>, out: &mut [u16], linear: impl Fn([u8; B]) -> u16) {
        let pixels = out.iter_mut().zip(pixels);
        match self.channel {
            Channel::Red => pixels.for_each(|(to, [red, ..])| *to = linear(red)),
            Channel::Green => pixels.for_each(|(to, [_, green, _])| *to = linear(green)),
            Channel::Blue => pixels.for_each(|(to, [.., blue])| *to = linear(blue)),
            Channel::Luminance => pixels.for_each(|(to, pixel)| *to = luminance(pixel.map(&linear))),
        }
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

    fn linear(layout: Layout, bytes: &[u8], tone: Tone, channel: Channel, pixels: usize) -> Vec<u16> {
        let reading = Reading { channel, ..Reading::new(Some(tone)) };
        let mut out = vec![0; pixels];
        Linear::new(layout, &reading).unwrap().row(bytes, &mut out);
        out
    }

    #[test]
    fn srgb_codes() {
        let layout = Layout { depth: Depth::Eight, samples: 1, colours: false, white_is_zero: false };
        let narrow = linear(layout, &(0..=255).collect::<Vec<u8>>(), Tone::Srgb, Channel::Luminance, 256);
        for (code, light) in LIGHT_OF_CODE {
            for found in [narrow[usize::from(code)], srgb_count(code * 257, u16::MAX)] {
                let found = f64::from(found) / 65535.0;
                assert!((found - light).abs() < 1e-5, "code {code}: {found}, expected {light}");
            }
        }
        assert!(narrow.is_sorted());
    }

    #[test]
    fn planes_of_a_colour_picture() {
        let layout = |depth, samples, colours| Layout { depth, samples, colours, white_is_zero: false };
        let wide: Vec<u8> = [60_000_u16, 30_000, 10_000].iter().flat_map(|sample| sample.to_be_bytes()).collect();
        let cases = [(Channel::Red, 60_000), (Channel::Green, 30_000), (Channel::Blue, 10_000), (Channel::Luminance, 34_934)];
        for (channel, expected) in cases {
            assert_eq!(linear(layout(Depth::Sixteen { big_endian: true }, 3, true), &wide, Tone::Linear, channel, 1), [expected]);
        }
        assert_eq!(linear(layout(Depth::Eight, 4, true), &[255; 4], Tone::Srgb, Channel::Luminance, 1), [65535]);
        assert_eq!(linear(layout(Depth::Eight, 2, false), &[7, 255, 9, 0], Tone::Linear, Channel::Blue, 2), [7 * 257, 9 * 257]);
        assert_eq!(linear(layout(Depth::Eight, 5, true), &[1, 2, 3, 9, 9], Tone::Linear, Channel::Blue, 1), [3 * 257]);
    }

    #[test]
    fn floats_saturate_and_what_is_no_number_is_black_and_counted() {
        let layout = Layout { depth: Depth::Single { big_endian: false }, samples: 1, colours: false, white_is_zero: false };
        let values = [0.0_f32, 0.5, 1.0, 1.5, -0.2, f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, 1e-40];
        let bytes: Vec<u8> = values.iter().flat_map(|value| value.to_le_bytes()).collect();
        let linear = Linear::new(layout, &Reading::new(None)).unwrap();
        let mut out = [7; 10];
        linear.row(&bytes, &mut out);
        assert_eq!(out, [0, 32768, 65535, 65535, 0, 0, 0, 0, 65535, 0]);
        assert_eq!(linear.seen(), FloatRange { largest: f64::from(f32::MAX), not_numbers: 3 });
    }
}
