//! Where strangers lie, and what truth says of them.

use super::*;
use crate::recipe::{GapKind, Kind};
use polygon::{apart, depth};

fn kinds() -> PhantomSpec {
    PhantomSpec { size: (1600, 1200), ..spec(&FilmSpec::kinds()) }
}

fn only(strangers: &Strangers) -> FilmSpec {
    FilmSpec { strangers: *strangers, ..FilmSpec::discs() }
}

/// Over four fields everything turns up, at least five resolution widths large, and nothing comes near anything else.
#[test]
fn all_kinds_are_laid_apart() {
    let (spec, mut seen, mut gaps_seen) = (kinds(), Vec::new(), Vec::new());
    for field in 0..4 {
        let film = Film::lay(&spec, 0, field);
        let truth = Truth::of(&film);
        seen.extend(truth.objects.iter().map(|o| o.kind));
        gaps_seen.extend(truth.gaps.iter().map(|g| g.kind));
        for thing in truth.left_out() {
            assert!(thing.box_um[0].max(thing.box_um[1]) > 5.0 * 0.61 * 0.55 / 0.65 && !thing.touches_frame, "{thing:?}");
        }
        let outlines: Vec<Vec<[f64; 2]>> = (film.strangers.iter().map(|s| s.figure.outermost().polygon(s.centre, 256)))
            .chain(film.gaps.iter().map(|g| g.figure.outermost().polygon(g.centre, 256)))
            .collect();
        let clear = 0.99 * spec.film.clear_um / spec.um_per_px;
        for (i, a) in outlines.iter().enumerate() {
            assert!(outlines[..i].iter().all(|b| apart(a, b, clear)));
            assert!(film.discs.iter().all(|d| depth(a, d.centre) < -(d.radius + clear)));
        }
    }
    for kind in [Kind::Powder, Kind::Hollow, Kind::Fibre, Kind::Crystal, Kind::Dust] {
        assert!(seen.contains(&kind), "{kind:?}");
    }
    for kind in [GapKind::Round, GapKind::Crack, GapKind::Dewetting] {
        assert!(gaps_seen.contains(&kind), "{kind:?}");
    }
}

/// Dust lies on the optics: in every field of every slide at the same place, whatever else is laid.
#[test]
fn dust_stays_where_it_is() {
    let dust = |spec: &PhantomSpec, slide, field| {
        let film = Film::lay(spec, slide, field);
        film.strangers.into_iter().filter(|s| s.kind == Kind::Dust).collect::<Vec<_>>()
    };
    let spec = kinds();
    let first = dust(&spec, 0, 0);
    assert_eq!(first.len(), 6);
    assert_eq!(dust(&spec, 0, 3), first);
    assert_eq!(dust(&spec, 1, 0), first);
    let film =
        FilmSpec { clumps: FilmSpec::discs().clumps, ..only(&Strangers { dust: FilmSpec::kinds().strangers.dust, ..Strangers::NONE }) };
    assert_eq!(dust(&PhantomSpec { film: FilmSpec { clear_um: spec.film.clear_um, ..film }, ..spec }, 2, 5), first);
}

/// A number per field is that number, and none of the others come along.
#[test]
fn so_many_in_a_field() {
    let strangers =
        Strangers { bubbles: Strangers::NONE.bubbles.per_field(1), cracks: Strangers::NONE.cracks.per_field(2), ..Strangers::NONE };
    let spec = PhantomSpec { size: (800, 600), ..spec(&only(&strangers)) };
    for field in 0..3 {
        let film = Film::lay(&spec, 0, field);
        assert_eq!(film.strangers.iter().map(|s| s.kind).collect::<Vec<_>>(), [Kind::Hollow]);
        assert_eq!(film.gaps.iter().map(|g| g.kind).collect::<Vec<_>>(), [GapKind::Crack; 2]);
    }
}

