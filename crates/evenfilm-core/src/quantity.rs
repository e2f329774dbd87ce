//! The one table of everything reported. CSV headers, column metadata, tooltips, limits and documentation all read it; adding a quantity
//! is adding a row and a function.

use crate::chance::{ByChance, Chance};
use crate::field::FieldResult;
use crate::gaps::Gap;
use crate::objects::Object;
use crate::recipe::{AgglomerateRule, Kind, Recipe};
use crate::sizes::{self, Sized};

/// How a quantity's 95 % interval comes about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Interval {
    /// Counts of what was looked at, and settings: none.
    None,
    /// From the spread between fields, or between slide means where there are several slides (Student t).
    BetweenFields,
}

/// Fields pooled: one field, a slide, or the lot.
#[derive(Clone, Debug)]
pub struct Pool<'a> {
    fields: &'a [&'a FieldResult],
    slides: usize,
    rejected: usize,
    recipe: &'a Recipe,
    chance: Option<&'a ByChance>,
    /// Diameters in µm, smallest first.
    sizes: Vec<Sized>,
}

/// One reported quantity.
#[derive(Clone, Copy, Debug)]
pub struct Quantity {
    /// Column name.
    pub id: &'static str,
    /// Unit as printed, "" for numbers without one.
    pub unit: &'static str,
    /// Symbol as printed.
    pub symbol: &'static str,
    /// One-line definition.
    pub definition: &'static str,
    /// Where the definition comes from.
    pub source: &'static str,
    /// How its interval comes about.
    pub interval: Interval,
    /// Its value over some fields pooled. `None` is "not measured".
    pub of: fn(&Pool<'_>) -> Option<f64>,
}

impl<'a> Pool<'a> {
    /// Pools the fields measured, without the rejected. They come from this number of `slides`; the recipe says what counts.
    pub fn new(fields: &'a [&'a FieldResult], slides: usize, rejected: usize, recipe: &'a Recipe) -> Self {
        let mut pool = Self { fields, slides, rejected, recipe, chance: None, sizes: Vec::new() };
        pool.sizes = sized(pool.counted());
        pool
    }

    /// The same with what chance alone would show; without it those quantities are not measured.
    #[must_use]
    pub fn beside_chance(self, chance: Option<&'a Chance>) -> Self {
        Self { chance: chance.and_then(Chance::told), ..self }
    }

    fn objects(&self) -> impl Iterator<Item = (&'a FieldResult, &'a Object)> {
        self.fields.iter().flat_map(|&f| f.objects.iter().map(move |o| (f, o)))
    }

    /// Objects large enough to be counted and of a kind that counts.
    fn counted(&self) -> impl Iterator<Item = (&'a FieldResult, &'a Object)> {
        let recipe = self.recipe;
        self.objects().filter(move |(f, o)| counted(f, o, recipe))
    }

    /// Objects of kinds that do not count, of any size; of one `kind` or of all.
    fn left_out(&self, kind: Option<Kind>) -> impl Iterator<Item = (&'a FieldResult, &'a Object)> {
        let recipe = self.recipe;
        self.objects().filter(move |(_, o)| recipe.leave_out.contains(&o.told.kind) && kind.is_none_or(|k| k == o.told.kind))
    }

    fn left_out_area(&self, kind: Option<Kind>) -> Option<f64> {
        let whole = self.area_um2();
        (whole > 0.0).then(|| 100.0 * self.left_out(kind).map(|(f, o)| area_um2(f, o)).sum::<f64>() / whole)
    }

    fn agglomerates(&self) -> impl Iterator<Item = (&'a FieldResult, &'a Object)> {
        let recipe = self.recipe;
        self.objects().filter(move |(f, o)| is_agglomerate(f, o, recipe))
    }

    fn area_um2(&self) -> f64 {
        self.fields.iter().map(|f| f.area_px2() * f.um_per_px * f.um_per_px).sum()
    }

    /// Sum over the fields of an area in px², in % of the fields' area; `None` where a field does not have it.
    fn share_pct(&self, of: impl Fn(&FieldResult) -> Option<f64>) -> Option<f64> {
        let areas = self.fields.iter().map(|f| of(f).map(|a| a * f.um_per_px * f.um_per_px)).collect::<Option<Vec<f64>>>()?;
        let whole = self.area_um2();
        (whole > 0.0).then(|| 100.0 * areas.iter().sum::<f64>() / whole)
    }

    /// Mean over the fields, weighted by their area; `None` where a field does not have it.
    fn mean(&self, of: impl Fn(&FieldResult) -> Option<f64>) -> Option<f64> {
        let values = self.fields.iter().map(|f| Some((of(f)?, f.area_px2()))).collect::<Option<Vec<_>>>()?;
        let weight: f64 = values.iter().map(|v| v.1).sum();
        (weight > 0.0).then(|| values.iter().map(|v| v.0 * v.1).sum::<f64>() / weight)
    }

