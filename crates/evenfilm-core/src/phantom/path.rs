//! Paths: closed outlines of straight lines and circular arcs, for whatever has corners or an even width.

use super::floor_index;
use super::outline::{Curve, Tangent};

/// Widest angle that four Gauss nodes follow, rad.
const ARC_PART: f64 = 0.8;

/// A piece of a path. Lengths are in pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Piece {
    /// A straight line.
    Line {
        /// Where it begins.
        from: [f64; 2],
        /// Where it ends.
        to: [f64; 2],
    },
    /// A circular arc.
    Arc {
        /// Centre of the circle.
        centre: [f64; 2],
        /// Radius; below 0 the points lie opposite to the angles.
        radius: f64,
        /// First and last angle, rad.
        angles: [f64; 2],
    },
}

impl Piece {
    /// Where it is at `t` from 0 to 1.
    pub fn at(&self, t: f64) -> Tangent {
        match *self {
            Self::Line { from, to } => {
                let along = [to[0] - from[0], to[1] - from[1]];
                [[from[0] + t * along[0], from[1] + t * along[1]], along]
            }
            Self::Arc { centre, radius, angles: [first, last] } => {
                let (sin, cos) = libm::sincos(first + t * (last - first));
                let speed = radius * (last - first);
                [[centre[0] + radius * cos, centre[1] + radius * sin], [-speed * sin, speed * cos]]
            }
        }
    }

    fn length(&self) -> f64 {
        let [_, [dx, dy]] = self.at(0.0);
        (dx * dx + dy * dy).sqrt()
    }

    /// ½∮ x dy − y dx of the piece.
    fn area(&self) -> f64 {
        let ([[ax, ay], _], [[bx, by], _]) = (self.at(0.0), self.at(1.0));
        match *self {
            Self::Line { .. } => 0.5 * (ax * by - ay * bx),
            Self::Arc { centre: [cx, cy], radius, angles: [first, last] } => {
                0.5 * (radius * radius * (last - first) + cx * (by - ay) - cy * (bx - ax))
            }
        }
    }

    fn parts(&self) -> u32 {
        match *self {
            Self::Line { .. } => 1,
            Self::Arc { angles: [first, last], .. } => {
                let needed = floor_index((last - first).abs() / ARC_PART) + 1;
                u32::try_from(needed.next_power_of_two()).unwrap_or(u32::MAX >> 1)
            }
        }
    }

    fn reversed(&self) -> Self {
        match *self {
            Self::Line { from, to } => Self::Line { from: to, to: from },
            Self::Arc { centre, radius, angles: [first, last] } => Self::Arc { centre, radius, angles: [last, first] },
        }
    }

    /// Times `by`, turned by `angle`, moved by `shift`.
    fn mapped(&self, by: f64, angle: f64, shift: [f64; 2]) -> Self {
        let (sin, cos) = libm::sincos(angle);
        let map = |p: [f64; 2]| [by * (cos * p[0] - sin * p[1]) + shift[0], by * (sin * p[0] + cos * p[1]) + shift[1]];
        match *self {
            Self::Line { from, to } => Self::Line { from: map(from), to: map(to) },
            Self::Arc { centre, radius, angles } => {
                Self::Arc { centre: map(centre), radius: by * radius, angles: angles.map(|a| a + angle) }
            }
        }
    }
}

/// A closed path that does not cross itself, run from x to y.
#[derive(Clone, Debug, PartialEq)]
pub struct Path(Vec<Piece>);

impl Path {
    /// Straight sides between these corners.
    pub fn polygon(corners: &[[f64; 2]]) -> Self {
        let next = corners.iter().cycle().skip(1);
        Self(corners.iter().zip(next).map(|(&from, &to)| Piece::Line { from, to }).collect())
    }

