//! Good fields for which no flag may be up, and the same fields with one fault each: at least 95 % of the faults are found, at most 2 % of
//! the good fields have any flag. Rendered films; what is expected follows from what was planted.

use std::sync::atomic::AtomicBool;

use rayon::prelude::*;

use super::overlap::{decides, overlaps, shared};
use super::*;
use crate::field::{FieldResult, Setting, measure, survey};
use crate::light::{Lamp, Optics};
use crate::phantom::{Blank, Blur, Camera, Dark, Film, FilmSpec, Lamp as Light, Mode, PhantomSpec, Population};
use crate::plane::{Plane, Rect, Samples, Watch};
use crate::random::Source;
use crate::recipe::Recipe;

const NA: f64 = 0.65;
const NM: f64 = 550.0;

/// Pictures of one field and what the sheet says of them.
#[derive(Clone)]
struct Scene {
    mode: Mode,
    optics: Optics,
    field: Plane<u16>,
    blank: Plane<u16>,
    dark: Option<Plane<u16>>,
}

/// A number from a list, by an index.
fn one_of<T: Copy>(list: &[T], index: usize) -> T {
    list[index % list.len()]
}

/// Good field number `i`: density, film, noise, bits, mode, light and lens all vary, each with a period of its own.
fn good(i: usize) -> PhantomSpec {
    let film = FilmSpec::film();
    let dark_field = i % 4 == 3;
    let airy = Blur::Airy { numerical_aperture: NA, wavelength_nm: NM };
    PhantomSpec {
        seed: 9000 + i as u64,
        size: (300, 240),
        um_per_px: 0.25,
        blur: one_of(&[airy, Blur::gaussian_of(NA, NM)], i / 2),
        film: FilmSpec {
            // In dark field a dense film scatters as much as the powder.
            od: if dark_field { one_of(&[0.1, 0.2, 0.35], i) } else { one_of(&[0.1, 0.2, 0.35, 0.6, 0.9], i) },
            haze_cv_pct: one_of(&[0.0, 3.0, 6.0], i),
            singles: Population { per_mm2: one_of(&[5000.0, 9000.0, 14_000.0, 20_000.0, 7000.0, 11_000.0, 3500.0], i), ..film.singles },
            gaps: Population { per_mm2: one_of(&[120.0, 0.0, 300.0], i / 3), ..film.gaps },
            ..film
        },
        lamp: Light {
            tilt_pct: one_of(&[0.0, 10.0, 20.0, 30.0], i / 5),
            tilt_deg: one_of(&[0.0, 30.0, 120.0, 200.0, 300.0], i / 7),
            vignette_pct: one_of(&[0.0, 15.0, 30.0], i / 4),
        },
        mode: if dark_field { Mode::Darkfield } else { Mode::Transmitted },
        camera: Camera {
            full_scale: one_of(&[255, u16::MAX], i / 3),
            exposure: one_of(&[0.8, 0.6, 0.9], i),
            full_well_e: one_of(&[15_000.0, 5000.0, 40_000.0], i / 2),
            read_noise_e: 8.0,
            black_pct: 0.0,
            blank_frames: 16,
        },
    }
}

fn counts(of: &dyn Samples) -> Plane<u16> {
    let (width, height) = of.size();
    let mut out = vec![0; width as usize * height as usize];
    of.read(Rect::whole(of.size()), &mut out).unwrap();
    Plane::from_shape_vec((height as usize, width as usize), out).unwrap()
}

impl Scene {
    fn of(spec: &PhantomSpec) -> Self {
        let full_scale = spec.camera.full_scale;
        let optics = Optics { um_per_px: spec.um_per_px, numerical_aperture: Some(NA), wavelength_nm: Some(NM), full_scale };
        let dark = (spec.mode == Mode::Darkfield).then(|| counts(&Dark(*spec)));
        Self { mode: spec.mode, optics, field: counts(&Film::lay(spec, 1, 1)), blank: counts(&Blank(*spec)), dark }
    }

    fn is_dark_field(&self) -> bool {
        self.mode == Mode::Darkfield
    }

