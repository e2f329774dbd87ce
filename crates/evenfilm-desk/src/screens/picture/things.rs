//! What lies below the pointer, and what was found there.

use evenfilm_core::field::FieldResult;
use evenfilm_core::plane::{ONE, Rect};

use super::{Canvas, Room};
use crate::canvas::runs_within;
use crate::state::Pointed;

/// How near a thing must be to be meant, points.
const NEAR: f64 = 24.0;

/// An object or a gap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Thing {
    /// Whether it is a gap.
    pub(super) gap: bool,
    /// Its place in the field's objects or gaps.
    pub(super) place: usize,
    /// Its box, px.
    pub(super) at: Rect,
}

/// What is below a place of the picture, or nearest to it where nothing is.
pub(super) fn under(room: &Room<'_>, canvas: &Canvas, place: Option<[f64; 2]>) -> Option<Thing> {
    let (found, marks) = canvas.found()?;
    let place = place?;
    let result = &found.result;
    [false, true].into_iter().filter(|gap| !(*gap && marks.clear)).find_map(|gap| thing(result, gap, owner(result, gap, place)?)).or_else(
        || {
            let reach = NEAR * f64::from(room.scale) / room.seen().zoom;
            nearest(result, place, reach, marks.clear)
        },
    )
}

/// The owner of the run at a place.
pub(super) fn owner(result: &FieldResult, gap: bool, place: [f64; 2]) -> Option<u32> {
    let map = &result.phases[usize::from(gap)];
    #[expect(clippy::cast_possible_truncation, reason = "a place of a picture")]
    let row = place[1] as i64;
    let mut runs = runs_within(map, row, [place[0], place[0] + 1e-9], false);
    runs.find(|(run, _)| f64::from(run.x0) <= place[0] && place[0] < f64::from(run.x1)).map(|(_, owner)| owner)
}

fn thing(result: &FieldResult, gap: bool, owner: u32) -> Option<Thing> {
    let place = owner as usize;
    let at = if gap { result.gaps.get(place)?.at } else { result.objects.get(place)?.at };
    Some(Thing { gap, place, at })
}

/// The thing as a correction names it.
pub(super) fn pointed(room: &Room<'_>, canvas: &Canvas, thing: Thing) -> Option<Pointed> {
    let (found, _) = canvas.found()?;
    let (centroid, kind) = if thing.gap {
        let gap = found.result.gaps.get(thing.place)?;
        (gap.centroid_px, gap.told.kind.word())
    } else {
        let object = found.result.objects.get(thing.place)?;
        (object.centroid_px, object.told.kind.word())
    };
    let at_um = centroid.map(|px| px * room.picture.um_per_px);
    Some(Pointed { field: found.name.clone(), gap: thing.gap, at_um, kind })
}

fn nearest(result: &FieldResult, place: [f64; 2], reach: f64, clear: bool) -> Option<Thing> {
    let off = |at: Rect| {
        let beyond = |place: f64, from: u32, to: u32| (f64::from(from) - place).max(place - f64::from(to)).max(0.0);
        let (dx, dy) = (beyond(place[0], at.x, at.right()), beyond(place[1], at.y, at.bottom()));
        dx * dx + dy * dy
    };
    let objects = result.objects.iter().enumerate().map(|(place, object)| Thing { gap: false, place, at: object.at });
    let gaps = result.gaps.iter().enumerate().map(|(place, gap)| Thing { gap: true, place, at: gap.at }).filter(|_| !clear);
    let near = objects.chain(gaps).map(|thing| (off(thing.at), thing)).filter(|(off, _)| *off <= reach * reach);
    near.min_by(|(a, _), (b, _)| a.total_cmp(b)).map(|(_, thing)| thing)
}

/// The level at a place: of the finest plane that shows it.
pub(super) fn level(room: &Room<'_>, canvas: &Canvas, place: [f64; 2]) -> Option<u16> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place of a picture")]
    let at = |from: u32, axis: usize, reduction: u32| ((place[axis] - f64::from(from)).max(0.0) as u32 >> reduction.min(31)) as usize;
    let in_part = |part: &&crate::canvas::Detail| {
        let within = |place: f64, from: u32, to: u32| place >= f64::from(from) && place < f64::from(to);
        within(place[0], part.at.x, part.at.right()) && within(place[1], part.at.y, part.at.bottom())
    };
    let part = canvas.parts.all().iter().rev().find(in_part);
    let fine = part.and_then(|part| part.light.get([at(part.at.y, 1, part.reduction), at(part.at.x, 0, part.reduction)]).copied());
    let first = room.picture.light.first;
    fine.or_else(|| room.picture.light.at(first)?.get([at(0, 1, first), at(0, 0, first)]).copied())
}

/// Optical density of a level; `None` of black.
pub(super) fn density(level: u16) -> Option<f64> {
    (level > 0).then(|| -libm::log10(f64::from(level) / f64::from(ONE)))
}

/// What a place shows, in a word.
pub(super) fn phase(room: &Room<'_>, canvas: &Canvas, place: [f64; 2], level: u16) -> &'static str {
    if let (Some((found, marks)), true) = (canvas.found(), room.lot.is_current()) {
        let is = |gap: bool| owner(&found.result, gap, place).is_some_and(|owner| marks.is_thing(gap, owner));
        return match (is(false), is(true)) {
            (true, _) => "particle",
            (_, true) => "gap",
            _ if marks.clear => "bare",
            _ => "film",
        };
    }
    let cuts = room.picture.cuts(&room.lot.now.recipe);
    let film = cuts.film.at(place[0], place[1]);
    match f64::from(level) {
        level if level < cuts.particle * film => "particle",
        level if level > cuts.gap_level(film) => "gap",
        _ => "film",
    }
}
