//! What things do to the light, against closed forms.

use super::*;
use std::f64::consts::PI;

/// A clear or evenly hazy film without powder or gaps.
fn bare(od: f64) -> FilmSpec {
    FilmSpec { od, singles: Population { per_mm2: 0.0, ..FilmSpec::discs().singles }, ..FilmSpec::discs() }
}

fn placed(sort: Sort, size_um: f64, width_um: f64) -> Placed {
    Placed { sort, centre_um: [40.125, 30.125], size_um, width_um, angle_deg: 20.0 }
}

fn gaussian(film: &FilmSpec) -> PhantomSpec {
    PhantomSpec { blur: Blur::gaussian_of(0.65, 550.0), ..spec(film) }
}

/// Transmission ÷ the film's, of a field with things at stated places.
fn relative(spec: &PhantomSpec, things: &[Placed]) -> Vec<f64> {
    let level = libm::exp10(-spec.film.od);
    transmission(&Film::lay_around(spec, 0, 0, things)).iter().map(|t| t / level).collect()
}

/// Pixel (160, 120), whose centre is where things are placed, and others by their distance along x.
fn beside(picture: &[f64], x: usize) -> f64 {
    picture[120 * 320 + 160 + x]
}

/// A bubble is its outer less its inner disc: at its middle both are 1 − exp(−r²/2σ²) under a Gaussian, on average over the pixel
/// (1 − exp(−r²/2(σ² + 1/12)) to the second order); far inside, the film and a tenth.
#[test]
fn a_bubble_is_the_difference_of_two_discs() {
    let spec = gaussian(&bare(0.35));
    let (ring, s2) = (1.0 - libm::exp10(-0.6), spec.blur.sigma_um() * spec.blur.sigma_um() + 0.0625 / 12.0);
    let cover = |radius_um: f64| 1.0 - libm::exp(-0.5 * radius_um * radius_um / s2);
    for (size, width) in [(1.6, 0.4), (2.4, 0.9), (12.0, 1.2)] {
        let found = beside(&relative(&spec, &[placed(Sort::Bubble, size, width)]), 0);
        let expected = 1.0 - ring * cover(0.5 * size) + (ring + 0.1) * cover(0.5 * size - width);
        assert!((found - expected).abs() < 2e-3, "{size} {found} {expected}");
    }
    // The middle of a ring that is wide enough: 30 µm across, 3 µm wide, 13.5 µm off.
    let found = beside(&relative(&spec, &[placed(Sort::Bubble, 30.0, 3.0)]), 54);
    assert!((found - libm::exp10(-0.6)).abs() < 1e-3, "{found}");
}

/// The light that a thing takes is the sum of its layers' areas, whatever its form.
#[test]
fn light_taken_is_the_area_of_the_layers() {
    let spec = gaussian(&bare(0.2));
    for thing in [
        placed(Sort::Bubble, 20.0, 2.0),
        placed(Sort::Droplet, 15.0, 1.2),
        placed(Sort::Fibre, 40.0, 2.5),
        placed(Sort::Needle, 20.0, 3.0),
        placed(Sort::Plate, 12.0, 9.0),
        placed(Sort::Dust, 8.0, 8.0),
    ] {
        let film = Film::lay_around(&spec, 0, 0, &[thing]);
        let expected: f64 = film.strangers[0].figure.layers.iter().map(|l| l.taken * l.form.area()).sum();
        let found: f64 = relative(&spec, &[thing]).iter().map(|t| 1.0 - t).sum();
        assert!(expected > 0.0 && (found / expected - 1.0).abs() < 1e-3, "{thing:?} {found} {expected}");
    }
}

/// A crack bares its area; dewetting does too, and thickens its rim by 0.4 of the film's density.
#[test]
fn cracks_and_dewetting() {
    let spec = gaussian(&bare(0.35));
    let film = libm::exp10(-0.35);
    let crack = placed(Sort::Crack, 40.0, 3.0);
    let area = Film::lay_around(&spec, 0, 0, &[crack]).gaps[0].figure.form.area();
    let gained: f64 = relative(&spec, &[crack]).iter().map(|t| t * film - film).sum();
    assert!((gained / ((1.0 - film) * area) - 1.0).abs() < 1e-3, "{gained} {area}");
    let dewetting = placed(Sort::Dewetting, 16.0, 6.0);
    let picture = relative(&spec, &[dewetting]);
    assert!((beside(&picture, 0) * film - 1.0).abs() < 1e-3);
    let darkest = (0..80).fold(f64::INFINITY, |m, x| m.min(beside(&picture, x)));
    assert!((darkest * film - libm::exp10(-1.4 * 0.35)).abs() < 1e-3, "{darkest}");
}

