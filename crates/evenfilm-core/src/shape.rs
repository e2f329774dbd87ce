//! Measures of one outline (names and definitions of ISO 9276-6:2008).

mod contour;
mod hull;
mod inscribed;

pub use contour::{Contour, Sides, TURN_TO_AREA, trace, trace_rows};
pub use hull::{HullBuffer, convex_hull, feret, polygon_area, polygon_length};
pub use inscribed::Outline;

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
    /// Length of the convex hull ÷ length of the outline.
    pub convexity: f64,
    /// Diameter of the largest circle inside the outline.
    pub inscribed_px: f64,
}

impl Shape {
    /// Measures of a traced contour with this convex hull, whose blur-corrected area is `area_px2` and whose largest circle is looked for
    /// from `inside` among the points of `outline`. Lengths grow by the factor by which the correction widens the outline, which is exact for a disc.
    pub fn of(contour: &Contour, hull: &[[f64; 2]], area_px2: f64, (outline, inside): (&mut Outline, [f32; 2])) -> Self {
        let (feret_max, feret_min) = feret(hull);
        let wider = if contour.area_px2 > 0.0 { (area_px2 / contour.area_px2).max(0.0).sqrt() } else { 1.0 };
        let perimeter = contour.perimeter_px;
        let share = |part: f64, whole: f64| if whole > 0.0 { part / whole } else { 0.0 };
        outline.take(&contour.points);
        let (_, radius) = outline.largest_circle_from(inside);
        Self {
            feret_max_px: feret_max * wider,
            feret_min_px: feret_min * wider,
            perimeter_px: perimeter * wider,
            circularity: share((4.0 * std::f64::consts::PI * contour.area_px2).sqrt(), perimeter),
            solidity: share(contour.area_px2, polygon_area(hull)).min(1.0),
            aspect_ratio: share(feret_min, feret_max),
            convexity: share(polygon_length(hull), perimeter).min(1.0),
            // No circle inside is wider than the thing itself.
            inscribed_px: (2.0 * f64::from(radius)).min(feret_min) * wider,
        }
    }
}

/// Length and thickness of the rectangle of the same area and perimeter: geodesic length x_LG and thickness x_E of a long thin thing
/// (ISO 9276-6:2008, formula as public code quotes it). A thing rounder than any rectangle gets the square's.
pub fn length_and_thickness(area: f64, perimeter: f64) -> [f64; 2] {
    let quarter = perimeter / 4.0;
    let length = quarter + (quarter * quarter - area).max(0.0).sqrt();
    [length, if length > 0.0 { area / length } else { 0.0 }]
}
