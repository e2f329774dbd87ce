//! Sizes and frame weights: ISO 9276-2, ISO 13322-1, numpy.

use evenfilm_core::objects::frame_weight;
use evenfilm_core::plane::Rect;
use evenfilm_core::sizes::{Sized, mean, quantile};
use evenfilm_core::statistics::normal_quantile;
use evenfilm_tests::{cases, check, number, numbers};

fn close(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() <= tolerance * expected.abs().max(1.0), "{what}: found {found}, expected {expected}");
}

fn sized(diameters: &[f64], weights: &[f64]) -> Vec<Sized> {
    diameters.iter().zip(weights).map(|(&diameter, &weight)| Sized { diameter, weight }).collect()
}

#[test]
fn moment_ratio_means_of_three_diameters() {
    // size.D.123: exact arithmetic.
    let expected = &check("size.D.123")["expected"];
    let three = sized(&[1.0, 2.0, 3.0], &[1.0; 3]);
    for (p, q) in [(1, 0), (2, 0), (3, 0), (2, 1), (3, 2), (4, 3)] {
        close(mean(&three, p, q).unwrap(), number(&expected[format!("D[{p},{q}]")]), 1e-12, &format!("D[{p},{q}]"));
    }
}

#[test]
fn moment_ratio_means_of_a_histogram() {
    // size.hist8: scipy/numpy, class value = midpoint.
    let hist = check("size.hist8");
    let edges = numbers(&hist["inputs"]["edges_um"]);
    let middles: Vec<f64> = edges.windows(2).map(|e| f64::midpoint(e[0], e[1])).collect();
    let classes = sized(&middles, &numbers(&hist["inputs"]["counts"]));
    for (p, q) in [(1, 0), (2, 0), (3, 0), (2, 1), (3, 2), (4, 3)] {
        close(mean(&classes, p, q).unwrap(), number(&hist["expected"][format!("D[{p},{q}]")]), 1e-9, &format!("D[{p},{q}]"));
    }
}

#[test]
fn log_normal_sizes_follow_hatch_and_choate() {
    // size.lognormal.g1.6: closed form. 20,000 midpoint quantiles stand for the distribution, so the tails are cut: hence 0.2 %.
    let expected = &check("size.lognormal.g1.6")["expected"];
    let n = 20_000;
    let s = libm::log(1.6);
    let diameters: Vec<f64> = (0..n).map(|i| libm::exp(s * normal_quantile((f64::from(i) + 0.5) / f64::from(n)))).collect();
    let all = sized(&diameters, &vec![1.0; diameters.len()]);
    for (name, found) in [
        ("D[1,0]", mean(&all, 1, 0)),
        ("D[3,2]", mean(&all, 3, 2)),
        ("D[4,3]", mean(&all, 4, 3)),
        ("x50,0", quantile(&all, 0, 0.5)),
        ("x50,3", quantile(&all, 3, 0.5)),
        ("x10,3", quantile(&all, 3, 0.1)),
        ("x90,3", quantile(&all, 3, 0.9)),
    ] {
        close(found.unwrap(), number(&expected[name]), 4e-3, name);
    }
}

#[test]
fn quantiles_of_a_histogram() {
    // size.hist8: interpolated in the cumulative polygon by numpy. The polygon is what many objects spread evenly over each class give: by
    // number for r = 0; for r = 3 evenly by volume, so each stands for 1/x³ of its share.
    let hist = check("size.hist8");
    let edges = numbers(&hist["inputs"]["edges_um"]);
    let counts = numbers(&hist["inputs"]["counts"]);
    let spread = |power: i32| -> Vec<Sized> {
        let steps = 20_000;
        let class = |(e, n): (&[f64], &f64)| {
            let (low, width, middle, n) = (e[0], (e[1] - e[0]) / f64::from(steps), f64::midpoint(e[0], e[1]), *n);
            (0..steps).map(move |i| {
                let diameter = low + width * (f64::from(i) + 0.5);
                Sized { diameter, weight: n * middle.powi(power) / diameter.powi(power) }
            })
        };
        edges.windows(2).zip(&counts).flat_map(class).collect()
    };
    for r in [0, 3] {
        let all = spread(r);
        let x = |share| quantile(&all, r, share).unwrap();
        for (percent, share) in [(10, 0.1), (50, 0.5), (90, 0.9)] {
            close(x(share), number(&hist["expected"][format!("x{percent},{r}")]), 2e-4, &format!("x{percent},{r}"));
        }
        let span = (x(0.9) - x(0.1)) / x(0.5);
        close(span, number(&hist["expected"][format!("span,{r}")]), 2e-4, &format!("span,{r}"));
    }
}

#[test]
fn weighted_quantiles_and_means_agree_with_numpy() {
    // quantiles.json: numpy.quantile(method="inverted_cdf", weights=…) and plain sums.
    for case in cases("quantiles.json") {
        let name = case["name"].to_string();
        let all = sized(&numbers(&case["x"]), &numbers(&case["weights"]));
        for r in [0, 2, 3] {
            let expected = numbers(&case[format!("step_weighted_r{r}")]);
            for (&p, &expected) in numbers(&case["p"]).iter().zip(&expected) {
                close(quantile(&all, r, p).unwrap(), expected, 1e-12, &format!("{name} r {r} p {p}"));
            }
        }
        for (p, q) in [(1, 0), (2, 0), (3, 0), (2, 1), (3, 2), (4, 3)] {
            close(mean(&all, p, q).unwrap(), number(&case["moment_ratio"][format!("D[{p},{q}]")]), 1e-9, &format!("{name} D[{p},{q}]"));
        }
    }
    assert_eq!((quantile(&[], 0, 0.5), mean(&[], 3, 2)), (None, None));
}

#[test]
fn frame_weights_are_those_of_miles_and_lantuejoul() {
    // edge.ML.worked: exact.
    let worked = check("edge.ML.worked");
    let frame = Rect::new(0, 0, 1000, 800);
    for row in worked["expected"].as_array().unwrap() {
        let weight = frame_weight(frame, [number(&row["F1"]), number(&row["F2"])]).unwrap();
        close(weight, number(&row["weight"]), 1e-12, "weight");
    }
    assert_eq!(frame_weight(frame, [1000.0, 10.0]), None);
}

#[test]
fn frame_weights_undo_the_loss_at_the_edge() {
    // edge.ML.bias: closed form; 80 % discs of 20 px, 20 % of 200 px in a frame of 1000 px.
    let bias = check("edge.ML.bias");
    let frame = Rect::new(0, 0, 1000, 1000);
    let weight = |d: f64| frame_weight(frame, [d, d]).unwrap();
    let whole = [(20.0, 0.8 / weight(20.0)), (200.0, 0.2 / weight(200.0))];
    let seen = sized(&[20.0, 200.0], &[whole[0].1, whole[1].1]);
    close(mean(&seen, 1, 0).unwrap(), number(&bias["expected"]["uncorrected expectation"]), 1e-12, "uncorrected");
    let corrected = sized(&[20.0, 200.0], &[whole[0].1 * weight(20.0), whole[1].1 * weight(200.0)]);
    close(mean(&corrected, 1, 0).unwrap(), number(&bias["expected"]["corrected expectation"]), 1e-12, "corrected");
}
