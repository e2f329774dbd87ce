//! The one table of everything reported. CSV headers, column metadata, tooltips, limits and documentation all read it; adding a quantity
//! is adding a row and a function.

use crate::recipe::Kind;
use crate::sizes;

mod counting;
mod events;
mod part;
mod pool;
mod view;

pub(crate) use part::Judge;
pub use part::{counted, gap_counted, is_agglomerate};
pub use pool::Pool;
pub use view::View;

/// Rare events, whose number a lot knows to within its Poisson spread at best.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rare {
    /// Gaps, by their area.
    GapArea,
    /// Gaps, each as one.
    Gaps,
    /// Agglomerates, each with its frame weight.
    Agglomerates,
    /// Agglomerates, by their share of the powder's area.
    AgglomerateArea,
}

/// What hangs on the few largest objects.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tail {
    /// x90,3.
    X90,
    /// (x90,3 − x10,3) ÷ x50,3.
    Span,
    /// De Brouckere's mean.
    D43,
}

/// How a quantity's 95 % interval comes about. All but [`Interval::None`] also have the plain one from the spread between fields, or
/// between slide means where there are several slides (Student t).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Interval {
    /// Counts of what was looked at, and settings: none.
    None,
    /// The expanded uncertainty of everything that is known to matter (JCGM 100).
    BetweenFields,
    /// Two ends from the number and size of the events.
    Rare(Rare),
    /// Two ends by resampling fields and slides: the tail of a distribution rests on few objects.
    Tail(Tail),
    /// What was seen in the area inspected, a lower bound of what is there.
    Largest,
}

impl Interval {
    /// Whether it has two ends of its own instead of a half width.
    pub const fn has_ends(self) -> bool {
        matches!(self, Self::Rare(_) | Self::Tail(_))
    }
}

