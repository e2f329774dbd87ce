//! Films against closed forms, and against themselves cut otherwise.

use super::lens::Blur;
use super::*;
use crate::plane::{Rect, Samples};

mod light;
mod strangers;

pub(super) fn spec(film: &FilmSpec) -> PhantomSpec {
    PhantomSpec {
        seed: 42,
        size: (320, 240),
        um_per_px: 0.25,
        blur: Blur::Airy { numerical_aperture: 0.65, wavelength_nm: 550.0 },
        film: *film,
        lamp: Lamp { tilt_pct: 20.0, tilt_deg: 30.0, vignette_pct: 30.0 },
        mode: Mode::Transmitted,
        camera: Camera { full_scale: u16::MAX, exposure: 0.8, full_well_e: 15_000.0, read_noise_e: 8.0, black_pct: 0.0, blank_frames: 16 },
    }
}

fn counts(of: &dyn Samples, at: Rect) -> Vec<u16> {
    let mut out = vec![0; at.width as usize * at.height as usize];
    of.read(at, &mut out).unwrap();
    out
}

fn transmission(film: &Film) -> Vec<f64> {
    let at = Rect::whole(film.spec.size);
    let mut out = vec![0.0; at.width as usize * at.height as usize];
    film.render(at, &mut out);
    out
}

/// Every kind of phantom, with one of every sort of stranger.
fn one_of_each() -> impl Iterator<Item = Film> {
    let of = |sort, x: f64, y: f64, size_um, width_um| Placed { sort, centre_um: [x, y], size_um, width_um, angle_deg: 25.0 };
    let strangers = [
        of(Sort::Bubble, 12.0, 12.0, 14.0, 1.4),
        of(Sort::Droplet, 32.0, 10.0, 10.0, 0.8),
        of(Sort::Fibre, 40.0, 33.0, 60.0, 2.0),
        of(Sort::Needle, 52.0, 12.0, 14.0, 2.0),
        of(Sort::Plate, 70.0, 12.0, 10.0, 8.0),
        of(Sort::Dust, 79.0, 30.0, 8.0, 8.0),
        of(Sort::Crack, 25.0, 45.0, 30.0, 2.5),
        of(Sort::Dewetting, 66.0, 46.0, 10.0, 2.5),
    ];
    let kinds = [FilmSpec::film(), FilmSpec::discs(), FilmSpec::kinds(), FilmSpec::spheres(), FilmSpec::refracting(), FilmSpec::depth()];
    kinds.into_iter().map(move |kind| Film::lay_around(&spec(&kind), 1, 2, &strangers))
}

#[test]
fn threads_do_not_change_a_byte() {
    for film in one_of_each() {
        let at = Rect::whole(film.spec.size);
        let with = |n: usize| rayon::ThreadPoolBuilder::new().num_threads(n).build().unwrap().install(|| counts(&film, at));
        assert_eq!(with(1), with(2));
    }
}

#[test]
fn a_part_is_the_same_as_in_the_whole() {
    for film in one_of_each() {
        let whole = counts(&film, Rect::whole(film.spec.size));
        let part = counts(&film, Rect::new(37, 51, 100, 90));
        for (i, count) in part.iter().enumerate() {
            assert_eq!(*count, whole[(51 + i / 100) * 320 + 37 + i % 100]);
        }
    }
}

#[test]
fn seed_slide_and_field_give_other_films() {
    let base = spec(&FilmSpec::film());
    let laid = |seed, slide, field| Film::lay(&PhantomSpec { seed, ..base }, slide, field).discs;
    assert_eq!(laid(1, 0, 0), laid(1, 0, 0));
    for other in [laid(2, 0, 0), laid(1, 1, 0), laid(1, 0, 1)] {
        assert_ne!(laid(1, 0, 0), other);
    }
}

