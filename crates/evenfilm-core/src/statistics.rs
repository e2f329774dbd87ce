//! Distributions, intervals and budgets, as pure functions: same bits on every machine, NaN for what is out of range, and an end to every loop.

mod beta;
pub mod budget;
pub mod conformity;
mod front;
mod gamma;
mod normal;
pub mod planning;
pub mod proportion;
pub mod rare;
mod solve;

pub use beta::{beta_quantile, incomplete_beta};
pub use gamma::{chi_square_quantile, gamma_quantile, incomplete_gamma};
pub use normal::{normal_cdf, normal_quantile, student_t_975, student_t_quantile};

/// Mean and standard deviation (n − 1) of values; the deviation is `None` for fewer than two.
pub fn mean_and_deviation(values: &[f64]) -> Option<(f64, Option<f64>)> {
    if values.is_empty() {
        return None;
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
    Some((mean, (values.len() > 1).then(|| (squares / (n - 1.0)).sqrt())))
}

/// Half width of the two-sided interval of a mean of `values` at this `level` (0 to 1): t · s/√n with n − 1 degrees of freedom. `None` for
/// fewer than two values.
pub fn half_width(values: &[f64], level: f64) -> Option<f64> {
    let deviation = mean_and_deviation(values)?.1?;
    let n = values.len() as f64;
    Some(student_t_quantile(0.5 + 0.5 * level, n - 1.0) * deviation / n.sqrt())
}

/// [`half_width`] at 95 %.
pub fn half_width_95(values: &[f64]) -> Option<f64> {
    half_width(values, 0.95)
}

/// A straight line through points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StraightLine {
    /// y for each x.
    pub slope: f64,
    /// Its standard error.
    pub slope_u: f64,
    /// y at x = 0.
    pub intercept: f64,
    /// Its standard error.
    pub intercept_u: f64,
    /// Standard deviation of the points about the line (n − 2).
    pub residual_sd: f64,
}

/// Ordinary least squares of `y` against `x`, as many of each. `None` for fewer than three points or points at one x.
pub fn straight_line(x: &[f64], y: &[f64]) -> Option<StraightLine> {
    let n = x.len().min(y.len());
    if n < 3 {
        return None;
    }
    let count = n as f64;
    let mean = |of: &[f64]| of[..n].iter().sum::<f64>() / count;
    let (mx, my) = (mean(x), mean(y));
    let sxx = x[..n].iter().map(|x| (x - mx) * (x - mx)).sum::<f64>();
    if sxx.is_nan() || sxx <= 0.0 {
        return None;
    }
    let slope = x.iter().zip(y).map(|(x, y)| (x - mx) * (y - my)).sum::<f64>() / sxx;
    let off2 = x.iter().zip(y).map(|(x, y)| y - my - slope * (x - mx)).map(|off| off * off).sum::<f64>();
    let residual_sd = (off2 / (count - 2.0)).sqrt();
    Some(StraightLine {
        slope,
        slope_u: residual_sd / sxx.sqrt(),
        intercept: my - slope * mx,
        intercept_u: residual_sd * (1.0 / count + mx * mx / sxx).sqrt(),
        residual_sd,
    })
}

/// Median, the upper of two; 0 of nothing.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f64::total_cmp).1 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn student_t_agrees_with_the_tables() {
        // scipy 1.17.1 stats.t.ppf(0.975, n); the same numbers to 4 digits stand in every printed table.
        for (dof, t) in [
            (1.0, 12.706_204_736_174_71),
            (2.0, 4.302_652_729_696_142),
            (9.0, 2.262_157_162_798_205),
            (30.0, 2.042_272_456_301_238),
            (1000.0, 1.962_339_080_836_2),
        ] {
            assert!((student_t_975(dof) / t - 1.0).abs() < 1e-9, "{dof}: {}", student_t_975(dof));
        }
    }

    #[test]
    fn the_worked_example_of_the_point_count() {
        // check id e562.worked (counts of 100 points; scipy 1.17.1): 95 % half width 1.847044.
        let counts = [12.0, 15.0, 9.0, 14.0, 11.0, 10.0, 13.0, 16.0, 8.0, 12.0];
        assert!((half_width_95(&counts).unwrap() - 1.847_044).abs() < 1e-6);
    }
}
