//! Fields pooled, ready to be summed: what every quantity is a function of.

use crate::chance::{ByChance, Chance};
use crate::field::FieldResult;
use crate::gaps::Gap;
use crate::objects::Object;
use crate::recipe::{AgglomerateRule, Kind, Recipe};
use crate::sizes::Sized;

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

    fn gap_area_um2(&self, field: &FieldResult, gap: &Gap) -> f64 {
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

/// One object as the quantities need it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Thing {
    /// Place of its field in the pool.
    pub(super) field: usize,
    pub(super) area_um2: f64,
    pub(super) diameter_um: f64,
    pub(super) feret_um: f64,
    pub(super) weight: Option<f64>,
    pub(super) kind: Kind,
    /// Of a kind that does not count.
    pub(super) left_out: bool,
    /// Large enough to be counted.
    pub(super) large: bool,
    pub(super) agglomerate: bool,
}

impl Thing {
    /// Large enough and of a kind that counts.
    pub(super) fn counted(&self) -> bool {
        self.large && !self.left_out
    }
}

/// One gap that counts.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bare {
    /// Place of its field in the pool.
    pub(super) field: usize,
    pub(super) area_um2: f64,
}

/// Fields pooled: one field, a slide, or the lot.
#[derive(Clone, Debug)]
pub struct Pool<'a> {
    pub(super) fields: &'a [&'a FieldResult],
    pub(super) slides: usize,
    pub(super) rejected: usize,
    pub(super) recipe: &'a Recipe,
    pub(super) view: View,
    /// What chance alone would show; `None` where nobody asked, or it cannot be told.
    pub(super) chance: Option<&'a ByChance>,
    pub(super) things: Vec<Thing>,
    /// Gaps that count; `None` where a field cannot tell bare from film.
    pub(super) bare: Option<Vec<Bare>>,
    /// Diameters in µm of what counts and lies whole in the frame, smallest first.
    pub(super) sizes: Vec<Sized>,
}

impl<'a> Pool<'a> {
    /// Pools the fields measured, without the rejected. They come from this number of `slides`; the recipe says what counts.
    pub fn new(fields: &'a [&'a FieldResult], slides: usize, rejected: usize, recipe: &'a Recipe) -> Self {
        Self::seen(fields, [slides, rejected], recipe, View::default())
    }

    /// The same with what chance alone would show; without it those quantities are not measured.
    #[must_use]
    pub fn beside_chance(self, chance: Option<&'a Chance>) -> Self {
        Self { chance: chance.and_then(Chance::told), ..self }
    }

    /// The same fields, looked at in another way.
    pub(crate) fn viewed(&self, view: View) -> Self {
        Self::seen(self.fields, [self.slides, self.rejected], self.recipe, view)
    }

    fn seen(fields: &'a [&'a FieldResult], [slides, rejected]: [usize; 2], recipe: &'a Recipe, view: View) -> Self {
        let mut things = Vec::with_capacity(fields.iter().map(|f| f.objects.len()).sum());
        for (i, field) in fields.iter().enumerate() {
            let judge = Judge::new(field, recipe, view);
            things.extend(field.objects.iter().map(|object| judge.thing(i, object)));
        }
        let bare = fields.iter().enumerate().map(|(i, field)| bare_of(i, field, recipe, view)).collect::<Option<Vec<_>>>();
        let sizes = sized(things.iter().filter(|thing| thing.counted()));
        Self { fields, slides, rejected, recipe, view, chance: None, things, bare: bare.map(|bare| bare.concat()), sizes }
    }

    /// Relative standard uncertainty of the object model that the recipe states.
    pub(crate) fn model_u(&self) -> f64 {
        self.recipe.objects.model_u_pct / 100.0
    }

    /// Smallest diameter counted in any field, µm: 0 objects, 1 gaps; the largest where fields differ.
    pub(super) fn smallest_um(&self, of: usize) -> Option<f64> {
        self.largest(|f| Some(self.view.counted_from(f, self.recipe)[of]))
    }

    /// Diameters in µm and frame weights of what counts and lies whole in the frame, smallest first: what the quantiles and means are of.
    pub fn sizes(&self) -> &[Sized] {
        &self.sizes
    }

    /// Number of objects that count, also those that the frame cuts.
    pub fn objects(&self) -> usize {
        self.counted().count()
    }

    /// Diameters and frame weights of what counts and lies whole in the frame, field by field.
    pub(crate) fn sizes_by_field(&self) -> Vec<Vec<Sized>> {
        let mut fields = vec![Vec::new(); self.fields.len()];
        for thing in self.counted() {
            fields[thing.field].extend(thing.weight.map(|weight| Sized { diameter: thing.diameter_um, weight }));
        }
        fields
    }

    /// Area of a field, µm².
    pub(super) fn field_um2(&self, field: &FieldResult) -> f64 {
        let side = self.view.um_per_px(field);
        field.area_px2() * side * side
    }

    pub(super) fn area_um2(&self) -> f64 {
        self.fields.iter().map(|f| self.field_um2(f)).sum()
    }

    /// Every object with what the quantities need of it.
    pub(super) fn with_objects(&self) -> impl Iterator<Item = (&Thing, &'a Object)> {
        self.things.iter().zip(self.fields.iter().flat_map(|field| &field.objects))
    }

    /// Objects that count.
    pub(super) fn counted(&self) -> impl Iterator<Item = &Thing> {
        self.things.iter().filter(|thing| thing.counted())
    }

    /// Objects of kinds that count, of any size.
    pub(super) fn powder(&self) -> impl Iterator<Item = &Thing> {
        self.things.iter().filter(|thing| !thing.left_out)
    }

    /// Objects of kinds that do not count, of any size; of one `kind` or of all.
    pub(super) fn left_out(&self, kind: Option<Kind>) -> impl Iterator<Item = &Thing> {
        self.things.iter().filter(move |thing| thing.left_out && kind.is_none_or(|k| k == thing.kind))
    }

    pub(super) fn agglomerates(&self) -> impl Iterator<Item = &Thing> {
        self.things.iter().filter(|thing| thing.agglomerate)
    }

    /// An area in µm², in % of the fields' area.
    pub(super) fn share_pct(&self, um2: f64) -> Option<f64> {
        let whole = self.area_um2();
        (whole > 0.0).then(|| 100.0 * um2 / whole)
    }

    /// Sum over the fields of an area in px², in % of the fields' area; `None` where a field does not have it.
    pub(super) fn share_of_fields_pct(&self, of: impl Fn(&FieldResult) -> Option<f64>) -> Option<f64> {
        let um2 = |f: &FieldResult| of(f).map(|px2| px2 * self.view.um_per_px(f) * self.view.um_per_px(f));
        self.share_pct(self.fields.iter().map(|f| um2(f)).sum::<Option<f64>>()?)
    }

    /// Mean over the fields, weighted by their area; `None` where a field does not have it.
    pub(super) fn mean(&self, of: impl Fn(&FieldResult) -> Option<f64>) -> Option<f64> {
        let values = self.fields.iter().map(|f| Some((of(f)?, f.area_px2()))).collect::<Option<Vec<_>>>()?;
        let weight: f64 = values.iter().map(|v| v.1).sum();
        (weight > 0.0).then(|| values.iter().map(|v| v.0 * v.1).sum::<f64>() / weight)
    }

    /// Largest over the fields.
    pub(super) fn largest(&self, of: impl Fn(&FieldResult) -> Option<f64>) -> Option<f64> {
        self.fields.iter().filter_map(|f| of(f)).max_by(f64::total_cmp)
    }
}

