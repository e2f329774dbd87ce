//! Measures of one outline (names and definitions of ISO 9276-6).

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
