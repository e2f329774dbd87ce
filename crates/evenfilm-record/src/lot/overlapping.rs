//! Fields of an objective that show one place of a slide: by their files, by their objects, by the places that the sheet gives.

use std::borrow::Cow;

use evenfilm_core::field::FieldResult;
use evenfilm_core::quality::overlap::{decides, overlaps, shared};
use evenfilm_core::quality::{Flag, FlagId};
use evenfilm_core::recipe::{Recipe, Reject};

use crate::folder::{Batch, Field, Objective};
use crate::sheet::Purpose;

use super::Kept;

/// The least share of a field that the sheet's places must have in common with another's.
const LEAST_SHARE: f64 = 0.1;

/// What tells that two fields show one place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Evidence {
    /// They are one picture.
    File,
    /// The same objects lie in both.
    Objects,
    /// The sheet's places, where there are too few objects to ask.
    Places,
    /// The sheet's places, though the objects are others.
    PlacesAlone,
}

/// A field that shows what an earlier one shows. Both by their places among the objective's fields.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Again {
    later: usize,
    earlier: usize,
    share: f64,
    evidence: Evidence,
}

/// All pairs of fields that show one place, the later fields in their order. Numbered repeats of a study are meant to, and are not asked; one
/// picture twice is no repeat.
pub(super) fn find(batch: &Batch, objective: &Objective, fields: &[FieldResult], kept: &[Kept]) -> Vec<Again> {
    let asked: Vec<&Field> = objective.fields.iter().map(|&i| &batch.fields[i]).collect();
    let meant = |a: usize, b: usize| {
        let repeats = [a, b].map(|i| asked[i].place.repeat);
        batch.sheet.purpose() == Purpose::Study && repeats[0].is_some() && repeats[1].is_some() && repeats[0] != repeats[1]
    };
    let one_picture = |a: usize, b: usize| kept[a].sha256 == kept[b].sha256 && asked[a].source.info.page == asked[b].source.info.page;
    let by_objects = overlaps(fields, |a, b| !meant(a, b) && !one_picture(a, b));
    let mut all = Vec::new();
    for later in 0..fields.len() {
        for earlier in (0..later).filter(|&earlier| one_picture(earlier, later) || !meant(earlier, later)) {
            let again = |share, evidence| Again { later, earlier, share, evidence };
            if one_picture(earlier, later) {
                all.push(again(1.0, Evidence::File));
            } else if let Some(found) = by_objects.iter().find(|o| (o.earlier, o.later) == (earlier, later) && o.share > LEAST_SHARE) {
                all.push(again(found.share, Evidence::Objects));
            } else if let Some(share) = by_places([asked[earlier], asked[later]], &fields[later]).filter(|share| *share > LEAST_SHARE) {
                let others = decides([&fields[earlier], &fields[later]], share);
                all.push(again(share, if others { Evidence::PlacesAlone } else { Evidence::Places }));
            }
        }
    }
    all
}

/// The share that two fields have in common by the places that the sheet gives, where they lie on one slide.
fn by_places(asked: [&Field; 2], field: &FieldResult) -> Option<f64> {
    let [a, b] = asked.map(|field| field.place.x_mm.zip(field.place.y_mm));
    let (a, b) = (a?, b?);
    let px = |from: f64, to: f64| (from - to) * 1000.0 / field.um_per_px;
    (asked[0].slide == asked[1].slide).then(|| shared(field.size, [px(a.0, b.0), px(a.1, b.1)]))
}

impl Again {
    /// Flags the later field. `name` gives the picture of a field.
    pub(super) fn add_flag<'a>(&self, fields: &mut [FieldResult], name: impl Fn(usize) -> &'a str) {
        fields[self.later].flags.push(self.flag(name));
    }

    fn flag<'a>(&self, name: impl Fn(usize) -> &'a str) -> Flag {
        let (pct, earlier) = ((100.0 * self.share).round(), name(self.earlier));
        let advice: Cow<'static, str> = match self.evidence {
            Evidence::File => format!("it is the same picture as {earlier}; take another place").into(),
            Evidence::Objects => format!("{pct} % of it lie in {earlier} too, by their objects; move on by more than a field").into(),
            Evidence::Places => format!("{pct} % of it lie in {earlier} too, by the sheet; move on by more than a field").into(),
            Evidence::PlacesAlone => {
                format!("by the sheet {pct} % of it lie in {earlier} too, but its objects are others; check x_mm and y_mm").into()
            }
        };
        FlagId::Overlap.flag(self.share, LEAST_SHARE).with_advice(advice)
    }

    /// Why the later field is left out, for `fields.csv`.
    pub(super) fn reason<'a>(&self, name: impl Fn(usize) -> &'a str) -> String {
        format!("overlap: {} % of it lie in {}", (100.0 * self.share).round(), name(self.earlier))
    }
}

/// For each field the overlap that leaves it out of the numbers: with one that stays in them. `out` says which are out already. Places of the
/// sheet that the objects deny leave nothing out.
pub(super) fn left_out<'a>(again: &'a [Again], mut out: Vec<bool>, recipe: &Recipe) -> Vec<Option<&'a Again>> {
    let mut by = vec![None; out.len()];
    if recipe.fields.reject.contains(&Reject::Overlap) {
        for pair in again.iter().filter(|pair| pair.evidence != Evidence::PlacesAlone) {
            if !out[pair.later] && !out[pair.earlier] {
                out[pair.later] = true;
                by[pair.later] = Some(pair);
            }
        }
    }
    by
}
