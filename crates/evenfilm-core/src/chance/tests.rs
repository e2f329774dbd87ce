//! The chance film against closed forms, and what it must never do.

use std::sync::atomic::AtomicBool;

use super::*;
use crate::field::{Setting, measure, objects_on_film, survey};
use crate::light::{Lamp, Optics};
use crate::plane::{Plane, Samples};
use crate::random::{Draws, Source};
use crate::recipe::AgglomerateRule;

fn with_watch<T>(work: impl FnOnce(Watch<'_>) -> T) -> T {
    let cancel = AtomicBool::new(false);
    work(Watch { cancel: &cancel, tell: &|_, _| () })
}

/// A film of level 18000 with discs `[x, y, radius]` whose edges are as soft as a blur of 1 px makes them.
fn film(side: usize, discs: &[[f64; 3]], recipe: &Recipe) -> FieldResult {
    let mut light = Plane::from_elem((side, side), 1.0f64);
    for &[x, y, radius] in discs {
        let range = |at: f64| floor(at - radius - 5.0)..floor(at + radius + 6.0).min(side);
        for row in range(y) {
            for column in range(x) {
                let d = ((column as f64 + 0.5 - x).powi(2) + (row as f64 + 0.5 - y).powi(2)).sqrt();
                light[[row, column]] *= 1.0 - 0.87 * 0.5 * libm::erfc((d - radius) / std::f64::consts::SQRT_2);
            }
        }
    }
    let picture = light.mapv(|l| crate::objects::to_level(18_000.0 * l));
    let blank = Plane::from_elem((side, side), 40_000u16);
    let optics = Optics { um_per_px: 0.25, numerical_aperture: Some(0.65), wavelength_nm: Some(550.0), full_scale: u16::MAX };
    with_watch(|watch| {
        let lamp = Lamp::new(Some(&blank as &dyn Samples), None, watch).unwrap();
        let setting = Setting { optics: &optics, recipe, necks: false, watch };
        let (seen, light) = survey(&picture, &lamp, &setting).unwrap();
        measure(&picture, (&seen, &light), None, &setting).unwrap()
    })
}

/// Discs of 3 to 5 px at random, wherever chance puts them.
fn random_discs(side: usize, count: usize, seed: u64) -> Vec<[f64; 3]> {
    let mut draws = Draws::new(Source::new(seed, 1));
    let mut at = || draws.between(0.0, side as f64);
    (0..count).map(|k| [at(), at(), 3.0 + (k % 5) as f64 * 0.5]).collect()
}

/// A recipe by which two constituents make an agglomerate.
fn of_pairs() -> Recipe {
    let mut recipe = Recipe::default();
    recipe.agglomerates.rule = AgglomerateRule::Constituents;
    recipe.agglomerates.min_constituents = 2;
    recipe.chance.placements = 40;
    recipe
}

fn chance_of(fields: &[&FieldResult], recipe: &Recipe) -> Chance {
    with_watch(|watch| by_chance(fields, recipe, watch)).unwrap()
}

/// Shares of the discs of each radius that touch no other, over some layings of 2000 × 2000 px.
fn alone(discs: &[[f64; 2]], density: f64) -> Vec<f64> {
    let singles = Singles::of_discs(discs, 0.1);
    let (mut lonely, mut all) = (vec![0.0; discs.len()], vec![0.0; discs.len()]);
    for number in 0..6 {
        let area = density * 4e6;
        let order = Order { seed: 5, number, frames: &[[2000.0; 2]], beyond: 2.0 * singles.bound(), area, drawn: 20_000 };
        let laid = lay(&order, &singles).remove(0);
        let mut met = vec![false; laid.len()];
        groups(&laid, &singles, 0.0).iter().flatten().for_each(|&i| met[i as usize] = true);
        for (one, met) in laid.iter().zip(met).filter(|(one, _)| one.at.iter().all(|c| (0.0..2000.0).contains(c))) {
            all[one.single as usize] += 1.0;
            lonely[one.single as usize] += f64::from(u8::from(!met));
        }
    }
    lonely.iter().zip(all).map(|(l, a)| l / a).collect()
}

#[test]
fn discs_at_random_touch_no_other_as_often_as_they_should() {
    // exp(−4C) for equal discs that cover C (check id film.coverage; Chiu, Stoyan, Kendall & Mecke 2013, ch. 3): 0.8187, 0.5066.
    for (cover, expected) in [(0.05, 0.818_731), (0.17, 0.506_617)] {
        let found = alone(&[[4.0, 1.0]], cover)[0];
        assert!((found - expected).abs() < 0.012, "{cover}: {found} {expected}");
    }
    // exp(−λπE(r+R)²) for λ = 0.002 and radii 2, 5, 10 in shares of 0.5, 0.3, 0.2 (check id boolean.discs3); λE[A] = 0.002 × 92.676983.
    let found = alone(&[[2.0, 0.5], [5.0, 0.3], [10.0, 0.2]], 0.185_354);
    for (found, expected) in found.iter().zip([0.723_551, 0.535_167, 0.251_790]) {
        assert!((found - expected).abs() < 0.02, "{found} {expected}");
    }
}

#[test]
fn blur_joins_discs_that_do_not_touch() {
    // Discs of 8 px that cover 5 % touch another with probability 1 − exp(−0.2) = 18.1 %. Where straight edges 1.35 blur widths apart read as
    // one, at most 1 − exp(−0.2 (1 + 1.35 · 1.02 / 8)²) = 24 % of them do; round ones join from a little nearer.
    let mut recipe = of_pairs();
    recipe.agglomerates.rule = AgglomerateRule::Size;
    recipe.agglomerates.min_diameter_um = 0.25 * 8.8;
    let mut field = film(200, &[[50.0, 50.0, 20.0], [150.0, 50.0, 20.0], [50.0, 150.0, 20.0], [150.0, 150.0, 20.0]], &recipe);
    field.size = (1000, 1000);
    field.gaps.clear();
    field.calibration.blur_px = 1.02;
    if let Some(visit) = &mut field.ground.visit {
        visit.blur_px = 1.02;
    }
    let singles = Singles::of_discs(&[[4.0, 1.0]], 0.13);
    let frames = [Frame::of(&field)];
    let found = with_watch(|watch| {
        let density = -libm::log1p(-0.05);
        let bench = Bench { frames: &frames, recipe: &recipe, singles: &singles, density, film: 1e6, covered: 0.05, watch };
        let layings: Vec<Laying> = (0..12).map(|number| bench.laying(number, 1.0).unwrap()).collect();
        percent_of(layings.iter())
    });
    assert!((20.0..24.5).contains(&found), "{found}");
}

#[test]
fn a_single_painted_alone_reads_its_own_area() {
    let recipe = Recipe::default();
    let discs: Vec<[f64; 3]> =
        (0..64).map(|k| [20.0 + 40.0 * f64::from(k % 8), 20.3 + 40.0 * f64::from(k / 8), 3.0 + 0.1 * f64::from(k)]).collect();
    let field = film(330, &discs, &recipe);
    let singles = Singles::of(&[&field], &recipe).unwrap();
    assert!(singles.all.len() > FEWEST);
    for (number, one) in (0..).zip(&singles.all) {
        let laid = [Laid { single: number, at: [40.3, 38.6], turn: 0.037 * f64::from(number) }];
        let at = window_of(&laid, &singles, field.calibration.blur_px, [80.0, 80.0]).unwrap();
        let levels = Painter::default().paint(&laid, &singles, (at, field.ground.film, field.calibration.blur_px));
        let found = with_watch(|watch| objects_on_film(&levels, &field.ground, watch)).unwrap().objects;
        assert_eq!(found.len(), 1);
        let ratio = found[0].area_px2[1] / one.area;
        assert!((ratio - 1.0).abs() < 0.03, "{} px²: {ratio}", one.area);
    }
}

#[test]
fn pieces_of_clumps_are_never_laid() {
    let recipe = Recipe::default();
    let mut discs: Vec<[f64; 3]> = (0..60).map(|k| [25.0 + 32.0 * f64::from(k % 10), 20.0 + 30.0 * f64::from(k / 10), 4.0]).collect();
    let clump = |k: u32| (0..6).map(move |j| [30.0 + 50.0 * f64::from(k) + 8.5 * f64::from(j % 3), 230.0 + 8.5 * f64::from(j / 3), 4.5]);
    discs.extend((0..6).flat_map(clump));
    let field = film(350, &discs, &recipe);
    assert_eq!(field.objects.len(), 66);
    let singles = Singles::of(&[&field], &recipe).unwrap();
    assert_eq!(singles.all.len(), 60);
    assert!(singles.all.iter().all(|one| (one.area / (16.0 * std::f64::consts::PI) - 1.0).abs() < 0.12));
    // Nor what the recipe calls an agglomerate, though it is of one piece; nor anything where nothing is taken apart.
    let mut small = recipe.clone();
    small.agglomerates.min_diameter_um = 1.5;
    assert_eq!(Singles::of(&[&field], &small).unwrap_err(), Missing::TooFewSingles { found: 0 });
    let mut whole = recipe.clone();
    whole.objects.split = false;
    assert_eq!(chance_of(&[&field], &whole), Chance::Missing(Missing::NotSplit));
    let few = film(350, &discs[20..], &recipe);
    assert_eq!(chance_of(&[&few], &recipe), Chance::Missing(Missing::TooFewSingles { found: 40 }));
    assert_eq!(chance_of(&[&film(100, &[], &recipe)], &recipe), Chance::Missing(Missing::NoPowder));
}

#[test]
fn the_same_on_any_number_of_threads_and_alike_in_any_order_and_mirrored() {
    let recipe = of_pairs();
    let discs = [random_discs(300, 180, 3), random_discs(300, 150, 4)];
    let mirrored = discs.clone().map(|all| all.into_iter().map(|[x, y, r]| [300.0 - x, y, r]).collect::<Vec<_>>());
    let [a, b] = discs.map(|discs| film(300, &discs, &recipe));
    let [c, d] = mirrored.map(|discs| film(300, &discs, &recipe));
    let on =
        |threads: usize| rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| chance_of(&[&a, &b], &recipe));
    let one = on(1);
    assert_eq!(one, on(2));
    assert_eq!(one, on(5));
    let told = one.told().unwrap();
    let [low, high] = told.envelope_pct.unwrap();
    assert!(low < told.mean_pct && told.mean_pct < high && told.mean_pct > 10.0, "{told:?}");
    // The mean of 40 layings has a sixth of their spread, of which the envelope is four.
    for fields in [[&b, &a], [&c, &d]] {
        let other = *chance_of(&fields, &recipe).told().unwrap();
        assert!((other.mean_pct - told.mean_pct).abs() < 0.25 * (high - low), "{told:?} {other:?}");
    }
    let mut few = recipe.clone();
    few.chance.placements = 20;
    assert_eq!(chance_of(&[&a, &b], &few).told().unwrap().envelope_pct, None);
}

