//! Rare events: bare area, gaps, agglomerates.

use super::units;
use crate::statistics::rare::fay_feuer;
use crate::statistics::{normal_quantile, student_t_quantile};

/// The events of one field, or of several together.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Events {
    /// Sum of what each event weighs: its area, or 1 (or its frame weight) where events are counted.
    pub sum: f64,
    /// Sum of the squares of the weights.
    pub sum_of_squares: f64,
    /// Largest weight of one event; 0 without events.
    pub largest: f64,
    /// What was looked at: area of the field.
    pub exposure: f64,
}

impl Events {
    /// Events of these weights (above 0) in a field of this `exposure`.
    pub fn of(weights: impl IntoIterator<Item = f64>, exposure: f64) -> Self {
        weights.into_iter().fold(Self { exposure, ..Self::default() }, |all, w| Self {
            sum: all.sum + w,
            sum_of_squares: all.sum_of_squares + w * w,
            largest: all.largest.max(w),
            exposure,
        })
    }

    /// Events of several fields together.
    pub fn together<'a>(fields: impl IntoIterator<Item = &'a Self>) -> Self {
        fields.into_iter().fold(Self::default(), |all, f| Self {
            sum: all.sum + f.sum,
            sum_of_squares: all.sum_of_squares + f.sum_of_squares,
            largest: all.largest.max(f.largest),
            exposure: all.exposure + f.exposure,
        })
    }

    /// How many events of one weight would scatter as these do: (Σw)²/Σw² (L. Kish, Survey Sampling, 1965); 0 without events.
    fn effective(&self) -> f64 {
        if self.sum_of_squares > 0.0 { self.sum * self.sum / self.sum_of_squares } else { 0.0 }
    }
}

/// Effective number of events from which the spread between units may raise the upper end, and lower the lower one. With fewer, units differ
/// by the scatter of the events alone, which the gamma interval knows; by simulation.
const UPPER_FROM: f64 = 3.0;
const LOWER_FROM: f64 = 12.0;

/// Over the largest event seen: what was not seen may be larger. Without it areas whose logarithms spread by 1.5 are covered in 92 %.
const UNSEEN: f64 = 1.5;

/// Two-sided interval at this `level` (0 to 1) of a pooled rate, in weight per exposure: for gap area and field area in one unit the bare share
/// (0 to 1, and beyond 1 where next to nothing was looked at), for counts the number per unit of area.
///
/// The gamma interval of a weighted sum of Poisson numbers (M. P. Fay and E. J. Feuer, Stat. Med. 16 (1997) 791), whose largest weight is
/// 1½ times that of the largest event seen, or `concern`, the weight of the event that matters, whichever is larger (above 0). Where the spread between
/// units says more it counts instead, end by end: factors 1 + h + h c of the rate, h = t s, c = z s, with s the relative standard deviation of the
/// pooled rate between units (ratio estimator: W. G. Cochran, Sampling Techniques, 1977, 6.4), t and z Student's and the normal quantile. The
/// first terms are those of an interval in logarithms; with two slides its exponential would know no bound. Factor and limits were chosen by
/// simulation. Nothing found gives [0, U].
///
/// `None` without exposure, or where a number is out of range.
pub fn rare(fields: &[Events], slides: &[usize], concern: f64, level: f64) -> Option<[f64; 2]> {
    let whole = Events::together(fields);
    let [mut low, mut high] = fay_feuer(whole.sum, whole.sum_of_squares, (UNSEEN * whole.largest).max(concern), level);
    if let Some(factor) = factor_of_spread(fields, slides, level) {
        if whole.effective() >= UPPER_FROM {
            high = high.max(whole.sum * factor);
        }
        if whole.effective() >= LOWER_FROM {
            low = low.min(whole.sum / factor);
        }
    }
    let ends = [low / whole.exposure, high / whole.exposure];
    ends.iter().all(|e| e.is_finite()).then_some(ends)
}

/// The factor by which the spread between units says the rate may be off. `None` with fewer than two units, or nothing found.
fn factor_of_spread(fields: &[Events], slides: &[usize], level: f64) -> Option<f64> {
    let units: Vec<Events> =
        units(slides).iter().map(|of| Events::together(of.iter().map(|&i| &fields[i]))).filter(|u| u.exposure > 0.0).collect();
    let whole = Events::together(&units);
    if units.len() < 2 || whole.sum <= 0.0 {
        return None;
    }
    let n = units.len() as f64;
    let rate = whole.sum / whole.exposure;
    let squares: f64 = units.iter().map(|u| (u.sum - rate * u.exposure) * (u.sum - rate * u.exposure)).sum();
    let s = (n / (n - 1.0) * squares).sqrt() / whole.sum;
    let p = 0.5 + 0.5 * level;
    let (h, c) = (student_t_quantile(p, n - 1.0) * s, normal_quantile(p) * s);
    Some(1.0 + h + h * c)
}
