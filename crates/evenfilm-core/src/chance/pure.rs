//! What looks like a single particle and is two: one upon another without a neck between them.
//!
//! Where particles lie at random some do lie so, as often as their density says. They would be laid as large singles, and make agglomerates
//! by size more frequent than they are. So the particles that lie like singles are laid once as dense as they lie in the lot, clumps aside, and
//! each single counts by the share of those of its size that are one particle.

use super::judge::{Painter, objects_of};
use super::singles::{Single, Singles, is_single};
use super::{Bench, Frame, lay::Laid};
use crate::objects::Object;
use crate::order::in_turn;
use crate::plane::{Rect, Stop, Watch};
use crate::recipe::Recipe;
use crate::reuse;

/// Films laid, and particles in each.
const FILMS: usize = 16;
const PARTICLES: f64 = 300.0;

/// Sizes are told apart by this factor of area, from 1 px² on.
const CLASS: f64 = 1.19;
const CLASSES: usize = 96;

/// The first laying has all those pairs among its singles, each further one what the one before leaves.
const ROUNDS: u64 = 4;

fn class_of(area: f64) -> usize {
    super::floor(libm::log(area.max(1.0)) / libm::log(CLASS)).min(CLASSES - 1)
}

/// The singles with weights that leave out what looks like one particle and is several.
pub(super) fn without_pairs(singles: &Singles, frames: &[Frame<'_>], recipe: &Recipe, watch: Watch<'_>) -> Result<Singles, Stop> {
    let film: f64 = frames.iter().map(Frame::area).sum();
    let mut pure = singles.weighted(|_| 1.0);
    for round in 0..ROUNDS {
        let density = pure.per_px2() * pure.mean_area();
        let bench = Bench { frames, recipe, singles: &pure, density, film, covered: 0.0, watch };
        let counts = in_turn(FILMS, |number| counts(&bench, (1 + round) << 40 | number as u64))?;
        let mut sum = [[0.0; 2]; CLASSES];
        for counts in counts {
            sum.iter_mut().zip(counts).for_each(|(sum, count)| (0..2).for_each(|k| sum[k] += count[k]));
        }
        let share = |one: &Single| {
            let [single, several] = sum[class_of(one.area)];
            (single + 1.0) / (single + several + 1.0)
        };
        pure = singles.weighted(share);
    }
    Ok(pure)
}

/// What looks single in a film, by its size: what is one particle, and what is several.
fn counts(bench: &Bench<'_>, number: u64) -> Result<Vec<[f64; 2]>, Stop> {
    let particles = bench.density * bench.film / bench.singles.mean_area().max(f64::MIN_POSITIVE);
    let frames = bench.frames_of(number, (PARTICLES / particles.max(1.0)).min(1.0));
    let silent = Watch { tell: &|_, _| (), ..bench.watch };
    let mut counts = vec![[0.0; 2]; CLASSES];
    for (frame, laid) in frames.iter().zip(bench.lay(number, &frames)) {
        let class = |one: &Laid| class_of(bench.singles.all[one.single as usize].area);
        for one in &laid {
            counts[class(one)][0] += 1.0;
        }
        for (group, at) in bench.looked_at(frame, &laid, false) {
            bench.watch.poll()?;
            for one in &group {
                counts[class(one)][0] -= 1.0;
            }
            let objects = reuse::with(|painter: &mut Painter| objects_of(&group, bench.singles, (frame.field, at), silent, painter))?;
            for object in objects.iter().filter(|object| is_single(frame.field, object, bench.recipe)) {
                let several = group.iter().filter(|one| holds(object, at, one)).count() > 1;
                counts[class_of(object.area_px2[1])][usize::from(several)] += 1.0;
            }
        }
    }
    Ok(counts)
}

/// Whether the middle of a particle lies in the box of an object of its window.
fn holds(object: &Object, window: Rect, one: &Laid) -> bool {
    let within = |at: f64, from: u32, begin: u32, length: u32| {
        let at = at - f64::from(from) - f64::from(begin);
        (0.0..f64::from(length)).contains(&at)
    };
    within(one.at[0], window.x, object.at.x, object.at.width) && within(one.at[1], window.y, object.at.y, object.at.height)
}