    fn measured(&self, film_elsewhere: Option<u16>) -> FieldResult {
        let (recipe, cancel) = (Recipe::default(), AtomicBool::new(false));
        let watch = Watch { cancel: &cancel, tell: &|_, _| () };
        let lamp = Lamp::new(Some(&self.blank), self.dark.as_ref().map(|dark| dark as &dyn Samples), watch).unwrap();
        let lamp = if self.is_dark_field() { lamp.in_dark_field() } else { lamp };
        let setting = Setting { optics: &self.optics, recipe: &recipe, necks: false, watch };
        let (seen, light) = survey(&self.field, &lamp, &setting).unwrap();
        measure(&self.field, (&seen, &light), film_elsewhere, &setting).unwrap()
    }

    /// The same with other counts, by a function of place and count; in the blank too where `both`.
    fn with(&self, both: bool, of: impl Fn((usize, usize), f64) -> f64) -> Self {
        let change = |plane: &Plane<u16>| {
            let of = |at: (usize, usize)| count(of(at, f64::from(plane[[at.0, at.1]])), self.optics.full_scale);
            Plane::from_shape_fn(plane.dim(), of)
        };
        Self { field: change(&self.field), blank: if both { change(&self.blank) } else { self.blank.clone() }, ..self.clone() }
    }

    fn with_blank(&self, of: impl Fn((usize, usize), f64) -> f64) -> Self {
        let field = std::mem::replace(&mut self.clone().field, Plane::zeros((0, 0)));
        let swapped = Self { field: self.blank.clone(), ..self.clone() }.with(false, of);
        Self { blank: swapped.field, field, ..self.clone() }
    }

    /// Each pixel the weighted mean of pixels around it.
    fn blurred(&self, weights: &[((isize, isize), f64)]) -> Self {
        let (rows, columns) = self.field.dim();
        let total: f64 = weights.iter().map(|w| w.1).sum();
        let near = |at: usize, off: isize, end: usize| at.saturating_add_signed(off).min(end - 1);
        let source = &self.field;
        self.with(false, |(y, x), _| {
            weights.iter().map(|&((dy, dx), w)| w * f64::from(source[[near(y, dy, rows), near(x, dx, columns)]])).sum::<f64>() / total
        })
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "cut to the camera's range first")]
fn count(of: f64, full_scale: u16) -> u16 {
    (of + 0.5).clamp(0.0, f64::from(full_scale)) as u16
}

/// Weights of a Gaussian of this many pixels.
fn gaussian(sigma: f64) -> Vec<((isize, isize), f64)> {
    let reach = -5..=5isize;
    let weight = |y: isize, x: isize| libm::exp(-((y * y + x * x) as f64) / (2.0 * sigma * sigma));
    reach.clone().flat_map(|y| reach.clone().map(move |x| ((y, x), weight(y, x)))).collect()
}

/// Weights of a straight move by so many pixels, down or to the right or between.
fn move_by(length: isize, direction: usize) -> Vec<((isize, isize), f64)> {
    let (dy, dx) = one_of(&[(0, 1), (1, 0), (1, 1), (1, -1)], direction);
    (0..=length).map(|k| ((k * dy, k * dx), 1.0)).collect()
}

fn ids(result: &FieldResult) -> Vec<&'static str> {
    result.flags.iter().map(|flag| flag.id).collect()
}

/// Whether bare places large enough to read their level are seen through a blank.
fn shows_bare(scene: &Scene, result: &FieldResult) -> bool {
    !scene.is_dark_field() && result.gaps.iter().any(|gap| gap.largest_circle_px > 22.0 && !gap.in_hollow)
}

type Plant = fn(usize, &Scene, &FieldResult) -> Option<Scene>;

