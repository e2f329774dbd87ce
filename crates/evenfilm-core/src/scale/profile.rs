//! Lines in one profile: found against the ground on both sides, placed by the centroid of what they take of its light.

use crate::statistics::median;

/// Share of the profile beyond which ground is not bridged; lines are narrower.
const BRIDGE: usize = 4;
/// How far a line must stand out of its surroundings, in standard deviations of the noise, and at least relative to the light.
const STANDS_OUT: (f64, f64) = (6.0, 0.02);
/// How far it must stand out, in depths of the usual line.
const OF_USUAL: f64 = 0.4;
/// A line goes through a whole band where it is at least so deep, in depths of the usual line.
const WHOLE: f64 = 0.85;
/// Ground that the outermost line must have outside, in shares of what it has inside; more than two widths are not needed.
const ROOM: f64 = 0.75;
/// Rounds of the centroid, whose window moves with it.
const ROUNDS: usize = 8;

/// Whether lines are darker or brighter than the ground.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tone {
    Dark,
    Bright,
}

/// A line in a profile.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Mark {
    /// Where, px from the outer edge of the first value.
    pub(super) x: f64,
    /// Width at half depth, px.
    pub(super) width: f64,
    /// Difference from the ground, relative to the brighter of both.
    pub(super) depth: f64,
}

/// A profile with what stands out of it towards dark and towards bright.
pub(super) struct Relief {
    values: Vec<f64>,
    least_light: f64,
    /// Below the bridged ground, relative to it.
    dark: Vec<f64>,
    /// Above the bridged ground, relative to the brightest near.
    bright: Vec<f64>,
}

impl Relief {
    /// `least_light` stands for the ground where it is darker: next to no light, noise is no line.
    pub(super) fn new(values: Vec<f64>, least_light: f64) -> Self {
        let last = values.len().saturating_sub(1);
        let smooth: Vec<f64> =
            (0..values.len()).map(|i| 0.25 * values[i.saturating_sub(1)] + 0.5 * values[i] + 0.25 * values[(i + 1).min(last)]).collect();
        let reach = (values.len() / BRIDGE / 2).max(4);
        let above = eroded(&dilated(&smooth, reach), reach);
        let below = dilated(&eroded(&smooth, reach), reach);
        let share = |part: f64, whole: f64| part / whole.max(least_light).max(f64::MIN_POSITIVE);
        let dark = smooth.iter().zip(&above).map(|(s, a)| share(a - s, *a)).collect();
        let bright = smooth.iter().zip(&below).zip(&above).map(|((s, b), a)| share(s - b, *a)).collect();
        Self { values, least_light, dark, bright }
    }

    /// How much of it stands out towards dark less towards bright, summed: lines are narrower than what lies between.
    pub(super) fn dark_less_bright(&self) -> f64 {
        self.dark.iter().sum::<f64>() - self.bright.iter().sum::<f64>()
    }

    pub(super) fn of(&self, tone: Tone) -> &[f64] {
        match tone {
            Tone::Dark => &self.dark,
            Tone::Bright => &self.bright,
        }
    }

    /// How deep whatever stands out of the noise is; `noise` is the standard deviation of a value in counts.
    pub(super) fn depths(&self, tone: Tone, noise: f64) -> Vec<f64> {
        let depth = self.of(tone);
        peaks(depth, self.least(noise)).into_iter().map(|i| depth[i]).collect()
    }

    fn least(&self, noise: f64) -> f64 {
        let light = self.values.iter().sum::<f64>() / self.values.len().max(1) as f64;
        STANDS_OUT.1.max(STANDS_OUT.0 * noise / light.max(self.least_light).max(f64::MIN_POSITIVE))
    }

    /// The lines, given how deep the usual one is.
    pub(super) fn marks(&self, tone: Tone, noise: f64, usual: f64) -> Vec<Mark> {
        let depth = self.of(tone);
        let found = peaks(depth, self.least(noise).max(OF_USUAL * usual));
        let mut edges: Vec<(usize, [f64; 2])> = found.into_iter().filter_map(|i| Some((i, half_depth(depth, i)?))).collect();
        // Two peaks of one line, or of a line and dust upon it, have edges in common.
        edges.dedup_by(|next, before| next.1[0] < before.1[1]);
        let tops = self.tops(&edges, depth, tone, usual);
        let mut marks = Vec::with_capacity(edges.len());
        for (k, &(at, [left, right])) in edges.iter().enumerate() {
            let before = k.checked_sub(1).map(|k| edges[k].1[1]);
            let after = edges.get(k + 1).map(|next| next.1[0]);
            // Beyond the outermost line the ground is taken as far as on its other side.
            let reach = after.map(|x| x - right).or(before.map(|x| left - x)).unwrap_or(right - left);
            // Next to the end there is only the line's own fringe, which would draw it inwards.
            let (end, room) = (self.values.len() as f64, (ROOM * reach).min(2.0 * (right - left) + 4.0));
            if (before.is_none() && left < room) || (after.is_none() && end - right < room) {
                continue;
            }
            let grounds = [self.ground(before.unwrap_or(left - reach), left), self.ground(right, after.unwrap_or(right + reach))];
            let [Some(one), Some(other)] = grounds else { continue };
            let ground = Straight::through(one, other);
            // Dark lines take their share of the light of the ground; bright ones show the light themselves.
            let light = match tone {
                Tone::Dark => ground,
                Tone::Bright => {
                    tops.as_ref().map_or(Straight { x: 0.0, level: 1.0, slope: 0.0 }, |tops| tops.light_at(0.5 * (left + right)))
                }
            };
            let reach = [one[0], other[0]];
            if let Some(x) = self.centroid([left, right], reach, ground, light) {
                marks.push(Mark { x, width: right - left, depth: depth[at] });
            }
        }
        marks
    }

