//! How a pool is looked at.

use crate::field::FieldResult;
use crate::gaps::Gap;
use crate::objects::Object;
use crate::recipe::Recipe;

/// How a pool is looked at: as it was measured, or with one thing changed that is known only so well. The uncertainty of a quantity follows
/// from what the change does to it (JCGM 100:2008, 5.1.4).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// Which of the three edge levels: 0 a step towards surround or film, 1 as the recipe says, 2 a step towards core or bare.
    pub edge: usize,
    /// Factor on every length.
    pub length: f64,
    /// Factor on the diameters of objects alone.
    pub diameter: f64,
}

impl Default for View {
    fn default() -> Self {
        Self { edge: 1, length: 1.0, diameter: 1.0 }
    }
}

impl View {
    /// Width of a pixel, µm.
    pub(crate) fn um_per_px(&self, field: &FieldResult) -> f64 {
        field.um_per_px * self.length
    }

    /// Area of an object, µm².
    pub(crate) fn area_um2(&self, field: &FieldResult, object: &Object) -> f64 {
        let side = self.um_per_px(field) * self.diameter;
        object.area_px2[self.edge] * side * side
    }

    /// Area-equivalent diameter of an object, µm.
    pub(crate) fn diameter_um(&self, field: &FieldResult, object: &Object) -> f64 {
        equivalent(object.area_px2[self.edge]) * self.um_per_px(field) * self.diameter
    }

    pub(super) fn gap_area_um2(&self, field: &FieldResult, gap: &Gap) -> f64 {
        let side = self.um_per_px(field);
        gap.area_px2[self.edge] * side * side
    }

    /// Smallest diameters counted, µm: what pixels or the lens decided is as long as they are, what the recipe says stays.
    pub(super) fn counted_from(&self, field: &FieldResult, recipe: &Recipe) -> [f64; 2] {
        let stated = [recipe.particles.min_diameter_um.unwrap_or(0.0), recipe.gaps.min_diameter_um];
        let from = |i: usize| {
            let from = field.counted_from_um[i];
            if from > stated[i] { (from * self.length).max(stated[i]) } else { from }
        };
        [from(0), from(1)]
    }
}

/// Diameter of the circle of an area.
pub(super) fn equivalent(area: f64) -> f64 {
    2.0 * (area / std::f64::consts::PI).sqrt()
}
