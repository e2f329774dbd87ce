//! Axes: what they hold, and where their ticks stand.

/// How values become places.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Equal differences are equally long.
    Linear,
    /// Equal ratios are equally long; values above 0.
    Log,
}

/// What an axis holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axis {
    /// How values become places.
    pub kind: Kind,
    /// Value at its beginning.
    pub from: f64,
    /// Value at its end, above `from`.
    pub to: f64,
}

impl Axis {
    /// A linear axis; what cannot be one becomes 0 to 1.
    pub fn linear([from, to]: [f64; 2]) -> Self {
        let fits = from.is_finite() && to.is_finite() && (to - from).is_finite() && to > from;
        let [from, to] = if fits { [from, to] } else { [0.0, 1.0] };
        Self { kind: Kind::Linear, from, to }
    }

    /// A logarithmic axis; what cannot be one becomes 1 to 10.
    pub fn log([from, to]: [f64; 2]) -> Self {
        let [from, to] = if from > 0.0 && to.is_finite() && to > from { [from, to] } else { [1.0, 10.0] };
        Self { kind: Kind::Log, from, to }
    }

    /// Where a value lies: 0 at the beginning, 1 at the end, beyond them outside. Values that a logarithmic axis cannot hold lie at minus
    /// infinity.
    pub fn share_of(&self, value: f64) -> f64 {
        match self.kind {
            Kind::Linear => (value - self.from) / (self.to - self.from),
            Kind::Log => (libm::log10(value) - libm::log10(self.from)) / (libm::log10(self.to) - libm::log10(self.from)),
        }
    }

    /// The value at a share of its length.
    pub fn at_share(&self, share: f64) -> f64 {
        match self.kind {
            Kind::Linear => self.from + share * (self.to - self.from),
            Kind::Log => self.from * libm::pow(self.to / self.from, share),
        }
    }
}
