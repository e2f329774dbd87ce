//! Fields pooled, ready to be summed: what every quantity is a function of.

use std::sync::Arc;

use rayon::prelude::*;

use super::part::{Is, Listed, Part, Thing};
use super::view::View;
use crate::chance::{ByChance, Chance};
use crate::field::FieldResult;
use crate::recipe::{Kind, Recipe};
use crate::sizes::{Cumulative, Sized};

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
    /// What each field adds; a field pooled alone has them from the lot's pool.
    pub(super) parts: Vec<Arc<Part>>,
    pub(super) sizes: Arc<Sizes>,
}

/// The distributions of a pool, in µm.
#[derive(Debug)]
pub(super) struct Sizes {
    /// Of what counts and lies whole in the frame, smallest first.
    pub(super) counted: Vec<Sized>,
    /// The same by number and by volume.
    pub(super) by_number: Cumulative,
    pub(super) by_volume: Cumulative,
    /// Of the constituents, by number.
    pub(super) constituents: Cumulative,
    /// With the kinds left out, by volume.
    pub(super) with_left_out: Cumulative,
}

impl Sizes {
    /// Of diameters that come smallest first.
    fn of(listed: &[Listed]) -> Self {
        let only = |of: fn(Is) -> bool| listed.iter().filter(move |listed| of(listed.is)).map(|listed| listed.size);
        let counted: Vec<Sized> = only(|is| matches!(is, Is::Single | Is::Joined)).collect();
        Self {
            by_number: Cumulative::of(counted.iter().copied(), 0),
            by_volume: Cumulative::of(counted.iter().copied(), 3),
            constituents: Cumulative::of(only(|is| matches!(is, Is::Single | Is::Constituent)), 0),
            with_left_out: Cumulative::of(only(|is| is != Is::Constituent), 3),
            counted,
        }
    }

    fn of_parts(parts: &[Arc<Part>]) -> Self {
        if let [part] = parts {
            return Self::of(&part.listed);
        }
        let mut listed = parts.iter().map(|part| &part.listed[..]).collect::<Vec<_>>().concat();
        // A stable sort finds what is in order already, and merges it.
        listed.sort_by(|a, b| a.size.diameter.total_cmp(&b.size.diameter));
        Self::of(&listed)
    }
}

