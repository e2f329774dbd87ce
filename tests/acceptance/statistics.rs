//! Distributions, intervals, budgets and plans against scipy, statsmodels, R, and what standards print.

use evenfilm_core::statistics::budget::{Part, combine, expanded};
use evenfilm_core::statistics::conformity::probability_below;
use evenfilm_core::statistics::planning::{fields_needed, masuda_gotoh, objects_for_diameter};
use evenfilm_core::statistics::proportion::{jeffreys, wilson};
use evenfilm_core::statistics::rare::{fay_feuer, most_where_none, poisson};
use evenfilm_core::statistics::{
    beta_quantile, chi_square_quantile, gamma_quantile, half_width_95, incomplete_beta, incomplete_gamma, mean_and_deviation, normal_cdf,
    normal_quantile, student_t_975, student_t_quantile,
};
use evenfilm_tests::{check, number, numbers, values};
use serde_json::Value;

fn close(found: f64, expected: f64, relative: f64, what: &str) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{what}: found {found}, expected {expected}");
}

fn same(found: [f64; 2], expected: [f64; 2]) {
    assert_eq!(found.map(f64::to_bits), expected.map(f64::to_bits), "{found:?} {expected:?}");
}

/// Rows of arguments, probability and value: scipy 1.17.1, statistics.json.
fn quantiles(name: &str, f: impl Fn(f64, &[f64]) -> f64) {
    let all = values("statistics.json");
    let rows = all[name].as_array().unwrap();
    assert!(rows.len() > 10, "{name}: {}", rows.len());
    for row in rows {
        let row = numbers(row);
        let (shapes, ends) = row.split_at(row.len() - 2);
        let [p, expected] = [ends[0], ends[1]];
        close(f(p, shapes), expected, 1e-9, &format!("{name} {shapes:?} at {p}"));
    }
}

#[test]
fn quantiles_agree_with_scipy() {
    quantiles("normal", |p, _| normal_quantile(p));
    quantiles("gamma", |p, s| gamma_quantile(p, s[0]));
    quantiles("chi_square", |p, s| chi_square_quantile(p, s[0]));
    quantiles("beta", |p, s| beta_quantile(p, s[0], s[1]));
    quantiles("student", |p, s| student_t_quantile(p, s[0]));
}

#[test]
fn distribution_functions_undo_their_quantiles() {
    for p in [1e-9, 0.01, 0.3, 0.5, 0.77, 0.999] {
        close(normal_cdf(normal_quantile(p)), p, 1e-12, "normal");
        for a in [0.05, 1.0, 7.0, 900.0, 1e6] {
            close(incomplete_gamma(a, gamma_quantile(p, a))[0], p, 1e-8, &format!("gamma {a}"));
            for b in [0.05, 3.0, 4e4] {
                // Where x crowds at 1 an f64 cannot hold it; see the rows of scipy for those.
                let x = beta_quantile(p, a, b);
                if x < 0.999 {
                    close(incomplete_beta(a, b, x), p, 1e-8, &format!("beta {a} {b}"));
                }
            }
        }
    }
    // Closed forms: exponential distribution, uniform distribution, Cauchy distribution.
    close(gamma_quantile(0.3, 1.0), -libm::log(0.7), 1e-14, "exponential");
    close(beta_quantile(0.3, 1.0, 1.0), 0.3, 1e-14, "uniform");
    close(student_t_quantile(0.75, 1.0), 1.0, 1e-14, "Cauchy");
    close(student_t_quantile(0.5 + 1e-10, 4.0), 1e-10 / 0.375, 1e-6, "next to the middle: the density there is 3/8");
}

