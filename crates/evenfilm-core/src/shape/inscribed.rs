//! The largest circle inside an outline.
//!
//! From a place inside one goes straight away from the nearest point until a second one is as near, then along the line between these two
//! until a third one is, and so on: always away from the nearest points, along the edges of their Voronoi diagram, until they lie all around.
//! Every stretch takes one look at all points, so that a dozen looks are enough where a search by steps takes a hundred.

/// Stretches gone at most; on smooth outlines there are five or so.
const MOST_STRETCHES: usize = 48;

/// Between the points of two sides the ridge has a small top every half pixel or so: one that is farther off along the ridge is looked for
/// beyond them, px.
const LEAP: f32 = 1.0;

/// A place that lies lower by no more than this share of the leap may be on the way to a higher top.
const HARDLY: f32 = 0.1;

/// Leaps taken at most.
const MOST_LEAPS: usize = 256;

/// Points that are passed by less than this for every px of the way are as good as passed in parallel; those one goes away from are such.
const PARALLEL: f32 = 1e-3;

/// Points looked at together.
const LANES: usize = 8;

/// Points of an outline as columns, so that the nearest of them is found several at a time; kept from one outline to the next.
#[derive(Clone, Debug, Default)]
pub struct Outline {
    x: Vec<[f32; LANES]>,
    y: Vec<[f32; LANES]>,
    /// Least and largest x and y.
    ends: [[f32; 2]; 2],
}

/// A place, the square of its distance to the nearest point, and the direction between the points on either side of it.
#[derive(Clone, Copy)]
struct Top {
    at: [f32; 2],
    clear2: f32,
    along: [f32; 2],
}

impl Outline {
    /// Takes the points of an outline, at most √2 px apart.
    pub fn take(&mut self, points: &[[f32; 2]]) {
        self.ends = points.iter().fold([[f32::MAX, f32::MIN]; 2], |ends, p| {
            [0, 1].map(|k| [lesser(p[k], ends[k][0]), if p[k] > ends[k][1] { p[k] } else { ends[k][1] }])
        });
        for (k, column) in [&mut self.x, &mut self.y].into_iter().enumerate() {
            column.clear();
            column.extend(points.chunks(LANES).map(|some| {
                // What is missing in the last group is its first point again.
                let mut lanes = [some[0][k]; LANES];
                lanes.iter_mut().zip(some).for_each(|(lane, p)| *lane = p[k]);
                lanes
            }));
        }
    }

    /// Width and height of the outline, px; `None` without points.
    pub fn extent(&self) -> Option<[f64; 2]> {
        (!self.x.is_empty()).then(|| self.ends.map(|[low, high]| f64::from(high - low)))
    }

    /// Centre and radius of the largest circle, found by climbing from `start`, a place inside, to the place farthest from the outline.
    /// Finds the highest peak that `start` is on the way to.
    pub fn largest_circle_from(&self, start: [f32; 2]) -> ([f32; 2], f32) {
        if self.x.is_empty() || self.is_beyond(start) {
            return (start, 0.0);
        }
        let mut top = self.climb(start);
        let mut far = LEAP.max(0.5 * top.clear2.sqrt());
        for _ in 0..MOST_LEAPS {
            let enough = (top.clear2.sqrt() - HARDLY * far).max(0.0);
            let leaps = [far, -far].map(|far| moved(top.at, top.along, far));
            let near = leaps.into_iter().filter(|&place| !self.is_beyond(place) && self.clear2(place) > enough * enough);
            match near.map(|place| self.climb(place)).find(|other| other.clear2 > top.clear2) {
                Some(higher) => top = higher,
                None if far > LEAP => far = LEAP,
                None => break,
            }
        }
        (top.at, top.clear2.sqrt())
    }

    /// Goes up from a place until the nearest points lie all around.
    fn climb(&self, start: [f32; 2]) -> Top {
        let first = self.nearest(start);
        let way = between(start, first);
        let mut top = Top { at: start, clear2: squared(way), along: [0.0; 2] };
        if top.clear2 <= 0.0 {
            return top;
        }
        // The points that one goes away from.
        let mut pair = [first; 2];
        let mut along = scaled(way, -1.0 / top.clear2.sqrt());
        for stretch in 0..MOST_STRETCHES {
            let Some((length, met)) = self.meets((top.at, top.clear2), along, pair[0]) else { break };
            let at = moved(top.at, along, length);
            let ways = [pair[0], pair[1], met].map(|p| between(at, p));
            let clear2 = ways.map(squared).into_iter().fold(f32::MAX, f32::min);
            if clear2 < top.clear2 || self.is_beyond(at) {
                break;
            }
            // Of the two, the one on the same hand as the point met lies between that and the other, or else the three lie all around.
            let hand = cross(along, ways[2]);
            let across = usize::from(hand * cross(along, ways[0]) > 0.0);
            let all_around = stretch > 0 && hand * cross(ways[across], ways[2]) >= 0.0;
            along = away(between(pair[across], met), ways[1 - across]);
            top = Top { at, clear2, along };
            if all_around {
                break;
            }
            pair = [pair[across], met];
        }
        top
    }