/// Faults of a single field. What cannot have a fault gives `None`: a film without gaps no bare places at full scale.
const FAULTS: &[(FlagId, Plant)] = &[
    (FlagId::Black, |_, s, _| (!s.is_dark_field()).then(|| s.with(false, |_, c| 0.001 * c))),
    (FlagId::Dim, |_, s, _| Some(s.with(true, |_, c| 0.09 * c))),
    (FlagId::UnevenLight, |i, s, _| {
        let (rows, columns) = s.field.dim();
        let place = move |(y, x): (usize, usize)| {
            [y as f64 / rows as f64, x as f64 / columns as f64, 1.0 - y as f64 / rows as f64, 1.0 - x as f64 / columns as f64][i % 4]
        };
        Some(s.with(true, move |at, c| c * (1.0 - 0.8 * place(at))))
    }),
    (FlagId::BlankDiffers, |i, s, good| shows_bare(s, good).then(|| s.with_blank(|_, c| c * one_of(&[0.94, 0.85, 0.9], i)))),
    (FlagId::Clipped, |_, s, _| (!s.is_dark_field()).then(|| s.with(true, |_, c| 30.0 * c))),
    (FlagId::BareClipped, |_, s, good| {
        let scale = f64::from(s.optics.full_scale) * 1.3 / f64::from(s.blank.iter().copied().max()?);
        // A thinner film would be at full scale too.
        (shows_bare(s, good) && good.film_od > Some(0.15)).then(|| s.with(true, |_, c| scale * c))
    }),
    (FlagId::ParticlesClipped, |_, s, _| {
        // Particles add an optical density of 0.9, so they are an eighth as light as the film; in dark field nearly as light as the blank.
        let [film, lit] = [&s.field, &s.blank].map(|p| f64::from(crate::objects::median(&mut p.iter().copied().collect::<Vec<_>>())));
        let full = f64::from(s.optics.full_scale);
        Some(if s.is_dark_field() { s.with(false, |_, c| 1.25 * full / lit * c) } else { s.with(true, |_, c| c - 0.2 * film) })
    }),
    (FlagId::Noise, |i, s, _| {
        let (noise, width) = (Source::new(77, i as u64), s.field.ncols());
        // In dark field the film is dark and the powder bright, and noise counts against what lies between.
        let much = if s.is_dark_field() { 0.3 } else { 0.12 };
        Some(s.with(false, |(y, x), c| c * (1.0 + much * noise.normals((y * width + x) as u64)[0])))
    }),
    (FlagId::TooNoisy, |i, s, _| {
        let (noise, width) = (Source::new(78, i as u64), s.field.ncols());
        (!s.is_dark_field()).then(|| s.with(false, |(y, x), c| c * (1.0 + 0.3 * noise.normals((y * width + x) as u64)[0])))
    }),
    (FlagId::Unsharp, |i, s, _| Some(s.blurred(&gaussian(one_of(&[1.4, 1.8, 2.4], i))))),
    (FlagId::UnsharpObjects, |i, s, _| Some(s.blurred(&gaussian(one_of(&[1.8, 2.4], i))))),
    (FlagId::MotionBlur, |i, s, _| Some(s.blurred(&move_by(one_of(&[4, 5, 7], i), i)))),
    (FlagId::FewPixels, |_, s, _| {
        let (rows, columns) = s.field.dim();
        let halved = |p: &Plane<u16>| {
            let of = |(y, x): (usize, usize)| {
                [[0, 0], [0, 1], [1, 0], [1, 1]].map(|[b, a]| u32::from(p[[2 * y + b, 2 * x + a]])).iter().sum::<u32>()
            };
            Plane::from_shape_fn((rows / 2, columns / 2), |at| u16::try_from(of(at) / 4).unwrap())
        };
        let optics = Optics { um_per_px: 2.0 * s.optics.um_per_px, ..s.optics };
        Some(Scene { optics, field: halved(&s.field), blank: halved(&s.blank), dark: s.dark.as_ref().map(halved), ..s.clone() })
    }),
    (FlagId::BelowResolution, |_, s, _| Some(Scene { optics: Optics { numerical_aperture: Some(0.2), ..s.optics }, ..s.clone() })),
    (FlagId::TooDense, |_, s, good| {
        // The picture laid over itself, shifted, until particles cover about two fifths; under light that is even enough for that.
        good.fitness.evenness.filter(|ratio| *ratio > 0.7)?;
        let (rows, columns) = s.field.dim();
        let share = good.fitness.pixels[2] as f64 / good.area_px2();
        let layers = (1..60usize).find(|&k| k as f64 * share >= 0.5).unwrap_or(60);
        let of = |(y, x): (usize, usize), k: usize| f64::from(s.field[[(y + 37 * k) % rows, (x + 59 * k) % columns]]);
        let over = |a: f64, b: f64| if s.is_dark_field() { a.max(b) } else { a.min(b) };
        Some(s.with(false, |at, c| (1..=layers).map(|k| of(at, k)).fold(c, over)))
    }),
    (FlagId::ClearFilm, |_, s, _| (!s.is_dark_field()).then(|| Scene { field: s.blank.clone(), ..s.clone() })),
    (FlagId::NoObjects, |_, s, _| (!s.is_dark_field()).then(|| Scene { field: s.blank.mapv(|c| c / 2), ..s.clone() })),
    (FlagId::BlurNotMeasured, |_, s, _| (!s.is_dark_field()).then(|| Scene { field: s.blank.mapv(|c| c / 2), ..s.clone() })),
];

