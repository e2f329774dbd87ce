//! Kinds: what an object is, by stated measures. In this order:
//!
//! | measure | what it is | kind |
//! | --- | --- | --- |
//! | size | diameter ÷ resolution (0.61 λ/NA) below 5: its shape cannot be told | unsure |
//! | ring | bright hole ÷ whole area, at least 0.08, both outlines round about the hole's middle (spread of the radii at most 0.10) | hollow |
//! | elongation | geodesic length ÷ thickness (ISO 9276-6) at least 10, in pieces at least three times as long as wide; where the frame cuts it also straight to 0.7 | fibre |
//! | frame | the frame cuts it, and it is no fibre: its shape is not seen | unsure |
//! | elongation | 3 to 10, straight (length by Feret at least 0.9 of the geodesic) and solid (0.95) | crystal (needle) |
//! | corners | at most six corners describe the outline to 3.5 % of its diameter, solid (0.98), 20 px and 8 resolutions across | crystal (plate) |
//! | repeat | share that is dark at the same place in every field, at least a half ([`crate::dust`]) | dust |
//!
//! Unsure is also what is near a limit: a ring less round, a large hole, a length of six thicknesses and more that is no fibre, and an
//! outline in several pieces that is long for its area, which is shreds of something fainter. The rest is powder. ISO 9276-6 names the measures; the limits are this program's, set on rendered films.

use crate::recipe::Kind;
use crate::shape::{Contour, Shape, length_and_thickness};
use crate::statistics::median;

use super::holes::Hole;

crate::choices! {
    /// The measure that decided on a kind.
    Measure {
        /// The frame cuts it.
        Frame = "frame",
        /// Diameter ÷ resolution.
        Size = "size",
        /// Bright hole ÷ whole area.
        Ring = "ring",
        /// Geodesic length ÷ thickness.
        Elongation = "elongation",
        /// Corners that describe the outline.
        Corners = "corners",
        /// Share that is dark at the same place in every field.
        Repeat = "repeat",
    }
}

/// A kind and what decided on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Told {
    /// The kind.
    pub kind: Kind,
    /// The measure that decided.
    pub by: Measure,
    /// Its value.
    pub value: f32,
}

impl Told {
    fn new(kind: Kind, by: Measure, value: f64) -> Self {
        Self { kind, by, value: crate::plane::single(value) }
    }
}

/// Diameter in resolutions from which a shape can be told.
pub(crate) const TOLD_FROM: f64 = 5.0;
const RING_LEAST: f64 = 0.08;
const RING_ROUND: f64 = 0.10;
const RING_UNSURE: f64 = 0.14;
const RING_LARGE: f64 = 0.3;
const FIBRE: f64 = 10.0;
const FIBRE_PIECES: f64 = 3.0;
const NEEDLE: f64 = 3.0;
const UNSURE: f64 = 6.0;
const PLATE_CORNERS: usize = 6;
const PLATE_PX: f64 = 20.0;
const PLATE_RESOLUTIONS: f64 = 8.0;

/// What a kind is told from. Lengths are in pixels.
pub(crate) struct Look<'a> {
    pub(crate) touches_frame: bool,
    pub(crate) diameter_px: f64,
    pub(crate) resolution_px: f64,
    pub(crate) shape: &'a Shape,
    pub(crate) contour: &'a Contour,
    pub(crate) hull: &'a [[f64; 2]],
    pub(crate) constituents: usize,
    /// Its largest hole, and the area of all.
    pub(crate) hole: Option<(Hole, f64)>,
}

