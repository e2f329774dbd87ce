//! One component seen in its own window: levels, masks, and the level around it.

use super::bits::Bits;
use super::holes::Holes;
use crate::light::{Correction, FilmGrid, Scratch};
use crate::phases::{Places, Run, RunMap};
use crate::plane::{Level, ONE, Rect, Samples, Stop};

/// Everything that windows are read from.
pub(crate) struct Scene<'a> {
    pub(crate) field: &'a dyn Samples,
    pub(crate) correction: &'a Correction<'a>,
    pub(crate) particle: &'a RunMap,
    pub(crate) gap: &'a RunMap,
    /// Where the runs of both stand: particle, gap.
    pub(crate) places: &'a [Places; 2],
    pub(crate) film: &'a FilmGrid,
    pub(crate) frame: Rect,
}

/// Levels of a piece of the field that several windows lie in. Reading row after row of it once is faster than short rows of every window,
/// each of which waits for memory.
#[derive(Default)]
pub(crate) struct Block {
    at: Rect,
    levels: Vec<Level>,
    scratch: Scratch,
}

impl Block {
    /// Reads what the windows lie in, where that pays; large windows are left out.
    pub(crate) fn read(&mut self, scene: &Scene<'_>, windows: impl Iterator<Item = Rect>) -> Result<(), Stop> {
        /// Side of a large window, px.
        const LARGE: u32 = 192;
        /// A pixel of a window of its own costs about as much as so many of a block.
        const WORTH: u64 = 3;
        let small = windows.filter(|at| at.width.max(at.height) <= LARGE);
        let sum = small.fold(None, |sum: Option<(Rect, u64)>, at| {
            Some(sum.map_or((at, at.area()), |(whole, pixels)| (whole.union(at), pixels + at.area())))
        });
        self.at = Rect::default();
        if let Some((whole, _)) = sum.filter(|(whole, pixels)| whole.area() <= WORTH * pixels) {
            scene.correction.levels_into(scene.field, whole, &mut self.scratch, &mut self.levels)?;
            self.at = whole;
        }
        Ok(())
    }

    /// Copies the levels of a window, if it lies in the block.
    fn copy(&self, at: Rect, out: &mut Vec<Level>) -> bool {
        if self.at.union(at) != self.at {
            return false;
        }
        let width = self.at.width as usize;
        let first = (at.y - self.at.y) as usize * width + (at.x - self.at.x) as usize;
        out.clear();
        (0..at.height as usize).for_each(|row| out.extend_from_slice(&self.levels[first + row * width..][..at.width as usize]));
        true
    }
}

/// Buffers of one thread, filled anew for each component. What is in none of the masks is film.
#[derive(Default)]
pub(crate) struct Window {
    pub(crate) at: Rect,
    pub(crate) levels: Vec<Level>,
    /// The component that the window is for.
    pub(crate) own: Bits,
    /// Other components of the same phase.
    pub(crate) other: Bits,
    /// Above the gap level.
    pub(crate) gap: Bits,
    /// Enclosed by the component, so not part of what surrounds it.
    enclosed: Bits,
    scratch: Scratch,
    mask: Bits,
    across: Bits,
    near: Bits,
    near_gap: Bits,
    picked: Vec<Level>,
    bare: Vec<Level>,
}

impl Window {
    pub(crate) fn width(&self) -> usize {
        self.at.width as usize
    }