    /// How far one can go from a place until another point is as near as `left`, which one goes away from, and that point. None where no
    /// point ever is. `clear2` is the square of the distance to `left`.
    fn meets(&self, (at, clear2): ([f32; 2], f32), along: [f32; 2], left: [f32; 2]) -> Option<(f32, [f32; 2])> {
        let behind = dot(along, between(at, left));
        // |w − t·u|² = |v − t·u|² for the ways w to a point and v to the one left.
        let lengths = |xs: &[f32; LANES], ys: &[f32; LANES]| {
            let mut lengths = [f32::MAX; LANES];
            for lane in 0..LANES {
                let way = [xs[lane] - at[0], ys[lane] - at[1]];
                let ahead = dot(along, way) - behind;
                let length = (squared(way) - clear2) / (2.0 * ahead);
                lengths[lane] = if ahead > PARALLEL { length } else { f32::MAX };
            }
            lengths
        };
        let mut least = [f32::MAX; LANES];
        let groups = || self.x.iter().zip(&self.y);
        for (xs, ys) in groups() {
            let lengths = lengths(xs, ys);
            for lane in 0..LANES {
                least[lane] = lesser(lengths[lane], least[lane]);
            }
        }
        let least = least_of(least);
        let place = |(xs, ys): (&[f32; LANES], &[f32; LANES])| {
            let lane = lengths(xs, ys).iter().position(|&length| length <= least)?;
            Some([xs[lane], ys[lane]])
        };
        // A point may lie nearer by a rounding.
        if least < f32::MAX { groups().find_map(place).map(|met| (least.max(0.0), met)) } else { None }
    }

    fn is_beyond(&self, [x, y]: [f32; 2]) -> bool {
        let [[left, right], [top, bottom]] = self.ends;
        x < left || x > right || y < top || y > bottom
    }

    /// Square of the distance to the nearest point.
    fn clear2(&self, at: [f32; 2]) -> f32 {
        let mut least = [f32::MAX; LANES];
        for (xs, ys) in self.x.iter().zip(&self.y) {
            for lane in 0..LANES {
                least[lane] = lesser(squared([xs[lane] - at[0], ys[lane] - at[1]]), least[lane]);
            }
        }
        least_of(least)
    }

    /// The first of the nearest points.
    fn nearest(&self, at: [f32; 2]) -> [f32; 2] {
        let least = self.clear2(at);
        let mut points = self.x.iter().flatten().zip(self.y.iter().flatten()).map(|(&x, &y)| [x, y]);
        points.find(|&p| squared(between(at, p)) <= least).unwrap_or(at)
    }
}

/// The lesser of two, for vectors: not `min`, which asks for what is no number first.
const fn lesser(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

const fn least_of([a, b, c, d, e, f, g, h]: [f32; LANES]) -> f32 {
    lesser(lesser(lesser(a, e), lesser(b, f)), lesser(lesser(c, g), lesser(d, h)))
}

const fn between(from: [f32; 2], to: [f32; 2]) -> [f32; 2] {
    [to[0] - from[0], to[1] - from[1]]
}

const fn scaled(way: [f32; 2], by: f32) -> [f32; 2] {
    [way[0] * by, way[1] * by]
}

const fn moved(from: [f32; 2], along: [f32; 2], length: f32) -> [f32; 2] {
    [from[0] + along[0] * length, from[1] + along[1] * length]
}

const fn dot(a: [f32; 2], b: [f32; 2]) -> f32 {
    a[0] * b[0] + a[1] * b[1]
}

const fn cross(a: [f32; 2], b: [f32; 2]) -> f32 {
    a[0] * b[1] - a[1] * b[0]
}

const fn squared(way: [f32; 2]) -> f32 {
    dot(way, way)
}

/// The direction across a line that leads away from what lies this way.
fn away(line: [f32; 2], from: [f32; 2]) -> [f32; 2] {
    let length = squared(line).sqrt().max(f32::MIN_POSITIVE);
    let across = [-line[1] / length, line[0] / length];
    if dot(across, from) > 0.0 { scaled(across, -1.0) } else { across }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_climb_follows_slanted_ridges() {
        // A long ellipse at odd angles: the largest circle has its short half axis as radius, however far away the climb begins.
        for k in 0..24 {
            let (sin, cos) = libm::sincosf(0.13 * k as f32);
            let turned = |x: f32, y: f32| [40.0 + cos * x - sin * y, 40.0 + sin * x + cos * y];
            let points: Vec<[f32; 2]> = (0..240)
                .map(|i| {
                    let (s, c) = libm::sincosf(std::f32::consts::TAU * i as f32 / 240.0);
                    turned(30.0 * c, 8.0 * s)
                })
                .collect();
            let mut outline = Outline::default();
            outline.take(&points);
            let (centre, radius) = outline.largest_circle_from(turned(18.0, 0.0));
            assert!((radius - 8.0).abs() < 0.03, "{k}: {radius} at {centre:?}");
        }
    }
}
