//! Gaps by their diameter.

use evenfilm_core::field::FieldResult;
use evenfilm_core::quantity::gap_counted;
use evenfilm_core::recipe::Recipe;

use super::RestsOn;
use super::limit_lines::LimitLine;
use super::scene::{Canvas, Scene};
use crate::lot::Judgement;

/// One gap that counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GapSeen {
    /// Area-equivalent diameter, µm.
    pub diameter_um: f64,
    /// Diameter of the largest circle inside it, µm.
    pub circle_um: f64,
    /// Area, µm².
    pub area_um2: f64,
}

/// The gaps of a lot.
#[derive(Clone, Debug, PartialEq)]
pub struct GapsData {
    /// Gaps that count; `None` where bare places cannot be told from film.
    pub gaps: Option<Vec<GapSeen>>,
    /// Area looked at, mm².
    pub area_mm2: f64,
    /// Number of fields looked at.
    pub fields: usize,
    /// Smallest diameter counted, µm.
    pub from_um: Option<f64>,
    /// The event of concern, diameter in µm.
    pub concern_um: Option<f64>,
    /// Limits; those on `largest_gap_um` are drawn.
    pub limits: Vec<LimitLine>,
}

impl GapsData {
    /// The gaps of the fields that count in a lot.
    pub fn of(fields: &[&FieldResult], recipe: &Recipe) -> Self {
        let seen = |field: &FieldResult| {
            let side = field.um_per_px;
            let gaps = field.gaps.iter().filter(|gap| gap_counted(field, gap));
            let of = |gap: &evenfilm_core::gaps::Gap| GapSeen {
                diameter_um: gap.diameter_px() * side,
                circle_um: gap.largest_circle_px * side,
                area_um2: gap.area_px2[1] * side * side,
            };
            gaps.map(of).collect::<Vec<_>>()
        };
        let gaps = fields.iter().all(|field| field.bare_measured).then(|| fields.iter().flat_map(|field| seen(field)).collect());
        Self {
            gaps,
            area_mm2: fields.iter().map(|field| field.area_px2() * field.um_per_px * field.um_per_px * 1e-6).sum(),
            fields: fields.len(),
            from_um: fields.iter().map(|field| field.counted_from_um[1]).max_by(f64::total_cmp),
            concern_um: Some(recipe.concern.gap_um),
            limits: Vec::new(),
        }
    }

    /// The same with the limits that the lot was judged by.
    #[must_use]
    pub fn with_limits(self, judgement: &Judgement) -> Self {
        Self { limits: LimitLine::of(judgement), ..self }
    }
}

/// What the height of a bar stands for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum GapsBy {
    /// Area of the gaps, µm² per mm² looked at.
    #[default]
    Area,
    /// Number of gaps per mm² looked at.
    Number,
}

/// How gaps are drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GapOptions {
    /// The plane.
    pub canvas: Canvas,
    /// What the height of a bar stands for.
    pub by: GapsBy,
}

/// Draws the gaps by their diameter.
pub fn gaps(data: &GapsData, options: &GapOptions) -> Scene {
    let rests_on = RestsOn { things: data.gaps.as_ref().map_or(0, Vec::len), fields: data.fields };
    Scene::new(&options.canvas, "Gaps by diameter".into(), rests_on.words(super::rests_on::GAPS))
}
