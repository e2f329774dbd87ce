//! Truth: what a laid field holds, from its geometry. Nothing here has seen a pixel.

use super::lay::{Film, Laid, LaidPowder, area_within};
use super::polygon::{bounds, centroid, clipped, largest_circle};
use crate::recipe::{GapKind, Kind};
use rayon::prelude::*;
use std::f64::consts::PI;

/// Corners of the polygons that stand for outlines.
const CORNERS: u32 = 1024;

/// One object: a single particle or a clump, or a stranger. The area and diameter of what is hollow are those of its outer edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueObject {
    /// What it is.
    pub kind: Kind,
    /// Centroid (x, y) from the field's corner, µm.
    pub centre_um: [f64; 2],
    /// Area of all of it, also outside the frame, µm².
    pub area_um2: f64,
    /// Area within the frame, µm².
    pub area_in_frame_um2: f64,
    /// Diameter of the circle of its whole area, µm.
    pub diameter_um: f64,
    /// Width and height of its box, µm.
    pub box_um: [f64; 2],
    /// Number of touching particles; 1 for a stranger.
    pub constituents: usize,
    /// Distance from the plane of focus, µm.
    pub depth_um: f64,
    /// Whether the frame cuts it.
    pub touches_frame: bool,
}

/// One gap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueGap {
    /// What it is.
    pub kind: GapKind,
    /// Centre (x, y) from the field's corner, µm.
    pub centre_um: [f64; 2],
    /// "disc", "ellipse", "wobbly" or "path".
    pub form: &'static str,
    /// Area of all of it, µm².
    pub area_um2: f64,
    /// Area within the frame, µm².
    pub area_in_frame_um2: f64,
    /// Diameter of the circle of its whole area, µm.
    pub diameter_um: f64,
    /// Diameter of the largest circle within gap and frame, µm (to 0.02 px).
    pub largest_circle_um: f64,
    /// Whether the frame cuts it.
    pub touches_frame: bool,
}

/// What one field holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// Area of the field, µm².
    pub field_um2: f64,
    /// Width and height of the field, µm.
    pub field_um: [f64; 2],
    /// Objects of which something is seen, powder first.
    pub objects: Vec<TrueObject>,
    /// Gaps of which something is seen.
    pub gaps: Vec<TrueGap>,
}

impl Truth {
    /// The truth of a laid field.
    pub fn of(film: &Film) -> Self {
        let [_, _, width, height] = film.spec.frame();
        let scale = film.spec.um_per_px;
        Self {
            field_um2: width * height * scale * scale,
            field_um: [width * scale, height * scale],
            objects: film.objects.iter().map(|o| powder(film, o)).chain(film.strangers.iter().map(|s| stranger(film, s))).collect(),
            gaps: film.gaps.par_iter().map(|g| gap(film, g)).collect(),
        }
    }

    /// The objects that are powder.
    pub fn powder(&self) -> impl Iterator<Item = &TrueObject> {
        self.objects.iter().filter(|o| o.kind == Kind::Powder)
    }

    /// The objects that are not.
    pub fn left_out(&self) -> impl Iterator<Item = &TrueObject> {
        self.objects.iter().filter(|o| o.kind != Kind::Powder)
    }

    /// Area of powder ÷ area of the field, %.
    pub fn particle_area_pct(&self) -> f64 {
        100.0 * area_in_frame(self.powder()) / self.field_um2
    }

    /// Area of all other objects ÷ area of the field, %.
    pub fn left_out_area_pct(&self) -> f64 {
        100.0 * area_in_frame(self.left_out()) / self.field_um2
    }

    /// Area of gaps ÷ area of the field, %.
    pub fn uncovered_area_pct(&self) -> f64 {
        100.0 * self.gaps.iter().fold(0.0, |sum, g| sum + g.area_in_frame_um2) / self.field_um2
    }

    /// Diameter of the largest circle in any gap, µm; 0 without gaps.
    pub fn largest_gap_um(&self) -> f64 {
        self.gaps.iter().fold(0.0, |m, g| m.max(g.largest_circle_um))
    }
}

fn area_in_frame<'a>(objects: impl Iterator<Item = &'a TrueObject>) -> f64 {
    objects.fold(0.0, |sum, o| sum + o.area_in_frame_um2)
}

/// Particles in all whole objects of powder.
pub fn constituents(fields: &[Truth]) -> usize {
    fields.iter().flat_map(Truth::powder).filter(|o| !o.touches_frame).map(|o| o.constituents).sum()
}

/// Area of powder in objects of at least this area-equivalent diameter ÷ area of all powder, %; 0 without powder.
pub fn agglomerate_fraction_pct(fields: &[Truth], from_um: f64) -> f64 {
    let area = |from_um: f64| area_in_frame(fields.iter().flat_map(Truth::powder).filter(|o| o.diameter_um >= from_um));
    let all = area(0.0);
    if all > 0.0 { 100.0 * area(from_um) / all } else { 0.0 }
}

/// Sizes of powder over some fields, as ISO 9276 names them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TrueSizes {
    /// Whole objects counted.
    pub objects: usize,
    /// Number-weighted x10, x50, x90, µm.
    pub x_0_um: [f64; 3],
    /// Number-weighted mean, µm.
    pub mean_0_um: f64,
    /// Volume-weighted x10, x50, x90, µm.
    pub x_3_um: [f64; 3],
    /// Sauter mean diameter, µm.
    pub d32_um: f64,
    /// De Brouckere mean diameter, µm.
    pub d43_um: f64,
}

