//! The tails of a size distribution by volume, which hang on few large objects.

use rayon::prelude::*;

use super::units;
use crate::random::Source;
use crate::sizes::{self, Cumulative, Sized};
use crate::statistics::{normal_quantile, student_t_quantile};

/// Intervals of the quantities that hang on the largest objects. `None` is undecided: too few objects to say.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tails {
    /// Of x90,3, in the unit of the diameters.
    pub x90_3: Option<[f64; 2]>,
    /// Of (x90,3 − x10,3)/x50,3.
    pub span_3: Option<[f64; 2]>,
    /// Of D\[4,3\], in the unit of the diameters.
    pub d43: Option<[f64; 2]>,
    /// Effective number of objects by volume: how many of one volume would scatter as these do, (Σ w d³)²/Σ (w d³)² (L. Kish, Survey Sampling,
    /// 1965), or what a log-normal population of their spread would have, n exp(−9 s²), whichever is smaller. The former alone is largest
    /// where the large objects happened to be missed.
    pub effective: f64,
    /// The same by d⁴, which is what D\[4,3\] hangs on; n exp(−16 s²).
    pub effective_d43: f64,
}

/// Effective number of objects by volume below which x90,3 and the span are undecided. By simulation (`cargo bench -p evenfilm-tests --bench
/// coverage`): from there on the intervals hold the truth in about 93 % of the lots or more, for geometric standard deviations of 1.4 to 2.
pub const ENOUGH: f64 = 100.0;

/// Effective number by d⁴ below which D\[4,3\] is undecided, by the same simulation.
pub const ENOUGH_D43: f64 = 15.0;

/// Width of a class of ln(diameter). Quantiles are interpolated in it; what a class of 1 % loses is far below what a tail scatters.
const CLASS: f64 = 0.01;

/// Classes beyond the largest object seen: one of twice its volume must have room.
const BEYOND: usize = 24;

/// Number of resamplings each of objects and of units.
const ROUNDS: usize = 200;

/// Key of the random numbers, the same for every lot: the same objects have the same interval.
const SEED: u64 = 1;

/// Two-sided intervals at this `level` (0 to 1) of x90,3, span and D\[4,3\] of objects in `fields`, `slides[i]` being the slide of `fields[i]`.
///
/// Around the pooled value, in logarithms. Two spreads are had by resampling (B. Efron, Ann. Stat. 7 (1979) 1), always with the same random
/// numbers: of the objects, each class of diameters a Poisson number; and of the units, slides or fields drawn with replacement, corrected by
/// √(n/(n − 1)). Whichever says more counts, the former with the normal quantile, the latter with Student's at n − 1 degrees of freedom.
/// The upper factor is 1 + h + h c as in [`super::rare()`], times what one more object of twice the largest volume seen would add: as for rare events,
/// the object that was not seen is the larger one. Ends chosen by simulation.
pub fn tails(fields: &[&[Sized]], slides: &[usize], level: f64) -> Tails {
    let mut all = fields.concat();
    all.sort_by(|a, b| a.diameter.total_cmp(&b.diameter));
    let by_volume = Cumulative::of(all.iter().copied(), 3);
    Resampled::of(fields, slides).tails([by_volume.quantile(0.9), by_volume.span(), sizes::mean(&all, 4, 3)], level)
}

/// What resampling says of the tails, at any level.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Resampled {
    /// [`Tails::effective`] and [`Tails::effective_d43`].
    effective: [f64; 2],
    /// Number of slides or fields.
    units: usize,
    /// `None` where every tail is undecided.
    spreads: Option<Spreads>,
}

/// How far the logarithms of x90,3, span and D\[4,3\] spread.
#[derive(Clone, Copy, Debug)]
struct Spreads {
    of_objects: [f64; 3],
    /// `None` with fewer than two units.
    of_units: Option<[f64; 3]>,
    /// Factor by which one more object of twice the largest volume would raise each.
    one_more: [f64; 3],
}

impl Resampled {
    /// Of objects in `fields`, `slides[i]` being the slide of `fields[i]`.
    pub(crate) fn of(fields: &[&[Sized]], slides: &[usize]) -> Self {
        let Some(table) = Table::of(fields, &units(slides)) else { return Self::default() };
        let found = Self { effective: table.effective, units: table.units.len(), spreads: None };
        Self { spreads: if found.enough() == [false; 3] { None } else { table.spreads() }, ..found }
    }

    /// Whether there are enough objects for x90,3, span and D\[4,3\].
    fn enough(&self) -> [bool; 3] {
        let [effective, effective_d43] = self.effective;
        [effective >= ENOUGH, effective >= ENOUGH, effective_d43 >= ENOUGH_D43]
    }