    /// Largest over the fields.
    fn largest(&self, of: impl Fn(&FieldResult) -> Option<f64>) -> Option<f64> {
        self.fields.iter().filter_map(|f| of(f)).max_by(f64::total_cmp)
    }
}

/// Whether an object counts: at least the smallest counted diameter across, and not of a kind that is left out.
pub fn counted(field: &FieldResult, object: &Object, recipe: &Recipe) -> bool {
    object.diameter_px() * field.um_per_px >= field.counted_from_um[0] && !recipe.leave_out.contains(&object.told.kind)
}

/// Whether an object that counts is an agglomerate by the recipe's rule.
pub fn is_agglomerate(field: &FieldResult, object: &Object, recipe: &Recipe) -> bool {
    let rule = &recipe.agglomerates;
    let large = || object.diameter_px() * field.um_per_px >= rule.min_diameter_um;
    let many = || object.constituents() >= rule.min_constituents as usize;
    counted(field, object, recipe)
        && match rule.rule {
            AgglomerateRule::Size => large(),
            AgglomerateRule::Constituents => many(),
            AgglomerateRule::Either => large() || many(),
        }
}

/// Whether a gap counts: at least the smallest counted diameter across, and not the bright centre of a hollow thing.
pub fn gap_counted(field: &FieldResult, gap: &Gap) -> bool {
    gap.diameter_px() * field.um_per_px >= field.counted_from_um[1] && !gap.in_hollow
}

/// Diameters in µm and weights of the objects that lie whole in the frame, smallest first.
fn sized<'a>(of: impl Iterator<Item = (&'a FieldResult, &'a Object)>) -> Vec<Sized> {
    let mut sizes: Vec<Sized> =
        of.filter_map(|(f, o)| Some(Sized { diameter: o.diameter_px() * f.um_per_px, weight: o.weight? })).collect();
    sizes.sort_by(|a, b| a.diameter.total_cmp(&b.diameter));
    sizes
}

fn area_um2(field: &FieldResult, object: &Object) -> f64 {
    object.area_px2[1] * field.um_per_px * field.um_per_px
}

fn gaps_counted(field: &FieldResult) -> Option<impl Iterator<Item = &Gap>> {
    field.bare_measured.then(|| field.gaps.iter().filter(|g| gap_counted(field, g)))
}

const ISO_9276_1: &str = "ISO 9276-1:1998";
const ISO_9276_2: &str = "ISO 9276-2:2014";
const OURS: &str = "this program";
const CHANCE: &str = "this program; Boolean model, Chiu, Stoyan, Kendall & Mecke 2013, ch. 3";

macro_rules! quantities {
    ($($id:literal $unit:literal $symbol:literal $interval:ident $source:expr, $definition:literal, $of:expr;)+) => {
        /// Every quantity, in the order of the columns.
        pub const QUANTITIES: &[Quantity] = &[$(Quantity {
            id: $id, unit: $unit, symbol: $symbol, definition: $definition, source: $source, interval: Interval::$interval, of: $of,
        }),+];
    };
}

