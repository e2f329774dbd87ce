//! The distribution of the diameters of objects.

use evenfilm_core::field::FieldResult;
use evenfilm_core::quantity::{Pool, QUANTITIES};
use evenfilm_core::recipe::{AgglomerateRule, Recipe};
use evenfilm_core::sizes::Sized;

use super::RestsOn;
use super::limit_lines::LimitLine;
use super::scene::{Canvas, Scene};
use crate::lot::Judgement;

/// The diameters of the objects that count.
#[derive(Clone, Debug, PartialEq)]
pub struct SizeData {
    /// Diameters in µm and frame weights of the objects that lie whole in the frame, smallest first.
    pub sizes: Vec<Sized>,
    /// What they rest on; objects that the frame cuts count here and have no size.
    pub rests_on: RestsOn,
    /// Smallest diameter counted, µm.
    pub from_um: Option<f64>,
    /// The diameter from which the recipe calls an object an agglomerate, µm; `None` where its rule does not go by size.
    pub agglomerate_um: Option<f64>,
    /// Limits; those on x10, x50 and x90 are drawn.
    pub limits: Vec<LimitLine>,
}

impl SizeData {
    /// The objects of the fields that count in a lot.
    pub fn of(fields: &[&FieldResult], recipe: &Recipe) -> Self {
        let pool = Pool::new(fields, 1, 0, recipe);
        let rule = &recipe.agglomerates;
        Self {
            sizes: pool.sizes().to_vec(),
            rests_on: RestsOn { things: pool.objects(), fields: fields.len() },
            from_um: fields.iter().map(|field| field.counted_from_um[0]).max_by(f64::total_cmp),
            agglomerate_um: (rule.rule != AgglomerateRule::Constituents).then_some(rule.min_diameter_um),
            limits: Vec::new(),
        }
    }

    /// The same with the limits that the lot was judged by.
    #[must_use]
    pub fn with_limits(self, judgement: &Judgement) -> Self {
        Self { limits: LimitLine::of(judgement), ..self }
    }
}

/// What an object counts for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SizesBy {
    /// For one.
    #[default]
    Number,
    /// For its volume.
    Volume,
}

/// Which curves are drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Curves {
    /// Density as steps, the share below a diameter as a line over it.
    #[default]
    Both,
    /// Density alone.
    Density,
    /// The share below a diameter alone.
    Cumulative,
}

/// How a distribution is drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SizeOptions {
    /// The plane.
    pub canvas: Canvas,
    /// What an object counts for.
    pub by: SizesBy,
    /// Which curves are drawn.
    pub curves: Curves,
}

/// The name of a quantity as read out: its id without the unit, blanks for underscores.
pub(super) fn id_name(id: &str) -> String {
    let unit = QUANTITIES.iter().find(|quantity| quantity.id == id).map_or("", |quantity| quantity.unit);
    let ending = match unit {
        "µm" => "_um",
        "%" => "_pct",
        "mm²" => "_mm2",
        "mm⁻²" => "_per_mm2",
        _ => "",
    };
    id.strip_suffix(ending).unwrap_or(id).replace('_', " ")
}

/// Draws a distribution of diameters.
pub fn size_distribution(data: &SizeData, options: &SizeOptions) -> Scene {
    Scene::new(&options.canvas, "Sizes of objects".into(), data.rests_on.words(super::rests_on::OBJECTS))
}
