//! The two ends of the intervals of rare events and tails.

use super::{Budget, Nested};
use crate::quantity::{Events, Interval, Pool, QUANTITIES};
use crate::statistics::normal_quantile;
use crate::statistics::rare::fay_feuer;

/// The ends of a quantity's interval at a level; `None` for quantities without ends of their own, and where too little was found.
pub(super) fn of(
    q: usize,
    pool: &Pool<'_>,
    (value, budget): (Option<f64>, Option<&Budget>),
    (nested, level): (&Nested<'_>, f64),
) -> Option<[f64; 2]> {
    let value = value?;
    let ends = match QUANTITIES[q].interval {
        Interval::Rare(rare) => {
            let (events, concern) = pool.events(rare)?;
            let all = events.iter().fold(Events::default(), |a, e| Events {
                sum: a.sum + e.sum,
                sum_of_squares: a.sum_of_squares + e.sum_of_squares,
                largest: a.largest.max(e.largest),
                exposure: a.exposure + e.exposure,
            });
            let ends = fay_feuer(all.sum, all.sum_of_squares, all.largest.max(concern), level).map(|end| end / all.exposure);
            let spread = nested
                .units()
                .iter()
                .map(|u| u[q])
                .collect::<Option<Vec<f64>>>()
                .and_then(|units| super::budget::half_width(&units, level))
                .unwrap_or(0.0);
            (all.exposure > 0.0).then(|| [ends[0].min(value - spread).max(0.0), ends[1].max(value + spread)])
        }
        Interval::Tail => None,
        Interval::None | Interval::BetweenFields | Interval::Largest => return None,
    }?;
    let systematic = normal_quantile(0.5 + level / 2.0) * budget.map_or(0.0, Budget::systematic);
    Some(widened(ends, value, systematic))
}

/// Ends moved apart by what does not shrink with more fields: half widths add as independent ones do. No quantity with ends can be below 0.
fn widened([low, high]: [f64; 2], value: f64, half: f64) -> [f64; 2] {
    let side = |distance: f64| (distance * distance + half * half).sqrt();
    [(value - side((value - low).max(0.0))).max(0.0), value + side((high - value).max(0.0))]
}
