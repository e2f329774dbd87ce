//! Large, crowded and noisy pictures: drawn from closed forms as they are read, so that they need neither files nor memory.

use std::sync::atomic::AtomicBool;

use evenfilm_core::field::{FieldResult, Setting, measure, survey};
use evenfilm_core::light::{Lamp, Optics};
use evenfilm_core::plane::{ONE, Rect, Samples, Stop, Watch};
use evenfilm_core::random::Source;
use evenfilm_core::recipe::Recipe;

/// A picture whose transmission at each pixel is drawn, with noise as a share of the empty slide.
struct Drawn<F> {
    size: (u32, u32),
    noise: f64,
    transmission: F,
}

impl<F: Fn(u32, u32) -> f64 + Sync> Samples for Drawn<F> {
    fn size(&self) -> (u32, u32) {
        self.size
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates")]
    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop> {
        for (count, i) in out.iter_mut().zip(0u32..) {
            let (x, y) = (at.x + i % at.width, at.y + i / at.width);
            let noise = if self.noise > 0.0 { self.noise * Source::new(5, 1).normals(u64::from(y) << 32 | u64::from(x))[0] } else { 0.0 };
            *count = (f64::from(ONE) * ((self.transmission)(x, y) + noise) + 0.5) as u16;
        }
        Ok(())
    }
}

fn measured(field: &dyn Samples, lit: bool) -> FieldResult {
    let go = AtomicBool::new(false);
    let (optics, recipe) =
        (Optics { um_per_px: 0.25, numerical_aperture: Some(0.65), wavelength_nm: Some(550.0), full_scale: u16::MAX }, Recipe::default());
    let setting = Setting { optics: &optics, recipe: &recipe, necks: false, watch: Watch { cancel: &go, tell: &|_, _| () } };
    let blank = Drawn { size: field.size(), noise: 0.0, transmission: |_, _| 1.0 };
    let lamp = Lamp::new(lit.then_some(&blank as &dyn Samples), None, setting.watch).unwrap();
    let (surveyed, correction) = survey(field, &lamp, &setting).unwrap();
    measure(field, (&surveyed, &correction), None, &setting).unwrap()
}

/// Half the width of an edge, px: a straight slope whose standard deviation, half its width ÷ √3, is that of the lens, 0.235 λ/NA.
const SLOPE: f64 = 1.38;

/// Cover of a disc as a blurred edge shows it: 1 inside, 0 outside.
fn disc(x: u32, y: u32, centre: [f64; 2], radius: f64) -> f64 {
    let (dx, dy) = (f64::from(x) + 0.5 - centre[0], f64::from(y) + 0.5 - centre[1]);
    (0.5 + 0.5 * (radius - (dx * dx + dy * dy).sqrt()) / SLOPE).clamp(0.0, 1.0)
}

/// The disc of a square cell of a lattice, moved by up to `aside` from its middle.
fn of_lattice((x, y): (u32, u32), cell: u32, aside: f64, radius: f64) -> f64 {
    let place = |k: u32| f64::from(k / cell * cell) + 0.5 * f64::from(cell);
    let moved = Source::new(9, 2).block(u64::from(y / cell) << 32 | u64::from(x / cell));
    let part = |bits: u64| aside * (2.0 * (bits >> 11) as f64 / (1u64 << 53) as f64 - 1.0);
    disc(x, y, [place(x) + part(moved[0]), place(y) + part(moved[1])], radius)
}

fn flag(result: &FieldResult, id: &str) -> Option<f64> {
    result.flags.iter().find(|flag| flag.id == id).map(|flag| flag.value.unwrap_or(0.0))
}

/// One gap of 31 megapixels. Discs of radius 6 stand at the middles of 40-px cells; where nine are missing, the largest circle reaches
/// from their middle to the nearest discs, two cells away along a row: 80 − 6 px.
#[test]
fn the_largest_circle_of_a_clear_film_as_large_as_the_field() {
    let missing = |x: u32, y: u32| (78..81).contains(&(x / 40)) && (41..44).contains(&(y / 40));
    let film = |x: u32, y: u32| if missing(x, y) { 1.0 } else { 1.0 - 0.9 * of_lattice((x, y), 40, 0.0, 6.0) };
    let result = measured(&Drawn { size: (6000, 5200), noise: 0.004, transmission: film }, true);
    assert!(flag(&result, "clear_film").is_some());
    assert_eq!(result.objects.len(), 150 * 130 - 9);
    let [gap] = &result.gaps[..] else { panic!("{} gaps", result.gaps.len()) };
    assert!(gap.at.area() > 4 << 20);
    assert!((gap.largest_circle_px / (2.0 * 74.0) - 1.0).abs() < 0.005, "{}", gap.largest_circle_px);
}

/// A film with nothing in it but noise, up to a third of its light, with a blank and without: no object and no gap, and a flag where the
/// noise leaves many pixels beyond the levels of particle or gap.
#[test]
fn noise_alone_is_nothing() {
    for (od, noise, noisy) in [(0.05, 0.005, false), (0.05, 0.03, true), (0.35, 0.03, false), (0.35, 0.15, true), (0.7, 0.03, false)] {
        for lit in [true, false] {
            let transmission = libm::exp10(-od);
            let result = measured(&Drawn { size: (1000, 700), noise, transmission: |_, _| transmission }, lit);
            assert_eq!((result.objects.len(), result.gaps.len()), (0, 0), "OD {od}, noise {noise}, blank {lit}");
            if lit {
                let found = flag(&result, "too_noisy");
                assert_eq!(found.is_some(), noisy, "OD {od}, noise {noise}: {found:?}");
                assert!(found.is_none_or(|share| share > 0.02 && share < 0.5), "{found:?}");
            }
            assert!(flag(&result, "no_objects").is_some());
        }
    }
}

/// 31 356 discs that cover 19 % of 13 megapixels, none touching: all found, none invented, and their area.
#[test]
fn a_dense_film() {
    let size = (4020, 3120);
    let film = |x: u32, y: u32| 0.5 * (1.0 - 0.9 * of_lattice((x, y), 20, 2.0, 4.92));
    let result = measured(&Drawn { size, noise: 0.004, transmission: film }, true);
    let expected = f64::from(size.0 / 20 * (size.1 / 20));
    assert!((result.objects.len() as f64 - expected).abs() < 1.0, "{}", result.objects.len());
    let cover = result.objects.iter().map(|o| o.area_px2[1]).sum::<f64>() / result.area_px2();
    // The light that such a disc takes: π (r² + w²/3) for a slope of half width w.
    let expected = std::f64::consts::PI * (4.92 * 4.92 + SLOPE * SLOPE / 3.0) / 400.0;
    assert!((cover / expected - 1.0).abs() < 0.02, "{cover} {expected}");
    assert!(flag(&result, "too_dense").is_none() && flag(&result, "too_noisy").is_none());
}

/// Powder that hangs together over more than 4 megapixels is not taken apart: a flag says so, and what lies apart from it is measured.
#[test]
fn powder_too_dense_to_take_apart() {
    let mesh = |x: u32, y: u32| x < 2200 && y < 2000 && (x % 50 < 6 || y % 50 < 6);
    let film = |x: u32, y: u32| 0.5 * if mesh(x, y) { 0.1 } else { 1.0 - 0.9 * disc(x, y, [2300.0, 1000.0], 12.0) };
    let result = measured(&Drawn { size: (2400, 2100), noise: 0.004, transmission: film }, true);
    assert_eq!(flag(&result, "too_dense"), Some(1.0));
    assert_eq!(result.objects.len(), 1);
    assert!((result.objects[0].diameter_px() / 24.0 - 1.0).abs() < 0.01, "{}", result.objects[0].diameter_px());
}