    /// Middles and levels of bright lines that go through the whole band.
    fn tops(&self, edges: &[(usize, [f64; 2])], depth: &[f64], tone: Tone, usual: f64) -> Option<Tops> {
        let whole = edges.iter().filter(|(at, _)| depth[*at] > WHOLE * usual);
        let tops: Vec<[f64; 2]> = whole.filter_map(|&(_, [left, right])| self.ground(left, right)).collect();
        (tone == Tone::Bright && tops.len() > 1).then_some(Tops(tops))
    }

    /// Middle and level of the ground in the middle half between two places.
    fn ground(&self, from: f64, to: f64) -> Option<[f64; 2]> {
        let (from, to) = (from.max(0.0), to.min(self.values.len() as f64));
        let (middle, quarter) = (0.5 * (from + to), 0.25 * (to - from));
        if quarter <= 0.0 {
            return None;
        }
        let first = index(middle - quarter).min(self.values.len() - 1);
        let last = index(middle + quarter).clamp(first, self.values.len() - 1);
        let mut values = self.values[first..=last].to_vec();
        values.sort_by(f64::total_cmp);
        // The mean of the middle half: dust at one side does not count.
        let trim = values.len() / 4;
        let kept = &values[trim..values.len() - trim];
        Some([0.5 * (first + last + 1) as f64, kept.iter().sum::<f64>() / kept.len() as f64])
    }

    /// Centroid of the share of the light that is taken (or, of bright lines, given) against the ground, in a window that is even to both sides
    /// of it. `reach` bounds the window.
    fn centroid(&self, [left, right]: [f64; 2], reach: [f64; 2], ground: Straight, light: Straight) -> Option<f64> {
        let width = right - left;
        let mut x = 0.5 * (left + right);
        let half = (0.5 * width + f64::max(1.5, 0.35 * width)).min(x - reach[0]).min(reach[1] - x);
        for _ in 0..ROUNDS {
            let (from, to) = (x - half, x + half);
            if from < 0.0 || to > self.values.len() as f64 || half < 1.0 {
                return None;
            }
            let (mut taken, mut moment) = (0.0, 0.0);
            for i in index(from)..=index(to).min(self.values.len() - 1) {
                let share = [from.max(i as f64), to.min((i + 1) as f64)];
                let place = 0.5 * (share[0] + share[1]);
                let middle = i as f64 + 0.5;
                let part = (share[1] - share[0]) * (ground.at(middle) - self.values[i]) / light.at(middle);
                taken += part;
                moment += part * (place - x);
            }
            if taken == 0.0 || !taken.is_finite() {
                return None;
            }
            x += (moment / taken).clamp(-0.5 * half, 0.5 * half);
        }
        Some(x)
    }
}

/// A level that changes evenly.
#[derive(Clone, Copy)]
struct Straight {
    x: f64,
    level: f64,
    slope: f64,
}

impl Straight {
    fn through([x0, level]: [f64; 2], [x1, other]: [f64; 2]) -> Self {
        Self { x: x0, level, slope: (other - level) / (x1 - x0) }
    }

    fn at(self, x: f64) -> f64 {
        self.level + self.slope * (x - self.x)
    }
}

/// Where bright lines are and how bright, from left to right; at least two.
struct Tops(Vec<[f64; 2]>);

impl Tops {
    /// The light near a place: straight through the lines next to it on both sides.
    fn light_at(&self, x: f64) -> Straight {
        let after = self.0.partition_point(|top| top[0] < x + 0.5).min(self.0.len() - 1).max(1);
        let before = self.0.partition_point(|top| top[0] < x - 0.5).saturating_sub(1).min(after - 1);
        Straight::through(self.0[before], self.0[after])
    }
}

/// How deep the usual line is, given the depths of every band.
pub(super) fn usual_depth(depths: Vec<f64>) -> f64 {
    median(depths)
}