    /// The intervals around pooled `values` of x90,3, span and D\[4,3\].
    pub(crate) fn tails(&self, values: [Option<f64>; 3], level: f64) -> Tails {
        let ends = |i: usize| {
            let (value, [low, high]) = (values[i]?, self.factors(i, level)?);
            let ends = [value / low, value * high];
            (self.enough()[i] && ends.iter().all(|v| v.is_finite())).then_some(ends)
        };
        let [effective, effective_d43] = self.effective;
        Tails { x90_3: ends(0), span_3: ends(1), d43: ends(2), effective, effective_d43 }
    }

    /// Lower and upper factor of one of the three.
    fn factors(&self, i: usize, level: f64) -> Option<[f64; 2]> {
        let spreads = self.spreads?;
        let p = 0.5 + 0.5 * level;
        let (z, t) = (normal_quantile(p), student_t_quantile(p, self.units as f64 - 1.0));
        let (object, unit) = (spreads.of_objects[i], spreads.of_units.map_or(0.0, |s| s[i]));
        let h = (z * object).max(if unit > 0.0 { t * unit } else { 0.0 });
        let c = z * object.max(unit);
        Some([1.0 + h, (1.0 + h + h * c) * spreads.one_more[i]])
    }
}

/// Objects summed by class of diameter.
struct Table {
    /// Diameter of each class to the powers 1 and 3, over that of the first.
    powers: Vec<[f64; 2]>,
    /// Number of objects in each class.
    counts: Vec<f64>,
    /// Sum of their weights.
    weights: Vec<f64>,
    /// The same for each unit.
    units: Vec<Vec<f64>>,
    /// Effective number of objects by d³ and d⁴.
    effective: [f64; 2],
}

impl Table {
    /// `None` without objects, or where a diameter is out of range.
    fn of(fields: &[&[Sized]], units: &[Vec<usize>]) -> Option<Self> {
        let diameters = || fields.iter().flat_map(|f| f.iter().map(|s| s.diameter));
        let smallest = diameters().min_by(f64::total_cmp)?;
        let largest = diameters().max_by(f64::total_cmp)?;
        if smallest <= 0.0 || largest.is_infinite() {
            return None;
        }
        let class = |d: f64| floor(libm::log(d / smallest) / CLASS);
        let classes = class(largest) + 1 + BEYOND;
        let power = |k: usize| libm::exp(CLASS * (k as f64 + 0.5));
        let mut table = Self {
            powers: (0..classes).map(|k| [power(k), power(k) * power(k) * power(k)]).collect(),
            counts: vec![0.0; classes],
            weights: vec![0.0; classes],
            units: vec![vec![0.0; classes]; units.len()],
            effective: [0.0; 2],
        };
        let mut sums = [[0.0; 2]; 2];
        for (unit, of) in units.iter().enumerate() {
            for s in of.iter().flat_map(|&field| fields[field]) {
                let k = class(s.diameter);
                table.counts[k] += 1.0;
                table.weights[k] += s.weight;
                table.units[unit][k] += s.weight;
                let d = s.diameter / smallest;
                for (sum, share) in sums.iter_mut().zip([s.weight * d * d * d, s.weight * d * d * d * d]) {
                    *sum = [sum[0] + share, sum[1] + share * share];
                }
            }
        }
        let model = log_normal_numbers(fields);
        table.effective = [0, 1].map(|i| (sums[i][0] * sums[i][0] / sums[i][1]).min(model[i]));
        Some(table)
    }

    /// Logarithms of x90,3, span and D\[4,3\] of the classes with these weights, but for a constant. `below` is scratch. `None` where one is none.
    fn logs(&self, weights: &[f64], below: &mut Vec<f64>) -> Option<[f64; 3]> {
        below.clear();
        let (mut sum, mut fourth) = (0.0, 0.0);
        for (weight, [d, cube]) in weights.iter().zip(&self.powers) {
            let volume = weight * cube;
            sum += volume;
            fourth += volume * d;
            below.push(sum);
        }
        let x = |share: f64| {
            let k = below.partition_point(|b| *b < share * sum).min(below.len() - 1);
            let before = if k == 0 { 0.0 } else { below[k - 1] };
            CLASS * (k as f64 + (share * sum - before) / (below[k] - before))
        };
        let [x10, x50, x90] = [x(0.1), x(0.5), x(0.9)];
        let logs = [x90, libm::log(libm::exp(x90 - x50) - libm::exp(x10 - x50)), libm::log(fourth / sum)];
        logs.iter().all(|v| v.is_finite()).then_some(logs)
    }

