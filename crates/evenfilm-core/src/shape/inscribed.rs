//! The largest circle inside an outline.

/// Last step of the search, px; the radius is then true to a few hundredths of a pixel.
const LAST_STEP: f32 = 0.02;

/// Factor of the step where no way leads up.
const FINER: f32 = 0.35;

/// Directions in which the search looks.
const AROUND: [[f32; 2]; 8] = [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0], [0.7, 0.7], [-0.7, 0.7], [0.7, -0.7], [-0.7, -0.7]];

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

impl Outline {
    /// Takes the points of an outline, at most √2 px apart.
    pub fn take(&mut self, points: &[[f32; 2]]) {
        let ends = |k: usize| points.iter().fold([f32::MAX, f32::MIN], |e, p| [e[0].min(p[k]), e[1].max(p[k])]);
        self.ends = [ends(0), ends(1)];
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

    /// Centre and radius of the largest circle, found by climbing from `start`, a place inside, to the place farthest from the outline.
    /// Finds the highest peak that `start` is on the way to.
    pub fn largest_circle_from(&self, start: [f32; 2]) -> ([f32; 2], f32) {
        if self.x.is_empty() {
            return (start, 0.0);
        }
        let (mut centre, mut best) = (start, self.clear2(start));
        // Never so far that a side could be jumped.
        let mut step = (0.5 * best.sqrt()).clamp(LAST_STEP, 2.0);
        // The last points that were nearest on either side: a place too near to one of them need not be held against all.
        let mut sides = [[f32::INFINITY; 2]; 2];
        while step >= LAST_STEP {
            let (mut at, mut clear) = (centre, best);
            for d in AROUND {
                let tried = [centre[0] + d[0] * step, centre[1] + d[1] * step];
                if sides.iter().any(|p| squared([p[0] - tried[0], p[1] - tried[1]]) <= clear) {
                    continue;
                }
                let clear_there = self.clear2(tried);
                if clear_there > clear {
                    (at, clear) = (tried, clear_there);
                }
            }
            if clear > best {
                (centre, best) = (at, clear);
                continue;
            }
            // On a ridge between two sides only the way along it leads up; its slope shows over lengths that the points' spacing does not
            // blur.
            let ways = self.ridge(centre);
            sides = ways.map(|way| [centre[0] + way[0], centre[1] + way[1]]);
            let along = across(ways);
            let far = step.max(0.1 * best.sqrt());
            let tried = [far, -far, step, -step].map(|s| [centre[0] + s * along[0], centre[1] + s * along[1]]);
            match tried.into_iter().map(|c| (c, self.clear2(c))).find(|t| t.1 > best) {
                Some(better) => (centre, best) = better,
                None => step *= FINER,
            }
        }
        (centre, best.sqrt())
    }

    /// Square of the distance to the nearest point; 0 beyond the outline's box.
    fn clear2(&self, [cx, cy]: [f32; 2]) -> f32 {
        let [x, y] = self.ends;
        if cx < x[0] || cx > x[1] || cy < y[0] || cy > y[1] {
            return 0.0;
        }
        self.least([cx, cy], |_, _| true)
    }

    /// Least square of a distance from `centre`, of the points whose way from it is wanted.
    #[inline]
    fn least(&self, [cx, cy]: [f32; 2], wanted: impl Fn(f32, f32) -> bool) -> f32 {
        let mut least = [f32::MAX; LANES];
        for (xs, ys) in self.x.iter().zip(&self.y) {
            for lane in 0..LANES {
                let (dx, dy) = (xs[lane] - cx, ys[lane] - cy);
                let squared = dx * dx + dy * dy;
                let squared = if wanted(dx, dy) { squared } else { f32::MAX };
                least[lane] = if squared < least[lane] { squared } else { least[lane] };
            }
        }
        let lesser = |a: f32, b: f32| if b < a { b } else { a };
        let [a, b, c, d, e, f, g, h] = least;
        lesser(lesser(lesser(a, e), lesser(b, f)), lesser(lesser(c, g), lesser(d, h)))
    }

    /// The way from `centre` to the first of the nearest points whose way is wanted.
    fn nearest(&self, centre: [f32; 2], wanted: impl Fn(f32, f32) -> bool) -> [f32; 2] {
        let least = self.least(centre, &wanted);
        let ways = self.x.iter().flatten().zip(self.y.iter().flatten()).map(|(x, y)| [x - centre[0], y - centre[1]]);
        let mut nearest = ways.filter(|v| v[0] * v[0] + v[1] * v[1] <= least && wanted(v[0], v[1]));
        nearest.next().unwrap_or_default()
    }

    /// The ways to the nearest points on either side of a centre.
    fn ridge(&self, centre: [f32; 2]) -> [[f32; 2]; 2] {
        let near = self.nearest(centre, |_, _| true);
        [near, self.nearest(centre, |dx, dy| near[0] * dx + near[1] * dy < 0.0)]
    }
}

const fn squared(way: [f32; 2]) -> f32 {
    way[0] * way[0] + way[1] * way[1]
}

/// The direction across the line between two points: along the ridge between them.
fn across([one, other]: [[f32; 2]; 2]) -> [f32; 2] {
    let between = [one[0] - other[0], one[1] - other[1]];
    let length = squared(between).sqrt().max(f32::MIN_POSITIVE);
    [-between[1] / length, between[0] / length]
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