/// Places of the maxima that stand out by at least `least` to both sides.
fn peaks(values: &[f64], least: f64) -> Vec<usize> {
    let mut found = Vec::new();
    let (mut rising, mut at, mut low) = (false, 0, f64::INFINITY);
    for (i, &v) in values.iter().enumerate() {
        if rising {
            if v > values[at] {
                at = i;
            }
            if v < values[at] - least {
                found.push(at);
                (rising, low) = (false, v);
            }
        } else {
            low = low.min(v);
            if v > low + least {
                (rising, at) = (true, i);
            }
        }
    }
    found
}

/// Where a peak falls to half its height, between the middles of pixels; `None` where the profile ends before.
fn half_depth(depth: &[f64], at: usize) -> Option<[f64; 2]> {
    let half = 0.5 * depth[at];
    let left = (0..at).rev().find(|&i| depth[i] < half)?;
    let right = (at + 1..depth.len()).find(|&i| depth[i] < half)?;
    let cross = |low: usize, high: usize| (half - depth[low]) / (depth[high] - depth[low]);
    Some([left as f64 + 0.5 + cross(left, left + 1), right as f64 + 0.5 - cross(right, right - 1)])
}

/// The largest value within `reach` of each place.
fn dilated(values: &[f64], reach: usize) -> Vec<f64> {
    extreme(values, reach, |new, old| new >= old)
}

/// The smallest value within `reach` of each place.
fn eroded(values: &[f64], reach: usize) -> Vec<f64> {
    extreme(values, reach, |new, old| new <= old)
}

/// The extreme within `reach` of each place, by a queue of those that can still become it.
fn extreme(values: &[f64], reach: usize, beats: impl Fn(f64, f64) -> bool) -> Vec<f64> {
    let mut queue = std::collections::VecDeque::new();
    let mut out = Vec::with_capacity(values.len());
    let mut next = 0;
    for i in 0..values.len() {
        while next < values.len() && next <= i + reach {
            while queue.back().is_some_and(|&last: &usize| beats(values[next], values[last])) {
                queue.pop_back();
            }
            queue.push_back(next);
            next += 1;
        }
        while queue.front().is_some_and(|&first| first + reach < i) {
            queue.pop_front();
        }
        out.push(queue.front().map_or(0.0, |&first| values[first]));
    }
    out
}

/// The pixel of a place.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates; places lie within the profile")]
fn index(x: f64) -> usize {
    x as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A bar of this width, edges anywhere, as pixels see it: the share of each that it covers (closed form).
    fn bars(length: usize, centres: &[f64], width: f64, depth: f64, light: impl Fn(f64) -> f64) -> Vec<f64> {
        let covered = |i: usize, c: f64| ((c + 0.5 * width).min(i as f64 + 1.0) - (c - 0.5 * width).max(i as f64)).max(0.0);
        (0..length).map(|i| light(i as f64 + 0.5) * (1.0 - depth * centres.iter().map(|&c| covered(i, c)).sum::<f64>())).collect()
    }

    /// In light that falls off, the centroid of a bar's cover is its middle but for what pixels make of two sharp edges: f(1 − f)/2 px² each,
    /// where f is the covered share of an edge's pixel, so at most an eighth of a pixel over the width (closed form).
    #[test]
    fn bars_are_placed_where_they_are() {
        let centres: Vec<f64> = (0..9).map(|i| 20.0 + 20.37 * f64::from(i)).collect();
        for (tone, depth) in [(Tone::Dark, 0.6), (Tone::Bright, -0.9)] {
            let relief = Relief::new(bars(210, &centres, 4.3, depth, |x| 20_000.0 * (1.0 - 0.001 * x)), 2000.0);
            assert_eq!(relief.dark_less_bright() < 0.0, tone == Tone::Dark);
            let marks = relief.marks(tone, 1.0, usual_depth(relief.depths(tone, 1.0)));
            assert_eq!(marks.len(), 9, "{tone:?}");
            for (mark, centre) in marks.iter().zip(&centres) {
                assert!((mark.x - centre).abs() < 0.125 / 4.3 && (mark.width - 4.3).abs() < 0.5, "{tone:?} {mark:?} {centre}");
            }
        }
    }

    #[test]
    fn lines_cut_by_the_end_do_not_count() {
        let relief = Relief::new(bars(120, &[1.0, 30.0, 60.0, 90.0, 119.0], 5.0, 0.5, |_| 1000.0), 100.0);
        let marks = relief.marks(Tone::Dark, 1.0, 0.5);
        assert_eq!(marks.len(), 3, "{marks:?}");
    }

    #[test]
    fn extremes_are_those_of_every_window() {
        let values: Vec<f64> = (0..50_u32).map(|i| f64::from(i * 7919 % 101)).collect();
        for reach in [1, 4, 60] {
            let wide = dilated(&values, reach);
            let narrow = eroded(&values, reach);
            for i in 0..values.len() {
                let window = &values[i.saturating_sub(reach)..(i + reach + 1).min(values.len())];
                let (low, high) = window.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), &v| (l.min(v), h.max(v)));
                assert!(wide[i].total_cmp(&high).is_eq() && narrow[i].total_cmp(&low).is_eq(), "{i}");
            }
        }
    }
}
