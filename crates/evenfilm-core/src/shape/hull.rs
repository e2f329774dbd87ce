//! Convex hull and Feret diameters.

/// Buffers of a hull, kept from one to the next.
#[derive(Clone, Debug, Default)]
pub struct HullBuffer {
    keys: Vec<u64>,
    sorted: Vec<[f64; 2]>,
}

/// Convex hull of points (x, y), counter-clockwise in a frame whose y runs up, without repeated or collinear points (A. M. Andrew 1979,
/// Inf. Process. Lett. 9, 216).
pub fn convex_hull(points: &[[f32; 2]]) -> Vec<[f64; 2]> {
    let mut hull = Vec::new();
    HullBuffer::default().convex_hull(points, &mut hull);
    hull
}

impl HullBuffer {
    /// The same into `hull`.
    pub fn convex_hull(&mut self, points: &[[f32; 2]], hull: &mut Vec<[f64; 2]>) {
        // Whole numbers sort faster than pairs of real ones.
        self.keys.clear();
        self.keys.extend(points.iter().map(|p| u64::from(in_order(p[0])) << 32 | u64::from(in_order(p[1]))));
        self.keys.sort_unstable();
        self.keys.dedup();
        self.sorted.clear();
        self.sorted.extend(self.keys.iter().map(|key| [key >> 32, key & u64::from(u32::MAX)].map(from_order)));
        hull.clear();
        if self.sorted.len() < 3 {
            hull.extend_from_slice(&self.sorted);
            return;
        }
        half_hull(self.sorted.iter().copied(), hull);
        hull.pop();
        half_hull(self.sorted.iter().rev().copied(), hull);
        hull.pop();
    }
}

/// A whole number that grows with the real one: its bits, with the sign's turned over, and all of them where it is negative.
const fn in_order(x: f32) -> u32 {
    let bits = x.to_bits();
    if bits >> 31 == 0 { bits | 1 << 31 } else { !bits }
}

/// The real number that [`in_order`] made this of.
#[expect(clippy::cast_possible_truncation, reason = "32 bits were put in")]
fn from_order(key: u64) -> f64 {
    let bits = key as u32;
    f64::from(f32::from_bits(if bits >> 31 == 1 { bits & !(1 << 31) } else { !bits }))
}

/// Adds one side of a hull to what is there.
fn half_hull(points: impl Iterator<Item = [f64; 2]>, hull: &mut Vec<[f64; 2]>) {
    let start = hull.len();
    for p in points {
        while hull.len() >= start + 2 && cross(hull[hull.len() - 2], hull[hull.len() - 1], p) <= 0.0 {
            hull.pop();
        }
        hull.push(p);
    }
}

/// Twice the area of the triangle o, a, b; positive where it turns left.
fn cross(o: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])
}

/// Area of a simple polygon (shoelace formula).
pub fn polygon_area(polygon: &[[f64; 2]]) -> f64 {
    let twice: f64 = sides(polygon).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum();
    (twice / 2.0).abs()
}

/// Length around a polygon.
pub fn polygon_length(polygon: &[[f64; 2]]) -> f64 {
    sides(polygon).map(|(a, b)| distance(a, b)).sum()
}

/// The sides of a polygon: the ends of each, the last one back to the first corner.
fn sides(polygon: &[[f64; 2]]) -> impl Iterator<Item = ([f64; 2], [f64; 2])> {
    let closing = polygon.last().copied().zip(polygon.first().copied());
    polygon.windows(2).map(|pair| (pair[0], pair[1])).chain(closing)
}

/// Largest and smallest Feret diameter of a convex polygon, by rotating callipers (G. T. Toussaint 1983, MELECON): the smallest width always
/// has a hull edge flush with one calliper.
pub fn feret(hull: &[[f64; 2]]) -> (f64, f64) {
    let n = hull.len();
    if n < 3 {
        let d = if n == 2 { distance(hull[0], hull[1]) } else { 0.0 };
        return (d, 0.0);
    }
    let after = |i: usize| if i + 1 == n { 0 } else { i + 1 };
    let mut largest2 = 0.0;
    // Squares of the smallest width's height over its edge and of that edge: a division and a root for each edge take longer than all else.
    let mut narrowest = [f64::INFINITY, 1.0];
    let (mut here, mut next) = (1, after(1));
    for (a, b) in sides(hull) {
        let mut height = cross(a, b, hull[here]);
        loop {
            let higher = cross(a, b, hull[next]);
            if higher <= height {
                break;
            }
            height = higher;
            (here, next) = (next, after(next));
        }
        let (height2, edge2) = (height * height, distance2(a, b));
        if height2 * narrowest[1] < narrowest[0] * edge2 {
            narrowest = [height2, edge2];
        }
        for apart2 in [distance2(a, hull[here]), distance2(b, hull[here]), distance2(a, hull[next])] {
            largest2 = if apart2 > largest2 { apart2 } else { largest2 };
        }
    }
    (largest2.sqrt(), narrowest[0].sqrt() / narrowest[1].sqrt())
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    distance2(a, b).sqrt()
}

fn distance2(a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (a[0] - b[0], a[1] - b[1]);
    dx * dx + dy * dy
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_keep_order_and_value() {
        let numbers = [f32::MIN, -7.5, -1e-30, -0.0, 0.0, 1e-30, 0.25, 3.0, f32::MAX];
        assert!(numbers.windows(2).all(|pair| in_order(pair[0]) < in_order(pair[1])));
        assert!(numbers.iter().all(|&x| from_order(u64::from(in_order(x))).to_bits() == f64::from(x).to_bits()));
    }

    #[test]
    fn a_square_with_points_on_its_sides_has_four_corners() {
        let points = [[-1.0, -1.0], [0.0, -1.0], [1.0, -1.0], [1.0, 0.5], [1.0, 1.0], [-1.0, 1.0], [-1.0, 0.0], [0.2, 0.1]];
        let hull = convex_hull(&points);
        assert_eq!(hull.len(), 4);
        assert!((polygon_area(&hull) - 4.0).abs() < 1e-12 && (polygon_length(&hull) - 8.0).abs() < 1e-12);
    }
}
