//! What must hold whatever is measured: lengths scale, mirrors and quarter turns change nothing, nor does the order of the fields.

use std::sync::atomic::AtomicBool;

use evenfilm_core::batch::{self, Basis, LotResult};
use evenfilm_core::field::{FieldResult, Setting, measure, survey};
use evenfilm_core::light::{Lamp, Optics};
use evenfilm_core::phantom::{Blank, Blur, Camera, Film, FilmSpec, Lamp as Light, Mode, PhantomSpec};
use evenfilm_core::plane::{Plane, Rect, Samples, Watch};
use evenfilm_core::quantity::{Interval, QUANTITIES};
use evenfilm_core::recipe::Recipe;

const SIZE: (u32, u32) = (640, 512);

/// A hazy film as a microscope shows it.
fn noisy() -> PhantomSpec {
    PhantomSpec {
        seed: 77,
        size: SIZE,
        um_per_px: 0.25,
        blur: Blur::gaussian_of(0.65, 550.0),
        film: FilmSpec::film(),
        lamp: Light { tilt_pct: 10.0, tilt_deg: 30.0, vignette_pct: 15.0 },
        mode: Mode::Transmitted,
        camera: Camera { full_scale: u16::MAX, exposure: 0.8, full_well_e: 15_000.0, read_noise_e: 8.0, black_pct: 0.0, blank_frames: 16 },
    }
}

/// The same things on an even film under even light, without noise: what the survey reads of it, every fourth row, is all there is.
fn even() -> PhantomSpec {
    let film = FilmSpec { haze_cv_pct: 0.0, ..FilmSpec::film() };
    let lamp = Light { tilt_pct: 0.0, tilt_deg: 0.0, vignette_pct: 0.0 };
    let camera = Camera { full_well_e: 1e15, read_noise_e: 0.0, ..noisy().camera };
    PhantomSpec { film, lamp, camera, ..noisy() }
}

fn held(source: &dyn Samples) -> Plane<u16> {
    let mut plane = Plane::zeros((SIZE.1 as usize, SIZE.0 as usize));
    source.read(Rect::whole(SIZE), plane.as_slice_mut().unwrap()).unwrap();
    plane
}

/// Fields and blank of a lot.
fn pictures(spec: &PhantomSpec) -> (Vec<Plane<u16>>, Plane<u16>) {
    ((0..3).map(|field| held(&Film::lay(spec, 0, field))).collect(), held(&Blank(*spec)))
}

fn seen(fields: &[Plane<u16>], blank: &Plane<u16>, (optics, recipe): (&Optics, &Recipe)) -> Vec<FieldResult> {
    let cancel = AtomicBool::new(false);
    let setting = Setting { optics, recipe, necks: false, watch: Watch { cancel: &cancel, tell: &|_, _| () } };
    let lamp = Lamp::new(Some(blank), None, setting.watch).unwrap();
    let one = |field: &Plane<u16>| {
        let (surveyed, correction) = survey(field, &lamp, &setting).unwrap();
        measure(field, (&surveyed, &correction), None, &setting).unwrap()
    };
    fields.iter().map(one).collect()
}

fn pooled(fields: &[FieldResult], slides: &[&str], recipe: &Recipe) -> LotResult {
    let slides: Vec<String> = slides.iter().map(|&slide| slide.to_owned()).collect();
    batch::lot(&fields.iter().collect::<Vec<_>>(), &slides, 0, (recipe, &Basis::default()), None)
}

fn optics(um_per_px: f64, wavelength_nm: f64) -> Optics {
    Optics { um_per_px, numerical_aperture: Some(0.65), wavelength_nm: Some(wavelength_nm), full_scale: u16::MAX }
}

fn measured(spec: &PhantomSpec) -> (Vec<FieldResult>, Recipe) {
    let (fields, blank) = pictures(spec);
    (seen(&fields, &blank, (&optics(0.25, 550.0), &Recipe::default())), Recipe::default())
}

/// Compares every value and interval, each expected to be `factor(unit)` times what it was.
fn compare(found: &LotResult, expected: &LotResult, factor: impl Fn(&str) -> f64, within: f64) {
    let near = |within: f64, (id, what): (&str, &str), found: Option<f64>, expected: Option<f64>| {
        let ok = match (found, expected) {
            (Some(found), Some(expected)) => (found - expected).abs() <= within * expected.abs().max(1e-9),
            (None, None) => true,
            _ => false,
        };
        assert!(ok, "{id} {what}: {found:?} beside {expected:?}");
    };
    for (q, quantity) in QUANTITIES.iter().enumerate() {
        let times = |value: Option<f64>| value.map(|value| value * factor(quantity.unit));
        // The largest circle is found to a stated tolerance, from whichever side the search begins.
        let within = if quantity.id == "largest_gap_um" { within.max(1e-3) } else { within };
        let near = |id: &str, what: &str, found, expected| near(within, (id, what), found, expected);
        near(quantity.id, "value", found.values[q], times(expected.values[q]));
        near(quantity.id, "ci95", found.ci95[q], times(expected.ci95[q]));
        near(quantity.id, "u95", found.u95[q], times(expected.u95[q]));
        let end = |lot: &LotResult, end: usize| lot.ends95[q].map(|ends| ends[end]);
        (0..2).for_each(|i| near(quantity.id, "end", end(found, i), times(end(expected, i))));
    }
}

