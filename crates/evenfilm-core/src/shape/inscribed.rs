//! The largest circle inside an outline.

/// Last step of the search, px; the radius is then true to a few hundredths of a pixel.
const LAST_STEP: f32 = 0.02;

/// Directions in which the search looks.
const AROUND: [[f32; 2]; 8] = [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0], [0.7, 0.7], [-0.7, 0.7], [0.7, -0.7], [-0.7, -0.7]];

/// Centre and radius of the largest circle, found by climbing from `start`, a place inside, to the place farthest from the outline, given by
/// points at most √2 px apart. Finds the highest peak that `start` is on the way to.
pub fn largest_circle_from(points: &[[f32; 2]], start: [f32; 2]) -> ([f32; 2], f32) {
    let ends = |k: usize| points.iter().fold([f32::MAX, f32::MIN], |e, p| [e[0].min(p[k]), e[1].max(p[k])]);
    let (x, y) = (ends(0), ends(1));
    let clear2 = |c: [f32; 2]| {
        if c[0] < x[0] || c[0] > x[1] || c[1] < y[0] || c[1] > y[1] {
            return 0.0;
        }
        points.iter().fold(f32::MAX, |least, p| {
            let (dx, dy) = (p[0] - c[0], p[1] - c[1]);
            least.min(dx * dx + dy * dy)
        })
    };
    if points.is_empty() {
        return (start, 0.0);
    }
    let (mut centre, mut best) = (start, clear2(start));
    // Never so far that a side could be jumped.
    let mut step = (0.5 * best.sqrt()).clamp(LAST_STEP, 2.0);
    while step >= LAST_STEP {
        let tried = AROUND.map(|d| [centre[0] + d[0] * step, centre[1] + d[1] * step]);
        let (at, clear) = tried.iter().fold((centre, best), |top, &c| {
            let clear = clear2(c);
            if clear > top.1 { (c, clear) } else { top }
        });
        if clear > best {
            (centre, best) = (at, clear);
            continue;
        }
        // On a ridge between two sides only the way along it leads up; its slope shows over lengths that the points' spacing does not blur.
        let along = ridge(points, centre);
        let far = step.max(0.1 * best.sqrt());
        let tried = [far, -far, step, -step].map(|s| [centre[0] + s * along[0], centre[1] + s * along[1]]);
        match tried.map(|c| (c, clear2(c))).into_iter().find(|t| t.1 > best) {
            Some(better) => (centre, best) = better,
            None => step *= 0.5,
        }
    }
    (centre, best.sqrt())
}

/// The direction along the ridge that a centre stands on: across the line between the nearest points on either side of it.
fn ridge(points: &[[f32; 2]], centre: [f32; 2]) -> [f32; 2] {
    let from = |p: &[f32; 2]| [p[0] - centre[0], p[1] - centre[1]];
    let length2 = |v: [f32; 2]| v[0] * v[0] + v[1] * v[1];
    let nearer = |a: [f32; 2], b: [f32; 2]| if length2(b) < length2(a) { b } else { a };
    let near = points.iter().map(from).reduce(nearer).unwrap_or_default();
    let opposite = points.iter().map(from).filter(|v| near[0] * v[0] + near[1] * v[1] < 0.0).reduce(nearer).unwrap_or_default();
    let across = [near[0] - opposite[0], near[1] - opposite[1]];
    let length = length2(across).sqrt().max(f32::MIN_POSITIVE);
    [-across[1] / length, across[0] / length]
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
            let (centre, radius) = largest_circle_from(&points, turned(18.0, 0.0));
            assert!((radius - 8.0).abs() < 0.03, "{k}: {radius} at {centre:?}");
        }
    }
}