#[test]
fn planted_faults_are_found_and_good_fields_have_none() {
    let scenes: Vec<(usize, Scene, FieldResult)> = (0..200usize)
        .into_par_iter()
        .map(|i| {
            let scene = Scene::of(&good(i));
            let result = scene.measured(None);
            (i, scene, result)
        })
        .collect();
    let flagged: Vec<_> = scenes.iter().filter(|s| !s.2.flags.is_empty()).map(|s| (s.0, &s.2.flags)).collect();
    assert!(flagged.len() <= 4, "{} good fields: {flagged:#?}", flagged.len());
    let mut poor = Vec::new();
    for (k, (fault, plant)) in FAULTS.iter().enumerate() {
        let planted: Vec<_> =
            scenes.iter().filter(|s| (s.0 / 3 + k) % 5 == 0).filter_map(|(i, s, r)| Some((*i, plant(*i, s, r)?))).collect();
        let missed: Vec<_> = planted
            .par_iter()
            .map(|(i, scene)| (*i, scene.mode, scene.measured(None)))
            .filter(|(_, _, result)| !ids(result).contains(&fault.word()))
            .map(|(i, mode, result)| (i, mode, result.flags.iter().map(|f| (f.id, f.value)).collect::<Vec<_>>(), result.fitness))
            .collect();
        if planted.len() < 8 || missed.len() * 20 > planted.len() {
            poor.push(format!("{}: {} of {} {missed:?}", fault.word(), missed.len(), planted.len()));
        }
    }
    assert!(poor.is_empty(), "{poor:#?}");
}

#[test]
fn a_film_of_hollow_things_and_a_field_without_film() {
    let spec = PhantomSpec { film: FilmSpec { ..FilmSpec::refracting() }, mode: Mode::Transmitted, size: (400, 300), ..good(4) };
    let result = Scene::of(&spec).measured(None);
    assert!(ids(&result).contains(&"many_left_out"), "{:?}", result.flags);
    let mut bare = Scene::of(&good(0));
    bare.field = bare.blank.clone();
    assert!(ids(&bare.measured(Some(15_000))).contains(&"mostly_bare"));
    let depth = PhantomSpec { film: FilmSpec { depth_um: 3.0, ..FilmSpec::film() }, size: (400, 300), ..good(4) };
    let result = Scene::of(&depth).measured(None);
    let edges = sharpness::Edges::of(&Recipe::default());
    let unsharp = result.objects.iter().filter_map(|o| edges.is_unsharp(&result, o)).collect::<Vec<_>>();
    assert!(unsharp.iter().any(|u| *u) && unsharp.iter().any(|u| !*u), "some lie in focus, some do not");
}

/// Fields that show parts of one film: pictures of it cut at these places, each with noise of its own.
fn cut(film: &Scene, places: &[(usize, usize)], size: (usize, usize)) -> Vec<Scene> {
    let part = |of: &Plane<u16>, (y, x): (usize, usize)| of.slice(ndarray::s![y..y + size.1, x..x + size.0]).to_owned();
    let one = |(k, place): (u64, &(usize, usize))| {
        let scene = Scene { field: part(&film.field, *place), blank: part(&film.blank, (0, 0)), ..film.clone() };
        let noise = Source::new(79, k);
        scene.with(false, |(y, x), c| c * (1.0 + 0.01 * noise.normals((y * size.0 + x) as u64)[0]))
    };
    (0..).zip(places).map(one).collect()
}

/// A film of 4 fields and more in transmitted light, evenly lit, so that it can be cut up.
fn large(i: usize) -> Scene {
    let even = Light { tilt_pct: 0.0, tilt_deg: 0.0, vignette_pct: 0.0 };
    let base = good(4 * i);
    Scene::of(&PhantomSpec { size: (640, 520), lamp: even, film: FilmSpec { haze_cv_pct: 4.0, ..base.film }, ..base })
}

