//! Measures of one outline (names and definitions of ISO 9276-6:2008).

mod contour;
mod hull;

pub use contour::{Contour, Sides, TURN_TO_AREA, trace, trace_rows};
pub use hull::{convex_hull, feret, polygon_area};

/// Measures of one outline, in pixels.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shape {
    /// Largest distance between parallel tangents.
    pub feret_max_px: f64,
    /// Smallest distance between parallel tangents.
    pub feret_min_px: f64,
    /// Length of the outline.
    pub perimeter_px: f64,
    /// √(4πA)/P.
    pub circularity: f64,
    /// Area ÷ area of the convex hull.
    pub solidity: f64,
    /// feret_min ÷ feret_max.
    pub aspect_ratio: f64,
}

impl Shape {
    /// Measures of a traced contour whose blur-corrected area is `area_px2`. Lengths grow by the factor by which the correction widens the
    /// outline, which is exact for a disc.
    pub fn of(contour: &Contour, area_px2: f64) -> Self {
        let hull = convex_hull(&contour.points);
        let (feret_max, feret_min) = feret(&hull);
        let wider = if contour.area_px2 > 0.0 { (area_px2 / contour.area_px2).max(0.0).sqrt() } else { 1.0 };
        let hull_area = polygon_area(&hull);
        let perimeter = contour.perimeter_px;
        let share = |part: f64, whole: f64| if whole > 0.0 { part / whole } else { 0.0 };
        Self {
            feret_max_px: feret_max * wider,
            feret_min_px: feret_min * wider,
            perimeter_px: perimeter * wider,
            circularity: share((4.0 * std::f64::consts::PI * contour.area_px2).sqrt(), perimeter),
            solidity: share(contour.area_px2, hull_area).min(1.0),
            aspect_ratio: share(feret_min, feret_max),
        }
    }
}
