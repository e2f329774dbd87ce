//! The scale of rendered rulings: Gaussian and Airy blur, both tones, both directions; and what is refused.

use super::*;
use crate::phantom::{Blur, Camera, FilmSpec, Lamp, Mode, PhantomSpec, Ruled, Ruling, RulingSpec};
use crate::plane::{Plane, Rect};

/// A picture of 480 × 360 pixels, uneven light, noise as of 15 000 electrons, three specks of dust.
fn spec(um_per_px: f64, seed: u64) -> PhantomSpec {
    let mut film = FilmSpec::glass();
    film.strangers.dust = crate::phantom::Sparse { size_um: [5.0 * um_per_px, 25.0 * um_per_px], ..film.strangers.dust.per_field(3) };
    PhantomSpec {
        seed,
        size: (480, 360),
        um_per_px,
        blur: Blur::Gaussian { sigma_um: 1.1 * um_per_px },
        film,
        lamp: Lamp { tilt_pct: 25.0, tilt_deg: 20.0, vignette_pct: 20.0 },
        mode: Mode::Transmitted,
        camera: Camera { full_scale: 65535, exposure: 0.8, full_well_e: 15_000.0, read_noise_e: 8.0, black_pct: 0.0, blank_frames: 1 },
    }
}

/// Lines so many pixels apart, a fifth as wide, placed within a thousandth of the pitch.
fn ruling(um_per_px: f64, pitch_px: f64, angle_deg: f64) -> RulingSpec {
    let pitch_um = pitch_px * um_per_px;
    RulingSpec {
        pitch_um,
        angle_deg,
        offset: 0.3,
        width_um: 0.2 * pitch_um,
        lengths_um: [150.0, 200.0, 250.0].map(|px| px * um_per_px),
        placement_um: 0.001 * pitch_um,
        ..RulingSpec::new()
    }
}

fn picture(spec: &PhantomSpec, ruling: &RulingSpec) -> Plane<u16> {
    let ruling = Ruling::lay(spec, ruling, 0);
    let mut counts = Plane::zeros((spec.size.1 as usize, spec.size.0 as usize));
    ruling.read(Rect::whole(spec.size), counts.as_slice_mut().unwrap()).unwrap();
    counts
}

fn exact(um: f64) -> Pitch {
    Pitch { um, u_um: 0.0 }
}

/// The bar: within 0.05 % at 0.1 to 1 µm a pixel, whatever the turn, the direction, the tone and the blur.
#[test]
fn rulings_of_all_turns_are_measured() {
    let airy = |um: f64| Blur::Airy { numerical_aperture: 0.5, wavelength_nm: 1800.0 * um };
    for (um, px, angle, ruled, mode, soft) in [
        (0.1, 40.0, 0.0, Ruled::Upright, Mode::Transmitted, false),
        (0.25, 20.0, 3.0, Ruled::Upright, Mode::Transmitted, true),
        (0.5, 12.3, -9.0, Ruled::Level, Mode::Transmitted, false),
        (1.0, 8.0, 14.5, Ruled::Upright, Mode::Transmitted, false),
        (1.0, 10.0, 14.5, Ruled::Level, Mode::Darkfield, false),
        (0.5, 60.0, 0.7, Ruled::Upright, Mode::Darkfield, false),
    ] {
        let spec = PhantomSpec { mode, ..spec(um, 5) };
        let spec = if soft { PhantomSpec { blur: airy(um), size: (320, 240), ..spec } } else { spec };
        let ruling = RulingSpec { ruled, ..ruling(um, px, angle) };
        let found = measure(&picture(&spec, &ruling), exact(ruling.pitch_um)).unwrap();
        let off = found.um_per_px / um - 1.0;
        assert!(off.abs() < 5e-4 && off.abs() < 4.0 * found.um_per_px_u / um, "{um} {px} {angle}: {off:e} {found:?}");
        assert!((found.angle_deg - angle).abs() < 0.05 && found.sets[0].dark == (mode == Mode::Transmitted), "{found:?}");
        assert_eq!([found.um_per_px_x.is_some(), found.um_per_px_y.is_some()], [ruled == Ruled::Upright, ruled == Ruled::Level]);
    }
}

