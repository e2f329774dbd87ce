//! Distributions of diameters (ISO 9276-1:1998, ISO 9276-2:2014).

/// A diameter and how many of its kind it stands for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sized {
    /// Diameter, any unit of length, above 0.
    pub diameter: f64,
    /// Weight: 1 ÷ the probability of having been counted.
    pub weight: f64,
}

/// Diameter below or at which a share of the population lies, by diameter to the power `r` (0 number, 3 volume): the smallest diameter whose
/// cumulative weight reaches `share`, so that every quantile is a diameter that was seen. `None` without diameters.
pub fn quantile(sizes: &[Sized], r: i32, share: f64) -> Option<f64> {
    let in_order = |a: &Sized, b: &Sized| a.diameter.total_cmp(&b.diameter);
    let mut sorted = std::borrow::Cow::Borrowed(sizes);
    if !sizes.is_sorted_by(|a, b| in_order(a, b).is_le()) {
        sorted.to_mut().sort_by(in_order);
    }
    let total: f64 = sorted.iter().map(|s| s.weight * s.diameter.powi(r)).sum();
    let mut below = 0.0;
    // Rounding of the sums must not push a share past a diameter that reaches it exactly.
    let wanted = share * total * (1.0 - 1e-12);
    for s in sorted.iter() {
        below += s.weight * s.diameter.powi(r);
        if below >= wanted {
            return Some(s.diameter);
        }
    }
    sorted.last().map(|s| s.diameter)
}

/// (x90,3 − x10,3) ÷ x50,3 (ISO 9276-2). `None` without diameters.
pub fn span_3(sizes: &[Sized]) -> Option<f64> {
    let x = |share| quantile(sizes, 3, share);
    Some((x(0.9)? - x(0.1)?) / x(0.5)?)
}

/// Moment-ratio mean D\[p,q\] = (Σ w xᵖ ÷ Σ w x^q)^(1/(p−q)), p > q (ISO 9276-2; ASTM E2578). `None` without diameters.
pub fn mean(sizes: &[Sized], p: i32, q: i32) -> Option<f64> {
    let moment = |power: i32| sizes.iter().map(|s| s.weight * s.diameter.powi(power)).sum::<f64>();
    let (upper, lower) = (moment(p), moment(q));
    if lower <= 0.0 {
        return None;
    }
    let ratio = upper / lower;
    Some(match p - q {
        1 => ratio,
        2 => ratio.sqrt(),
        3 => libm::cbrt(ratio),
        n => libm::pow(ratio, 1.0 / f64::from(n)),
    })
}