/// Sizes of whole objects of powder of at least `from_um`, each weighted by the inverse of the share of places at which an object of its box is whole
/// (R. E. Miles 1974; C. Lantuéjoul 1980). A quantile is the smallest size at or below which lies that share of the weight. `None`
/// without objects.
pub fn sizes(fields: &[Truth], from_um: f64) -> Option<TrueSizes> {
    let mut weighted: Vec<[f64; 2]> =
        fields.iter().flat_map(|t| t.powder().filter_map(|o| weight(t, o))).filter(|w| w[0] >= from_um).collect();
    weighted.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let moment = |k: i32| weighted.iter().map(|[d, w]| w * (0..k).fold(1.0, |p, _| p * d)).sum::<f64>();
    let quantiles = |k: i32| {
        [0.1, 0.5, 0.9].map(|share| {
            let (mut sum, wanted) = (0.0, share * moment(k));
            let reached = weighted.iter().find(|[d, w]| {
                sum += w * (0..k).fold(1.0, |p, _| p * d);
                sum >= wanted
            });
            reached.or(weighted.last()).map_or(0.0, |r| r[0])
        })
    };
    (!weighted.is_empty()).then(|| TrueSizes {
        objects: weighted.len(),
        x_0_um: quantiles(0),
        mean_0_um: moment(1) / moment(0),
        x_3_um: quantiles(3),
        d32_um: moment(3) / moment(2),
        d43_um: moment(4) / moment(3),
    })
}

/// Diameter and frame weight of a whole object.
fn weight(field: &Truth, object: &TrueObject) -> Option<[f64; 2]> {
    let room = [0, 1].map(|k| field.field_um[k] - object.box_um[k]);
    (!object.touches_frame && room[0] > 0.0 && room[1] > 0.0).then(|| [object.diameter_um, field.field_um2 / (room[0] * room[1])])
}

fn diameter(area: f64) -> f64 {
    2.0 * (area / PI).sqrt()
}

fn powder(film: &Film, object: &LaidPowder) -> TrueObject {
    let (scale, frame) = (film.spec.um_per_px, film.spec.frame());
    let discs = &film.discs[object.discs.clone()];
    let weights = discs.iter().map(|d| d.radius * d.radius).sum::<f64>();
    let centre = |k: usize| discs.iter().map(|d| d.centre[k] * d.radius * d.radius).sum::<f64>() / weights;
    let low = |k: usize| discs.iter().fold(f64::INFINITY, |m, d| m.min(d.centre[k] - d.radius));
    let high = |k: usize| discs.iter().fold(f64::NEG_INFINITY, |m, d| m.max(d.centre[k] + d.radius));
    let area_um2 = PI * weights * scale * scale;
    TrueObject {
        kind: Kind::Powder,
        centre_um: [centre(0) * scale, centre(1) * scale],
        area_um2,
        area_in_frame_um2: discs.iter().map(|d| d.area_within(frame)).sum::<f64>() * scale * scale,
        diameter_um: diameter(area_um2),
        box_um: [0, 1].map(|k| (high(k) - low(k)) * scale),
        constituents: discs.len(),
        depth_um: object.depth_um,
        touches_frame: (0..2).any(|k| low(k) < frame[k] || high(k) > frame[k + 2]),
    }
}

fn stranger(film: &Film, thing: &Laid<Kind>) -> TrueObject {
    let (scale, frame, form) = (film.spec.um_per_px, film.spec.frame(), &thing.figure.form);
    let polygon = form.polygon(thing.centre, CORNERS);
    let [x0, y0, x1, y1] = bounds(&polygon);
    let area_um2 = form.area() * scale * scale;
    TrueObject {
        kind: thing.kind,
        centre_um: centroid(&polygon).map(|c| c * scale),
        area_um2,
        area_in_frame_um2: area_within(form, thing.centre, frame) * scale * scale,
        diameter_um: diameter(area_um2),
        box_um: [x1 - x0, y1 - y0].map(|side| side * scale),
        constituents: 1,
        depth_um: 0.0,
        touches_frame: reaches_out(&polygon, frame),
    }
}

fn gap(film: &Film, gap: &Laid<GapKind>) -> TrueGap {
    let (scale, frame, form) = (film.spec.um_per_px, film.spec.frame(), &gap.figure.form);
    let polygon = form.polygon(gap.centre, CORNERS);
    let touches_frame = reaches_out(&polygon, frame);
    let area_um2 = form.area() * scale * scale;
    TrueGap {
        kind: gap.kind,
        centre_um: gap.centre.map(|c| c * scale),
        form: form.word(),
        area_um2,
        area_in_frame_um2: area_within(form, gap.centre, frame) * scale * scale,
        diameter_um: diameter(area_um2),
        largest_circle_um: largest_circle(&clipped(polygon, frame)) * scale,
        touches_frame,
    }
}

fn reaches_out(polygon: &[[f64; 2]], frame: [f64; 4]) -> bool {
    polygon.iter().any(|p| (0..2).any(|k| p[k] < frame[k] || p[k] > frame[k + 2]))
}
