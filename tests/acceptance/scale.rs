//! The scale against outside values: straight lines of scipy, and rulings rendered by numpy; and what its uncertainty promises.

use std::path::PathBuf;

use evenfilm_core::phantom::{Blur, Camera, FilmSpec, Lamp, Mode, PhantomSpec, Ruled, Ruling, RulingSpec, Sparse};
use evenfilm_core::plane::{Plane, Rect, Samples};
use evenfilm_core::random::{Draws, Source};
use evenfilm_core::scale::{Pitch, measure};
use evenfilm_core::statistics::straight_line;
use evenfilm_record::ruling::measure_ruling;
use evenfilm_tests::{check, number, numbers, reference};
use serde_json::Value;

fn truth() -> Value {
    let path = reference().join("rulings/truth.json");
    serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap()
}

fn file(of: &Value) -> PathBuf {
    reference().join("rulings").join(of["file"].as_str().unwrap())
}

/// check id calib.micrometer (scipy 1.17.1 linregress): slope, its standard error, intercept and residual deviation.
#[test]
fn the_worked_example_of_a_stage_micrometer() {
    let of = check("calib.micrometer");
    let line = straight_line(&numbers(&of["inputs"]["px"]), &numbers(&of["inputs"]["um"])).unwrap();
    let expected = |key: &str| number(&of["expected"][key]);
    for (found, key) in [
        (line.slope, "slope um/px"),
        (line.slope_u, "slope SE"),
        (line.intercept, "intercept"),
        (line.intercept_u, "intercept SE"),
        (line.residual_sd, "residual SD um"),
    ] {
        assert!((found / expected(key) - 1.0).abs() < 1e-8, "{key}: {found} {}", expected(key));
    }
}

/// scipy.stats.linregress of lines with 5, 40 and 200 points (`render_rulings.py`).
#[test]
fn straight_lines_are_those_of_scipy() {
    let truth = truth();
    let lines = truth["lines"].as_array().unwrap();
    assert_eq!(lines.len(), 3);
    for of in lines {
        let line = straight_line(&numbers(&of["x"]), &numbers(&of["y"])).unwrap();
        for (found, key) in
            [(line.slope, "slope"), (line.slope_u, "slope_se"), (line.intercept, "intercept"), (line.intercept_u, "intercept_se")]
        {
            // scipy takes residuals from 1 − r², which leaves it 8 digits where points lie close to the line.
            assert!((found / number(&of[key]) - 1.0).abs() < 1e-7, "{key}: {found} {}", of[key]);
        }
    }
}

/// Rulings rendered by numpy and scipy, without any code of this program: within 0.05 %, and within what the uncertainty allows (3.5 times,
/// which one of 2000 exceeds).
#[test]
fn rulings_rendered_outside_are_measured() {
    let truth = truth();
    let good = truth["good"].as_array().unwrap();
    assert!(good.len() >= 7);
    for of in good {
        let um = number(&of["um_per_px"]);
        let ruled = measure_ruling(&file(of), Pitch { um: number(&of["pitch_um"]), u_um: 0.0 }).unwrap_or_else(|e| panic!("{of}: {e}"));
        let off = ruled.scale.um_per_px / um - 1.0;
        assert!(off.abs() < 5e-4 && off.abs() < 3.5 * ruled.scale.um_per_px_u / um, "{of}: {off:e}, u {:e}", ruled.scale.um_per_px_u / um);
        assert!((ruled.scale.angle_deg - number(&of["angle_deg"])).abs() < 0.1, "{of}: {}", ruled.scale.angle_deg);
    }
}

