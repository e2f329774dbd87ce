//! Objects: connected pieces of the particle phase.

use crate::plane::{Level, Rect};
use crate::recipe::Kind;
use crate::shape::Shape;

/// Where an object's core level comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CoreFrom {
    /// Its own inside, at least 3.5 blur widths from the edge.
    Own,
    /// The field's median ratio of core to surround.
    Shared,
}

/// What an object's area comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SizedBy {
    /// The blur-corrected outline.
    Outline,
    /// The light that is missing.
    Deficit,
}

impl SizedBy {
    /// The word that tables use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Outline => "outline",
            Self::Deficit => "deficit",
        }
    }
}

/// One object of a field. Lengths are in pixels.
#[derive(Clone, Debug)]
pub struct Object {
    /// Its pixels' box.
    pub at: Rect,
    /// Centroid (x, y).
    pub centroid_px: [f64; 2],
    /// Level around it.
    pub surround: Level,
    /// Level inside it.
    pub core: Level,
    /// Where the core level comes from.
    pub core_from: CoreFrom,
    /// Area with the edge level a step towards the surround, as the recipe says, and a step towards the core, px²; blur-corrected.
    pub area_px2: [f64; 3],
    /// What the area comes from.
    pub sized_by: SizedBy,
    /// Blur-corrected shape.
    pub shape: Shape,
    /// Mean and largest optical density above the surround.
    pub od: [f64; 2],
    /// Whether a side of the measured region cuts it.
    pub touches_frame: bool,
    /// 1 ÷ the share of the region in which an object of this size lies whole; `None` for those cut by the frame.
    pub weight: Option<f64>,
    /// What it is.
    pub kind: Kind,
}

impl Object {
    /// Area-equivalent diameter in pixels.
    pub fn diameter_px(&self) -> f64 {
        2.0 * (self.area_px2[1] / std::f64::consts::PI).sqrt()
    }
}