/// A grid gives both directions, also where pixels are not square: the picture is stretched by 0.6 % along x.
#[test]
fn a_grid_gives_both_directions() {
    let (spec, um) = (spec(0.25, 7), 0.25);
    let ruling = RulingSpec { ruled: Ruled::Both, lengths_um: [2000.0; 3], ..ruling(um, 20.0, -6.0) };
    let square = picture(&spec, &ruling);
    let found = measure(&square, exact(5.0)).unwrap();
    for scale in [found.um_per_px, found.um_per_px_x.unwrap(), found.um_per_px_y.unwrap()] {
        assert!((scale / um - 1.0).abs() < 5e-4, "{found:?}");
    }
    assert!((found.angle_deg + 6.0).abs() < 0.05 && found.sets.len() == 2 && found.lines() > 35, "{found:?}");
    let stretch = 1.006;
    let stretched = Plane::from_shape_fn(square.dim(), |(row, column)| {
        let x = ((column as f64 + 0.5) / stretch - 0.5).max(0.0);
        let (left, part) = (libm::floor(x), x - libm::floor(x));
        let at = |x: f64| f64::from(square[[row, (0..480).find(|&i| f64::from(i) >= x).map_or(479, |i| usize::try_from(i).unwrap())]]);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between two counts")]
        let count = ((1.0 - part) * at(left) + part * at(left + 1.0)) as u16;
        count
    });
    let found = measure(&stretched, exact(5.0)).unwrap();
    let [x, y] = [found.um_per_px_x, found.um_per_px_y].map(|scale| scale.unwrap() / um - 1.0);
    assert!((x + 0.006 / stretch).abs() < 5e-4 && y.abs() < 5e-4, "{x} {y}");
    assert!(found.um_per_px_u / um > 0.5 * 0.006 / 3_f64.sqrt() * 0.99, "the difference of both is in the uncertainty");
}

/// The certificate's uncertainty is added as variances are.
#[test]
fn the_certificate_is_part_of_the_uncertainty() {
    let ruling = ruling(0.5, 20.0, 2.0);
    let picture = picture(&spec(0.5, 3), &ruling);
    let alone = measure(&picture, exact(10.0)).unwrap();
    let with = measure(&picture, Pitch { um: 10.0, u_um: 0.01 }).unwrap();
    let added = (with.um_per_px_u / with.um_per_px).powi(2) - (alone.um_per_px_u / alone.um_per_px).powi(2);
    assert!((added / 1e-6 - 1.0).abs() < 1e-9, "{added:e}");
}

fn refusal(picture: &Plane<u16>) -> Refusal {
    match measure(picture, exact(10.0)) {
        Err(Unscaled::Refused(refusal)) => refusal,
        other => panic!("{other:?}"),
    }
}

#[test]
fn what_leaves_the_scale_in_doubt_is_refused() {
    use Refusal::{Alternate, Blurred, Dense, Faint, FewLines, NoRuling, Small, Steep};
    let with = |px: f64, angle: f64, change: fn(&mut PhantomSpec, &mut RulingSpec)| {
        let (mut spec, mut ruling) = (spec(0.5, 9), ruling(0.5, px, angle));
        change(&mut spec, &mut ruling);
        refusal(&picture(&spec, &ruling))
    };
    assert!(matches!(with(20.0, 17.0, |_, _| ()), Steep { degrees, .. } if (degrees - 17.0).abs() < 0.1));
    assert!(matches!(with(20.0, 40.0, |_, _| ()), Steep { degrees, .. } if (degrees - 40.0).abs() < 0.5));
    assert!(matches!(with(130.0, 2.0, |_, _| ()), FewLines { found: 3 | 4, .. }));
    assert!(matches!(with(20.0, 2.0, |_, ruling| ruling.taken = 0.02), Faint { .. } | NoRuling));
    let soft = with(10.0, 2.0, |spec, _| spec.blur = Blur::Gaussian { sigma_um: 1.9 });
    assert!(matches!(soft, Blurred { pitch_px } if (pitch_px - 10.0).abs() < 0.5), "{soft:?}");
    let dense = with(4.2, 2.0, |spec, _| spec.blur = Blur::Gaussian { sigma_um: 0.3 });
    assert!(matches!(dense, Dense { .. }), "{dense:?}");
    // Lines finer than the pixels show play into them as waves of any length: no reason fits them all, but none may pass.
    for px in [1.1, 1.37, 1.9, 2.3, 3.1] {
        with(px, 0.0, |spec, _| spec.blur = Blur::Gaussian { sigma_um: 0.2 });
        with(px, 2.0, |spec, _| spec.blur = Blur::Gaussian { sigma_um: 0.1 });
    }
    // Every second line taken away but for a stump.
    let (spec, ruling) = (spec(0.5, 9), ruling(0.5, 20.0, 0.0));
    let mut full = picture(&spec, &RulingSpec { lengths_um: [100.0; 3], ..ruling });
    let half = picture(&spec, &RulingSpec { lengths_um: [100.0; 3], pitch_um: 20.0, offset: 0.15, width_um: 2.0, ..ruling });
    full.slice_mut(ndarray::s![..160, ..]).assign(&half.slice(ndarray::s![..160, ..]));
    assert!(matches!(refusal(&full), Alternate { how: "shorter" }), "{:?}", refusal(&full));
    assert_eq!(refusal(&Plane::from_elem((30, 400), 7)), Small { width: 400, height: 30, least: 48 });
    for flat in [Plane::from_elem((200, 200), 0), Plane::from_elem((200, 200), u16::MAX)] {
        assert_eq!(refusal(&flat), NoRuling);
    }
}