/// Pictures that leave the scale in doubt are refused, each for its own reason.
#[test]
fn doubtful_pictures_are_refused() {
    let truth = truth();
    let bad = truth["bad"].as_array().unwrap();
    assert!(bad.len() >= 7);
    for of in bad {
        let fault = measure_ruling(&file(of), Pitch { um: number(&of["pitch_um"]), u_um: 0.0 }).map(|ruled| ruled.scale).unwrap_err();
        let reasons = of["reason"].as_str().unwrap();
        assert!(reasons.split('|').any(|reason| fault.message.contains(reason)), "{of}: {fault}");
        assert!(!fault.remedy.is_empty());
    }
    // Films and coins are no rulings.
    for path in ["films/kept-kinds-8/f01.tif", "coins/coins.png"] {
        let path = reference().join(path);
        assert!(path.exists(), "{}", path.display());
        assert!(measure_ruling(&path, Pitch { um: 10.0, u_um: 0.0 }).is_err(), "{}", path.display());
    }
}

/// A ruling as chance has it: scale, pitch, turn, tone, blur, contrast, light, noise, dust, and a certificate that is off by chance.
fn drawn(draws: &mut Draws, seed: u64) -> (PhantomSpec, RulingSpec, Pitch) {
    let um = 0.1 * libm::exp(draws.uniform() * libm::log(10.0));
    let pitch_px = draws.between(9.0, 40.0);
    let pitch_um = pitch_px * um;
    let u_um = if draws.uniform() < 0.5 { 0.0 } else { 3e-4 * pitch_um };
    let ruling = RulingSpec {
        pitch_um,
        ruled: [Ruled::Upright, Ruled::Level][draws.below(2)],
        angle_deg: draws.between(-14.0, 14.0),
        offset: draws.between(-0.5, 0.5),
        width_um: pitch_um * draws.between(0.15, 0.4),
        lengths_um: [80.0, 110.0, 140.0].map(|px| px * um),
        taken: draws.between(0.3, 0.95),
        placement_um: pitch_um * draws.between(0.0, 0.01),
    };
    let mut film = FilmSpec::glass();
    film.strangers.dust = Sparse { size_um: [4.0 * um, 20.0 * um], ..film.strangers.dust.per_field(3) };
    let spec = PhantomSpec {
        seed,
        size: (320, 240),
        um_per_px: um,
        blur: Blur::Gaussian { sigma_um: um * draws.between(0.7, 1.8) },
        film,
        lamp: Lamp { tilt_pct: draws.between(0.0, 40.0), tilt_deg: draws.between(0.0, 360.0), vignette_pct: draws.between(0.0, 30.0) },
        mode: if draws.uniform() < 0.3 { Mode::Darkfield } else { Mode::Transmitted },
        camera: Camera {
            full_scale: if draws.uniform() < 0.5 { 255 } else { 65535 },
            exposure: 0.8,
            full_well_e: draws.between(4000.0, 30_000.0),
            read_noise_e: 8.0,
            black_pct: 0.0,
            blank_frames: 1,
        },
    };
    let stated = pitch_um + u_um * draws.normal();
    (spec, ruling, Pitch { um: stated, u_um })
}

/// Of 100 drawn rulings, all are measured, twice the standard uncertainty covers the true scale in about 95, and what it says is not idle: with
/// half of it far fewer are covered. A binomial number of 100 with 0.95 lies in 89 to 99 in 98.8 % of cases (exact binomial).
#[test]
fn twice_the_standard_uncertainty_covers_95_of_100() {
    let mut draws = Draws::new(Source::new(41, 0));
    let (mut covered, mut half) = (0, 0);
    for seed in 0..100 {
        let (spec, ruling, pitch) = drawn(&mut draws, seed);
        let laid = Ruling::lay(&spec, &ruling, 0);
        let mut counts = Plane::zeros((spec.size.1 as usize, spec.size.0 as usize));
        laid.read(Rect::whole(spec.size), counts.as_slice_mut().unwrap()).unwrap();
        let found = measure(&counts, pitch).unwrap_or_else(|e| panic!("{seed}: {e}; {ruling:?} {spec:?}"));
        let off = (found.um_per_px - spec.um_per_px).abs();
        covered += u32::from(off <= 2.0 * found.um_per_px_u);
        half += u32::from(off <= found.um_per_px_u);
    }
    println!("covered {covered} of 100, by half {half}");
    assert!((89..=99).contains(&covered), "{covered} of 100");
    assert!((55..=82).contains(&half), "{half} of 100");
}
