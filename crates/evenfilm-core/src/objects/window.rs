//! One component seen in its own window: levels, classes, and the level around it.

use super::holes::Holes;
use crate::light::{Correction, FilmGrid, Scratch};
use crate::phases::RunMap;
use crate::plane::{Level, ONE, Rect, Samples, Stop};

/// What is known of each pixel of a window before looking closer.
pub(crate) mod class {
    /// Film, or not cut at all.
    pub(crate) const FILM: u8 = 0;
    /// The component that the window is for.
    pub(crate) const OWN: u8 = 1;
    /// Another component's pixel of the same phase as a particle.
    pub(crate) const OTHER: u8 = 2;
    /// Above the gap level.
    pub(crate) const GAP: u8 = 3;
    /// Enclosed by the component, so not part of what surrounds it: film.
    pub(crate) const ENCLOSED_FILM: u8 = 4;
    /// Enclosed by the component: above the gap level.
    pub(crate) const ENCLOSED_GAP: u8 = 5;
}

/// Everything that windows are read from.
pub(crate) struct Scene<'a> {
    pub(crate) field: &'a dyn Samples,
    pub(crate) correction: &'a Correction<'a>,
    pub(crate) particle: &'a RunMap,
    pub(crate) gap: &'a RunMap,
    pub(crate) film: &'a FilmGrid,
    pub(crate) frame: Rect,
}

/// Buffers of one thread, filled anew for each component.
#[derive(Default)]
pub(crate) struct Window {
    pub(crate) at: Rect,
    pub(crate) levels: Vec<Level>,
    pub(crate) classes: Vec<u8>,
    scratch: Scratch,
    mask: Vec<u8>,
    across: Vec<u8>,
    near: Vec<u8>,
    near_gap: Vec<u8>,
    around: Vec<u8>,
    picked: Vec<Level>,
    bare: Vec<Level>,
}

impl Window {
    pub(crate) fn width(&self) -> usize {
        self.at.width as usize
    }

    /// Reads the window of component `own` of the particle phase.
    pub(crate) fn load(&mut self, scene: &Scene<'_>, own: u32, at: Rect) -> Result<(), Stop> {
        self.at = at;
        scene.correction.levels_into(scene.field, at, &mut self.scratch, &mut self.levels)?;
        self.classes.clear();
        self.classes.resize(self.levels.len(), class::FILM);
        self.mark(scene.gap, at, |_| class::GAP);
        self.mark(scene.particle, at, |owner| if owner == own { class::OWN } else { class::OTHER });
        Ok(())
    }

    /// Tells what the component encloses from what lies around it.
    pub(crate) fn set_enclosed_apart(&mut self, holes: &mut Holes) {
        for hole in holes.find(self.classes.iter().map(|&c| c == class::OWN), self.at.width as usize) {
            for &cell in holes.cells(&hole) {
                let class = &mut self.classes[cell as usize];
                match *class {
                    class::FILM => *class = class::ENCLOSED_FILM,
                    class::GAP => *class = class::ENCLOSED_GAP,
                    _ => {}
                }
            }
        }
    }

    fn mark(&mut self, map: &RunMap, at: Rect, class_of: impl Fn(u32) -> u8) {
        let width = at.width as usize;
        for (y, line) in (at.y..).zip(self.classes.chunks_exact_mut(width.max(1))) {
            for i in map.row_within(y, at.x, at.right()) {
                let run = map.runs[i];
                let (x0, x1) = (run.x0.max(at.x) - at.x, run.x1.min(at.right()) - at.x);
                line[x0 as usize..x1 as usize].fill(class_of(map.owner.get(i).copied().unwrap_or(u32::MAX)));
            }
        }
    }

    /// Marks the component's own pixels and all within `reach` px of them.
    pub(crate) fn own_widened(&mut self, reach: f64, out: &mut Vec<u8>) {
        self.mask.clear();
        self.mask.extend(self.classes.iter().map(|&c| u8::from(c == class::OWN)));
        widen(&self.mask, self.at.width as usize, reach, &mut self.across, out);
    }

    /// Whether just outside the component there is at least as much film as bare: a thing between a large gap and the film around it lies on
    /// film, one in the gap does not.
    fn film_is_nearer(&mut self, clear: f64) -> bool {
        self.mask.clear();
        self.mask.extend(self.classes.iter().map(|&c| u8::from(c == class::OWN)));
        let mut around = std::mem::take(&mut self.around);
        widen(&self.mask, self.at.width as usize, clear + 3.0, &mut self.across, &mut around);
        let count = |class: u8| around.iter().zip(&self.classes).filter(|(n, c)| **n != 0 && **c == class).count();
        let nearer = count(class::FILM) >= count(class::GAP);
        self.around = around;
        nearer
    }