#[test]
fn two_upon_each_other_are_no_large_single() {
    // Equal discs that cover 15 %: one in eight lies upon another so deep that no neck is left (4C · 0.45², closed form), and some of those
    // pairs lie alone. There is no single as large.
    let recipe = Recipe::default();
    let discs: Vec<[f64; 3]> = random_discs(600, 1070, 9).into_iter().map(|[x, y, _]| [x, y, 4.0]).collect();
    let field = film(600, &discs, &recipe);
    let singles = Singles::of(&[&field], &recipe).unwrap();
    let frames = [Frame::of(&field)];
    let pure = with_watch(|watch| pure::without_pairs(&singles, &frames, &recipe, watch)).unwrap();
    let [before, after] = [&singles, &pure].map(|s| s.share_from(1.25 * 16.0 * std::f64::consts::PI));
    assert!(before > 0.02 && after < 0.6 * before, "{before} {after}");
}

#[test]
fn an_envelope_leaves_as_many_out_at_either_end() {
    let values: Vec<f64> = (1..=199).map(f64::from).collect();
    assert_eq!(envelope(&values), Some([5.0, 195.0]));
    assert_eq!(envelope(&values[..39]), Some([1.0, 39.0]));
    assert_eq!(envelope(&values[..38]), None);
}

#[test]
fn whoever_stops_it_is_heard() {
    let recipe = of_pairs();
    let field = film(300, &random_discs(300, 180, 3), &recipe);
    let cancel = AtomicBool::new(true);
    assert_eq!(by_chance(&[&field], &recipe, Watch { cancel: &cancel, tell: &|_, _| () }), Err(Stop::Cancelled));
}