#[test]
fn what_is_out_of_range_is_no_number() {
    let nan = f64::NAN;
    let none = [
        normal_quantile(-0.1),
        normal_quantile(nan),
        gamma_quantile(1.1, 2.0),
        gamma_quantile(0.5, 0.0),
        gamma_quantile(0.5, f64::INFINITY),
        chi_square_quantile(0.5, -1.0),
        beta_quantile(0.5, 1.0, 0.0),
        beta_quantile(nan, 1.0, 1.0),
        student_t_quantile(0.5, 0.0),
        student_t_quantile(2.0, 3.0),
        incomplete_beta(nan, 1.0, 0.5),
        wilson(5.0, 4.0, 0.95)[0],
        jeffreys(1.0, 4.0, 1.0)[1],
        fay_feuer(1.0, 0.0, 1.0, 0.95)[0],
        fay_feuer(-1.0, 1.0, 1.0, 0.95)[1],
        combine(&[Part { u: -1.0, dof: 3.0 }]).u,
        combine(&[Part { u: 1.0, dof: 0.0 }]).dof,
        probability_below(1.0, -1.0, 2.0),
        masuda_gotoh(0.9, 3.0, 0.0, 0.05),
        most_where_none(0.0, 0.95),
    ];
    assert!(none.iter().all(|v| v.is_nan()), "{none:?}");
    same([normal_quantile(0.0), normal_quantile(1.0)], [f64::NEG_INFINITY, f64::INFINITY]);
    same([gamma_quantile(0.0, 3.0), gamma_quantile(1.0, 3.0)], [0.0, f64::INFINITY]);
    same([beta_quantile(0.0, 2.0, 3.0), beta_quantile(1.0, 2.0, 3.0)], [0.0, 1.0]);
    // Smaller than any f64: scipy gives 0 too.
    same([gamma_quantile(0.025, 1e-3), beta_quantile(0.025, 1e-3, 1.0)], [0.0, 0.0]);
    // Far outside what is promised every loop still ends.
    for extreme in [1e-300, 1e12, 1e300] {
        assert!(gamma_quantile(0.9, extreme) >= 0.0 && student_t_quantile(0.9, extreme) > 0.0);
        assert!((0.0..=1.0).contains(&beta_quantile(0.9, extreme, 1.0)));
    }
}

#[test]
fn the_point_count_of_e562() {
    // e562.worked, e562.t: scipy 1.17.1, equal to R 4.2.2 qt(). E562 Table 1 prints the latter to 3 decimals (from memory).
    let worked = check("e562.worked");
    let counts = numbers(&worked["inputs"]["Pi"]);
    let expected = &worked["expected"];
    let (mean, s) = mean_and_deviation(&counts).unwrap();
    let s = s.unwrap();
    close(mean, number(&expected["mean Pp %"]), 1e-12, "mean");
    close(s, number(&expected["s %"]), 1e-12, "s");
    close(student_t_975(9.0), number(&expected["t"]), 1e-12, "t");
    let half = half_width_95(&counts).unwrap();
    close(half, number(&expected["95% CI half-width %"]), 1e-12, "half width");
    close(100.0 * half / mean, number(&expected["%RA"]), 1e-12, "relative accuracy");
    let t = check("e562.t");
    for (n, expected) in numbers(&t["inputs"]["n"]).iter().zip(numbers(&t["expected"])) {
        close(student_t_975(n - 1.0), expected, 1e-12, &format!("t of {n}"));
    }
    // Fields needed for the worked data: 5, 7, 21, 74 (scipy 1.17.1, iterated; section 3 of the same sheet).
    for (accuracy, n) in [(30.0, 5), (20.0, 7), (10.0, 21), (5.0, 74)] {
        assert_eq!(fields_needed(mean, s, accuracy), Some(n), "{accuracy} %");
    }
    assert_eq!(fields_needed(12.0, 0.0, 10.0), Some(2));
    assert_eq!([fields_needed(0.0, 1.0, 10.0), fields_needed(1.0, f64::NAN, 10.0), fields_needed(1e-9, 1.0, 1e-3)], [None; 3]);
    // e562.rule4x: half the relative accuracy takes four times as many fields (E562 section 11, page seen); the exact ratio by scipy.
    let rule = check("e562.rule4x");
    let half = |n: f64| student_t_975(n - 1.0) / n.sqrt();
    let [n1, n2] = [number(&rule["inputs"]["n1"]), number(&rule["expected"]["n2"])];
    close(half(n2) / half(n1), number(&rule["expected"]["ratio of half-widths at constant s"]), 1e-12, "four times as many");
}

