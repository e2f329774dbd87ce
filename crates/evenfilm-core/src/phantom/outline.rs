//! Outlines: closed curves with known area.

use super::floor_index;
use super::path::Path;
use std::f64::consts::{PI, TAU};

/// Number of harmonics of a wobbly outline.
pub(super) const HARMONICS: usize = 5;

/// A point of a curve and the curve's derivative there.
pub type Tangent = [[f64; 2]; 2];

/// Parts of a wobbly outline at least: four nodes then follow each, up to the sixth harmonic.
const WOBBLY_PARTS: u32 = 16;

/// A smooth piece of an outline.
pub struct Curve<'a> {
    /// Where it is at a parameter from 0 to `end`.
    pub at: Box<dyn Fn(f64) -> Tangent + 'a>,
    /// Last parameter.
    pub end: f64,
    /// Equal parts, a power of 2, from which on four Gauss nodes follow the curve.
    pub parts: u32,
    /// An upper bound for the length of the longest of these parts times their number, px.
    pub length: f64,
}

/// The form of an outline around its centre. Lengths are in pixels.
#[derive(Clone, Debug, PartialEq)]
pub enum Form {
    /// A circle.
    Disc {
        /// Radius.
        radius: f64,
    },
    /// An ellipse.
    Ellipse {
        /// Half axes, the longer first.
        half_axes: [f64; 2],
        /// Direction of the longer axis, rad.
        angle: f64,
    },
    /// r(θ) = radius · (1 + Σ aₖ cos(kθ + φₖ)) for k = 2, 3, …
    Wobbly {
        /// Mean radius.
        radius: f64,
        /// (aₖ, φₖ); Σ|aₖ| below 1.
        waves: [[f64; 2]; HARMONICS],
    },
    /// Straight lines and circular arcs.
    Path(Path),
}

impl Form {
    /// The word that files use.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Disc { .. } => "disc",
            Self::Ellipse { .. } => "ellipse",
            Self::Wobbly { .. } => "wobbly",
            Self::Path(_) => "path",
        }
    }

    /// Enclosed area, px², in closed form: πr², πab, πr²(1 + ½Σaₖ²).
    pub fn area(&self) -> f64 {
        match self {
            Self::Disc { radius } => PI * radius * radius,
            Self::Ellipse { half_axes: [a, b], .. } => PI * a * b,
            Self::Wobbly { radius, waves } => PI * radius * radius * (1.0 + 0.5 * waves.iter().map(|w| w[0] * w[0]).sum::<f64>()),
            Self::Path(path) => path.area(),
        }
    }

    /// Radius of a circle around the centre that holds all of it.
    pub fn bound(&self) -> f64 {
        match self {
            Self::Disc { radius } => *radius,
            Self::Ellipse { half_axes, .. } => half_axes[0],
            Self::Wobbly { radius, waves } => radius * (1.0 + waves.iter().map(|w| w[0].abs()).sum::<f64>()),
            Self::Path(path) => path.bound(),
        }
    }

    /// How far it reaches from its centre along x and y at most.
    pub fn half_extents(&self) -> [f64; 2] {
        match self {
            Self::Path(path) => path.half_extents(),
            round => [round.bound(); 2],
        }
    }

    /// The outline times a factor.
    #[must_use]
    pub fn scaled(&self, by: f64) -> Self {
        match self {
            Self::Disc { radius } => Self::Disc { radius: by * radius },
            Self::Ellipse { half_axes, angle } => Self::Ellipse { half_axes: half_axes.map(|a| by * a), angle: *angle },
            Self::Wobbly { radius, waves } => Self::Wobbly { radius: by * radius, waves: *waves },
            Self::Path(path) => Self::Path(path.mapped(by, 0.0, [0.0; 2])),
        }
    }

    /// The smooth curves that make up the outline, one after the other, relative to the centre.
    pub fn curves(&self) -> Vec<Curve<'_>> {
        match self {
            Self::Disc { radius } => {
                vec![self.closed(8, move |[sin, cos], _| [[radius * cos, radius * sin], [-radius * sin, radius * cos]])]
            }
            Self::Ellipse { half_axes: [a, b], angle } => vec![self.closed(8, move |[sin, cos], _| {
                let (s, c) = libm::sincos(*angle);
                let turned = |x: f64, y: f64| [c * x - s * y, s * x + c * y];
                [turned(a * cos, b * sin), turned(-a * sin, b * cos)]
            })],
            Self::Wobbly { radius, waves } => vec![self.closed(WOBBLY_PARTS, move |[sin, cos], t| {
                let (mut r, mut slope) = (1.0, 0.0);
                for (k, [amplitude, phase]) in (2_u32..).zip(waves) {
                    let (s, c) = libm::sincos(f64::from(k) * t + phase);
                    r += amplitude * c;
                    slope -= amplitude * f64::from(k) * s;
                }
                let (r, slope) = (radius * r, radius * slope);
                [[r * cos, r * sin], [slope * cos - r * sin, slope * sin + r * cos]]
            })],
            Self::Path(path) => path.curves(),
        }
    }

    /// A curve once around, by sine and cosine of the angle and the angle itself.
    fn closed<'a>(&self, parts: u32, at: impl Fn([f64; 2], f64) -> Tangent + 'a) -> Curve<'a> {
        let at = move |t: f64| {
            let (sin, cos) = libm::sincos(t);
            at([sin, cos], t)
        };
        Curve { at: Box::new(at), end: TAU, parts, length: 1.5 * TAU * self.bound() }
    }

    /// The outline around `centre` as a polygon of `corners` points, or a few more where it has corners of its own.
    pub fn polygon(&self, centre: [f64; 2], corners: u32) -> Vec<[f64; 2]> {
        let curves = self.curves();
        let whole = curves.iter().map(|c| c.length).sum::<f64>();
        let mut points = Vec::with_capacity(corners as usize + curves.len());
        for curve in &curves {
            let count = (f64::from(corners) * curve.length / whole).ceil();
            points.extend((0..floor_index(count)).map(|i| {
                let [[x, y], _] = (curve.at)(curve.end * i as f64 / count);
                [centre[0] + x, centre[1] + y]
            }));
        }
        points
    }
}

#[cfg(test)]
mod tests {
    use super::super::polygon::polygon_area;
    use super::*;

    #[test]
    fn areas_agree_with_polygons() {
        let wobbly = Form::Wobbly { radius: 20.0, waves: [[0.12, 0.3], [0.08, 1.0], [0.05, 2.0], [0.03, 4.0], [0.02, 5.0]] };
        let band = Form::Path(Path::band(&[[30.0, 0.8], [20.0, -0.5]], 4.0));
        for form in [Form::Disc { radius: 9.0 }, Form::Ellipse { half_axes: [12.0, 5.0], angle: 1.1 }, wobbly, band] {
            let area = polygon_area(&form.polygon([3.0, 4.0], 4096));
            assert!((area / form.area() - 1.0).abs() < 1e-5, "{form:?}");
            assert!((form.scaled(1.5).area() / form.area() - 2.25).abs() < 1e-9);
            let half = form.half_extents();
            for p in form.polygon([0.0; 2], 512) {
                assert!(libm::hypot(p[0], p[1]) < form.bound() + 1e-9 && (0..2).all(|k| p[k].abs() < half[k] + 1e-9));
            }
        }
    }
}
