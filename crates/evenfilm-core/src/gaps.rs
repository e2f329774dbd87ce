//! Gaps: connected uncovered pieces of the film.

use crate::plane::Rect;
use crate::recipe::GapKind;

/// One gap of a field. Lengths are in pixels.
#[derive(Clone, Debug)]
pub struct Gap {
    /// Its pixels' box.
    pub at: Rect,
    /// Centroid (x, y).
    pub centroid_px: [f64; 2],
    /// Area with the edge level a step towards the film, as the recipe says, and a step towards bare, px²; blur-corrected.
    pub area_px2: [f64; 3],
    /// Diameter of the largest circle that fits inside the gap and the frame.
    pub largest_circle_px: f64,
    /// Whether a side of the measured region cuts it.
    pub touches_frame: bool,
    /// What it is.
    pub kind: GapKind,
}

impl Gap {
    /// Area-equivalent diameter in pixels.
    pub fn diameter_px(&self) -> f64 {
        2.0 * (self.area_px2[1] / std::f64::consts::PI).sqrt()
    }
}