    /// Level around the component: the median of the pixels more than `clear` px from any particle; of film, or of bare where that
    /// prevails. The film's map stands in where the window shows neither.
    pub(crate) fn surround(&mut self, scene: &Scene<'_>, clear: f64) -> Level {
        const ENOUGH: usize = 8;
        let width = self.width();
        self.mask.clear();
        self.mask.extend(self.classes.iter().map(|&c| u8::from(c != class::FILM && c != class::GAP)));
        widen(&self.mask, width, clear, &mut self.across, &mut self.near);
        let has_gap = self.classes.contains(&class::GAP);
        if has_gap {
            self.mask.clear();
            self.mask.extend(self.classes.iter().map(|&c| u8::from(c == class::GAP)));
            widen(&self.mask, width, clear, &mut self.across, &mut self.near_gap);
            self.near_gap.iter_mut().zip(&self.near).for_each(|(g, &n)| *g |= n);
        }
        let taken = if has_gap { &self.near_gap } else { &self.near };
        pick(&self.levels, taken.iter().map(|&t| t == 0), &mut self.picked);
        let film_pixels = self.picked.len();
        let mut bare_pixels = 0;
        if has_gap {
            let bare = self.near.iter().zip(&self.classes).map(|(&n, &c)| n == 0 && c == class::GAP);
            pick(&self.levels, bare, &mut self.bare);
            bare_pixels = self.bare.len();
        }
        if film_pixels >= ENOUGH && (film_pixels >= bare_pixels || self.film_is_nearer(clear)) {
            return median_of_some(&mut self.picked);
        }
        if bare_pixels >= ENOUGH {
            return median_of_some(&mut self.bare);
        }
        let (x, y) = (f64::from(self.at.x) + f64::from(self.at.width) / 2.0, f64::from(self.at.y) + f64::from(self.at.height) / 2.0);
        to_level(scene.film.at(x, y))
    }
}

/// Copies the levels that are wanted, without a branch a pixel.
pub(crate) fn pick(levels: &[Level], wanted: impl Iterator<Item = bool>, out: &mut Vec<Level>) {
    out.clear();
    out.resize(levels.len() + 1, 0);
    let mut count = 0;
    for (&level, wanted) in levels.iter().zip(wanted) {
        out[count] = level;
        count += usize::from(wanted);
    }
    out.truncate(count);
}

/// A level from a real number, cut to the range.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "cut to 0..=65535 first")]
pub(crate) fn to_level(of: f64) -> Level {
    (of + 0.5).clamp(0.0, 65535.0) as Level
}

/// Median of levels; the upper one of two.
pub(crate) fn median(of: &mut [Level]) -> Level {
    if of.is_empty() {
        return ONE;
    }
    let middle = of.len() / 2;
    *of.select_nth_unstable(middle).1
}

/// Median of at most [`ENOUGH_FOR_MEDIAN`] of the levels, taken evenly.
fn median_of_some(of: &mut [Level]) -> Level {
    let step = of.len().div_ceil(ENOUGH_FOR_MEDIAN).max(1);
    let some = of.len() / step;
    for i in 1..some {
        of[i] = of[i * step];
    }
    median(&mut of[..some])
}

/// So many pixels give a median whose noise is a tenth of a pixel's.
const ENOUGH_FOR_MEDIAN: usize = 256;

/// Marks every pixel within `reach` px (Euclidean, centre to centre) of one that is marked in `mask`. Whole rows are shifted and joined,
/// widest first in y, so that the work is a few passes over bytes.
pub(crate) fn widen(mask: &[u8], width: usize, reach: f64, across: &mut Vec<u8>, out: &mut Vec<u8>) {
    out.clear();
    out.resize(mask.len(), 0);
    across.clear();
    across.extend_from_slice(mask);
    let mut half_width = 0;
    let farthest = pixels_within(reach * reach);
    for dy in (0..=farthest).rev() {
        let wanted = pixels_within(reach * reach - (dy * dy) as f64);
        for k in half_width + 1..=wanted.min(width.saturating_sub(1)) {
            for (from, to) in mask.chunks_exact(width).zip(across.chunks_exact_mut(width)) {
                join_bytes(&mut to[k..], &from[..width - k]);
                join_bytes(&mut to[..width - k], &from[k..]);
            }
        }
        half_width = half_width.max(wanted);
        let shift = dy * width;
        if shift < mask.len() {
            join_bytes(&mut out[shift..], &across[..mask.len() - shift]);
            join_bytes(&mut out[..mask.len() - shift], &across[shift..]);
        }
    }
}

fn join_bytes(to: &mut [u8], from: &[u8]) {
    to.iter_mut().zip(from).for_each(|(t, f)| *t |= f);
}

/// Whole pixels in a distance given by its square.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "distances in a window are small; a negative one saturates at 0"
)]
fn pixels_within(squared: f64) -> usize {
    squared.max(0.0).sqrt() as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widening_is_the_euclidean_distance() {
        let (width, height) = (13usize, 9usize);
        let mask: Vec<u8> = (0..width * height).map(|i| u8::from(i * 7 % 41 == 3)).collect();
        for reach in [0.0, 1.0, 1.5, 2.3, 4.0, 7.9, 20.0] {
            let (mut across, mut out) = (Vec::new(), Vec::new());
            widen(&mask, width, reach, &mut across, &mut out);
            for (i, &mark) in out.iter().enumerate() {
                let apart = |j: usize| (i % width).abs_diff(j % width).pow(2) + (i / width).abs_diff(j / width).pow(2);
                let near = (0..mask.len()).any(|j| mask[j] == 1 && apart(j) as f64 <= reach * reach);
                assert_eq!(mark != 0, near, "reach {reach} pixel {i}");
            }
        }
    }
}
