//! What one field adds to a pool: its objects and gaps as the quantities need them. Every object is looked at once, since their lists are
//! longer than a processor's cache.

use super::view::{View, equivalent};
use crate::field::FieldResult;
use crate::gaps::Gap;
use crate::objects::Object;
use crate::quality::sharpness;
use crate::recipe::{AgglomerateRule, Kind, Recipe};
use crate::sizes::Sized;

/// One object as the quantities need it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Thing {
    pub(super) area_um2: f64,
    pub(super) diameter_um: f64,
    pub(super) feret_um: f64,
    pub(super) weight: Option<f64>,
    pub(super) kind: Kind,
    /// Large enough to be counted.
    pub(super) large: bool,
    pub(super) agglomerate: bool,
    pub(super) unsharp: bool,
}

/// A diameter that a distribution is made of: that of an object large enough to be counted, or of a constituent.
#[derive(Clone, Copy, Debug)]
pub(super) struct Listed {
    pub(super) size: Sized,
    pub(super) is: Is,
}

/// What a diameter is that of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Is {
    /// An object of one constituent.
    Single,
    /// An object of several.
    Joined,
    /// One of several constituents of an object that counts.
    Constituent,
    /// An object of a kind that does not count.
    LeftOut,
}

/// What one field adds to a pool.
#[derive(Clone, Debug)]
pub(super) struct Part {
    /// Objects of kinds that count, of any size.
    pub(super) powder: Vec<Thing>,
    /// Objects of kinds that do not, of any size.
    pub(super) left_out: Vec<Thing>,
    /// Areas of the gaps that count, µm²; `None` where bare cannot be told from film.
    pub(super) bare_um2: Option<Vec<f64>>,
    /// Diameters of objects that lie whole in the frame and of their constituents, smallest first.
    pub(super) listed: Vec<Listed>,
}

impl Part {
    pub(super) fn of(field: &FieldResult, recipe: &Recipe, view: View) -> Self {
        let judge = Judge::new(field, recipe, view);
        let edges = sharpness::Edges::of(recipe);
        let (mut powder, mut left_out) = (Vec::with_capacity(field.objects.len()), Vec::new());
        let mut listed = Vec::with_capacity(field.objects.len());
        for object in &field.objects {
            let thing = judge.thing(object, edges);
            if judge.is_left_out(object) {
                left_out.push(thing);
            } else {
                powder.push(thing);
            }
            judge.list(object, &thing, &mut listed);
        }
        // Stable, as the sums over them run in this order; whole numbers sort faster.
        listed.sort_by_cached_key(|listed| in_order(listed.size.diameter));
        Self { powder, left_out, bare_um2: bare_of(field, recipe, view), listed }
    }

    /// Objects that count.
    pub(super) fn counted(&self) -> impl Iterator<Item = &Thing> {
        self.powder.iter().filter(|thing| thing.large)
    }

    /// Objects that count and are called agglomerates.
    pub(super) fn agglomerates(&self) -> impl Iterator<Item = &Thing> {
        self.powder.iter().filter(|thing| thing.agglomerate)
    }

    /// Diameters and frame weights of what counts and lies whole in the frame, in the order of the objects.
    pub(super) fn sizes(&self) -> impl Iterator<Item = Sized> {
        self.counted().filter_map(|thing| Some(Sized { diameter: thing.diameter_um, weight: thing.weight? }))
    }
}

/// A whole number that grows with the real one, in the order of [`f64::total_cmp`].
const fn in_order(x: f64) -> u64 {
    let bits = x.to_bits();
    if bits >> 63 == 0 { bits | 1 << 63 } else { !bits }
}

fn bare_of(field: &FieldResult, recipe: &Recipe, view: View) -> Option<Vec<f64>> {
    let from_um = view.counted_from(field, recipe)[1];
    let counts = |gap: &&Gap| !gap.in_hollow && equivalent(gap.area_px2[view.edge]) * view.um_per_px(field) >= from_um;
    field.bare_measured.then(|| field.gaps.iter().filter(counts).map(|gap| view.gap_area_um2(field, gap)).collect())
}

/// What decides on the objects of a field.
pub(crate) struct Judge<'a> {
    field: &'a FieldResult,
    recipe: &'a Recipe,
    view: View,
    from_um: f64,
}