#[test]
fn objects_to_count() {
    // count.masuda.gsd1.6: 6092 and 60 811, which the scope of ISO 13322-1:2004 rounds to "over 6 000" and "at least 61 000" (printed).
    let worked = &check("count.masuda.gsd1.6")["expected"];
    close(masuda_gotoh(1.6, 3.0, 0.0, 0.05), number(&worked["volume-mean diameter (a=3,b=0)"]), 1e-12, "mean volume");
    close(masuda_gotoh(1.6, 5.0, 0.0, 0.05), number(&worked["Sauter (a=5,b=0)"]), 1e-12, "Sauter");
    close(masuda_gotoh(1.6, 6.0, 0.0, 0.05), number(&worked["mass median / percentiles (a=6,b=0)"]), 1e-12, "mass median");
    // count.masuda.table: scipy; the first row agrees to the unit with the table of ISO 13322-1 (from memory).
    let table = check("count.masuda.table");
    for (name, a) in [("MMD (a=6,b=0)", 6.0), ("D[3,2] (a=5,b=0)", 5.0), ("D[3,0] (a=3,b=0)", 3.0)] {
        for (gsd, expected) in numbers(&table["inputs"]["GSD"]).iter().zip(numbers(&table["expected"][name])) {
            close(masuda_gotoh(*gsd, a, 0.0, 0.05), expected, 1e-9, &format!("{name} at {gsd}"));
        }
    }
    // count.K: log n = −2 log δ + K.
    let k = &check("count.K")["expected"];
    close(masuda_gotoh(1.6, 3.0, 0.0, 1.0), number(&k["omega"]), 1e-12, "omega");
    close(libm::log10(masuda_gotoh(1.6, 3.0, 0.0, 0.01)) - 4.0, number(&k["K"]), 1e-12, "K");
    // count.diameter: scipy; the variance is printed in the abstract of Mori & Suganuma 1975.
    let diameter = &check("count.diameter")["expected"];
    for (name, c) in [
        ("geometric mean x50,0 (c=0)", 0.0),
        ("D[1,0] (c=0.5)", 0.5),
        ("D[3,2] (c=2.5)", 2.5),
        ("x50,3 (c=3)", 3.0),
        ("D[4,3] (c=3.5)", 3.5),
    ] {
        close(objects_for_diameter(1.6, c, 0.05), number(&diameter[name]), 1e-12, name);
    }
    // count.mc: a simulation of 4000 repeats gave 0.02682 for the standard deviation of ln D[4,3] of 2000 objects.
    let mc = check("count.mc");
    let u = normal_quantile(0.975);
    let theory = (objects_for_diameter(1.6, 3.5, u) / 2000.0).sqrt();
    close(theory, number(&mc["expected"]["theory"]), 3e-4, "theory, there with n − 1 in its second term");
    close(theory, 0.02682, 0.03, "simulation");
}

