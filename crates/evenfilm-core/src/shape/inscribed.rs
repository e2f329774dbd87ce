//! The largest circle inside an outline.

/// Last step of the search, px; the radius is then true to about a hundredth of a pixel.
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
        } else {
            step *= 0.5;
        }
    }
    (centre, best.sqrt())
}
