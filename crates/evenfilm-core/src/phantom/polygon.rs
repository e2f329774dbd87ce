//! Polygons: what the truth is read from where no closed form serves, and what keeps things apart.

/// Area of a polygon, positive when its corners run from x to y (shoelace formula).
pub fn polygon_area(corners: &[[f64; 2]]) -> f64 {
    let next = corners.iter().cycle().skip(1);
    0.5 * corners.iter().zip(next).map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum::<f64>()
}

/// The part of a polygon inside a frame `[x0, y0, x1, y1]` (I. E. Sutherland, G. W. Hodgman, CACM 17 (1974) 32).
pub fn clipped(mut corners: Vec<[f64; 2]>, frame: [f64; 4]) -> Vec<[f64; 2]> {
    for (axis, side, sign) in [(0, frame[0], 1.0), (1, frame[1], 1.0), (0, frame[2], -1.0), (1, frame[3], -1.0)] {
        let inside = |p: [f64; 2]| sign * (p[axis] - side);
        let mut kept = Vec::with_capacity(corners.len() + 4);
        for (i, &b) in corners.iter().enumerate() {
            let a = corners[(i + corners.len() - 1) % corners.len()];
            let (da, db) = (inside(a), inside(b));
            if (da > 0.0) != (db > 0.0) {
                let share = da / (da - db);
                kept.push([a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share]);
            }
            if db > 0.0 {
                kept.push(b);
            }
        }
        corners = kept;
    }
    corners
}

/// Distance from a point to a polygon's outline, positive inside.
pub fn depth(corners: &[[f64; 2]], p: [f64; 2]) -> f64 {
    let (mut nearest2, mut inside) = (f64::INFINITY, false);
    for (i, b) in corners.iter().enumerate() {
        let a = corners[(i + corners.len() - 1) % corners.len()];
        let (ex, ey, px, py) = (b[0] - a[0], b[1] - a[1], p[0] - a[0], p[1] - a[1]);
        let length2 = ex * ex + ey * ey;
        let share = if length2 > 0.0 { ((px * ex + py * ey) / length2).clamp(0.0, 1.0) } else { 0.0 };
        let (qx, qy) = (px - share * ex, py - share * ey);
        nearest2 = nearest2.min(qx * qx + qy * qy);
        if (a[1] > p[1]) != (b[1] > p[1]) && px < ex * py / ey {
            inside = !inside;
        }
    }
    if inside { nearest2.sqrt() } else { -nearest2.sqrt() }
}

/// Diameter of the largest circle that fits inside a polygon, px, to 0.02 px: squares that cannot hold a better centre are dropped, the
/// others quartered.
pub fn largest_circle(corners: &[[f64; 2]]) -> f64 {
    let bounds = bounds(corners);
    let mut half = 0.5 * (bounds[2] - bounds[0]).max(bounds[3] - bounds[1]);
    let mut squares = vec![[0.5 * (bounds[0] + bounds[2]), 0.5 * (bounds[1] + bounds[3])]];
    let mut best = 0.0_f64;
    while half > 0.005 && half.is_finite() {
        half *= 0.5;
        let quarters = squares
            .iter()
            .flat_map(|c| [[-1.0, -1.0], [1.0, -1.0], [-1.0, 1.0], [1.0, 1.0]].map(|s| [c[0] + half * s[0], c[1] + half * s[1]]));
        let depths: Vec<([f64; 2], f64)> = quarters.map(|c| (c, depth(corners, c))).collect();
        best = depths.iter().fold(best, |m, d| m.max(d.1));
        let hope = best + 0.005 - half * std::f64::consts::SQRT_2;
        squares = depths.into_iter().filter(|d| d.1 > hope).map(|d| d.0).collect();
    }
    2.0 * best
}

/// Centroid of a polygon's area; its first corner where it has none.
pub fn centroid(corners: &[[f64; 2]]) -> [f64; 2] {
    let Some(&origin) = corners.first() else { return [0.0; 2] };
    let (mut area2, mut moment) = (0.0, [0.0; 2]);
    for (a, b) in corners.iter().zip(corners.iter().cycle().skip(1)) {
        let (a, b) = ([a[0] - origin[0], a[1] - origin[1]], [b[0] - origin[0], b[1] - origin[1]]);
        let cross = a[0] * b[1] - a[1] * b[0];
        area2 += cross;
        moment = [0, 1].map(|k| moment[k] + cross * (a[k] + b[k]));
    }
    if area2.abs() > 0.0 { [0, 1].map(|k| origin[k] + moment[k] / (3.0 * area2)) } else { origin }
}

