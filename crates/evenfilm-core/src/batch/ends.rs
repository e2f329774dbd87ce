//! The two ends of the intervals of rare events and tails.

use crate::interval::{self, Resampled, Tails};
use crate::quantity::{Interval, Pool, QUANTITIES, Tail};
use crate::statistics::normal_quantile;

/// What resampling says of the tails of a pool; `slides[i]` numbers the slide of field `i`.
pub(super) fn resampled(pool: &Pool<'_>, slides: &[usize]) -> Resampled {
    let sizes = pool.sizes_by_field();
    Resampled::of(&sizes.iter().map(Vec::as_slice).collect::<Vec<_>>(), slides)
}

/// The ends of every quantity's interval at a level; `None` for quantities without ends of their own, and where too little was found.
/// `systematic` are the standard uncertainties of what does not shrink with more fields; `slides[i]` numbers the slide of field `i`.
pub(super) fn at(
    (pool, resampled): (&Pool<'_>, &Resampled),
    (values, systematic): (&[Option<f64>], &[f64]),
    (slides, level): (&[usize], f64),
) -> Vec<Option<[f64; 2]>> {
    let value_of = |tail: Tail| QUANTITIES.iter().position(|q| q.interval == Interval::Tail(tail)).and_then(|q| values[q]);
    let tails = resampled.tails([Tail::X90, Tail::Span, Tail::D43].map(value_of), level);
    let ends = |q: usize| {
        let value = values[q]?;
        let ends = match QUANTITIES[q].interval {
            Interval::Rare(rare) => {
                let (events, concern) = pool.events(rare)?;
                interval::rare(&events, slides, concern, level)
            }
            Interval::Tail(tail) => of_tail(tail, &tails),
            Interval::None | Interval::BetweenFields | Interval::Largest => None,
        }?;
        let [low, high] = widened(ends, value, normal_quantile(0.5 + level / 2.0) * systematic[q]);
        // No share is more than the whole.
        Some([low, if QUANTITIES[q].unit == "%" { high.min(100.0).max(value) } else { high }])
    };
    (0..QUANTITIES.len()).map(ends).collect()
}

const fn of_tail(tail: Tail, tails: &Tails) -> Option<[f64; 2]> {
    match tail {
        Tail::X90 => tails.x90_3,
        Tail::Span => tails.span_3,
        Tail::D43 => tails.d43,
    }
}

/// Ends moved apart by what does not shrink with more fields: half widths add as independent ones do. No quantity with ends can be below 0.
fn widened([low, high]: [f64; 2], value: f64, half: f64) -> [f64; 2] {
    let side = |distance: f64| (distance * distance + half * half).sqrt();
    [(value - side((value - low).max(0.0))).max(0.0), value + side((high - value).max(0.0))]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_does_not_shrink_moves_both_ends() {
        for (ends, value, half, expected) in
            [([7.0, 14.0], 10.0, 4.0, [5.0, 10.0 + 32f64.sqrt()]), ([0.0, 3.0], 0.0, 0.0, [0.0, 3.0]), ([0.1, 3.2], 0.2, 4.0, [0.0, 5.2])]
        {
            let found = widened(ends, value, half);
            assert!(found.iter().zip(expected).all(|(found, expected)| (found - expected).abs() < 1e-12), "{found:?} {expected:?}");
        }
    }
}