#[test]
fn proportions() {
    // prop.*: statsmodels 0.15.0 (100 of 200 printed there from R 4.3.3 DescTools to 7 digits), scipy 1.17.1, astropy 8.0.2.
    for id in ["prop.100of200", "prop.0of20", "prop.4of20", "prop.12of400", "prop.96of400", "prop.1of1000"] {
        let one = check(id);
        let (k, n) = (number(&one["inputs"]["k"]), number(&one["inputs"]["n"]));
        let expected = &one["expected"];
        let uncorrected = "jeffreys (0 / 1 at the ends)";
        let ends = numbers(if expected[uncorrected].is_null() { &expected["jeffreys"] } else { &expected[uncorrected] });
        let tolerance = if expected[uncorrected].is_null() { 3e-7 } else { 1e-12 };
        for (found, expected) in [(wilson(k, n, 0.95), numbers(&expected["wilson"])), (jeffreys(k, n, 0.95), ends)] {
            (0..2).for_each(|i| assert!((found[i] - expected[i]).abs() <= tolerance, "{id}: {found:?} {expected:?}"));
            // The other way round.
            let turned = if expected == numbers(&one["expected"]["wilson"]) { wilson(n - k, n, 0.95) } else { jeffreys(n - k, n, 0.95) };
            (0..2).for_each(|i| assert!((1.0 - turned[1 - i] - expected[i]).abs() <= tolerance, "{id}: {turned:?}"));
        }
        if let Value::Array(_) = &expected["wilson 99%"] {
            let [low, high] = wilson(k, n, 0.99);
            let ends = numbers(&expected["wilson 99%"]);
            assert!((low - ends[0]).abs() < 1e-12 && (high - ends[1]).abs() < 1e-12, "{low} {high}");
        }
    }
    // prop.4of20.onesided: the lower end of the two-sided 90 % interval.
    close(wilson(4.0, 20.0, 0.9)[0], number(&check("prop.4of20.onesided")["expected"]["lower"]), 1e-6, "one-sided");
    same(wilson(0.0, 0.0, 0.95), [0.0, 1.0]);
}

#[test]
fn weighted_sums_of_rare_events() {
    // Fay & Feuer 1997, written out by scipy 1.17.1 in make_statistics.py; the first five cases are the data of the paper's example.
    let all = values("statistics.json");
    let cases = all["fay_feuer"].as_array().unwrap();
    assert!(cases.len() > 10, "{}", cases.len());
    for case in cases {
        let (w, x) = (numbers(&case["weights"]), numbers(&case["counts"]));
        let sum: f64 = w.iter().zip(&x).map(|(w, x)| w * x).sum();
        let squares: f64 = w.iter().zip(&x).map(|(w, x)| w * w * x).sum();
        let found = fay_feuer(sum, squares, number(&case["largest"]), number(&case["level"]));
        let expected = numbers(&case["expected"]);
        (0..2).for_each(|i| assert!((found[i] - expected[i]).abs() <= 1e-10 * expected[i], "{}: {found:?} {expected:?}", case["name"]));
    }
    // Equal weights: Garwood's exact limits; the upper one of none seen is −ln 0.025, and 3.0 one-sided ("rule of three", common practice).
    assert_eq!(poisson(0.0, 0.95)[0].to_bits(), 0.0_f64.to_bits());
    close(poisson(0.0, 0.95)[1], -libm::log(0.025), 1e-13, "none seen");
    let [low, high] = poisson(10.0, 0.95);
    close(incomplete_gamma(10.0, low)[0], 0.025, 1e-12, "lower end: P(X ≥ 10) is 0.025");
    close(incomplete_gamma(11.0, high)[1], 0.025, 1e-12, "upper end: P(X ≤ 10) is 0.025");
    close(most_where_none(2.5, 0.95), -libm::log(0.05) / 2.5, 1e-13, "most where none");
}

#[test]
fn the_end_gauge_of_the_gum() {
    // gum.H1: JCGM 100:2008 H.1 (printed): u 32 nm, ν 16 (truncated from 16.7), t99 2.92, U99 93 nm.
    let h1 = check("gum.H1");
    let part = |name: &str| Part { u: number(&h1["inputs"]["u_i(l) nm"][name]), dof: number(&h1["inputs"]["nu"][name]) };
    let whole = combine(&["lS", "d", "dalpha theta", "dtheta"].map(part));
    let expected = &h1["expected"];
    assert!((whole.u * whole.u - number(&expected["uc^2 nm^2"])).abs() < 5.0, "{whole:?}");
    assert!((whole.u - number(&expected["uc nm (rounded)"])).abs() < 0.5 && (whole.dof - 16.66).abs() < 0.01, "{whole:?}");
    let u99 = expanded(whole, 0.99);
    close(u99 / whole.u, student_t_quantile(0.995, number(&expected["nu_eff (truncated)"])), 1e-12, "factor");
    assert!((u99 / whole.u - 2.92).abs() < 0.005 && (u99 - number(&expected["U99 nm"])).abs() < 0.5, "{u99}");
}

