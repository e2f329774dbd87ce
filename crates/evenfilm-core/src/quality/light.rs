//! Light and blank: what is assumed of them, and whether they fit the field.

use super::{Flag, FlagId};
use crate::gaps::Gap;
use crate::light::{Correction, FilmGrid, Reference};
use crate::objects::{median as median_level, pixels};
use crate::phases::{RunMap, count32};
use crate::plane::{ONE, Rect, Samples, Stop};
use crate::statistics::median;

/// A level that is higher than the blank's by more than this share is another.
pub(super) const AGREE: f64 = 0.03;
/// Bare places may be darker than the blank by so much: the dark film around a small gap takes some of the light that the lens spreads (at
/// OD 0.9 gaps of 10 µm read 0.98).
pub(super) const DARKER: f64 = 0.06;

/// Flags for what is assumed of the light.
pub fn assumed(reference: Reference, has_dark: bool) -> Vec<Flag> {
    let up = |id: FlagId| id.flag(0.0, 1.0);
    let mut flags = Vec::new();
    match reference {
        Reference::Blank | Reference::Scatterer => {}
        Reference::FilmAlone => flags.push(up(FlagId::NoBlank).with_advice(
            "without a picture of the empty slide, bare places cannot be told from film; photograph a blank at the same exposure",
        )),
        Reference::BareSeen => flags.push(up(FlagId::NoBlank).with_advice(
            "without a picture of the empty slide, the light was taken from the picture, and its lightest even places as bare; photograph a blank at the same exposure",
        )),
        Reference::ClearFilm => flags.push(up(FlagId::NoBlank).with_advice(
            "without a picture of the empty slide, the light was taken from the picture, and the film as clear because the recipe says so",
        )),
        Reference::BlackGround => flags.push(up(FlagId::RelativeToFilm)),
    }
    if reference.is_dark_field() && !has_dark {
        flags.push(up(FlagId::NoDark));
    }
    flags
}

/// Gaps whose level is read, at most.
const MOST_GAPS: usize = 16;
/// Rows of a gap that are read, at most.
const MOST_ROWS: u32 = 32;
/// Pixels of a row that are read, at most: a gap may be as wide as the slide.
const MOST_ACROSS: u32 = 256;
/// Pixels that tell a gap's level.
const LEAST_PIXELS: usize = 24;
/// Bare glass is even: gaps that are all bare agree to this.
const ONE_LEVEL: f64 = 0.01;

/// Level of bare places as a share of the blank's, where the field shows some that are plainly bare: they agree with each other, or are
/// lighter than the blank. What is only thin film in a gap tells nothing.
///
/// # Errors
/// [`Stop`].
pub(crate) fn bare_level(
    field: &dyn Samples,
    correction: &Correction<'_>,
    (gaps, map): (&[Gap], &RunMap),
    blur_px: f64,
) -> Result<Option<f64>, Stop> {
    let edge = count32(pixels(3.5 * blur_px) + 1);
    let least = f64::from(2 * edge + 4);
    let mut chosen: Vec<usize> = (0..gaps.len()).filter(|&i| gaps[i].largest_circle_px >= least && !gaps[i].in_hollow).collect();
    chosen.sort_by(|&a, &b| gaps[b].largest_circle_px.total_cmp(&gaps[a].largest_circle_px).then(a.cmp(&b)));
    chosen.truncate(MOST_GAPS);
    let mut levels = Vec::new();
    for i in chosen {
        let (at, mut inside) = (gaps[i].at, Vec::new());
        for y in (at.y..at.bottom()).step_by(at.height.div_ceil(MOST_ROWS).max(1) as usize) {
            for run in map.row_within(y, at.x, at.right()).filter(|&k| map.owner[k] == count32(i)).map(|k| map.runs[k]) {
                let across = (run.x1 - run.x0).saturating_sub(2 * edge).min(MOST_ACROSS);
                if across > 0 {
                    let part = Rect::new(run.x0.midpoint(run.x1) - across / 2, y, across, 1);
                    inside.extend(correction.levels(field, part)?);
                }
            }
        }
        if inside.len() >= LEAST_PIXELS {
            levels.push(f64::from(median_level(&mut inside)) / f64::from(ONE));
        }
    }
    let level = median(levels.clone());
    let spread = median(levels.iter().map(|l| (l - level).abs()).collect());
    let plainly_bare = levels.len() >= 3 && spread < ONE_LEVEL * level;
    Ok((plainly_bare || level > 1.0).then_some(level))
}

/// The film's level in nine equal parts of the picture, row after row, as shares of its median: what a blank that does not fit leaves is the
/// same in all fields.
pub(crate) fn film_parts(film: &FilmGrid, size: (u32, u32)) -> [f64; 9] {
    const ACROSS: u32 = 4;
    let place = |k: u32, end: u32| (f64::from(k) + 0.5) / f64::from(3 * ACROSS) * f64::from(end);
    let mut parts = [0.0; 9];
    for (part, value) in (0..).zip(&mut parts) {
        let (row, column): (u32, u32) = (part / 3, part % 3);
        for (y, x) in (0..ACROSS).flat_map(|y| (0..ACROSS).map(move |x| (y, x))) {
            *value += film.at(place(column * ACROSS + x, size.0), place(row * ACROSS + y, size.1));
        }
    }
    let middle = median(parts.to_vec()).max(1.0);
    parts.map(|part| part / middle)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_assumption_has_its_flag() {
        let ids = |reference, has_dark| assumed(reference, has_dark).iter().map(|f| f.id).collect::<Vec<_>>();
        assert!(ids(Reference::Blank, false).is_empty() && ids(Reference::Scatterer, true).is_empty());
        assert_eq!(ids(Reference::BlackGround, false), ["relative_to_film", "no_dark"]);
        assert_eq!(ids(Reference::Scatterer, false), ["no_dark"]);
        let advice = |reference| assumed(reference, false)[0].advice.clone();
        assert!(advice(Reference::FilmAlone).contains("cannot be told") && !advice(Reference::BareSeen).contains("cannot be told"));
    }
}