quantities! {
    "slides" "" "" None OURS, "slides measured", |p| Some(p.slides as f64);
    "fields" "" "" None OURS, "fields measured, without the rejected", |p| Some(p.fields.len() as f64);
    "fields_rejected" "" "" None OURS, "fields rejected", |p| Some(p.rejected as f64);
    "objects" "" "n" None OURS, "objects of at least size_from_um counted", |p| Some(p.counted().count() as f64);
    "size_from_um" "µm" "" None OURS, "smallest object diameter counted: the largest of 6 px, 2 × 0.61 λ/NA and the recipe's value", |p| p.largest(|f| Some(f.counted_from_um[0]));
    "gap_from_um" "µm" "" None OURS, "smallest gap diameter counted: the largest of 6 px, 2 × 0.61 λ/NA and the recipe's value", |p| p.largest(|f| Some(f.counted_from_um[1]));
    "field_area_mm2" "mm²" "" None OURS, "total area measured", |p| Some(p.area_um2() * 1e-6);
    "x10_0_um" "µm" "x10,0" BetweenFields ISO_9276_1, "diameter below which 10 % of the objects lie, by number", |p| sizes::quantile(&p.sizes, 0, 0.1);
    "x50_0_um" "µm" "x50,0" BetweenFields ISO_9276_1, "median diameter of the objects, by number", |p| sizes::quantile(&p.sizes, 0, 0.5);
    "x90_0_um" "µm" "x90,0" BetweenFields ISO_9276_1, "diameter below which 90 % of the objects lie, by number", |p| sizes::quantile(&p.sizes, 0, 0.9);
    "mean_0_um" "µm" "D[1,0]" BetweenFields ISO_9276_2, "arithmetic mean diameter of the objects", |p| sizes::mean(&p.sizes, 1, 0);
    "x10_3_um" "µm" "x10,3" BetweenFields ISO_9276_1, "diameter below which 10 % of the objects lie, by volume", |p| sizes::quantile(&p.sizes, 3, 0.1);
    "x50_3_um" "µm" "x50,3" BetweenFields ISO_9276_1, "median diameter of the objects, by volume", |p| sizes::quantile(&p.sizes, 3, 0.5);
    "x90_3_um" "µm" "x90,3" BetweenFields ISO_9276_1, "diameter below which 90 % of the objects lie, by volume", |p| sizes::quantile(&p.sizes, 3, 0.9);
    "span_3" "" "span,3" BetweenFields ISO_9276_2, "(x90,3 − x10,3) ÷ x50,3", span_3;
    "d32_um" "µm" "D[3,2]" BetweenFields ISO_9276_2, "Sauter mean diameter: sum of cubes ÷ sum of squares", |p| sizes::mean(&p.sizes, 3, 2);
    "d43_um" "µm" "D[4,3]" BetweenFields ISO_9276_2, "De Brouckere mean diameter: sum of fourth powers ÷ sum of cubes", |p| sizes::mean(&p.sizes, 4, 3);
    "constituents_x50_0_um" "µm" "" BetweenFields ISO_9276_1, "median diameter of the constituents of at least size_from_um, by number", constituents_median;
    "particle_area_pct" "%" "" BetweenFields OURS, "projected area of the particle phase ÷ field area, without the kinds left out", |p| p.share_pct(|f| Some(f.objects.iter().filter(|o| !p.recipe.leave_out.contains(&o.told.kind)).map(|o| o.area_px2[1]).sum()));
    "agglomerates" "" "" None OURS, "objects counted that the recipe's rule calls agglomerates", |p| Some(p.agglomerates().count() as f64);
    "agglomerates_per_mm2" "mm⁻²" "" BetweenFields OURS, "agglomerates that lie whole in the frame, each with its frame weight, ÷ area measured", agglomerate_density;
    "agglomerate_fraction_pct" "%" "" BetweenFields OURS, "particle-phase area that lies in agglomerates ÷ all particle-phase area, without the kinds left out", agglomerate_fraction;
    "agglomerate_fraction_by_chance_pct" "%" "" None CHANCE, "agglomerate_fraction_pct that the lot's single particles show, laid at random until they cover as much film, blurred and judged alike: mean of the layings", |p| Some(p.chance?.mean_pct);
    "agglomerate_fraction_by_chance_pct_low" "%" "" None CHANCE, "lower end of what 95 % of lots of that size show where their particles lie at random", |p| Some(p.chance?.envelope_pct?[0]);
    "agglomerate_fraction_by_chance_pct_high" "%" "" None CHANCE, "upper end of what 95 % of lots of that size show where their particles lie at random", |p| Some(p.chance?.envelope_pct?[1]);
    "largest_object_um" "µm" "" BetweenFields OURS, "largest Feret diameter of an object that counts", largest_object;
    "uncovered_area_pct" "%" "" BetweenFields OURS, "gap area ÷ field area", |p| p.share_pct(|f| gaps_counted(f).map(|gaps| gaps.map(|g| g.area_px2[1]).sum()));
    "gap_cut_od_pct" "%" "" BetweenFields OURS, "share of the film's optical density at which a gap begins", |p| p.mean(|f| f.gap_cut_od_pct);
    "thin_area_pct" "%" "" BetweenFields OURS, "film between the gap level and half its optical density ÷ field area", |p| p.share_pct(|f| f.thin_area_px2);
    "gaps" "" "" None OURS, "gaps of at least gap_from_um counted", |p| p.fields.iter().map(|f| gaps_counted(f).map(|g| g.count() as f64)).sum();
    "gaps_per_mm2" "mm⁻²" "" BetweenFields OURS, "gaps counted ÷ area measured", gap_density;
    "largest_gap_um" "µm" "" BetweenFields OURS, "diameter of the largest circle that fits inside a gap and the frame; 0 where no gap was found", |p| p.largest(largest_gap);
    "left_out_objects" "" "" None OURS, "objects of the kinds left out", |p| Some(p.left_out(None).count() as f64);
    "left_out_area_pct" "%" "" BetweenFields OURS, "area of the kinds left out ÷ field area: what they would add to the particle area", |p| p.left_out_area(None);
    "left_out_hollow_objects" "" "" None OURS, "bubbles and droplets found", |p| Some(p.left_out(Some(Kind::Hollow)).count() as f64);
    "left_out_hollow_area_pct" "%" "" BetweenFields OURS, "what bubbles and droplets would add to the particle area", |p| p.left_out_area(Some(Kind::Hollow));
    "left_out_fibre_objects" "" "" None OURS, "fibres found", |p| Some(p.left_out(Some(Kind::Fibre)).count() as f64);
    "left_out_fibre_area_pct" "%" "" BetweenFields OURS, "what fibres would add to the particle area", |p| p.left_out_area(Some(Kind::Fibre));
    "left_out_crystal_objects" "" "" None OURS, "needles and plates found", |p| Some(p.left_out(Some(Kind::Crystal)).count() as f64);
    "left_out_crystal_area_pct" "%" "" BetweenFields OURS, "what needles and plates would add to the particle area", |p| p.left_out_area(Some(Kind::Crystal));
    "left_out_dust_objects" "" "" None OURS, "specks found at one place in all fields", |p| Some(p.left_out(Some(Kind::Dust)).count() as f64);
    "left_out_dust_area_pct" "%" "" BetweenFields OURS, "what such specks would add to the particle area", |p| p.left_out_area(Some(Kind::Dust));
    "left_out_x50_3_um" "µm" "" BetweenFields OURS, "what x50_3_um would be with the kinds left out counted too", |p| sizes::quantile(&sized(p.objects().filter(|(f, o)| o.diameter_px() * f.um_per_px >= f.counted_from_um[0])), 3, 0.5);
    "left_out_gap_area_pct" "%" "" BetweenFields OURS, "what the bright centres of hollow things would add to the uncovered area", |p| p.share_pct(|f| f.bare_measured.then(|| f.gaps.iter().filter(|g| g.in_hollow).map(|g| g.area_px2[1]).sum()));
    "film_od" "" "OD" BetweenFields OURS, "median optical density of the film: −log10 of its transmission", |p| p.mean(|f| f.film_od);
    "film_od_cv_pct" "%" "" BetweenFields OURS, "standard deviation ÷ mean of the film's optical density between sub-areas of a field", |p| p.mean(|f| f.film_od_cv_pct);
}