#[test]
fn budgets() {
    // gum.ws: four equal parts of 10 degrees of freedom have 40 (arithmetic); factors by scipy; Table G.2 prints 2.23 and 2.28 (from memory).
    let ws = &check("gum.ws")["expected"];
    let four = combine(&[Part { u: 1.0, dof: 10.0 }; 4]);
    close(four.dof, number(&ws["nu_eff"]), 1e-12, "degrees of freedom");
    close(expanded(four, 0.95), 2.0 * student_t_975(40.0), 1e-12, "rounding does not take one away");
    let unit = |dof: f64, level: f64| expanded(Part { u: 1.0, dof }, level);
    close(unit(10.0, 0.95), number(&ws["k95(10)"]), 1e-12, "k95(10)");
    close(unit(50.0, 0.95), number(&ws["k95(50)"]), 1e-12, "k95(50)");
    close(unit(f64::INFINITY, 0.95), number(&ws["k95(inf)"]), 1e-12, "k95(inf)");
    close(unit(10.0, 0.9545), number(&ws["k95.45(10)"]), 1e-9, "k95.45(10)");
    // gum.area: a budget with parts known for certain; scipy. Its factor is at the fraction, ours at the integer below.
    let area = check("gum.area");
    let components = area["inputs"]["components"].as_object().unwrap();
    let dofs = area["inputs"]["nu"].as_array().unwrap();
    let parts: Vec<Part> =
        components.values().zip(dofs).map(|(u, dof)| Part { u: number(u), dof: dof.as_f64().unwrap_or(f64::INFINITY) }).collect();
    let whole = combine(&parts);
    close(whole.u, number(&area["expected"]["uc"]), 1e-12, "uc");
    close(whole.dof, number(&area["expected"]["nu_eff"]), 1e-12, "nu_eff");
    close(student_t_975(whole.dof), number(&area["expected"]["k95"]), 1e-12, "k95");
    close(expanded(whole, 0.95), whole.u * student_t_975(31.0), 1e-12, "U95, truncated");
    // Nothing known to be uncertain.
    let none = combine(&[]);
    assert_eq!((none.u.to_bits(), none.dof, expanded(none, 0.95).to_bits()), (0, f64::INFINITY, 0));
}

#[test]
fn conformity() {
    // jcgm106.pc and jcgm106.guard: scipy 1.17.1; Φ(1.40) = 0.9192 is the Zener diode of JCGM 106 (from memory).
    let pc = check("jcgm106.pc");
    let input = |name: &str| number(&pc["inputs"][name]);
    close(probability_below(input("y"), input("u"), input("TL")), number(&pc["expected"]["pc"]), 1e-12, "pc");
    assert!((normal_cdf(1.4) - 0.9192).abs() < 5e-5);
    let guard = &check("jcgm106.guard")["expected"];
    let risk = |y: &str| 1.0 - probability_below(number(&guard[y]), 0.25, 5.0);
    close(risk("A_U (w=U)"), number(&guard["risk at A_U (w=U, k=2)"]), 1e-12, "guard band of U");
    close(risk("A_U (w=1.645u)"), number(&guard["risk at A_U (w=1.645u)"]), 1e-12, "guard band of 1.645 u");
    close(1.0 - probability_below(5.0, 0.25, 5.0), number(&guard["simple acceptance w=0 risk at limit"]), 1e-15, "at the limit");
    same([probability_below(5.0, 0.0, 5.0), probability_below(5.1, 0.0, 5.0)], [1.0, 0.0]);
}