/// Diameters and weights of the objects that lie whole in the frame, smallest first.
pub(super) fn sized<'a>(of: impl Iterator<Item = &'a Thing>) -> Vec<Sized> {
    let mut sizes: Vec<Sized> = of.filter_map(|thing| Some(Sized { diameter: thing.diameter_um, weight: thing.weight? })).collect();
    sizes.sort_by(|a, b| a.diameter.total_cmp(&b.diameter));
    sizes
}

/// What decides on the objects of a field.
struct Judge<'a> {
    field: &'a FieldResult,
    recipe: &'a Recipe,
    view: View,
    from_um: f64,
}

impl<'a> Judge<'a> {
    fn new(field: &'a FieldResult, recipe: &'a Recipe, view: View) -> Self {
        Self { field, recipe, view, from_um: view.counted_from(field, recipe)[0] }
    }

    fn thing(&self, field: usize, object: &Object) -> Thing {
        let diameter_um = self.view.diameter_um(self.field, object);
        let left_out = self.recipe.leave_out.contains(&object.told.kind);
        let large = diameter_um >= self.from_um;
        Thing {
            field,
            area_um2: self.view.area_um2(self.field, object),
            diameter_um,
            feret_um: object.shape.feret_max_px * self.view.um_per_px(self.field) * self.view.diameter,
            weight: object.weight,
            kind: object.told.kind,
            left_out,
            large,
            agglomerate: large && !left_out && self.joined(object, diameter_um),
        }
    }

    /// Whether the recipe's rule calls an object of this diameter an agglomerate.
    fn joined(&self, object: &Object, diameter_um: f64) -> bool {
        let rule = &self.recipe.agglomerates;
        let large = || diameter_um >= rule.min_diameter_um;
        let many = || object.constituents() >= rule.min_constituents as usize;
        match rule.rule {
            AgglomerateRule::Size => large(),
            AgglomerateRule::Constituents => many(),
            AgglomerateRule::Either => large() || many(),
        }
    }
}

fn bare_of(i: usize, field: &FieldResult, recipe: &Recipe, view: View) -> Option<Vec<Bare>> {
    let from_um = view.counted_from(field, recipe)[1];
    let bare = |gap: &Gap| Bare { field: i, area_um2: view.gap_area_um2(field, gap) };
    let counts = |gap: &&Gap| !gap.in_hollow && equivalent(gap.area_px2[view.edge]) * view.um_per_px(field) >= from_um;
    field.bare_measured.then(|| field.gaps.iter().filter(counts).map(bare).collect())
}

/// Whether an object counts: at least the smallest counted diameter across, and not of a kind that is left out.
pub fn counted(field: &FieldResult, object: &Object, recipe: &Recipe) -> bool {
    Judge::new(field, recipe, View::default()).thing(0, object).counted()
}

/// Whether an object that counts is an agglomerate by the recipe's rule.
pub fn is_agglomerate(field: &FieldResult, object: &Object, recipe: &Recipe) -> bool {
    Judge::new(field, recipe, View::default()).thing(0, object).agglomerate
}

/// Whether a gap counts: at least the smallest counted diameter across, and not the bright centre of a hollow thing.
pub fn gap_counted(field: &FieldResult, gap: &Gap) -> bool {
    gap.diameter_px() * field.um_per_px >= field.counted_from_um[1] && !gap.in_hollow
}
