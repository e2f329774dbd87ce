//! Clumps: how the constituents of an object are drawn, grown together and seen.

use super::floor::Disc;
use super::lay::{FRAME_CLEAR_PX, TRIES};
use super::{PhantomSpec, Population};
use crate::random::Draws;
use std::f64::consts::TAU;

/// Radius of the next one of a population, px.
pub(super) fn radius_px(draws: &mut Draws, of: &Population, um_per_px: f64) -> f64 {
    for _ in 0..10_000 {
        let diameter = draws.log_normal(of.median_um, of.gsd);
        if (of.range_um[0]..=of.range_um[1]).contains(&diameter) {
            return 0.5 * diameter / um_per_px;
        }
    }
    0.5 * of.median_um.clamp(of.range_um[0], of.range_um[1]) / um_per_px
}

/// 2 and a geometric number of the mean that is left, at most `most`.
pub(super) fn constituents(draws: &mut Draws, mean: f64, most: u32) -> u32 {
    let go_on = 1.0 - 1.0 / (mean - 1.0).max(1.0);
    let mut count = 2;
    while count < most && draws.uniform() < go_on {
        count += 1;
    }
    count
}

/// A clump around the origin: each constituent touches an earlier one in exactly one point and overlaps none.
pub(super) fn grown(draws: &mut Draws, spec: &PhantomSpec, constituents: u32) -> Vec<Disc> {
    let mut clump = vec![Disc { centre: [0.0; 2], radius: radius_px(draws, &spec.film.singles, spec.um_per_px) }];
    for _ in 1..constituents {
        let radius = radius_px(draws, &spec.film.singles, spec.um_per_px);
        for _ in 0..TRIES {
            let to = clump[draws.below(clump.len())];
            let (sin, cos) = libm::sincos(TAU * draws.uniform());
            let reach = to.radius + radius;
            let disc = Disc { centre: [to.centre[0] + reach * cos, to.centre[1] + reach * sin], radius };
            // A hair of slack: rounding must not make the touching pair an overlapping one.
            if !clump.iter().any(|c| c.reaches(&disc, -1e-9)) {
                clump.push(disc);
                break;
            }
        }
    }
    clump
}

/// Whether what the frame leaves of an object hangs together within it.
pub(super) fn seen_in_one_piece(object: &[Disc], frame: [f64; 4]) -> bool {
    let seen: Vec<&Disc> = object.iter().filter(|d| d.area_within(frame) > 0.0).collect();
    let inside = |p: [f64; 2]| (0..2).all(|k| p[k] > frame[k] + FRAME_CLEAR_PX && p[k] < frame[k + 2] - FRAME_CLEAR_PX);
    let joined = |a: &Disc, b: &Disc| {
        let share = a.radius / (a.radius + b.radius);
        a.reaches(b, 1e-6) && inside([0, 1].map(|k| a.centre[k] + share * (b.centre[k] - a.centre[k])))
    };
    let mut reached = vec![false; seen.len()];
    let mut todo = vec![0];
    while let Some(i) = todo.pop() {
        if !std::mem::replace(&mut reached[i], true) {
            todo.extend((0..seen.len()).filter(|&j| !reached[j] && joined(seen[i], seen[j])));
        }
    }
    reached.iter().all(|&r| r)
}