fn span_3(pool: &Pool<'_>) -> Option<f64> {
    let x = |share| sizes::quantile(&pool.sizes, 3, share);
    Some((x(0.9)? - x(0.1)?) / x(0.5)?)
}

fn largest_object(pool: &Pool<'_>) -> Option<f64> {
    pool.counted().map(|(f, o)| o.shape.feret_max_px * f.um_per_px).max_by(f64::total_cmp)
}

fn constituents_median(pool: &Pool<'_>) -> Option<f64> {
    let mut sizes = Vec::new();
    for (f, o) in pool.counted() {
        let Some(weight) = o.weight else { continue };
        let sized = |area: f64| Sized { diameter: 2.0 * (area / std::f64::consts::PI).sqrt() * f.um_per_px, weight };
        if o.constituents_px2.is_empty() {
            sizes.push(sized(o.area_px2[1]));
        }
        let large = |s: &Sized| s.diameter >= f.counted_from_um[0];
        sizes.extend(o.constituents_px2.iter().map(|&a| sized(f64::from(a))).filter(large));
    }
    sizes.sort_by(|a, b| a.diameter.total_cmp(&b.diameter));
    sizes::quantile(&sizes, 0, 0.5)
}

fn agglomerate_density(pool: &Pool<'_>) -> Option<f64> {
    let area = pool.area_um2() * 1e-6;
    (area > 0.0).then(|| pool.agglomerates().filter_map(|(_, o)| o.weight).sum::<f64>() / area)
}

/// An object that the frame cuts is judged by what is seen of it. Weights would make up for those, at the price of three times the scatter
/// where agglomerates are large against the field (rendered clumps of 8–40: off by up to 2 points with weights, 0.4 without, most of it their
/// area's own bias).
fn agglomerate_fraction(pool: &Pool<'_>) -> Option<f64> {
    let area = |(f, o): (&FieldResult, &Object)| area_um2(f, o);
    let all: f64 = pool.objects().filter(|(_, o)| !pool.recipe.leave_out.contains(&o.told.kind)).map(area).sum();
    (all > 0.0).then(|| 100.0 * pool.agglomerates().map(area).sum::<f64>() / all)
}

fn gap_density(pool: &Pool<'_>) -> Option<f64> {
    let gaps: f64 = pool.fields.iter().map(|f| gaps_counted(f).map(|g| g.count() as f64)).sum::<Option<f64>>()?;
    let area = pool.area_um2() * 1e-6;
    (area > 0.0).then(|| gaps / area)
}

fn largest_gap(field: &FieldResult) -> Option<f64> {
    Some(gaps_counted(field)?.map(|g| g.largest_circle_px * field.um_per_px).fold(0.0, f64::max))
}

/// Place of a quantity in [`QUANTITIES`].
pub fn index_of(id: &str) -> Option<usize> {
    QUANTITIES.iter().position(|q| q.id == id)
}