/// One bubble of 30 µm at a stated place among many particles: truth has it beside the powder, not in it.
#[test]
fn one_bubble_among_powder() {
    let spec = PhantomSpec { size: (800, 600), ..spec(&FilmSpec::discs()) };
    let bubble = Placed { sort: Sort::Bubble, centre_um: [100.0, 75.0], size_um: 30.0, width_um: 3.0, angle_deg: 0.0 };
    for field in 0..2 {
        let film = Film::lay_around(&spec, 0, field, &[bubble]);
        let truth = Truth::of(&film);
        let left_out: Vec<_> = truth.left_out().collect();
        assert_eq!(left_out.len(), 1);
        assert!((left_out[0].diameter_um - 30.0).abs() < 1e-9 && (left_out[0].centre_um[0] - 100.0).abs() < 1e-6);
        assert!((truth.left_out_area_pct() / 100.0 * 200.0 * 150.0 - 225.0 * std::f64::consts::PI).abs() < 1e-6);
        assert!(truth.powder().count() > 80 && truth.powder().all(|o| o.diameter_um <= 8.0));
        assert!(truth::sizes(&[truth], 0.0).unwrap().x_3_um[2] < 8.0);
    }
}

/// Constituents of whole objects, and the share of powder in objects from 5 µm, counted over the discs themselves.
#[test]
fn constituents_and_agglomerates() {
    let film = Film::lay(&kinds(), 0, 1);
    let truth = Truth::of(&film);
    let whole: usize = film.objects.iter().zip(&truth.objects).filter(|(_, t)| !t.touches_frame).map(|(o, _)| o.discs.len()).sum();
    assert!(truth::constituents(std::slice::from_ref(&truth)) == whole && whole > film.objects.len());
    let area = |from_px: f64| {
        let large = film
            .objects
            .iter()
            .map(|o| &film.discs[o.discs.clone()])
            .filter(|discs| discs.iter().map(|d| d.radius * d.radius).sum::<f64>().sqrt() * 2.0 >= from_px);
        large.flatten().map(|d| d.area_within(film.spec.frame())).sum::<f64>()
    };
    let expected = 100.0 * area(20.0) / area(0.0);
    assert!(expected > 1.0 && (truth::agglomerate_fraction_pct(&[truth], 5.0) - expected).abs() < 1e-9, "{expected}");
}

/// Depths are whole steps, evenly spread: mean 0 and, of 61 steps of 0.1 µm, variance (61² − 1)/12 steps².
#[test]
fn depths_are_even() {
    let film = Film::lay(&PhantomSpec { size: (2400, 1800), ..spec(&FilmSpec::depth()) }, 0, 0);
    let steps: Vec<f64> = film.objects.iter().map(|o| o.depth_um / 0.1).collect();
    let n = steps.len() as f64;
    let (mean, square) = (steps.iter().sum::<f64>() / n, steps.iter().map(|s| s * s).sum::<f64>() / n);
    assert!(steps.iter().all(|s| (s - s.round()).abs() < 1e-9 && s.abs() < 30.5) && n > 900.0);
    assert!(mean.abs() < 4.0 * (310.0 / n).sqrt() && (square / 310.0 - 1.0).abs() < 4.0 * (0.8 / n).sqrt(), "{mean} {square}");
}

/// Powder is denser within the margin: of 300 µm the first 30 of 60 hold (1 + 3 · ¾) · 30 of 300 + 90.
#[test]
fn powder_of_a_margin() {
    let margin = Margin { width_um: 60.0, powder_times: 4.0, od_times: 1.0 };
    let film = FilmSpec { margin, singles: Population { per_mm2: 800.0, ..FilmSpec::film().singles }, clear_um: 0.3, ..FilmSpec::discs() };
    let spec = PhantomSpec { size: (1200, 1200), ..spec(&film) };
    let films: Vec<Film> = (0..12).map(|field| Film::lay(&spec, 0, field)).collect();
    let (mut near, mut all) = (0.0, 0.0);
    for disc in films.iter().flat_map(|f| &f.discs) {
        near += f64::from(u8::from(disc.centre[0] < 120.0));
        all += 1.0;
    }
    let expected = 97.5 / 390.0;
    assert!((near / all - expected).abs() < 0.04 && (all / (12.0 * 800.0 * 0.3 * 0.39) - 1.0).abs() < 0.08, "{near} {all}");
}