    /// A band of even width with blunt ends along a smooth line that starts at the origin towards x: for each bend its length, px, and the
    /// angle it turns by, rad.
    pub fn band(bends: &[[f64; 2]], width: f64) -> Self {
        let mut sides = [Vec::new(), Vec::new()];
        let (mut p, mut heading) = ([0.0; 2], 0.0_f64);
        for &[length, turn] in bends {
            let (sin, cos) = libm::sincos(heading);
            let to;
            if turn.abs() < 1e-9 {
                to = [p[0] + length * cos, p[1] + length * sin];
                for (side, aside) in sides.iter_mut().zip([-0.5 * width, 0.5 * width]) {
                    let moved = |q: [f64; 2]| [q[0] - aside * sin, q[1] + aside * cos];
                    side.push(Piece::Line { from: moved(p), to: moved(to) });
                }
            } else {
                let radius = length / turn;
                let centre = [p[0] - radius * sin, p[1] + radius * cos];
                let angles = [heading, heading + turn].map(|a| a - 0.5 * std::f64::consts::PI);
                for (side, aside) in sides.iter_mut().zip([-0.5 * width, 0.5 * width]) {
                    side.push(Piece::Arc { centre, radius: radius - aside, angles });
                }
                [to, _] = Piece::Arc { centre, radius, angles }.at(1.0);
            }
            (p, heading) = (to, heading + turn);
        }
        let [mut pieces, back] = sides;
        let back: Vec<Piece> = back.iter().rev().map(Piece::reversed).collect();
        let cap = |a: &[Piece], b: &[Piece]| Some(Piece::Line { from: a.last()?.at(1.0)[0], to: b.first()?.at(0.0)[0] });
        let (end, start) = (cap(&pieces, &back), cap(&back, &pieces));
        pieces.extend(end);
        pieces.extend(back);
        pieces.extend(start);
        Self(pieces)
    }

    /// Times `by`, turned by `angle` around the origin, then moved.
    #[must_use]
    pub fn mapped(&self, by: f64, angle: f64, shift: [f64; 2]) -> Self {
        Self(self.0.iter().map(|piece| piece.mapped(by, angle, shift)).collect())
    }

    /// With the middle of its box at the origin.
    #[must_use]
    pub fn centred(&self) -> Self {
        let [x0, y0, x1, y1] = super::polygon::bounds(&self.sampled());
        self.mapped(1.0, 0.0, [-0.5 * (x0 + x1), -0.5 * (y0 + y1)])
    }

    /// Enclosed area, px², in closed form.
    pub fn area(&self) -> f64 {
        self.0.iter().map(Piece::area).sum()
    }

    /// Radius of a circle around the origin that holds all of it.
    pub fn bound(&self) -> f64 {
        let far2 = self.sampled().iter().fold(0.0_f64, |m, p| m.max(p[0] * p[0] + p[1] * p[1]));
        far2.sqrt() + self.bulge()
    }

    /// How far it reaches from the origin along x and y.
    pub fn half_extents(&self) -> [f64; 2] {
        let points = self.sampled();
        [0, 1].map(|k| points.iter().fold(0.0_f64, |m, p| m.max(p[k].abs())) + self.bulge())
    }

    /// How far it may lie beyond its sample: between two of 16 points an arc bulges by no more than an eighth of the angle between them
    /// times the step.
    fn bulge(&self) -> f64 {
        let of = |piece: &Piece| match *piece {
            Piece::Line { .. } => 0.0,
            Piece::Arc { angles, .. } => piece.length() * (angles[1] - angles[0]).abs() / (8.0 * 16.0 * 16.0),
        };
        self.0.iter().map(of).fold(0.0, f64::max)
    }

    fn sampled(&self) -> Vec<[f64; 2]> {
        self.0.iter().flat_map(|piece| (0_u32..16).map(|i| piece.at(f64::from(i) / 16.0)[0])).collect()
    }

    /// Its pieces as curves.
    pub(super) fn curves(&self) -> Vec<Curve<'_>> {
        self.0.iter().map(|piece| Curve { at: Box::new(|t| piece.at(t)), end: 1.0, parts: piece.parts(), length: piece.length() }).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The area of a band of even width is width times length, bent or not; that of a trapezium is its mean width times its height.
    #[test]
    fn areas_in_closed_form() {
        for bends in [vec![[40.0, 0.0]], vec![[40.0, 1.1]], vec![[25.0, -0.6], [15.0, 0.9]]] {
            assert!((Path::band(&bends, 3.0).area() - 120.0).abs() < 1e-9, "{bends:?}");
        }
        let trapezium = Path::polygon(&[[0.0, 0.0], [6.0, 0.0], [4.0, 3.0], [1.0, 3.0]]);
        assert!((trapezium.area() - 13.5).abs() < 1e-12);
        assert!((trapezium.mapped(2.0, 0.8, [3.0, 5.0]).area() - 54.0).abs() < 1e-9);
    }

    /// Every piece begins where the one before it ends.
    #[test]
    fn bands_are_closed() {
        let Path(pieces) = Path::band(&[[25.0, -0.6], [15.0, 0.0], [15.0, 0.9]], 3.0);
        assert_eq!(pieces.len(), 8);
        for (a, b) in pieces.iter().zip(pieces.iter().cycle().skip(1)) {
            let (end, start) = (a.at(1.0)[0], b.at(0.0)[0]);
            assert!((0..2).all(|k| (end[k] - start[k]).abs() < 1e-9), "{a:?} {b:?}");
        }
    }
}