/// Dust takes its share of film and of bare places alike.
#[test]
fn dust_darkens_whatever_lies_beneath() {
    let spec = gaussian(&bare(0.35));
    let dust = placed(Sort::Dust, 8.0, 8.0);
    let (alone, over_gap) = (relative(&spec, &[dust]), relative(&spec, &[dust, placed(Sort::Dewetting, 40.0, 3.0)]));
    assert!((beside(&alone, 0) - libm::exp10(-0.8)).abs() < 1e-3);
    assert!((beside(&over_gap, 0) - libm::exp10(0.35 - 0.8)).abs() < 1e-3);
}

/// An absorbing sphere takes πR² (1 − 2 (1 − (1 + κ) exp(−κ))/κ²), κ = OD ln 10; a refracting one what falls outside the kept radius.
#[test]
fn spheres_take_the_light_of_their_closed_forms() {
    let kappa = 0.9 * std::f64::consts::LN_10;
    let kept = sphere::kept_radius(4.0 / 3.0, 0.65 / 1.5);
    let absorbing = 1.0 - 2.0 * (1.0 - (1.0 + kappa) * libm::exp(-kappa)) / (kappa * kappa);
    for (film, share) in [(FilmSpec::spheres(), absorbing), (FilmSpec::refracting(), 1.0 - kept * kept)] {
        let mut film = Film::lay(&spec(&FilmSpec { singles: bare(0.0).singles, od: 0.0, ..film }), 0, 0);
        film.discs = vec![floor::Disc { centre: [160.5, 120.5], radius: 12.0 }];
        film.objects = vec![lay::LaidPowder { discs: 0..1, depth_um: 0.0 }];
        let found: f64 = transmission(&film).iter().map(|t| 1.0 - t).sum();
        let expected = share * PI * 144.0;
        // The lens' tails are followed until they add less than 5·10⁻⁴.
        assert!((found / expected - 1.0).abs() < 0.012, "{share} {found} {expected}");
    }
}

/// Out of focus the light goes elsewhere and none is lost; the edge is softer.
#[test]
fn defocus_keeps_the_light() {
    let even = spec(&FilmSpec { od: 0.0, singles: bare(0.0).singles, ..FilmSpec::depth() });
    let at = |depth_um: f64| {
        let mut film = Film::lay(&even, 0, 0);
        film.discs = vec![floor::Disc { centre: [160.5, 120.5], radius: 8.0 }];
        film.objects = vec![lay::LaidPowder { discs: 0..1, depth_um }];
        transmission(&film)
    };
    let lost = |picture: &[f64]| picture.iter().map(|t| 1.0 - t).sum::<f64>();
    let (sharp, soft) = (at(0.0), at(3.0));
    assert!((lost(&soft) / lost(&sharp) - 1.0).abs() < 2e-3, "{} {}", lost(&soft), lost(&sharp));
    assert!(beside(&soft, 10) < beside(&sharp, 10) - 0.1 && beside(&soft, 6) > beside(&sharp, 6) + 0.1);
    // Above and below the plane of focus are alike.
    assert_eq!(soft, at(-3.0));
}

/// The haze of a margin: at the side 1.2 times the density, beyond its width none more.
#[test]
fn haze_of_a_margin() {
    let margin = Margin { width_um: 40.0, powder_times: 1.0, od_times: 1.2 };
    let picture = transmission(&Film::lay(&spec(&FilmSpec { margin, ..bare(0.35) }), 0, 0));
    let od = |x: usize| -libm::log10(picture[100 * 320 + x]);
    // Pixel 0 lies 0.125 µm from the side.
    assert!((od(0) / 0.35 - (1.0 + 0.2 * (1.0 - 0.125 / 40.0))).abs() < 1e-9);
    assert!((od(80) / 0.35 - (1.0 + 0.2 * (1.0 - 20.125 / 40.0))).abs() < 1e-9);
    assert!((od(170) / 0.35 - 1.0).abs() < 1e-9);
}
