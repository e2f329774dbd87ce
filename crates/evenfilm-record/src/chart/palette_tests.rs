//! Colours under test: contrast, and eyes that miss a kind of cone.

use super::scene::Ink;
use super::{Palette, fields, sizes};

/// Linear primaries of a colour, sRGB (IEC 61966-2-1).
fn linear(colour: [u8; 3]) -> [f64; 3] {
    colour.map(|v| {
        let v = f64::from(v) / 255.0;
        if v <= 0.04045 { v / 12.92 } else { libm::pow((v + 0.055) / 1.055, 2.4) }
    })
}

fn luminance([red, green, blue]: [f64; 3]) -> f64 {
    0.2126 * red + 0.7152 * green + 0.0722 * blue
}

/// Contrast ratio of WCAG 2.1 (W3C Recommendation of 2018-06-05, "contrast ratio" and "relative luminance").
fn contrast(a: [u8; 3], b: [u8; 3]) -> f64 {
    let (a, b) = (luminance(linear(a)), luminance(linear(b)));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// A colour over another.
fn over(ink: [u8; 3], ground: [u8; 3], share: f64) -> [u8; 3] {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between two bytes")]
    let mixed = [0, 1, 2].map(|i| (share * f64::from(ink[i]) + (1.0 - share) * f64::from(ground[i])).round() as u8);
    mixed
}

/// CIELAB under D65 (ISO/CIE 11664-4:2019) of linear primaries.
fn lab([red, green, blue]: [f64; 3]) -> [f64; 3] {
    let xyz = [
        (0.4124 * red + 0.3576 * green + 0.1805 * blue) / 0.9505,
        0.2126 * red + 0.7152 * green + 0.0722 * blue,
        (0.0193 * red + 0.1192 * green + 0.9505 * blue) / 1.0890,
    ];
    let [x, y, z] = xyz.map(|t| if t > 216.0 / 24_389.0 { libm::cbrt(t) } else { (24_389.0 / 27.0 * t + 16.0) / 116.0 });
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// Full protanopia, deuteranopia and tritanopia on linear primaries: Machado, Oliveira & Fernandes 2009, IEEE Trans. Vis. Comput. Graph.
/// 15(6) 1291-1298, severity 1.0 (copied from memory), and eyes that miss nothing.
const EYES: [[[f64; 3]; 3]; 4] = [
    [[0.152_286, 1.052_583, -0.204_868], [0.114_503, 0.786_281, 0.099_216], [-0.003_882, -0.048_116, 1.051_998]],
    [[0.367_322, 0.860_646, -0.227_968], [0.280_085, 0.672_501, 0.047_413], [-0.011_820, 0.042_940, 0.968_881]],
    [[1.255_528, -0.076_749, -0.178_779], [-0.078_411, 0.930_809, 0.147_602], [0.004_733, 0.691_367, 0.303_900]],
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
];

/// Distance ΔE*ab of two colours as seen through eyes.
fn apart(a: [u8; 3], b: [u8; 3], eyes: &[[f64; 3]; 3]) -> f64 {
    let seen = |colour: [u8; 3]| {
        let light = linear(colour);
        lab(eyes.map(|row| row.iter().zip(light).map(|(a, b)| a * b).sum::<f64>().clamp(0.0, 1.0)))
    };
    let (a, b) = (seen(a), seen(b));
    a.iter().zip(b).map(|(a, b)| (a - b) * (a - b)).sum::<f64>().sqrt()
}

#[test]
fn words_and_lines_stand_out() {
    // The ratio's ends and a grey of the standard's own examples: #767676 on white is 4.54.
    assert!((contrast([0; 3], [255; 3]) - 21.0).abs() < 1e-9 && (contrast([0x76; 3], [255; 3]) - 4.54).abs() < 0.005);
    for palette in [Palette::LIGHT, Palette::DARK] {
        let ground = palette.ground;
        // 1.4.3: 4.5 for text; limits and warnings are words too.
        for ink in [Ink::Text, Ink::Quiet, Ink::Limit, Ink::Warn] {
            assert!(contrast(palette.of(ink), ground) >= 4.5, "{ink:?} {}", contrast(palette.of(ink), ground));
        }
        // 1.4.11: 3 for what must be seen; the grid need not be.
        for ink in [Ink::Axis, Ink::Data, Ink::DataAlso, Ink::Limit, Ink::Interval, Ink::Warn] {
            assert!(contrast(palette.of(ink), ground) >= 3.0, "{ink:?} {}", contrast(palette.of(ink), ground));
        }
        // Words over fills.
        let over_fills =
            [(Ink::Text, Ink::Data, sizes::DENSITY), (Ink::Limit, Ink::Data, sizes::DENSITY), (Ink::Limit, Ink::Interval, fields::BAND)];
        for (ink, fill, share) in over_fills.into_iter().chain([(Ink::Quiet, Ink::Quiet, super::pen::SHADE)]) {
            let found = contrast(palette.of(ink), over(palette.of(fill), ground, share));
            assert!(found >= 4.5, "{ink:?} on {fill:?}: {found}");
        }
    }
}

/// A distance of 20 is our own measure (no source): ten times what is just seen side by side.
#[test]
fn everybody_tells_the_roles_apart() {
    for (palette, eyes) in [Palette::LIGHT, Palette::DARK].iter().flat_map(|palette| EYES.iter().map(move |eyes| (palette, eyes))) {
        assert!(eyes.iter().all(|row| (row.iter().sum::<f64>() - 1.0).abs() < 1e-5), "grey stays grey");
        for (a, b) in [
            (Ink::Data, Ink::DataAlso),
            (Ink::Data, Ink::Limit),
            (Ink::DataAlso, Ink::Limit),
            (Ink::Interval, Ink::Limit),
            (Ink::Data, Ink::Warn),
        ] {
            let found = apart(palette.of(a), palette.of(b), eyes);
            assert!(found >= 20.0, "{a:?} {b:?} {found:.1}");
        }
    }
}
