//! Physical ranges.

use std::fmt;

/// The physical range of a number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    low: f64,
    high: f64,
    /// Whether the ends themselves are in it.
    ends: [bool; 2],
}

impl Span {
    /// Any finite number.
    pub const ANY: Self = Self { low: f64::NEG_INFINITY, high: f64::INFINITY, ends: [false, false] };
    /// Above zero.
    pub const POSITIVE: Self = Self { low: 0.0, ..Self::ANY };
    /// Zero or above.
    pub const NOT_NEGATIVE: Self = Self { ends: [true, false], ..Self::POSITIVE };
    /// 0 to 100.
    pub const PERCENT: Self = Self { low: 0.0, high: 100.0, ends: [true, true] };
    /// Above 0 and below 1.
    pub const SHARE: Self = Self { low: 0.0, high: 1.0, ends: [false, false] };
    /// From `low` to `high`.
    pub const fn from_to(low: f64, high: f64) -> Self {
        Self { low, high, ends: [true, true] }
    }
    /// Above zero, up to `high`.
    pub const fn up_to(high: f64) -> Self {
        Self { low: 0.0, high, ends: [false, true] }
    }

    /// Its lower end; infinite where there is none.
    pub const fn low(self) -> f64 {
        self.low
    }
    /// Its upper end; infinite where there is none.
    pub const fn high(self) -> f64 {
        self.high
    }
    /// Whether the lower and the upper end themselves are in it.
    pub const fn has_ends(self) -> [bool; 2] {
        self.ends
    }

    /// Whether the number is finite and lies within.
    pub fn holds(self, value: f64) -> bool {
        let above = value > self.low || (self.ends[0] && value >= self.low);
        let below = value < self.high || (self.ends[1] && value <= self.high);
        value.is_finite() && above && below
    }
}

impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let low = if self.ends[0] { format!("at least {}", self.low) } else { format!("above {}", self.low) };
        let high = if self.ends[1] { format!("at most {}", self.high) } else { format!("below {}", self.high) };
        match (self.low.is_finite(), self.high.is_finite()) {
            (true, true) => write!(f, "{low} and {high}"),
            (true, false) => f.write_str(&low),
            (false, true) => f.write_str(&high),
            (false, false) => f.write_str("a finite number"),
        }
    }
}
