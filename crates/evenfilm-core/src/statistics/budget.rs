//! Parts of a measurement's uncertainty put together (GUM: JCGM 100:2008).

use super::student_t_quantile;

/// One part, or several combined.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Standard uncertainty, as it acts on the result and in its unit; ≥ 0.
    pub u: f64,
    /// Degrees of freedom of `u`, above 0; infinite where it is taken as known.
    pub dof: f64,
}

/// Independent parts combined: root of the sum of squares (JCGM 100 5.1.2), effective degrees of freedom u⁴ ÷ Σ uᵢ⁴/νᵢ (B. L. Welch and
/// F. E. Satterthwaite; JCGM 100 G.4.1), not rounded. u = 0 with infinite degrees of freedom where there are no parts, or all are 0; NaN where a
/// part is out of range.
pub fn combine(parts: &[Part]) -> Part {
    if parts.iter().any(|p| p.u.is_nan() || p.u < 0.0 || p.dof.is_nan() || p.dof <= 0.0) {
        return Part { u: f64::NAN, dof: f64::NAN };
    }
    let u = parts.iter().map(|p| p.u * p.u).sum::<f64>().sqrt();
    if u <= 0.0 {
        return Part { u: 0.0, dof: f64::INFINITY };
    }
    // Shares of the whole, so that fourth powers neither over- nor underflow.
    let spread: f64 = parts.iter().map(|p| (p.u / u) * (p.u / u) * (p.u / u) * (p.u / u) / p.dof).sum();
    Part { u, dof: 1.0 / spread }
}

/// Expanded uncertainty: half width of the interval that holds the value with this `level` (0 to 1), in the unit of `part.u`. NaN out of range.
///
/// The factor is Student's t at the effective degrees of freedom, truncated to the next lower integer (one of the two ways of JCGM 100 G.4.1,
/// and the one of its example H.1: 16.7 is taken as 16); below 1 they are taken as they are.
pub fn expanded(part: Part, level: f64) -> f64 {
    if part.u <= 0.0 && level < 1.0 {
        return 0.0;
    }
    // What is whole but for rounding must not fall to the integer below.
    let whole = (part.dof * (1.0 + 1e-9)).floor();
    part.u * student_t_quantile(0.5 + 0.5 * level, if whole >= 1.0 { whole } else { part.dof })
}
