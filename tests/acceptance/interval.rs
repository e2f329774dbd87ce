//! Intervals over fields of slides: what they say of simple cases, and how often they hold a known truth.

use evenfilm_core::interval::{ENOUGH, ENOUGH_D43, Events, ordinary, rare, tails};
use evenfilm_core::random::{Draws, Source};
use evenfilm_core::sizes::Sized;
use evenfilm_core::statistics::rare::{fay_feuer, poisson};
use evenfilm_core::statistics::{normal_quantile, student_t_975};
use evenfilm_tests::simulate::{Gaps, Layout, Powder, coverage_of_gaps, coverage_of_gaps_by, coverage_of_tails};
use evenfilm_tests::{check, number, numbers};

fn close(found: f64, expected: f64, relative: f64, what: &str) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{what}: found {found}, expected {expected}");
}

#[test]
fn ordinary_quantities_by_fields_or_slide_means() {
    // e562.worked (scipy 1.17.1): ten fields of one slide.
    let worked = check("e562.worked");
    let counts = numbers(&worked["inputs"]["Pi"]);
    close(ordinary(&counts, &[3; 10], 0.95).unwrap(), number(&worked["expected"]["95% CI half-width %"]), 1e-12, "one slide");
    // Two slides with means 2 and 4, whatever their fields: t(1) · √2 · 1/√2 by hand. Their names and order do not matter.
    let two = ordinary(&[1.0, 5.0, 3.0, 3.0, 4.0], &[7, 2, 7, 2, 2], 0.95).unwrap();
    close(two, student_t_975(1.0), 1e-12, "two slides");
    assert_eq!([ordinary(&[1.0], &[0], 0.95), ordinary(&[], &[], 0.95)], [None; 2]);
}

#[test]
fn rare_events_of_one_field_have_the_gamma_interval() {
    let seen = Events::of([3.0, 40.0, 7.0], 1000.0);
    let [low, high] = rare(&[seen], &[0], 25.0, 0.95).unwrap();
    let expected = fay_feuer(50.0, 9.0 + 1600.0 + 49.0, 60.0, 0.95);
    close(low, expected[0] / 1000.0, 1e-14, "low");
    close(high, expected[1] / 1000.0, 1e-14, "high: the largest weight is 1½ times the largest event");
    // None found is none in this area, at most U: −ln(0.025) events of concern.
    let none = [Events::of([], 400.0), Events::of([], 600.0)];
    let [low, high] = rare(&none, &[0, 1], 25.0, 0.95).unwrap();
    assert_eq!(low.to_bits(), 0);
    close(high, -libm::log(0.025) * 25.0 / 1000.0, 1e-13, "none found");
    assert_eq!([rare(&[], &[], 25.0, 0.95), rare(&[Events::default()], &[0], 25.0, 0.95)], [None; 2]);
}

#[test]
fn the_spread_between_units_counts_where_it_says_more() {
    let field = |events: usize| Events::of(vec![1.0; events], 1.0);
    // As even as can be: the exact Poisson limits stand (weights are counts, so 1½ of the largest still is an event of concern).
    let even = [field(10), field(10), field(10), field(10)];
    let [low, high] = rare(&even, &[0; 4], 1.5, 0.95).unwrap();
    let exact = poisson(40.0, 0.95).map(|e| e / 4.0);
    close(low, exact[0], 1e-12, "low");
    assert!(high >= exact[1] && high < 1.05 * exact[1], "{high} {exact:?}");
    // The same events on one of two slides: with one degree of freedom that says much less.
    let uneven = [field(16), field(14), field(6), field(4)];
    let [low, high] = rare(&uneven, &[0, 0, 1, 1], 1.0, 0.95).unwrap();
    assert!(low < 0.3 * exact[0] && high > 3.0 * exact[1], "{low} {high}");
    // s = |30 − 10|/40 by hand.
    let (h, c) = (student_t_975(1.0) * 0.5, normal_quantile(0.975) * 0.5);
    close(high, 10.0 * (1.0 + h + h * c), 1e-12, "high");
    close(low, 10.0 / (1.0 + h + h * c), 1e-12, "low");
    // As one slide, four fields say more.
    assert!(rare(&uneven, &[0; 4], 1.0, 0.95).unwrap()[1] < high);
}

/// Short run of `cargo bench -p evenfilm-tests --bench coverage`, with room for its 300 lots (one standard error is 1.3 points).
#[test]
fn intervals_of_bare_area_hold_the_truth() {
    for bare in [0.0002, 0.0005, 0.002, 0.02] {
        for (slides, fields) in [(1, 4), (1, 8), (2, 4), (4, 2)] {
            let film = Gaps { bare, mean_um2: 150.0, spread: 1.2, slide_cv: 0.3, field_cv: 0.3 };
            let found = coverage_of_gaps(&film, Layout { slides, fields }, 300, 11);
            assert!(found.inside_pct >= 92.0, "{bare} {slides} × {fields}: {found:?}");
        }
    }
    // Control: Student's t between fields, which the rule replaces, covers far less where events are rare.
    let film = Gaps { bare: 0.0005, mean_um2: 150.0, spread: 1.2, slide_cv: 0.3, field_cv: 0.3 };
    let student = coverage_of_gaps_by(&film, Layout { slides: 1, fields: 8 }, 300, 11, |fields, slides| {
        let rates: Vec<f64> = fields.iter().map(|f| f.sum / f.exposure).collect();
        let mean = rates.iter().sum::<f64>() / rates.len() as f64;
        let half = ordinary(&rates, slides, 0.95).unwrap();
        [mean - half, mean + half]
    });
    assert!(student.inside_pct < 85.0, "{student:?}");
}