/// Whether two outlines keep this distance, neither inside the other; read at their corners, which must stand closer than it.
pub fn apart(a: &[[f64; 2]], b: &[[f64; 2]], clear: f64) -> bool {
    let all_clear = |of: &[[f64; 2]], from: &[[f64; 2]]| of.iter().all(|&p| depth(from, p) < -clear);
    all_clear(a, b) && all_clear(b, a)
}

/// Box `[x0, y0, x1, y1]` of some points.
pub fn bounds(points: &[[f64; 2]]) -> [f64; 4] {
    points.iter().fold([f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY], |b, p| {
        [b[0].min(p[0]), b[1].min(p[1]), b[2].max(p[0]), b[3].max(p[1])]
    })
}

#[cfg(test)]
mod tests {
    use super::super::outline::Form;
    use super::*;
    use std::f64::consts::PI;

    /// Half a disc, a quarter of one, and a circular segment r²(acos(h/r) − (h/r)√(1−h²/r²)).
    #[test]
    fn clipping_keeps_closed_form_areas() {
        let disc = |centre| Form::Disc { radius: 10.0 }.polygon(centre, 4096);
        let frame = [0.0, 0.0, 100.0, 100.0];
        let full = PI * 100.0;
        assert!((polygon_area(&clipped(disc([0.0, 50.0]), frame)) / full - 0.5).abs() < 1e-5);
        assert!((polygon_area(&clipped(disc([100.0, 100.0]), frame)) / full - 0.25).abs() < 1e-5);
        let segment = 100.0 * (libm::acos(0.3) - 0.3 * (1.0_f64 - 0.09).sqrt());
        assert!((polygon_area(&clipped(disc([50.0, -3.0]), frame)) - segment).abs() < 1e-3);
        assert!(clipped(disc([-30.0, 50.0]), frame).is_empty());
    }

    /// Circle in a circle, in an ellipse (the shorter axis), in a 3-4-5 triangle (2·1) and in a half disc (the radius).
    #[test]
    fn largest_circles() {
        let close = |found: f64, expected: f64| assert!((found - expected).abs() < 0.02, "{found} {expected}");
        close(largest_circle(&Form::Disc { radius: 10.0 }.polygon([0.0; 2], 2048)), 20.0);
        close(largest_circle(&Form::Ellipse { half_axes: [12.0, 5.0], angle: 1.0 }.polygon([0.0; 2], 2048)), 10.0);
        close(largest_circle(&[[0.0, 0.0], [4.0, 0.0], [0.0, 3.0]]), 2.0);
        let half = clipped(Form::Disc { radius: 10.0 }.polygon([0.0, 50.0], 2048), [0.0, 0.0, 100.0, 100.0]);
        close(largest_circle(&half), 10.0);
        assert_eq!(largest_circle(&[]).to_bits(), 0.0_f64.to_bits());
    }

    /// The middle of a half disc of radius 1 lies 4/(3π) from its straight side.
    #[test]
    fn centroid_of_a_half_disc() {
        let half: Vec<[f64; 2]> = (0..=2000).map(|i| libm::sincos(PI * f64::from(i) / 2000.0)).map(|(s, c)| [5.0 + c, 7.0 + s]).collect();
        let [x, y] = centroid(&half);
        assert!((x - 5.0).abs() < 1e-9 && (y - 7.0 - 4.0 / (3.0 * PI)).abs() < 1e-6, "{x} {y}");
    }

    #[test]
    fn outlines_apart_crossed_and_nested() {
        let disc = |x: f64, radius: f64| Form::Disc { radius }.polygon([x, 0.0], 256);
        assert!(apart(&disc(0.0, 5.0), &disc(11.1, 5.0), 1.0));
        for other in [disc(10.9, 5.0), disc(6.0, 5.0), disc(0.5, 2.0)] {
            assert!(!apart(&disc(0.0, 5.0), &other, 1.0));
        }
    }
}