    /// Reads the window of component `own` of the particle phase, from a block that it may lie in.
    pub(crate) fn load(&mut self, (scene, block): (&Scene<'_>, &Block), own: u32, at: Rect) -> Result<(), Stop> {
        self.at = at;
        if !block.copy(at, &mut self.levels) {
            scene.correction.levels_into(scene.field, at, &mut self.scratch, &mut self.levels)?;
        }
        for mask in [&mut self.own, &mut self.other, &mut self.gap, &mut self.enclosed] {
            mask.reset(at.width as usize, at.height as usize);
        }
        for (row, y) in (at.y..at.bottom()).enumerate() {
            let columns = |run: Run| ((run.x0.max(at.x) - at.x) as usize, (run.x1.min(at.right()) - at.x) as usize);
            for i in scene.places[1].within(scene.gap, y, at.x, at.right()) {
                let (x0, x1) = columns(scene.gap.runs[i]);
                self.gap.set_run(row, x0, x1);
            }
            for i in scene.places[0].within(scene.particle, y, at.x, at.right()) {
                let (x0, x1) = columns(scene.particle.runs[i]);
                let mask = if scene.particle.owner[i] == own { &mut self.own } else { &mut self.other };
                mask.set_run(row, x0, x1);
            }
        }
        Ok(())
    }

    /// Tells what the component encloses from what lies around it.
    pub(crate) fn set_enclosed_apart(&mut self, holes: &mut Holes) {
        if self.own.encloses_nothing(&mut self.mask) {
            return;
        }
        for hole in holes.find(self.own.iter(), self.at.width as usize) {
            holes.cells(&hole).iter().for_each(|&cell| self.enclosed.set(cell as usize));
        }
    }

    /// Marks the component's own pixels and all within `reach` px of them.
    pub(crate) fn own_widened(&mut self, reach: f64, out: &mut Bits) {
        self.own.widened(reach, &mut self.across, out);
    }

    /// Level around the component: the median of the pixels more than `clear` px from any particle; of film, or of bare where that
    /// prevails. The film's map stands in where the window shows neither.
    pub(crate) fn surround(&mut self, scene: &Scene<'_>, clear: f64) -> Level {
        const ENOUGH: usize = 8;
        self.mask.copy(&self.own);
        self.mask.add(&self.other);
        self.mask.add(&self.enclosed);
        self.mask.widened(clear, &mut self.across, &mut self.near);
        self.near.turn_over();
        // The gaps that are not enclosed.
        self.mask.copy(&self.gap);
        self.mask.take(&self.enclosed);
        if self.mask.is_empty() {
            if self.near.count() >= ENOUGH {
                pick_some(&self.levels, &self.near, &mut self.picked);
                return median_by_halving(&self.picked);
            }
        } else if let Some(level) = self.surround_beside_gaps(clear, ENOUGH) {
            return level;
        }
        let (x, y) = (f64::from(self.at.x) + f64::from(self.at.width) / 2.0, f64::from(self.at.y) + f64::from(self.at.height) / 2.0);
        to_level(scene.film.at(x, y))
    }

    /// The same where there are gaps too, which are in `mask`; what is not near any particle is in `near`.
    fn surround_beside_gaps(&mut self, clear: f64, enough: usize) -> Option<Level> {
        self.mask.widened(clear, &mut self.across, &mut self.near_gap);
        self.near_gap.turn_over();
        self.near_gap.keep(&self.near);
        pick(&self.levels, &self.near_gap, &mut self.picked);
        self.near.keep(&self.mask);
        pick(&self.levels, &self.near, &mut self.bare);
        let (film, bare) = (self.picked.len(), self.bare.len());
        if film >= enough && (film >= bare || self.film_is_nearer(clear)) {
            return Some(median_of_some(&mut self.picked));
        }
        (bare >= enough).then(|| median_of_some(&mut self.bare))
    }

    /// Whether just outside the component there is at least as much film as bare, which is in `mask`: a thing between a large gap and the
    /// film around it lies on film, one in the gap does not.
    fn film_is_nearer(&mut self, clear: f64) -> bool {
        self.own.widened(clear + 3.0, &mut self.across, &mut self.near);
        for not_around in [&self.own, &self.other, &self.enclosed] {
            self.near.take(not_around);
        }
        let around = self.near.count();
        self.near.keep(&self.mask);
        2 * self.near.count() <= around
    }
}

/// Copies the levels of the pixels that are set.
pub(crate) fn pick(levels: &[Level], wanted: &Bits, out: &mut Vec<Level>) {
    out.clear();
    wanted.pieces().for_each(|piece| out.extend_from_slice(&levels[piece]));
}

/// Copies at most [`ENOUGH_FOR_MEDIAN`] of the levels of the pixels that are set, taken evenly.
fn pick_some(levels: &[Level], wanted: &Bits, out: &mut Vec<Level>) {
    let count = wanted.count();
    let step = count.div_ceil(ENOUGH_FOR_MEDIAN).max(1);
    out.clear();
    // How far the next one lies beyond the beginning of a piece.
    let mut next = 0;
    wanted.pieces().for_each(|piece| {
        let levels = &levels[piece];
        out.extend(levels.iter().skip(next).step_by(step));
        next = if next < levels.len() { (levels.len() - next).next_multiple_of(step) + next - levels.len() } else { next - levels.len() };
    });
    out.truncate(count / step);
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
    median_by_halving(&of[..some])
}

/// The same as [`median`] of at most 65535 levels: the range is halved by counting, which takes whole vectors and no branch a level.
fn median_by_halving(of: &[Level]) -> Level {
    let (mut low, mut high) = of.iter().fold((Level::MAX, 0), |(low, high), &level| (level.min(low), level.max(high)));
    while low < high {
        let middle = low.midpoint(high);
        let below: u16 = of.iter().map(|&level| u16::from(level <= middle)).sum();
        if usize::from(below) > of.len() / 2 { high = middle } else { low = middle + 1 }
    }
    if of.is_empty() { ONE } else { low }
}

/// So many pixels give a median whose noise is a tenth of a pixel's.
const ENOUGH_FOR_MEDIAN: usize = 256;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn some_are_picked_like_from_all() {
        let (width, height) = (90usize, 40usize);
        let levels: Vec<Level> = (0..3600).map(|i: u16| i.wrapping_mul(7919)).collect();
        for share in [1, 3, 7, 20, 64] {
            let mut wanted = Bits::default();
            wanted.reset(width, height);
            (0..width * height).filter(|i| i * 31 % 64 < share).for_each(|i| wanted.set(i));
            let (mut all, mut some) = (Vec::new(), Vec::new());
            pick(&levels, &wanted, &mut all);
            pick_some(&levels, &wanted, &mut some);
            assert!(some.len() <= ENOUGH_FOR_MEDIAN && !some.is_empty());
            assert_eq!(median_of_some(&mut all), median_by_halving(&some), "{share}");
        }
    }

    #[test]
    fn halving_gives_the_median() {
        let mut state = 7u64;
        for length in (0..60).chain([255, 256, 511]) {
            for range in [1, 3, 900, 65_536] {
                let mut levels: Vec<Level> = (0..length)
                    .map(|_| {
                        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                        Level::try_from((state >> 33) % range).unwrap()
                    })
                    .collect();
                assert_eq!(median_by_halving(&levels), median(&mut levels), "{length} {range}");
            }
        }
    }
}
