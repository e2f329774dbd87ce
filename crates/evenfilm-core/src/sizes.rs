//! Distributions of diameters (ISO 9276-1:1998, ISO 9276-2:2014).

/// A diameter and how many of its kind it stands for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sized {
    /// Diameter, any unit of length, above 0.
    pub diameter: f64,
    /// Weight: 1 ÷ the probability of having been counted.
    pub weight: f64,
}

impl Sized {
    /// What it adds to the distribution by diameter to the power `r`.
    fn share(&self, r: i32) -> f64 {
        self.weight * power(self.diameter, r)
    }
}

/// `d` to the power `r`. Multiplied out for those in use: `powi` is a call and a loop, and its last bit is promised nowhere.
pub(crate) fn power(d: f64, r: i32) -> f64 {
    match r {
        0 => 1.0,
        1 => d,
        2 => d * d,
        3 => d * d * d,
        4 => (d * d) * (d * d),
        _ => libm::pow(d, f64::from(r)),
    }
}

/// A cumulative distribution: summed once, every quantile of it is a look-up.
#[derive(Clone, Debug, Default)]
pub(crate) struct Cumulative {
    /// Diameters, smallest first, each with the sum of the shares up to and with it.
    up_to: Vec<(f64, f64)>,
    /// Sum of the squares of the shares.
    squares: f64,
}

impl Cumulative {
    /// Of diameters that come smallest first, by diameter to the power `r` (0 number, 3 volume).
    pub(crate) fn of(sizes: impl Iterator<Item = Sized>, r: i32) -> Self {
        // A filter does not know how many it lets through; room for all costs less than growing.
        let mut up_to = Vec::with_capacity(sizes.size_hint().1.unwrap_or(0));
        let (mut sum, mut squares) = (0.0, 0.0);
        sizes.for_each(|s| {
            let share = s.share(r);
            (sum, squares) = (sum + share, squares + share * share);
            up_to.push((s.diameter, sum));
        });
        Self { up_to, squares }
    }

    /// The smallest diameter at which the sum reaches `share`, so that every quantile is a diameter that was seen. `None` without diameters.
    pub(crate) fn quantile(&self, share: f64) -> Option<f64> {
        let (largest, total) = *self.up_to.last()?;
        // Rounding of the sums must not push a share past a diameter that reaches it exactly.
        let wanted = share * total * (1.0 - 1e-12);
        let reaches = |sum: f64| sum >= wanted;
        let place = self.up_to.partition_point(|&(_, sum)| !reaches(sum));
        Some(self.up_to.get(place).map_or(largest, |&(diameter, _)| diameter))
    }

    /// (x90 − x10) ÷ x50. `None` without diameters.
    pub(crate) fn span(&self) -> Option<f64> {
        Some((self.quantile(0.9)? - self.quantile(0.1)?) / self.quantile(0.5)?)
    }

    /// How many diameters of one share would scatter as these do, (Σv)² ÷ Σv² (L. Kish, Survey Sampling, 1965); NaN without diameters.
    pub(crate) fn effective(&self) -> f64 {
        let sum = self.up_to.last().map_or(0.0, |&(_, sum)| sum);
        sum * sum / self.squares
    }
}

/// Diameter below or at which a share of the population lies, by diameter to the power `r` (0 number, 3 volume): the smallest diameter whose
/// cumulative weight reaches `share`, so that every quantile is a diameter that was seen. `None` without diameters.
pub fn quantile(sizes: &[Sized], r: i32, share: f64) -> Option<f64> {
    let in_order = |a: &Sized, b: &Sized| a.diameter.total_cmp(&b.diameter);
    let mut sorted = std::borrow::Cow::Borrowed(sizes);
    if !sizes.is_sorted_by(|a, b| in_order(a, b).is_le()) {
        sorted.to_mut().sort_by(in_order);
    }
    Cumulative::of(sorted.iter().copied(), r).quantile(share)
}

/// The two sums of which D\[p,q\] is a root of the ratio: Σ w xᵖ and Σ w x^q.
pub(crate) fn moments(sizes: &[Sized], p: i32, q: i32) -> [f64; 2] {
    sizes.iter().fold([0.0; 2], |[upper, lower], s| [upper + s.share(p), lower + s.share(q)])
}

/// Moment-ratio mean D\[p,q\] = (Σ w xᵖ ÷ Σ w x^q)^(1/(p−q)), p > q (ISO 9276-2; ASTM E2578). `None` without diameters.
pub fn mean(sizes: &[Sized], p: i32, q: i32) -> Option<f64> {
    let [upper, lower] = moments(sizes, p, q);
    (lower > 0.0).then(|| root(upper / lower, p - q))
}

/// The n-th root of the ratio of two moments.
pub(crate) fn root(ratio: f64, n: i32) -> f64 {
    match n {
        1 => ratio,
        2 => ratio.sqrt(),
        3 => libm::cbrt(ratio),
        n => libm::pow(ratio, 1.0 / f64::from(n)),
    }
}