#[test]
fn intervals_of_tails_hold_the_truth() {
    for (gsd, objects, slides, fields) in [(1.5, 200.0, 1, 4), (1.5, 200.0, 3, 4), (1.8, 700.0, 1, 8)] {
        let powder = Powder { gsd, objects, slide_spread: 0.05, field_spread: 0.05 };
        for (found, decided) in coverage_of_tails(&powder, Layout { slides, fields }, 100, 11) {
            assert!(found.inside_pct >= 90.0 && decided > 60.0, "{powder:?} {slides} × {fields}: {found:?}, decided {decided} %");
        }
    }
}

fn log_normal(fields: usize, objects: usize, gsd: f64) -> Vec<Vec<Sized>> {
    let mut draws = Draws::new(Source::new(5, 5));
    (0..fields)
        .map(|_| (0..objects).map(|_| Sized { diameter: draws.log_normal(2.0, gsd), weight: 1.0 + draws.uniform() }).collect())
        .collect()
}

fn slices(fields: &[Vec<Sized>]) -> Vec<&[Sized]> {
    fields.iter().map(Vec::as_slice).collect()
}

#[test]
fn tails_are_undecided_with_few_objects() {
    let few = log_normal(4, 10, 1.8);
    let found = tails(&slices(&few), &[0; 4], 0.95);
    assert!(found.effective < ENOUGH && found.effective_d43 < ENOUGH_D43 && found.effective > 0.0, "{found:?}");
    assert_eq!([found.x90_3, found.span_3, found.d43], [None; 3]);
    assert_eq!(tails(&[], &[], 0.95), tails(&[&[], &[]], &[0, 1], 0.95));
    // One large object beside many: it is most of the volume.
    let mut one = log_normal(4, 500, 1.3);
    assert!(tails(&slices(&one), &[0; 4], 0.95).d43.is_some());
    one[2].push(Sized { diameter: 60.0, weight: 1.0 });
    assert_eq!(tails(&slices(&one), &[0; 4], 0.95).d43, None);
}

#[test]
fn tails_scale_with_the_diameters_and_repeat() {
    let fields = log_normal(6, 400, 1.5);
    let twice: Vec<Vec<Sized>> =
        fields.iter().map(|f| f.iter().map(|s| Sized { diameter: 2.0 * s.diameter, weight: s.weight }).collect()).collect();
    let slides = [0, 0, 1, 1, 2, 2];
    let (one, two) = (tails(&slices(&fields), &slides, 0.95), tails(&slices(&twice), &slides, 0.95));
    for (one, two, factor) in [(one.x90_3, two.x90_3, 2.0), (one.span_3, two.span_3, 1.0), (one.d43, two.d43, 2.0)] {
        let (one, two) = (one.unwrap(), two.unwrap());
        (0..2).for_each(|i| close(two[i], factor * one[i], 1e-12, "scaled"));
    }
    let threads = rayon_of(3, || tails(&slices(&fields), &slides, 0.95));
    assert_eq!(one, threads);
}

/// The same on a thread of its own beside others that do the same.
fn rayon_of<T: Send + PartialEq + std::fmt::Debug>(number: usize, work: impl Fn() -> T + Sync) -> T {
    std::thread::scope(|scope| {
        let running: Vec<_> = (0..number).map(|_| scope.spawn(&work)).collect();
        let mut done: Vec<T> = running.into_iter().map(|r| r.join().unwrap()).collect();
        assert!(done.windows(2).all(|pair| pair[0] == pair[1]), "{done:?}");
        done.remove(0)
    })
}

/// With many even fields the spread of D\[4,3\] is that of the objects: Σ pᵢ² (dᵢ/D − 1)² with pᵢ the share of the volume, by the delta method
/// (common practice, no source).
#[test]
fn the_spread_of_d43_is_that_of_the_delta_method() {
    let fields = log_normal(40, 300, 1.4);
    let all = fields.concat();
    let volume: f64 = all.iter().map(|s| s.weight * s.diameter.powi(3)).sum();
    let d43 = all.iter().map(|s| s.weight * s.diameter.powi(4)).sum::<f64>() / volume;
    let variance: f64 = all.iter().map(|s| (s.weight * s.diameter.powi(3) / volume * (s.diameter / d43 - 1.0)).powi(2)).sum();
    let [low, high] = tails(&slices(&fields), &[0; 40], 0.95).d43.unwrap();
    let half = normal_quantile(0.975) * variance.sqrt();
    close(d43 / low - 1.0, half, 0.25, "half width below");
    assert!(high / d43 - 1.0 > half && high / d43 - 1.0 < 2.5 * half, "{high} {d43} {half}");
}