/// One reported quantity.
#[derive(Clone, Copy, Debug)]
pub struct Quantity {
    /// Column name.
    pub id: &'static str,
    /// What a person reads beside the number, sentence case; in no record.
    pub label: &'static str,
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
    /// Its standard uncertainty from the finite number of objects alone; `None` where that is part of something else or does not matter.
    pub counting: fn(&Pool<'_>) -> Option<f64>,
}

const ISO_9276_1: &str = "ISO 9276-1:1998";
const ISO_9276_2: &str = "ISO 9276-2:2014";
const OURS: &str = "this program";
const CHANCE: &str = "this program; Boolean model, Chiu, Stoyan, Kendall & Mecke 2013, ch. 3";

macro_rules! quantities {
    ($($id:literal $label:literal $unit:literal $symbol:literal $interval:ident $(= $which:ident)? $source:expr, $definition:literal, $of:expr $(, $counting:expr)?;)+) => {
        /// Every quantity, in the order of the columns.
        pub const QUANTITIES: &[Quantity] = &[$(Quantity {
            id: $id, label: $label, unit: $unit, symbol: $symbol, definition: $definition, source: $source,
            interval: Interval::$interval $(($interval::$which))?, of: $of,
            counting: quantities!(@counting $($counting)?),
        }),+];
    };
    (@counting $counting:expr) => { $counting };
    (@counting) => { |_| None };
}

quantities! {
    "slides" "Slides" "" "" None OURS, "slides measured", |p| Some(p.slides as f64);
    "fields" "Fields" "" "" None OURS, "fields measured, without the rejected", |p| Some(p.fields.len() as f64);
    "fields_rejected" "Fields left out" "" "" None OURS, "fields rejected", |p| Some(p.rejected as f64);
    "objects" "Objects counted" "" "n" None OURS, "objects of at least size_from_um counted", |p| Some(p.objects() as f64);
    "size_from_um" "Smallest object counted" "µm" "" None OURS, "smallest object diameter counted: the largest of 6 px, 2 × 0.61 λ/NA and the recipe's value", |p| p.smallest_um(0);
    "gap_from_um" "Smallest gap counted" "µm" "" None OURS, "smallest gap diameter counted: the largest of 6 px, 2 × 0.61 λ/NA and the recipe's value", |p| p.smallest_um(1);
    "field_area_mm2" "Area measured" "mm²" "" None OURS, "total area measured", |p| Some(p.area_um2() * 1e-6);
    "x10_0_um" "x10 by number" "µm" "x10,0" BetweenFields ISO_9276_1, "diameter below which 10 % of the objects lie, by number", |p| p.sizes.by_number.quantile(0.1), |p| counting::quantile(&p.sizes.by_number, 0.1);
    "x50_0_um" "x50 by number" "µm" "x50,0" BetweenFields ISO_9276_1, "median diameter of the objects, by number", |p| p.sizes.by_number.quantile(0.5), |p| counting::quantile(&p.sizes.by_number, 0.5);
    "x90_0_um" "x90 by number" "µm" "x90,0" BetweenFields ISO_9276_1, "diameter below which 90 % of the objects lie, by number", |p| p.sizes.by_number.quantile(0.9), |p| counting::quantile(&p.sizes.by_number, 0.9);
    "mean_0_um" "Mean diameter" "µm" "D[1,0]" BetweenFields ISO_9276_2, "arithmetic mean diameter of the objects", |p| sizes::mean(p.sizes(), 1, 0), |p| counting::mean(p.sizes(), 1, 0);
    "x10_3_um" "x10 by volume" "µm" "x10,3" BetweenFields ISO_9276_1, "diameter below which 10 % of the objects lie, by volume", |p| p.sizes.by_volume.quantile(0.1), |p| counting::quantile(&p.sizes.by_volume, 0.1);
    "x50_3_um" "x50 by volume" "µm" "x50,3" BetweenFields ISO_9276_1, "median diameter of the objects, by volume", |p| p.sizes.by_volume.quantile(0.5), |p| counting::quantile(&p.sizes.by_volume, 0.5);
    "x90_3_um" "x90 by volume" "µm" "x90,3" Tail = X90 ISO_9276_1, "diameter below which 90 % of the objects lie, by volume", |p| p.sizes.by_volume.quantile(0.9);
    "span_3" "Span by volume" "" "span,3" Tail = Span ISO_9276_2, "(x90,3 − x10,3) ÷ x50,3", |p| p.sizes.by_volume.span();
    "d32_um" "Sauter mean diameter" "µm" "D[3,2]" BetweenFields ISO_9276_2, "Sauter mean diameter: sum of cubes ÷ sum of squares", |p| sizes::mean(p.sizes(), 3, 2), |p| counting::mean(p.sizes(), 3, 2);
    "d43_um" "De Brouckere mean diameter" "µm" "D[4,3]" Tail = D43 ISO_9276_2, "De Brouckere mean diameter: sum of fourth powers ÷ sum of cubes", |p| sizes::mean(p.sizes(), 4, 3);
    "objects_needed" "Objects needed" "" "n*" None "ISO 13322-1:2014; Masuda & Gotoh 1999", "objects in all that would bring x50_3_um to the wanted relative accuracy, were their sizes lognormal", |_| None;
    "constituents_x50_0_um" "x50 of constituents by number" "µm" "" BetweenFields ISO_9276_1, "median diameter of the constituents of at least size_from_um, by number", |p| p.sizes.constituents.quantile(0.5), |p| counting::quantile(&p.sizes.constituents, 0.5);
    "particle_area_pct" "Particle area" "%" "" BetweenFields OURS, "projected area of the particle phase ÷ field area, without the kinds left out", |p| p.share_pct(p.powder().map(|thing| thing.area_um2).sum()), counting::particle_area;
    "agglomerates" "Agglomerates" "" "" None OURS, "objects counted that the recipe's rule calls agglomerates", |p| Some(p.agglomerates().count() as f64);
    "agglomerates_per_mm2" "Agglomerates per area" "mm⁻²" "" Rare = Agglomerates OURS, "agglomerates that lie whole in the frame, each with its frame weight, ÷ area measured", agglomerate_density;
    "agglomerate_fraction_pct" "Particle area in agglomerates" "%" "" Rare = AgglomerateArea OURS, "particle-phase area that lies in agglomerates ÷ all particle-phase area, without the kinds left out", agglomerate_fraction;
    "agglomerate_fraction_by_chance_pct" "Particle area in agglomerates by chance" "%" "" None CHANCE, "agglomerate_fraction_pct that the lot's single particles show, laid at random until they cover as much film, blurred and judged alike: mean of the layings", |p| Some(p.chance?.mean_pct);
    "agglomerate_fraction_by_chance_pct_low" "By chance, lower end" "%" "" None CHANCE, "lower end of what 95 % of lots of that size show where their particles lie at random", |p| Some(p.chance?.envelope_pct?[0]);
    "agglomerate_fraction_by_chance_pct_high" "By chance, upper end" "%" "" None CHANCE, "upper end of what 95 % of lots of that size show where their particles lie at random", |p| Some(p.chance?.envelope_pct?[1]);
    "largest_object_um" "Largest object seen" "µm" "" Largest OURS, "largest Feret diameter of an object that counts", largest_object;
    "uncovered_area_pct" "Uncovered area" "%" "" Rare = GapArea OURS, "gap area ÷ field area", |p| p.share_pct(p.bare_um2()?.into_iter().flatten().sum());
    "uncovered_area_ra_pct" "Relative accuracy of the uncovered area" "%" "%RA" None "ASTM E562-19", "relative accuracy of the uncovered area: half width of its 95 % interval from the spread ÷ its value", |_| None;
    "fields_needed" "Fields needed" "" "" None "ASTM E562-19", "fields in all that would bring the uncovered area to the wanted relative accuracy", |_| None;
    "gap_cut_od_pct" "Density at which a gap begins" "%" "" BetweenFields OURS, "share of the film's optical density at which a gap begins", |p| p.mean(|f| f.gap_cut_od_pct);
    "thin_area_pct" "Thin film" "%" "" BetweenFields OURS, "film between the gap level and half its optical density ÷ field area", |p| p.share_of_fields_pct(|f| f.thin_area_px2);
    "gaps" "Gaps" "" "" None OURS, "gaps of at least gap_from_um counted", |p| Some(gaps(p)? as f64);
    "gaps_per_mm2" "Gaps per area" "mm⁻²" "" Rare = Gaps OURS, "gaps counted ÷ area measured", gap_density;
    "largest_gap_um" "Largest gap seen" "µm" "" Largest OURS, "diameter of the largest circle that fits inside a gap and the frame; 0 where no gap was found", largest_gap;
    "unsharp_objects" "Unsharp objects" "" "" None OURS, "objects counted whose edge is wider than 1.5 times what aperture and wavelength allow", |p| Some(p.counted().filter(|thing| thing.unsharp).count() as f64);
    "left_out_objects" "Objects of kinds left out" "" "" None OURS, "objects of the kinds left out", |p| Some(p.left_out(None).count() as f64);
    "left_out_area_pct" "Area of kinds left out" "%" "" BetweenFields OURS, "area of the kinds left out ÷ field area: what they would add to the particle area", |p| left_out_area(p, None);
    "left_out_hollow_objects" "Bubbles and droplets" "" "" None OURS, "bubbles and droplets found", |p| Some(p.left_out(Some(Kind::Hollow)).count() as f64);
    "left_out_hollow_area_pct" "Area of bubbles and droplets" "%" "" BetweenFields OURS, "what bubbles and droplets would add to the particle area", |p| left_out_area(p, Some(Kind::Hollow));
    "left_out_fibre_objects" "Fibres" "" "" None OURS, "fibres found", |p| Some(p.left_out(Some(Kind::Fibre)).count() as f64);
    "left_out_fibre_area_pct" "Area of fibres" "%" "" BetweenFields OURS, "what fibres would add to the particle area", |p| left_out_area(p, Some(Kind::Fibre));
    "left_out_crystal_objects" "Needles and plates" "" "" None OURS, "needles and plates found", |p| Some(p.left_out(Some(Kind::Crystal)).count() as f64);
    "left_out_crystal_area_pct" "Area of needles and plates" "%" "" BetweenFields OURS, "what needles and plates would add to the particle area", |p| left_out_area(p, Some(Kind::Crystal));
    "left_out_dust_objects" "Dust" "" "" None OURS, "specks found at one place in all fields", |p| Some(p.left_out(Some(Kind::Dust)).count() as f64);
    "left_out_dust_area_pct" "Area of dust" "%" "" BetweenFields OURS, "what such specks would add to the particle area", |p| left_out_area(p, Some(Kind::Dust));
    "left_out_x50_3_um" "x50 by volume with kinds left out" "µm" "" BetweenFields OURS, "what x50_3_um would be with the kinds left out counted too", |p| p.sizes.with_left_out.quantile(0.5);
    "left_out_gap_area_pct" "Area of bright centres of hollow things" "%" "" BetweenFields OURS, "what the bright centres of hollow things would add to the uncovered area", |p| p.share_of_fields_pct(|f| f.bare_measured.then(|| f.gaps.iter().filter(|g| g.in_hollow).map(|g| g.area_px2[p.view.edge]).sum()));
    "film_od" "Optical density of the film" "" "OD" BetweenFields OURS, "median optical density of the film: −log10 of its transmission", |p| p.mean(|f| f.film_od);
    "film_od_cv_pct" "Spread of the film's optical density" "%" "" BetweenFields OURS, "standard deviation ÷ mean of the film's optical density between sub-areas of a field", |p| p.mean(|f| f.film_od_cv_pct);
}

fn largest_object(pool: &Pool<'_>) -> Option<f64> {
    pool.counted().map(|thing| thing.feret_um).max_by(f64::total_cmp)
}

fn left_out_area(pool: &Pool<'_>, kind: Option<Kind>) -> Option<f64> {
    pool.share_pct(pool.left_out(kind).map(|thing| thing.area_um2).sum())
}

fn agglomerate_density(pool: &Pool<'_>) -> Option<f64> {
    let area = pool.area_um2() * 1e-6;
    (area > 0.0).then(|| pool.agglomerates().filter_map(|thing| thing.weight).sum::<f64>() / area)
}

/// An object that the frame cuts is judged by what is seen of it. Weights would make up for those, at the price of three times the scatter
/// where agglomerates are large against the field (rendered clumps of 8–40: off by up to 2 points with weights, 0.4 without, most of it their
/// area's own bias).
fn agglomerate_fraction(pool: &Pool<'_>) -> Option<f64> {
    let all: f64 = pool.powder().map(|thing| thing.area_um2).sum();
    (all > 0.0).then(|| 100.0 * pool.agglomerates().map(|thing| thing.area_um2).sum::<f64>() / all)
}

/// Number of gaps that count.
fn gaps(pool: &Pool<'_>) -> Option<usize> {
    Some(pool.bare_um2()?.into_iter().map(<[f64]>::len).sum())
}

fn gap_density(pool: &Pool<'_>) -> Option<f64> {
    let area = pool.area_um2() * 1e-6;
    let gaps = gaps(pool)? as f64;
    (area > 0.0).then(|| gaps / area)
}

/// The largest circle in a gap that counts; 0 where there is none, nothing where a field cannot tell gaps.
fn largest_gap(pool: &Pool<'_>) -> Option<f64> {
    let of = |field: &&crate::field::FieldResult| {
        let circle = |gap: &crate::gaps::Gap| gap.largest_circle_px * pool.view.um_per_px(field);
        field.gaps.iter().filter(|gap| gap_counted(field, gap)).map(circle).fold(0.0, f64::max)
    };
    pool.bare_um2().map(|_| pool.fields.iter().map(of).fold(0.0, f64::max))
}

/// Place of a quantity in [`QUANTITIES`].
pub fn index_of(id: &str) -> Option<usize> {
    QUANTITIES.iter().position(|q| q.id == id)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    /// Sentence case without a full stop, as labels of forms are written (common practice, no source).
    #[test]
    fn every_quantity_can_be_named_and_explained() {
        let labels: BTreeSet<&str> = QUANTITIES.iter().map(|quantity| quantity.label).collect();
        assert_eq!(labels.len(), QUANTITIES.len(), "no two alike");
        for quantity in QUANTITIES {
            let label = quantity.label;
            assert!(label.starts_with(|c: char| c.is_uppercase() || c == 'x') && !label.ends_with(['.', ':']), "{label}");
            assert!((4..=40).contains(&label.chars().count()) && !label.contains('_'), "{label}");
            assert!(!quantity.definition.is_empty() && !quantity.source.is_empty(), "{label}");
        }
    }
}