    /// `None` where the weights as they are have no such quantities.
    fn spreads(&self) -> Option<Spreads> {
        let middle = self.logs(&self.weights, &mut Vec::new())?;
        let more = self.logs(&self.with_one_more(), &mut Vec::new())?;
        Some(Spreads {
            of_objects: self.spread_of_objects(middle),
            of_units: self.spread_of_units(middle),
            one_more: [0, 1, 2].map(|i| libm::exp((more[i] - middle[i]).max(0.0))),
        })
    }

    /// The weights, and one object more of twice the largest volume.
    fn with_one_more(&self) -> Vec<f64> {
        let largest = self.counts.len() - 1 - BEYOND;
        let mut weights = self.weights.clone();
        weights[largest + BEYOND - 1] += self.weights[largest] / self.counts[largest];
        weights
    }

    fn spread_of_objects(&self, middle: [f64; 3]) -> [f64; 3] {
        let source = Source::new(SEED, 0);
        let occupied: Vec<usize> = (0..self.counts.len()).filter(|&k| self.counts[k] > 0.0).collect();
        self.spread(middle, |round, weights| {
            for (place, &k) in occupied.iter().enumerate() {
                let index = round * occupied.len() as u64 + place as u64;
                weights[k] = self.weights[k] / self.counts[k] * source.poisson(index, self.counts[k]);
            }
        })
    }

    /// `None` with fewer than two units.
    fn spread_of_units(&self, middle: [f64; 3]) -> Option<[f64; 3]> {
        let n = self.units.len();
        if n < 2 {
            return None;
        }
        let source = Source::new(SEED, 1);
        let spread = self.spread(middle, |round, weights| {
            weights.fill(0.0);
            for place in 0..n as u64 {
                let drawn = floor(source.uniform(round * n as u64 + place) * n as f64);
                weights.iter_mut().zip(&self.units[drawn]).for_each(|(sum, weight)| *sum += weight);
            }
        });
        let few = (n as f64 / (n as f64 - 1.0)).sqrt();
        Some(spread.map(|s| few * s))
    }

    /// Root of the mean squares around `middle` of what `draw` makes the weights in each round.
    fn spread(&self, middle: [f64; 3], draw: impl Fn(u64, &mut [f64]) + Sync) -> [f64; 3] {
        let scratch = || (vec![0.0; self.counts.len()], Vec::with_capacity(self.counts.len()));
        let round = |(weights, below): &mut (Vec<f64>, Vec<f64>), round: u64| {
            draw(round, weights);
            self.logs(weights, below)
        };
        let logs: Vec<Option<[f64; 3]>> =
            (0..ROUNDS).into_par_iter().with_min_len(20).map_init(scratch, |s, i| round(s, i as u64)).collect();
        let mut spread = Spread::around(middle);
        for logs in logs {
            spread.add(logs);
        }
        spread.deviation()
    }
}

/// n exp(−r² s²) for r = 3 and 4, with n the effective number of objects by their weights and s the standard deviation of ln(diameter): what
/// (Σ dʳ)²/Σ d²ʳ is for a log-normal population (T. Hatch and S. P. Choate, J. Franklin Inst. 207 (1929) 369).
fn log_normal_numbers(fields: &[&[Sized]]) -> [f64; 2] {
    let all: Vec<(f64, f64)> = fields.iter().flat_map(|f| f.iter()).map(|s| (s.weight, libm::log(s.diameter))).collect();
    let weight: f64 = all.iter().map(|(weight, _)| weight).sum();
    let squares: f64 = all.iter().map(|(weight, _)| weight * weight).sum();
    let mean = all.iter().map(|(weight, log)| weight * log).sum::<f64>() / weight;
    let variance = all.iter().map(|(weight, log)| weight * (log - mean) * (log - mean)).sum::<f64>() / weight;
    [9.0, 16.0].map(|power| weight * weight / squares * libm::exp(-power * variance))
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "not negative, and far below the largest whole number")]
fn floor(value: f64) -> usize {
    value as usize
}

/// Mean squares around what was found.
struct Spread {
    middle: [f64; 3],
    squares: [f64; 3],
    number: f64,
}

impl Spread {
    fn around(middle: [f64; 3]) -> Self {
        Self { middle, squares: [0.0; 3], number: 0.0 }
    }

    /// A resampling without a value says nothing.
    fn add(&mut self, logs: Option<[f64; 3]>) {
        if let Some(logs) = logs {
            (0..3).for_each(|i| self.squares[i] += (logs[i] - self.middle[i]) * (logs[i] - self.middle[i]));
            self.number += 1.0;
        }
    }

    /// Root of the mean squares; infinite where no resampling had a value.
    fn deviation(&self) -> [f64; 3] {
        self.squares.map(|s| if self.number > 0.0 { (s / self.number).sqrt() } else { f64::INFINITY })
    }
}