#[test]
fn every_length_scales_with_the_pixel() {
    let (fields, blank) = pictures(&noisy());
    let plain = measured(&noisy());
    // The same pictures through a lens half as fine: everything that the recipe states in µm doubles too.
    let mut recipe = Recipe::default();
    recipe.gaps.min_diameter_um *= 2.0;
    recipe.objects.split_depth_um *= 2.0;
    recipe.agglomerates.min_diameter_um *= 2.0;
    recipe.concern.gap_um *= 2.0;
    recipe.concern.agglomerate_um *= 2.0;
    let doubled = seen(&fields, &blank, (&optics(0.5, 1100.0), &recipe));
    let slides = ["A", "A", "B"];
    let factor = |unit: &str| match unit {
        "µm" => 2.0,
        "mm²" => 4.0,
        "mm⁻²" => 0.25,
        "" | "%" => 1.0,
        other => panic!("how does {other} scale?"),
    };
    compare(&pooled(&doubled, &slides, &recipe), &pooled(&plain.0, &slides, &plain.1), factor, 1e-9);
}

#[test]
fn the_order_of_the_fields_changes_nothing() {
    let (fields, recipe) = measured(&noisy());
    let turned: Vec<FieldResult> = [2, 0, 1].map(|i| fields[i].clone()).into();
    compare(&pooled(&turned, &["B", "A", "A"], &recipe), &pooled(&fields, &["A", "A", "B"], &recipe), |_| 1.0, 1e-9);
    compare(&pooled(&turned, &["A"; 3], &recipe), &pooled(&fields, &["A"; 3], &recipe), |_| 1.0, 1e-9);
}

type Way = fn(&Plane<u16>) -> Plane<u16>;

const WAYS: [Way; 4] = [
    |p| Plane::from_shape_fn(p.dim(), |(y, x)| p[[y, p.dim().1 - 1 - x]]),
    |p| Plane::from_shape_fn(p.dim(), |(y, x)| p[[p.dim().0 - 1 - y, x]]),
    |p| Plane::from_shape_fn((p.dim().1, p.dim().0), |(y, x)| p[[p.dim().0 - 1 - x, y]]),
    |p| Plane::from_shape_fn((p.dim().1, p.dim().0), |(y, x)| p[[x, p.dim().1 - 1 - y]]),
];

/// The lot as it is, and mirrored left to right, upside down, and by one and three quarter turns.
fn every_way(spec: &PhantomSpec) -> (LotResult, Vec<LotResult>) {
    let (fields, blank) = pictures(spec);
    let recipe = Recipe::default();
    let lot = |fields: &[Plane<u16>], blank: &Plane<u16>| {
        pooled(&seen(fields, blank, (&optics(0.25, 550.0), &recipe)), &["A", "A", "B"], &recipe)
    };
    let turned = WAYS.map(|way| lot(&fields.iter().map(way).collect::<Vec<_>>(), &way(&blank)));
    (lot(&fields, &blank), turned.into())
}

#[test]
fn mirrors_and_quarter_turns_change_nothing() {
    let (plain, turned) = every_way(&even());
    assert!(plain.values[0].is_some());
    for turned in &turned {
        compare(turned, &plain, |_| 1.0, 1e-6);
    }
}

/// Under noise the survey, which reads every fourth row, and the level around an object, which reads some of its pixels, see others of them.
#[test]
fn under_noise_they_change_less_than_the_noise_does() {
    let (plain, turned) = every_way(&noisy());
    for (q, quantity) in QUANTITIES.iter().enumerate() {
        for turned in &turned {
            match (turned.values[q], plain.values[q]) {
                (Some(found), Some(expected)) => {
                    // One that is as large as the smallest counted may count or not.
                    let least = match quantity.unit {
                        "%" => 0.01,
                        "" if quantity.interval == Interval::None => 2.0,
                        _ => 0.0,
                    };
                    assert!((found - expected).abs() <= (0.01 * expected.abs()).max(least), "{}: {found} beside {expected}", quantity.id);
                }
                (found, expected) => assert_eq!(found, expected, "{}", quantity.id),
            }
        }
    }
}