/// Separate things keep their distance; the constituents of a clump touch and never overlap.
#[test]
fn objects_are_apart_and_clumps_hold_together() {
    let film = Film::lay(&spec(&FilmSpec::film()), 0, 1);
    assert!(film.objects.iter().any(|o| o.discs.len() > 2) && film.objects.len() > 10);
    let gap_between =
        |a: &floor::Disc, b: &floor::Disc| libm::hypot(a.centre[0] - b.centre[0], a.centre[1] - b.centre[1]) - a.radius - b.radius;
    for (i, a) in film.objects.iter().enumerate() {
        for (j, b) in film.objects.iter().enumerate() {
            for (m, k) in a.discs.clone().flat_map(|m| b.discs.clone().map(move |k| (m, k))).filter(|(m, k)| m != k) {
                let distance = gap_between(&film.discs[m], &film.discs[k]);
                assert!(distance > if i == j { -1e-8 } else { 1.2 / 0.25 - 1e-9 }, "{i} {j} {m} {k} {distance}");
            }
        }
        for m in a.discs.clone().filter(|_| a.discs.len() > 1) {
            assert!(a.discs.clone().any(|k| k != m && gap_between(&film.discs[m], &film.discs[k]) < 1e-8));
        }
    }
}

/// Light lost in the picture is the light that the particles within it take: with a Gaussian, and a clear film, to 0.1 %.
#[test]
fn light_taken_is_the_area_of_the_particles() {
    let film = FilmSpec { od: 0.0, singles: Population { per_mm2: 2000.0, ..FilmSpec::film().singles }, ..FilmSpec::discs() };
    let spec = PhantomSpec { blur: Blur::gaussian_of(0.65, 550.0), ..spec(&film) };
    let film = Film::lay(&spec, 0, 0);
    let lost: f64 = transmission(&film).iter().map(|t| 1.0 - t).sum();
    let taken = 1.0 - libm::exp10(-spec.film.particle_od);
    let truth = Truth::of(&film);
    let expected = taken * truth.particle_area_pct() / 100.0 * 320.0 * 240.0;
    assert!(!truth.objects.is_empty() && (lost / expected - 1.0).abs() < 1e-3, "{lost} {expected}");
}

/// The same for gaps in a film of even haze.
#[test]
fn light_gained_is_the_area_of_the_gaps() {
    let bare = FilmSpec { haze_cv_pct: 0.0, singles: Population { per_mm2: 0.0, ..FilmSpec::film().singles }, ..FilmSpec::film() };
    let bare = FilmSpec { clumps: Clumps { per_mm2: 0.0, ..bare.clumps }, gaps: Population { per_mm2: 2000.0, ..bare.gaps }, ..bare };
    let spec = PhantomSpec { blur: Blur::gaussian_of(0.65, 550.0), ..spec(&bare) };
    let film = Film::lay(&spec, 0, 3);
    let haze = libm::exp10(-0.35);
    let gained: f64 = transmission(&film).iter().map(|t| (t - haze) / (1.0 - haze)).sum();
    let expected = Truth::of(&film).uncovered_area_pct() / 100.0 * 320.0 * 240.0;
    assert!(film.gaps.len() > 1 && (gained / expected - 1.0).abs() < 1e-3, "{} {gained} {expected}", film.gaps.len());
}

/// A pixel in the middle of a disc of 3 µm, with the Airy tails beyond its edge: 1 less the encircled energy.
#[test]
fn airy_tails_reach_the_core() {
    let mut film = Film::lay(&spec(&FilmSpec { od: 0.0, ..FilmSpec::discs() }), 0, 0);
    film.discs = vec![floor::Disc { centre: [100.5, 100.5], radius: 6.0 }];
    film.objects = vec![lay::LaidPowder { discs: 0..1, depth_um: 0.0 }];
    let found = transmission(&film)[100 * 320 + 100];
    let a = std::f64::consts::TAU * 0.65 / 0.55 * 0.25;
    let expected = 1.0 - (1.0 - libm::exp10(-0.9)) * lens::airy_energy(a * 6.0);
    assert!((found - expected).abs() < 1e-3, "{found} {expected}");
}

/// Hatch and Choate 1929, over many fields: x50,3 = x50,0 exp(3 s²) and D[3,2] = x50,0 exp(5s²/2) for s = ln GSD.
#[test]
fn true_sizes_of_log_normal_discs() {
    let singles = Population { per_mm2: 6000.0, median_um: 1.5, gsd: 1.25, range_um: [0.3, 6.0] };
    let spec = PhantomSpec { size: (1200, 1200), ..spec(&FilmSpec { singles, clear_um: 0.3, ..FilmSpec::discs() }) };
    let fields: Vec<Truth> = (0..8).map(|field| Truth::of(&Film::lay(&spec, 0, field))).collect();
    let found = truth::sizes(&fields, 0.0).unwrap();
    let s2 = libm::log(1.25) * libm::log(1.25);
    let close = |x: f64, expected: f64, rel: f64| assert!((x / expected - 1.0).abs() < rel, "{x} {expected} {found:?}");
    close(found.x_0_um[1], 1.5, 0.015);
    close(found.x_3_um[1], 1.5 * libm::exp(3.0 * s2), 0.03);
    close(found.d32_um, 1.5 * libm::exp(2.5 * s2), 0.02);
    close(found.d43_um, 1.5 * libm::exp(3.5 * s2), 0.03);
}