impl<'a> Judge<'a> {
    pub(crate) fn new(field: &'a FieldResult, recipe: &'a Recipe, view: View) -> Self {
        Self { field, recipe, view, from_um: view.counted_from(field, recipe)[0] }
    }

    /// Whether an object is large enough and of a kind that counts.
    pub(crate) fn counts(&self, object: &Object) -> bool {
        !self.is_left_out(object) && self.diameter_um(object) >= self.from_um
    }

    fn diameter_um(&self, object: &Object) -> f64 {
        self.view.diameter_um(self.field, object)
    }

    fn is_left_out(&self, object: &Object) -> bool {
        self.recipe.leave_out.contains(&object.told.kind)
    }

    fn thing(&self, object: &Object, edges: sharpness::Edges) -> Thing {
        let diameter_um = self.diameter_um(object);
        let large = diameter_um >= self.from_um;
        let counts = large && !self.is_left_out(object);
        Thing {
            area_um2: self.view.area_um2(self.field, object),
            diameter_um,
            feret_um: object.shape.feret_max_px * self.view.um_per_px(self.field) * self.view.diameter,
            weight: object.weight,
            kind: object.told.kind,
            large,
            agglomerate: counts && self.is_joined(object, diameter_um),
            unsharp: counts && edges.is_unsharp(self.field, object) == Some(true),
        }
    }

    /// Whether the recipe's rule calls an object of this diameter an agglomerate.
    fn is_joined(&self, object: &Object, diameter_um: f64) -> bool {
        let rule = &self.recipe.agglomerates;
        let large = || diameter_um >= rule.min_diameter_um;
        let many = || object.constituents() >= rule.min_constituents as usize;
        match rule.rule {
            AgglomerateRule::Size => large(),
            AgglomerateRule::Constituents => many(),
            AgglomerateRule::Either => large() || many(),
        }
    }

    /// Adds the diameters of an object and of its constituents, where it is large enough and lies whole in the frame.
    fn list(&self, object: &Object, thing: &Thing, listed: &mut Vec<Listed>) {
        let Some(weight) = thing.weight.filter(|_| thing.large) else { return };
        let mut add = |diameter: f64, is: Is| listed.push(Listed { size: Sized { diameter, weight }, is });
        if self.is_left_out(object) {
            return add(thing.diameter_um, Is::LeftOut);
        }
        let single = object.constituents_px2.is_empty();
        add(thing.diameter_um, if single { Is::Single } else { Is::Joined });
        let side = self.view.um_per_px(self.field) * self.view.diameter;
        let diameters = object.constituents_px2.iter().map(|&area| equivalent(f64::from(area)) * side);
        diameters.filter(|&diameter| diameter >= self.from_um).for_each(|diameter| add(diameter, Is::Constituent));
    }
}

/// Whether an object counts: at least the smallest counted diameter across, and not of a kind that is left out.
pub fn counted(field: &FieldResult, object: &Object, recipe: &Recipe) -> bool {
    Judge::new(field, recipe, View::default()).counts(object)
}

/// Whether an object that counts is an agglomerate by the recipe's rule.
pub fn is_agglomerate(field: &FieldResult, object: &Object, recipe: &Recipe) -> bool {
    let judge = Judge::new(field, recipe, View::default());
    judge.counts(object) && judge.is_joined(object, judge.diameter_um(object))
}

/// Whether a gap counts: at least the smallest counted diameter across, and not the bright centre of a hollow thing.
pub fn gap_counted(field: &FieldResult, gap: &Gap) -> bool {
    gap.diameter_px() * field.um_per_px >= field.counted_from_um[1] && !gap.in_hollow
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_keep_the_order_of_total_cmp() {
        let numbers = [f64::NEG_INFINITY, -2.5, -0.0, 0.0, f64::MIN_POSITIVE, 1.0, 1.0 + f64::EPSILON, f64::INFINITY, f64::NAN];
        for (a, b) in numbers.iter().flat_map(|a| numbers.iter().map(move |b| (*a, *b))) {
            assert_eq!(in_order(a).cmp(&in_order(b)), a.total_cmp(&b), "{a} {b}");
        }
    }
}
