//! The one way in which quantiles are found: Newton's steps on the logarithm of a tail, kept between bounds.

/// A tail probability at a place, and how fast it changes there (≥ 0).
pub(super) struct Tail {
    /// Probability beyond the place, 0 to 1.
    pub(super) share: f64,
    /// Its change per unit of the place, without sign.
    pub(super) density: f64,
}

/// Which end of the distribution the share counts from.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum End {
    /// Below the place: grows with it.
    Lower,
    /// Above the place: falls with it.
    Upper,
}

impl End {
    /// That of two shares, below and above, which counts from here.
    pub(super) fn of(self, shares: [f64; 2]) -> f64 {
        shares[usize::from(self == Self::Upper)]
    }
}

/// Steps that are enough for halving alone to reach the last bit between any two bounds in use.
const MOST_STEPS: u32 = 200;

/// The place between `low` and `high` at which the tail has this `share` (0 to 1), beginning at `start`; the nearer bound where there is none.
///
/// All distributions here have a logarithm of either tail that is concave in the place. Newton's steps then close in from one side, and
/// halving takes over where the tail underflows or a step leaves the bounds.
pub(super) fn place(share: f64, end: End, [low, high]: [f64; 2], start: f64, tail: impl Fn(f64) -> Tail) -> f64 {
    let (mut low, mut high) = (low, high);
    let wanted = libm::log(share);
    let mut at = if start > low && start < high { start } else { 0.5 * (low + high) };
    for _ in 0..MOST_STEPS {
        let found = tail(at);
        let beyond = (found.share > share) == (end == End::Lower);
        if beyond {
            high = at;
        } else {
            low = at;
        }
        let slope = found.density / found.share * if end == End::Lower { 1.0 } else { -1.0 };
        let step = (wanted - libm::log(found.share)) / slope;
        let next = at + step;
        let small = 1e-15 * at.abs().max(1.0);
        if step.abs() <= small || high - low <= small {
            return if next >= low && next <= high { next } else { at };
        }
        at = if next > low && next < high { next } else { 0.5 * (low + high) };
    }
    at
}