#[test]
fn what_only_the_siblings_of_a_field_tell() {
    const PLACES: [(usize, usize); 4] = [(0, 0), (0, 340), (280, 0), (280, 340)];
    let films: Vec<Scene> = (0..10usize).into_par_iter().map(large).collect();
    let marked = |scenes: &[Scene]| {
        let mut results: Vec<FieldResult> = scenes.iter().map(|s| s.measured(None)).collect();
        siblings::mark(&mut results);
        results.iter().map(|r| ids(r)).collect::<Vec<_>>()
    };
    let mut wrong = [0; 6];
    let mut bright = [0; 2];
    for (i, film) in films.iter().enumerate() {
        let scenes = cut(film, &PLACES, (300, 240));
        let alone = marked(&scenes);
        wrong[0] += alone.iter().filter(|ids| !ids.is_empty()).count();
        // One field out of focus, one of another film, one of much more noise: it is told, and it alone.
        let noise = Source::new(80, i as u64);
        let odd: [Scene; 3] = [
            scenes[2].blurred(&gaussian(1.5)),
            scenes[2].with(false, |_, c| 0.5 * c),
            scenes[2].with(false, |(y, x), c| c * (1.0 + 0.08 * noise.normals((y * 300 + x) as u64)[0])),
        ];
        for (k, odd) in odd.into_iter().enumerate() {
            let mut lot = scenes.clone();
            lot[2] = odd;
            let told: Vec<bool> = marked(&lot).iter().map(|ids| ids.contains(&"unlike_siblings")).collect();
            wrong[1 + k] += usize::from(told != [false, false, true, false]);
        }
        // A blank of another lamp, and one whose dirt has moved.
        let tilted: Vec<Scene> = scenes.iter().map(|s| s.with_blank(|(_, x), c| c * (0.85 + 0.001 * x as f64))).collect();
        wrong[4] += marked(&tilted).iter().filter(|ids| !ids.contains(&"blank_differs")).count();
        let dirty: Vec<Scene> = scenes
            .iter()
            .map(|s| s.with_blank(|(y, x), c| if libm::hypot(y as f64 - 100.0, x as f64 - 150.0) < 12.0 { 0.1 * c } else { c }))
            .collect();
        wrong[5] += marked(&dirty).iter().filter(|ids| !ids.contains(&"blank_differs")).count();
        // A blank brighter than the fields' light is told by gaps that agree.
        let whole = film.measured(None);
        if whole.gaps.iter().filter(|gap| gap.largest_circle_px > 22.0).count() >= 4 {
            bright[0] += 1;
            bright[1] += usize::from(!ids(&film.with_blank(|_, c| 1.09 * c).measured(None)).contains(&"blank_differs"));
        }
    }
    assert!(bright[0] >= 3 && bright[1] == 0, "{bright:?}");
    assert!(wrong[0] <= 1 && wrong[1..].iter().all(|w| *w <= 2), "{wrong:?}");
    // The same place again, and parts of it, are found; other places are not.
    let mut overlapping = [0, 0];
    for film in &films {
        let places = [(0, 0), (0, 0), (40, 60), (120, 150), (280, 340)];
        let results: Vec<FieldResult> = cut(film, &places, (300, 240)).iter().map(|s| s.measured(None)).collect();
        let found = overlaps(&results, |_, _| true);
        for later in 1..places.len() {
            for earlier in 0..later {
                let [dy, dx] =
                    [0, 1].map(|k| [places[later].0, places[later].1][k] as f64 - [places[earlier].0, places[earlier].1][k] as f64);
                let share = shared((300, 240), [dx, dy]);
                let pair = found.iter().find(|o| (o.earlier, o.later) == (earlier, later));
                assert!(pair.is_none_or(|o| (o.shift_px[0] - dx).abs() < 1.0 && (o.shift_px[1] - dy).abs() < 1.0), "{pair:?}");
                // With fewer objects in common nobody can tell.
                if decides([&results[earlier], &results[later]], share) {
                    overlapping[1] += 1;
                    overlapping[0] += usize::from(pair.is_some());
                }
                assert!(share > 0.0 || pair.is_none(), "{pair:?}");
            }
        }
    }
    assert!(overlapping[1] >= 20 && overlapping[0] * 20 >= overlapping[1] * 19, "{overlapping:?}");
}