impl<'a> Pool<'a> {
    /// Pools the fields measured, without the rejected. They come from this number of `slides`; the recipe says what counts.
    pub fn new(fields: &'a [&'a FieldResult], slides: usize, rejected: usize, recipe: &'a Recipe) -> Self {
        Self::viewed(fields, [slides, rejected], recipe, View::default())
    }

    /// The same with what chance alone would show; without it those quantities are not measured.
    #[must_use]
    pub fn beside_chance(self, chance: Option<&'a Chance>) -> Self {
        Self { chance: chance.and_then(Chance::told), ..self }
    }

    /// The same, looked at in another way.
    pub(crate) fn viewed(fields: &'a [&'a FieldResult], [slides, rejected]: [usize; 2], recipe: &'a Recipe, view: View) -> Self {
        let parts: Vec<Arc<Part>> = fields.par_iter().map(|field| Arc::new(Part::of(field, recipe, view))).collect();
        let sizes = Arc::new(Sizes::of_parts(&parts));
        Self { fields, slides, rejected, recipe, view, chance: None, parts, sizes }
    }

    /// One of its fields alone.
    pub(crate) fn alone(&self, field: usize) -> Self {
        let parts = vec![Arc::clone(&self.parts[field])];
        let sizes = if self.parts.len() == 1 { Arc::clone(&self.sizes) } else { Arc::new(Sizes::of_parts(&parts)) };
        Self { fields: &self.fields[field..=field], slides: 1, rejected: 0, chance: None, parts, sizes, ..*self }
    }

    /// Smallest diameter counted in any field, µm: 0 objects, 1 gaps; the largest where fields differ.
    pub(super) fn smallest_um(&self, of: usize) -> Option<f64> {
        self.largest(|f| Some(self.view.counted_from(f, self.recipe)[of]))
    }

    /// Diameters in µm and frame weights of what counts and lies whole in the frame, smallest first: what the quantiles and means are of.
    pub fn sizes(&self) -> &[Sized] {
        &self.sizes.counted
    }

    /// Number of objects that count, also those that the frame cuts.
    pub fn objects(&self) -> usize {
        self.counted().count()
    }

    /// Diameters and frame weights of what counts and lies whole in the frame, field by field.
    pub(crate) fn sizes_by_field(&self) -> Vec<Vec<Sized>> {
        self.parts.iter().map(|part| part.sizes().collect()).collect()
    }

    /// Area of a field, µm².
    pub(super) fn field_um2(&self, field: &FieldResult) -> f64 {
        let side = self.view.um_per_px(field);
        field.area_px2() * side * side
    }

    pub(super) fn area_um2(&self) -> f64 {
        self.fields.iter().map(|f| self.field_um2(f)).sum()
    }

    /// Objects that count.
    pub(super) fn counted(&self) -> impl Iterator<Item = &Thing> {
        self.parts.iter().flat_map(|part| part.counted())
    }

    /// Objects of kinds that count, of any size.
    pub(super) fn powder(&self) -> impl Iterator<Item = &Thing> {
        self.parts.iter().flat_map(|part| &part.powder)
    }

    /// Objects of kinds that do not count, of any size; of one `kind` or of all.
    pub(super) fn left_out(&self, kind: Option<Kind>) -> impl Iterator<Item = &Thing> {
        self.parts.iter().flat_map(|part| &part.left_out).filter(move |thing| kind.is_none_or(|k| k == thing.kind))
    }

    pub(super) fn agglomerates(&self) -> impl Iterator<Item = &Thing> {
        self.parts.iter().flat_map(|part| part.agglomerates())
    }

    /// Areas of the gaps that count, µm², by field; `None` where a field cannot tell bare from film.
    pub(super) fn bare_um2(&self) -> Option<Vec<&[f64]>> {
        self.parts.iter().map(|part| part.bare_um2.as_deref()).collect()
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{Draws, Source};

    /// Fields of drawn diameters, many of them alike, and weights.
    fn parts() -> Vec<Arc<Part>> {
        let mut draws = Draws::new(Source::new(3, 0));
        let kinds = [Is::Single, Is::Joined, Is::Constituent, Is::LeftOut];
        let mut one = |count: usize| {
            let mut drawn = || Listed {
                size: Sized { diameter: 1.0 + draws.below(40) as f64 / 7.0, weight: draws.between(1.0, 2.0) },
                is: kinds[draws.below(4)],
            };
            let mut listed: Vec<Listed> = (0..count).map(|_| drawn()).collect();
            listed.sort_by(|a, b| a.size.diameter.total_cmp(&b.size.diameter));
            Arc::new(Part { powder: Vec::new(), left_out: Vec::new(), bare_um2: None, listed })
        };
        [300, 0, 200, 1].map(&mut one).to_vec()
    }

    #[test]
    fn fields_are_pooled_as_if_each_distribution_were_sorted_for_itself() {
        // The last bit of a sum hangs on its order: diameters that are alike stay in the order of the fields.
        let parts = parts();
        let naive = |of: &dyn Fn(Is) -> bool| {
            let all = parts.iter().flat_map(|part| &part.listed);
            let mut sizes: Vec<Sized> = all.filter(|listed| of(listed.is)).map(|listed| listed.size).collect();
            sizes.sort_by(|a, b| a.diameter.total_cmp(&b.diameter));
            sizes
        };
        let sizes = Sizes::of_parts(&parts);
        let counted = naive(&|is| matches!(is, Is::Single | Is::Joined));
        assert_eq!(sizes.counted, counted);
        let constituents = naive(&|is| matches!(is, Is::Single | Is::Constituent));
        let with_left_out = naive(&|is| is != Is::Constituent);
        for (found, of, r) in [
            (&sizes.by_number, &counted, 0),
            (&sizes.by_volume, &counted, 3),
            (&sizes.constituents, &constituents, 0),
            (&sizes.with_left_out, &with_left_out, 3),
        ] {
            let weights: Vec<f64> = of.iter().map(|s| s.weight * s.diameter.powi(r)).collect();
            let (sum, squares) = weights.iter().fold((0.0, 0.0), |(sum, squares), w| (sum + w, squares + w * w));
            assert!((found.effective() - sum * sum / squares).abs() < 1e-9, "by power {r}");
            for share in [0.0, 0.1, 0.5, 0.73, 1.0] {
                let mut below = 0.0;
                let reached = of.iter().zip(&weights).find(|(_, weight)| {
                    below += *weight;
                    below >= share * sum * (1.0 - 1e-12)
                });
                assert_eq!(found.quantile(share), reached.map(|(s, _)| s.diameter), "{share} by power {r}");
            }
        }
        let alone = Sizes::of_parts(&parts[..1]);
        let whole = |listed: &&Listed| matches!(listed.is, Is::Single | Is::Joined);
        assert_eq!(alone.counted, parts[0].listed.iter().filter(whole).map(|listed| listed.size).collect::<Vec<_>>());
        assert_eq!(Sizes::of_parts(&[]).by_number.quantile(0.5), None);
    }
}
