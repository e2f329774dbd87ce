//! Standard uncertainty from the finite number of objects alone: what would be left if all fields and slides were alike.

use super::Pool;
use crate::sizes::{self, Cumulative, Sized, power};

/// Of a quantile: the quantiles one standard deviation of the share below and above it, half way apart, where the share scatters as among the
/// effective number of objects (Woodruff 1952, doi:10.1080/01621459.1952.10483443, from memory; Kish's effective number). `None` below two
/// effective objects.
pub(super) fn quantile(of: &Cumulative, share: f64) -> Option<f64> {
    let effective = of.effective();
    if effective.is_nan() || effective < 2.0 {
        return None;
    }
    let step = (share * (1.0 - share) / effective).sqrt();
    let [low, high] = [share - step, share + step].map(|p| of.quantile(p.clamp(0.0, 1.0)));
    Some(0.5 * (high? - low?))
}

/// Of the moment-ratio mean D[p,q], by linearisation of the ratio of the two sums (delta method).
pub(super) fn mean(sizes: &[Sized], p: i32, q: i32) -> Option<f64> {
    let [upper, lower] = sizes::moments(sizes, p, q);
    if lower <= 0.0 || sizes.len() < 2 {
        return None;
    }
    let ratio = upper / lower;
    let off = |s: &Sized| s.weight * (power(s.diameter, p) - ratio * power(s.diameter, q)) / lower;
    let u_ratio = sizes.iter().map(|s| off(s) * off(s)).sum::<f64>().sqrt();
    Some(sizes::root(ratio, p - q) / f64::from(p - q) * u_ratio / ratio)
}

/// Of the particle area in %: objects of these areas, as many as Poisson chance brings.
pub(super) fn particle_area(pool: &Pool<'_>) -> Option<f64> {
    pool.share_pct(pool.powder().map(|thing| thing.area_um2 * thing.area_um2).sum::<f64>().sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{Draws, Source};

    /// Diameters at equal steps of a lognormal distribution's share, by halving on `libm::erfc`.
    fn lognormal(n: usize, sigma: f64) -> Vec<Sized> {
        let z = |p: f64| crate::statistics::normal_quantile(p);
        (0..n).map(|i| Sized { diameter: libm::exp(sigma * z((i as f64 + 0.5) / n as f64)), weight: 1.0 }).collect()
    }

    fn cumulative(sizes: &[Sized], r: i32) -> Cumulative {
        Cumulative::of(sizes.iter().copied(), r)
    }

    #[test]
    fn the_number_of_objects_decides_as_published() {
        // Mori & Suganuma 1975 / Masuda & Gotoh 1999 (check id count.diameter): at GSD 1.6 and 95 %, 5 % of the diameter need
        // 339, 377, 1277 and 1689 objects for x50,0, D[1,0], D[3,2] and x50,3, of a sum A² s²/n + 2 B² s⁴/(n − 1).
        let sigma = libm::log(1.6);
        let relative = |u: Option<f64>, value: f64| 1.96 * u.unwrap() / value;
        let of = |n| lognormal(n, sigma);
        let mean10 = relative(mean(&of(377), 1, 0), sizes::mean(&of(377), 1, 0).unwrap());
        // The published form assumes a fitted lognormal, which uses the objects better than a plain mean of diameters does, but hardly here.
        assert!((mean10 / 0.05 - 1.0).abs() < 0.03, "{mean10}");
        let median = relative(quantile(&cumulative(&of(339), 0), 0.5), 1.0);
        // An order statistic needs π/2 times as many objects as the fitted one (asymptotic efficiency of the median, common knowledge).
        assert!((median / 0.05 / (std::f64::consts::PI / 2.0).sqrt() - 1.0).abs() < 0.05, "{median}");
    }

    #[test]
    fn resampling_agrees() {
        // Against 2000 resamples of 400 objects, each drawn by our own generator: no source, the definition of a standard error.
        let sizes = lognormal(400, 0.5);
        let spread = |of: &dyn Fn(&[Sized]) -> f64| {
            let mut draws = Draws::new(Source::new(7, 0));
            let values: Vec<f64> = (0..2000)
                .map(|_| {
                    let mut drawn: Vec<Sized> = (0..sizes.len()).map(|_| sizes[draws.below(sizes.len())]).collect();
                    drawn.sort_by(|a, b| a.diameter.total_cmp(&b.diameter));
                    of(&drawn)
                })
                .collect();
            crate::statistics::mean_and_deviation(&values).unwrap().1.unwrap()
        };
        for (r, p) in [(0, 0.1), (0, 0.5), (3, 0.5)] {
            let (ours, drawn) = (quantile(&cumulative(&sizes, r), p).unwrap(), spread(&|s| sizes::quantile(s, r, p).unwrap()));
            assert!((ours / drawn - 1.0).abs() < 0.15, "x{p},{r}: {ours} {drawn}");
        }
        for (p, q) in [(1, 0), (3, 2)] {
            let (ours, drawn) = (mean(&sizes, p, q).unwrap(), spread(&|s| sizes::mean(s, p, q).unwrap()));
            assert!((ours / drawn - 1.0).abs() < 0.08, "D[{p},{q}]: {ours} {drawn}");
        }
    }

    #[test]
    fn too_few_objects_say_nothing() {
        let one = [Sized { diameter: 2.0, weight: 1.0 }];
        let of = |sizes: &[Sized], r: i32| quantile(&cumulative(sizes, r), 0.5);
        assert_eq!((of(&one, 0), of(&[], 3), mean(&one, 3, 2)), (None, None, None));
    }
}