#[test]
fn a_large_hole_bares_its_share() {
    for hole_pct in [5.0, 30.0, 70.0] {
        let film = FilmSpec { hole_pct, gaps: Population { per_mm2: 0.0, ..FilmSpec::film().gaps }, ..FilmSpec::film() };
        let truth = Truth::of(&Film::lay(&spec(&film), 0, 0));
        assert!((truth.uncovered_area_pct() - hole_pct).abs() < 1e-6);
    }
}

/// Noise of an even picture: √(signal electrons + read²), and the blank's a quarter of it with 16 frames.
#[test]
fn noise_is_shot_and_read_noise() {
    let even = PhantomSpec { lamp: Lamp { tilt_pct: 0.0, tilt_deg: 0.0, vignette_pct: 0.0 }, ..spec(&FilmSpec::film()) };
    let at = Rect::whole(even.size);
    let spread = |counts: &[u16]| {
        let mean = counts.iter().map(|&c| f64::from(c)).sum::<f64>() / counts.len() as f64;
        let variance = counts.iter().map(|&c| (f64::from(c) - mean) * (f64::from(c) - mean)).sum::<f64>() / counts.len() as f64;
        (mean / 65_535.0 * 15_000.0, variance.sqrt() / 65_535.0 * 15_000.0)
    };
    let (mean, sigma) = spread(&counts(&Blank(even), at));
    assert!((mean - 12_000.0).abs() < 1.0 && (sigma / (12_064.0_f64.sqrt() / 4.0) - 1.0).abs() < 0.02, "{mean} {sigma}");
    let dark = PhantomSpec { camera: Camera { black_pct: 2.0, blank_frames: 1, ..even.camera }, ..even };
    let (mean, sigma) = spread(&counts(&Dark(dark), at));
    assert!((mean - 300.0).abs() < 0.5 && (sigma / (8.0 * 0.98) - 1.0).abs() < 0.02, "{mean} {sigma}");
}

#[test]
fn light_is_tilted_and_vignetted_as_stated() {
    let lamp = Lamp { tilt_pct: 20.0, tilt_deg: 0.0, vignette_pct: 0.0 };
    let size = (1000, 1000);
    let (dark, bright) = (lamp.over(size)(0, 500), lamp.over(size)(999, 500));
    assert!(((bright - dark) / (0.5 * (bright + dark)) - 0.2).abs() < 1e-3);
    let lamp = Lamp { tilt_pct: 0.0, tilt_deg: 0.0, vignette_pct: 30.0 };
    assert!((lamp.over(size)(0, 0) / lamp.over(size)(500, 500) - 0.7).abs() < 2e-3);
}

#[test]
fn eight_bits_fill_their_scale_and_no_more() {
    let base = spec(&FilmSpec::film());
    let spec = PhantomSpec { camera: Camera { full_scale: 255, exposure: 1.2, ..base.camera }, ..base };
    let blank = counts(&Blank(spec), Rect::whole(spec.size));
    assert_eq!(blank.iter().max(), Some(&255));
}

#[test]
fn dark_field_is_what_the_film_does_not_let_through() {
    let base = spec(&FilmSpec::film());
    let quiet = PhantomSpec { camera: Camera { full_well_e: 1e9, read_noise_e: 0.0, ..base.camera }, ..base };
    let dark = PhantomSpec { mode: Mode::Darkfield, ..quiet };
    let at = Rect::new(40, 30, 200, 150);
    let [bright, scattered] = [quiet, dark].map(|s| counts(&Film::lay(&s, 0, 0), at));
    for ((through, scattered), white) in bright.iter().zip(&scattered).zip(counts(&Blank(dark), at)) {
        let sum = f64::from(*through) + f64::from(*scattered);
        assert!((sum - f64::from(white)).abs() < 40.0, "{through} + {scattered} of {white}");
    }
    assert!(counts(&Dark(dark), at).iter().all(|&c| c == 0));
}