/// Tells the kind of one object.
pub(crate) fn tell(look: &Look<'_>) -> Told {
    let [length, thickness] = length_and_thickness(look.contour.area_px2, look.contour.perimeter_px);
    let holes = look.hole.map_or(0.0, |h| h.1);
    let filled = 2.0 * ((look.contour.area_px2 + holes) / std::f64::consts::PI).sqrt();
    let across = look.diameter_px.max(filled) / look.resolution_px;
    if across < TOLD_FROM && look.shape.feret_max_px < 2.0 * TOLD_FROM * look.resolution_px {
        return Told::new(Kind::Unsure, Measure::Size, across);
    }
    if let Some(told) = ring(look) {
        return told;
    }
    let elongation = if thickness > 0.0 { (length / thickness).max(1.0) } else { 1.0 };
    let pieces = elongation / look.constituents as f64;
    // An outline in several pieces is shreds of something fainter, such as a ring; its length says nothing.
    let shreds = look.contour.quarter_turns > 4;
    if shreds && elongation >= NEEDLE {
        return Told::new(Kind::Unsure, Measure::Elongation, elongation);
    }
    // What the frame leaves of a ring is long and thin too, but bent.
    let bent = look.touches_frame && look.shape.feret_max_px < 0.7 * length;
    if elongation >= FIBRE && pieces >= FIBRE_PIECES && !bent {
        return Told::new(Kind::Fibre, Measure::Elongation, elongation);
    }
    if look.touches_frame {
        return Told::new(Kind::Unsure, Measure::Frame, 1.0);
    }
    let straight = look.shape.feret_max_px >= 0.9 * length;
    if elongation >= NEEDLE && pieces >= FIBRE_PIECES && straight && look.shape.solidity >= 0.95 {
        return Told::new(Kind::Crystal, Measure::Elongation, elongation);
    }
    if elongation >= UNSURE && pieces >= FIBRE_PIECES {
        return Told::new(Kind::Unsure, Measure::Elongation, elongation);
    }
    if let Some(corners) = plate(look) {
        return Told::new(Kind::Crystal, Measure::Corners, corners as f64);
    }
    Told::new(Kind::Powder, Measure::Elongation, elongation)
}

/// A dark ring with a bright centre.
fn ring(look: &Look<'_>) -> Option<Told> {
    let (hole, holes_px2) = look.hole?;
    let whole = look.contour.area_px2 + holes_px2;
    let share = f64::from(hole.cells) / whole;
    if share < RING_LEAST || 2.0 * (whole / std::f64::consts::PI).sqrt() < TOLD_FROM * look.resolution_px {
        return None;
    }
    let [inner, outer] = spreads(&look.contour.points, hole)?;
    let spread = inner.max(outer);
    if spread <= RING_ROUND {
        return Some(Told::new(Kind::Hollow, Measure::Ring, share));
    }
    // What has so large a hole is no plain piece of powder either.
    (spread <= RING_UNSURE || share >= RING_LARGE).then(|| Told::new(Kind::Unsure, Measure::Ring, share))
}

