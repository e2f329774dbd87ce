//! Dust: what is dark at one place of the picture in all fields of a lot lies on the optics, not on the slides.
//!
//! The pixels that belong to the particle phase in every field are joined to specks; an object of which at least half lies on one is dust.
//! In this way a speck is found even where powder touches it. Chance joins pixels of three random films of 5 % cover at one in 8000, and
//! never as many as a speck needs.

use crate::field::{FieldResult, mark_centres};
use crate::objects::{Measure, TOLD_FROM, Told};
use crate::phases::{NOBODY, Run, RunMap, join};
use crate::plane::single;
use crate::recipe::Kind;

/// Fields that must agree.
const LEAST_FIELDS: usize = 3;
/// Share of an object on a speck from which it is dust.
const SHARE: f64 = 0.5;
/// Where more than this share of a field's objects would be dust, the fields show the same film.
const SAME_FILM: f64 = 0.5;

/// Names dust in the fields of a lot and returns which fields changed. Specks less than five resolutions across are left; fewer than three
/// fields, or fields of different sizes, tell nothing.
pub fn mark(fields: &mut [FieldResult]) -> Vec<usize> {
    let Some((first, others)) = fields.split_first() else { return Vec::new() };
    if fields.len() < LEAST_FIELDS || others.iter().any(|f| f.size != first.size) {
        return Vec::new();
    }
    let least_px = TOLD_FROM * first.resolution_px;
    let mut common = others.iter().fold(first.phases[0].clone(), |common, field| both(&common, &field.phases[0]));
    let levels = vec![0; common.runs.len()];
    let least = std::f64::consts::PI / 4.0 * least_px * least_px;
    if join(&mut common, &levels, true, |c| c.area as f64 >= least).is_empty() {
        return Vec::new();
    }
    let shares: Vec<Vec<f64>> = fields.iter().map(|field| on_specks(field, &common)).collect();
    let dusty = |shares: &[f64]| shares.iter().filter(|&&s| s >= SHARE).count();
    if shares.iter().any(|s| dusty(s) as f64 > SAME_FILM * s.len() as f64) {
        return Vec::new();
    }
    for (field, shares) in fields.iter_mut().zip(&shares) {
        for (object, &share) in field.objects.iter_mut().zip(shares).filter(|(_, share)| **share >= SHARE) {
            object.told = Told { kind: Kind::Dust, by: Measure::Repeat, value: single(share) };
        }
        mark_centres(&mut field.gaps, &field.objects);
    }
    (0..shares.len()).filter(|&i| dusty(&shares[i]) > 0).collect()
}

/// What belongs to both maps.
pub(crate) fn both(a: &RunMap, b: &RunMap) -> RunMap {
    let rows = a.row_start.len() - 1;
    let mut pieces = Vec::new();
    for y in (0..).take(rows) {
        let (mut i, mut j) = (a.row(y), b.row(y));
        while !i.is_empty() && !j.is_empty() {
            let (p, q) = (a.runs[i.start], b.runs[j.start]);
            let shared = Run { x0: p.x0.max(q.x0), x1: p.x1.min(q.x1) };
            if shared.x0 < shared.x1 {
                pieces.push((y, shared, 0));
            }
            if p.x1 < q.x1 { i.start += 1 } else { j.start += 1 }
        }
    }
    RunMap::from_pieces(crate::phases::count32(rows), || pieces.iter().copied())
}

/// The share of each object that lies on a speck.
fn on_specks(field: &FieldResult, specks: &RunMap) -> Vec<f64> {
    let map = &field.phases[0];
    let mut pixels = vec![[0u64; 2]; field.objects.len()];
    for y in 0..field.size.1 {
        for i in map.row(y) {
            let (run, Some(object)) = (map.runs[i], pixels.get_mut(map.owner[i] as usize)) else { continue };
            object[0] += u64::from(run.x1 - run.x0);
            for j in specks.row_within(y, run.x0, run.x1).filter(|&j| specks.owner[j] != NOBODY) {
                object[1] += u64::from(specks.runs[j].x1.min(run.x1) - specks.runs[j].x0.max(run.x0));
            }
        }
    }
    pixels.into_iter().map(|[whole, on]| if whole > 0 { on as f64 / whole as f64 } else { 0.0 }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn map(bits: &[bool], width: usize) -> RunMap {
        let mut pieces = Vec::new();
        for (y, row) in (0u32..).zip(bits.chunks(width)) {
            for (x, _) in (0u32..).zip(row).filter(|(_, bit)| **bit) {
                pieces.push((y, Run { x0: x, x1: x + 1 }, 0));
            }
        }
        RunMap::from_pieces(crate::phases::count32(bits.len() / width), || pieces.iter().copied())
    }

    fn bits(of: &RunMap, width: usize) -> Vec<bool> {
        let mut out = vec![false; (of.row_start.len() - 1) * width];
        for y in 0..crate::phases::count32(of.row_start.len() - 1) {
            for run in of.row(y).map(|i| of.runs[i]) {
                out[y as usize * width + run.x0 as usize..y as usize * width + run.x1 as usize].fill(true);
            }
        }
        out
    }

    proptest! {
        #[test]
        fn what_belongs_to_both_maps(width in 1usize..17, rows in 0usize..7, seed in any::<u64>()) {
            let mut state = seed;
            let mut random = || (0..width * rows).map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 33) % 3 != 0
            }).collect::<Vec<bool>>();
            let (a, b) = (random(), random());
            let expected: Vec<bool> = a.iter().zip(&b).map(|(a, b)| *a && *b).collect();
            prop_assert_eq!(bits(&both(&map(&a, width), &map(&b, width)), width), expected);
        }
    }
}
