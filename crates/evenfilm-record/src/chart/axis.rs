//! Axes: what they hold, and where their ticks stand.

use crate::numbers;

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

/// A tick of an axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    /// Its value.
    pub value: f64,
    /// What stands beside it; `None` for small ticks.
    pub label: Option<String>,
}

/// Steps within a decade: the 1-2-5 series.
const STEPS: [f64; 3] = [1.0, 2.0, 5.0];
/// Most labels that any axis has.
const MOST_LABELS: f64 = 10.0;
/// A tick lies on an end of the axis when it is as near as this, in steps.
const ON_THE_END: f64 = 1e-9;

impl Axis {
    /// A linear axis; what cannot be one becomes 0 to 1.
    pub fn linear([from, to]: [f64; 2]) -> Self {
        let fits = from.is_finite() && to.is_finite() && (to - from).is_finite() && to - from > 1e-12 * from.abs().max(to.abs());
        let [from, to] = if fits { [from, to] } else { [0.0, 1.0] };
        Self { kind: Kind::Linear, from, to }
    }

    /// A logarithmic axis; what cannot be one becomes 1 to 10.
    pub fn log([from, to]: [f64; 2]) -> Self {
        let fits = from >= 1e-300 && to <= 1e300 && to / from > 1.0 + 1e-9;
        let [from, to] = if fits { [from, to] } else { [1.0, 10.0] };
        Self { kind: Kind::Log, from, to }
    }

    /// Where a value lies: 0 at the beginning, 1 at the end, beyond them outside. Values that a logarithmic axis cannot hold lie at minus
    /// infinity or are no number.
    pub fn share_of(&self, value: f64) -> f64 {
        match self.kind {
            Kind::Linear => (value - self.from) / (self.to - self.from),
            Kind::Log => libm::log10(value / self.from) / libm::log10(self.to / self.from),
        }
    }

    /// The value at a share of its length.
    pub fn at_share(&self, share: f64) -> f64 {
        match self.kind {
            Kind::Linear => self.from + share * (self.to - self.from),
            Kind::Log => self.from * libm::pow(self.to / self.from, share),
        }
    }

    /// Whether a value lies on it.
    pub fn holds(&self, value: f64) -> bool {
        self.from <= value && value <= self.to
    }

    /// Ticks along `length` points: as many labels of the 1-2-5 series as stand clear of each other, and on a logarithmic axis small ticks
    /// at 1 to 9 of every decade. `room` is how long a label is along the axis with the air around it, points.
    pub fn ticks(&self, length: f64, room: &dyn Fn(&str) -> f64) -> Vec<Tick> {
        let sets = self.sets();
        let clear = |set: &&Vec<Tick>| self.clear(set, length, room);
        let mut ticks = sets.iter().find(clear).or(sets.last()).cloned().unwrap_or_default();
        if !self.clear(&ticks, length, room) {
            ticks.truncate(1);
        }
        if self.kind == Kind::Log {
            let labelled = ticks.clone();
            let known = |value: f64| labelled.iter().any(|tick| (tick.value / value - 1.0).abs() < 1e-9);
            let small = self.decades(&[1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0], 1).into_iter().filter(|tick| !known(tick.value));
            ticks.extend(small.map(|tick| Tick { label: None, ..tick }));
            ticks.sort_by(|a, b| a.value.total_cmp(&b.value));
        }
        ticks
    }

    /// Sets of labelled ticks, from dense to sparse.
    fn sets(&self) -> Vec<Vec<Tick>> {
        if self.kind == Kind::Log {
            let dense = self.decades(&STEPS, 1);
            if dense.len() >= 3 {
                return std::iter::once(dense).chain([1, 2, 3, 5, 10, 20, 50, 100, 200].map(|each| self.decades(&[1.0], each))).collect();
            }
        }
        self.even()
    }

    /// Ticks at equal steps, for every step that gives at most [`MOST_LABELS`], the smallest first.
    fn even(&self) -> Vec<Vec<Tick>> {
        let span = self.to - self.from;
        let mut power = floored(libm::log10(span / MOST_LABELS));
        let mut sets = Vec::new();
        loop {
            for step in STEPS {
                let scaled = |value: f64| if power < 0 { value * ten(-power) / step } else { value / ten(power) / step };
                let (first, last) = ((scaled(self.from) - ON_THE_END).ceil(), (scaled(self.to) + ON_THE_END).floor());
                let number = last - first;
                if number < 1.0 {
                    return sets;
                }
                if number < MOST_LABELS {
                    let value = |i: f64| if power < 0 { i * step / ten(-power) } else { i * step * ten(power) };
                    let mut set = Vec::new();
                    let mut i = first;
                    while i <= last {
                        let value = value(i) + 0.0;
                        set.push(Tick { value, label: Some(decimals(value, power)) });
                        i += 1.0;
                    }
                    sets.push(set);
                }
            }
            power += 1;
        }
    }

    /// Ticks at these multiples of every `each`-th power of ten.
    fn decades(&self, multiples: &[f64], each: i32) -> Vec<Tick> {
        let (low, high) = (floored(libm::log10(self.from)), floored(libm::log10(self.to)));
        let mut ticks = Vec::new();
        for power in (low..=high).filter(|power| power.rem_euclid(each) == 0) {
            for multiple in multiples {
                let value = if power < 0 { multiple / ten(-power) } else { multiple * ten(power) };
                if value >= self.from * (1.0 - ON_THE_END) && value <= self.to * (1.0 + ON_THE_END) {
                    ticks.push(Tick { value, label: Some(numbers::text(Some(value))) });
                }
            }
        }
        ticks
    }

    /// Whether labels stand clear of each other.
    fn clear(&self, ticks: &[Tick], length: f64, room: &dyn Fn(&str) -> f64) -> bool {
        let long = |tick: &Tick| tick.label.as_deref().map_or(0.0, room);
        ticks.windows(2).all(|pair| {
            (self.share_of(pair[1].value) - self.share_of(pair[0].value)) * length >= f64::midpoint(long(&pair[0]), long(&pair[1]))
        })
    }
}

fn floored(value: f64) -> i32 {
    #[expect(clippy::cast_possible_truncation, reason = "a power of ten of a double, -324 to 308")]
    let floored = value.floor() as i32;
    floored
}

/// A power of ten; exact up to 22.
fn ten(power: i32) -> f64 {
    10_f64.powi(power)
}

/// A multiple of a power of ten with its decimals written out, very large and small ones as everywhere in a record.
fn decimals(value: f64, power: i32) -> String {
    if power < -7 || value.abs() >= 1e15 {
        return numbers::text(Some(value));
    }
    format!("{value:.*}", usize::try_from(-power).unwrap_or(0))
}