/// Spread of the radii of the inner and the outer outline of a ring about its hole's middle, each as a share of their median: 1.4826 × the
/// median of their distances from it, which things attached to the ring do not move (F. R. Hampel 1974, J. Am. Stat. Assoc. 69, 383).
fn spreads(points: &[[f32; 2]], hole: Hole) -> Option<[f64; 2]> {
    // Each sector holds a pixel or two of the inner outline.
    let around = std::f64::consts::TAU * (f64::from(hole.cells) / std::f64::consts::PI).sqrt();
    let sectors = whole(0.5 * around).clamp(8, 48);
    let mut ends = vec![[f64::MAX, 0.0f64]; sectors];
    for p in points {
        let (dx, dy) = (f64::from(p[0]) - hole.centre[0], f64::from(p[1]) - hole.centre[1]);
        let turn = libm::atan2(dy, dx) / std::f64::consts::TAU + 0.5;
        let sector = &mut ends[whole(turn * sectors as f64).min(sectors - 1)];
        let far = libm::hypot(dx, dy);
        *sector = [sector[0].min(far), sector[1].max(far)];
    }
    if ends.iter().any(|e| e[1] <= 0.0) {
        return None;
    }
    Some([0, 1].map(|k| {
        let middle = median(ends.iter().map(|e| e[k]).collect());
        1.4826 * median(ends.iter().map(|e| (e[k] - middle).abs()).collect()) / middle
    }))
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of a few sectors")]
fn whole(of: f64) -> usize {
    of as usize
}

/// Number of corners of a plate.
fn plate(look: &Look<'_>) -> Option<usize> {
    let large = look.diameter_px >= PLATE_PX.max(PLATE_RESOLUTIONS * look.resolution_px);
    if !large || look.shape.solidity < 0.98 || look.constituents > 1 {
        return None;
    }
    let corners = corners(look.hull, 0.035 * look.diameter_px);
    (corners <= PLATE_CORNERS).then_some(corners)
}

/// Number of corners that describe a convex polygon to within `tolerance`: those that lie farther from the line between their neighbours
/// (U. Ramer 1972, Comput. Graph. Image Process. 1, 244; D. Douglas & T. Peucker 1973).
fn corners(hull: &[[f64; 2]], tolerance: f64) -> usize {
    let n = hull.len();
    if n < 3 {
        return n;
    }
    let far_from = |p: [f64; 2]| {
        let away = |i: usize| libm::hypot(hull[i][0] - p[0], hull[i][1] - p[1]);
        (1..n).fold(0, |a, b| if away(b) > away(a) { b } else { a })
    };
    // Two corners for sure: the ends of a long diagonal.
    let one = far_from(hull[0]);
    let two = far_from(hull[one]);
    let mut kept = vec![one];
    keep(hull, (one, two), tolerance, &mut kept);
    kept.push(two);
    keep(hull, (two, one), tolerance, &mut kept);
    // A blurred corner is found once on either side: a side so short is none.
    let short = |k: usize| {
        let (a, b) = (hull[kept[k]], hull[kept[(k + 1) % kept.len()]]);
        libm::hypot(a[0] - b[0], a[1] - b[1]) < 3.5 * tolerance
    };
    (0..kept.len()).filter(|&k| !short(k)).count()
}

/// The corner between two others that lies farthest from the line through them, and how far.
fn farthest(hull: &[[f64; 2]], (from, to): (usize, usize)) -> Option<(usize, f64)> {
    let (a, b, n) = (hull[from], hull[to], hull.len());
    let length = libm::hypot(b[0] - a[0], b[1] - a[1]).max(f64::MIN_POSITIVE);
    let aside = |p: [f64; 2]| ((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])).abs() / length;
    let between = (1..(to + n - from) % n).map(|k| (from + k) % n);
    between.map(|i| (i, aside(hull[i]))).reduce(|top, next| if next.1 > top.1 { next } else { top })
}

/// Adds the corners between two that are kept, in order.
fn keep(hull: &[[f64; 2]], (from, to): (usize, usize), tolerance: f64, kept: &mut Vec<usize>) {
    if let Some((top, _)) = farthest(hull, (from, to)).filter(|(_, aside)| *aside > tolerance) {
        keep(hull, (from, top), tolerance, kept);
        kept.push(top);
        keep(hull, (top, to), tolerance, kept);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn polygon(n: u32, radius: f64) -> Vec<[f64; 2]> {
        let turn = |i: u32| std::f64::consts::TAU * f64::from(i) / f64::from(n) + 0.3;
        (0..n).map(|i| [20.0 + radius * libm::cos(turn(i)), 20.0 + radius * libm::sin(turn(i))]).collect()
    }

    #[test]
    fn corners_of_regular_polygons_and_of_a_circle() {
        for n in 3..=8 {
            assert_eq!(corners(&polygon(n, 15.0), 0.3), n as usize);
        }
        assert!(corners(&polygon(200, 15.0), 0.035 * 30.0) > 6);
        assert_eq!(corners(&[], 1.0), 0);
        // A hexagon whose corners are cut: two ends at each, half a pixel deep.
        let cut: Vec<[f64; 2]> = (0..6)
            .flat_map(|i| {
                let at = |i: usize| polygon(6, 15.0)[i % 6];
                let (a, b) = (at(i), at(i + 1));
                [0.06, 0.94].map(|t| [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])])
            })
            .collect();
        assert_eq!(corners(&cut, 1.0), 6);
    }
}
