//! One component seen in its own window: levels, masks, and the level around it.

use wide::u16x8;

use super::bits::Bits;
use super::holes::Holes;
use crate::light::{Correction, FilmGrid, Scratch};
use crate::phases::{Places, RunMap};
use crate::plane::{Level, ONE, Rect, Samples, Stop};

/// Everything that windows are read from.
pub(crate) struct Scene<'a> {
    pub(crate) field: &'a dyn Samples,
    pub(crate) correction: &'a Correction<'a>,
    pub(crate) particle: &'a RunMap,
    pub(crate) gap: &'a RunMap,
    /// Where the runs of particles stand.
    pub(crate) places: &'a Places,
    pub(crate) film: &'a FilmGrid,
    pub(crate) frame: Rect,
}

/// A piece of the field that several windows lie in: reading it once, row after row, is faster than short rows of every window, each of
/// which waits for memory.
#[derive(Default)]
pub(crate) struct Block {
    at: Rect,
    levels: Vec<Level>,
    /// Pixels of particles, and those above the gap level.
    particle: Bits,
    gap: Bits,
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
        match sum.filter(|(whole, pixels)| whole.area() <= WORTH * pixels) {
            Some((whole, _)) => self.read_whole(scene, whole),
            None => Ok(()),
        }
    }

    fn read_whole(&mut self, scene: &Scene<'_>, at: Rect) -> Result<(), Stop> {
        scene.correction.levels_into(scene.field, at, &mut self.scratch, &mut self.levels)?;
        for (mask, map) in [(&mut self.particle, scene.particle), (&mut self.gap, scene.gap)] {
            mask.reset(at.width as usize, at.height as usize);
            mask.set_runs(map, at, |_| true);
        }
        self.at = at;
        Ok(())
    }

    /// Whether a window lies in the block.
    fn holds(&self, at: Rect) -> bool {
        self.at.union(at) == self.at
    }

    /// Copies a window that lies in the block: its levels and both masks.
    fn copy(&self, at: Rect, levels: &mut Vec<Level>, [particle, gap]: [&mut Bits; 2]) {
        let part = Rect::new(at.x - self.at.x, at.y - self.at.y, at.width, at.height);
        let (width, across) = (self.at.width as usize, at.width as usize);
        let first = part.y as usize * width + part.x as usize;
        levels.clear();
        (0..at.height as usize).for_each(|row| levels.extend_from_slice(&self.levels[first + row * width..][..across]));
        self.particle.part(part, particle);
        self.gap.part(part, gap);
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
    /// What is read for this window alone.
    alone: Block,
    mask: Bits,
    across: Bits,
    near: Bits,
    near_gap: Bits,
    around: Bits,
    picked: Vec<Level>,
}

impl Window {
    pub(crate) fn width(&self) -> usize {
        self.at.width as usize
    }

    /// Reads the window of a component of the particle phase, from a block that it may lie in. `own` is its number and its box.
    pub(crate) fn load(&mut self, (scene, block): (&Scene<'_>, &Block), own: (u32, Rect), at: Rect) -> Result<(), Stop> {
        self.at = at;
        if block.holds(at) {
            block.copy(at, &mut self.levels, [&mut self.other, &mut self.gap]);
        } else {
            self.alone.read_whole(scene, at)?;
            std::mem::swap(&mut self.levels, &mut self.alone.levels);
            std::mem::swap(&mut self.other, &mut self.alone.particle);
            std::mem::swap(&mut self.gap, &mut self.alone.gap);
        }
        self.enclosed.reset(at.width as usize, at.height as usize);
        self.own.reset(at.width as usize, at.height as usize);
        let (own, inner) = own;
        for y in inner.y..inner.bottom() {
            for i in scene.places.within(scene.particle, y, inner.x, inner.right()).filter(|&i| scene.particle.owner[i] == own) {
                let run = scene.particle.runs[i];
                self.own.set_run((y - at.y) as usize, (run.x0 - at.x) as usize, (run.x1 - at.x) as usize);
            }
        }
        self.other.take(&self.own);
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
                return median_of_some(pick(&self.levels, &self.near, &mut self.picked));
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
        self.near.keep(&self.mask);
        let (film, bare) = (self.near_gap.count(), self.near.count());
        if film >= enough && (film >= bare || self.film_is_nearer(clear)) {
            return Some(median_of_some(pick(&self.levels, &self.near_gap, &mut self.picked)));
        }
        (bare >= enough).then(|| median_of_some(pick(&self.levels, &self.near, &mut self.picked)))
    }

    /// Whether just outside the component there is at least as much film as bare, which is in `mask`: a thing between a large gap and the
    /// film around it lies on film, one in the gap does not.
    fn film_is_nearer(&mut self, clear: f64) -> bool {
        self.own.widened(clear + 3.0, &mut self.across, &mut self.around);
        for not_around in [&self.own, &self.other, &self.enclosed] {
            self.around.take(not_around);
        }
        let around = self.around.count();
        self.around.keep(&self.mask);
        2 * self.around.count() <= around
    }
}

/// The levels of the pixels that are set, copied into a buffer.
pub(crate) fn pick<'a>(levels: &[Level], wanted: &Bits, buffer: &'a mut Vec<Level>) -> &'a mut [Level] {
    /// So many are copied at once: runs are short, and some too many cost less than a call.
    const SOME: usize = 16;
    let count = wanted.count();
    if buffer.len() < count + SOME {
        buffer.resize(count + SOME, 0);
    }
    let mut next = 0;
    wanted.each_piece(|piece| {
        let (mut from, end) = (piece.start, next + piece.len());
        while next < end {
            match (levels.get(from..from + SOME), buffer.get_mut(next..next + SOME)) {
                (Some(some), Some(out)) => out.copy_from_slice(some),
                _ => rest(&levels[from..], &mut buffer[next..end]),
            }
            (from, next) = (from + SOME, next + SOME);
        }
        next = end;
    });
    &mut buffer[..count]
}

/// Copies what is left at the end of a window.
#[cold]
#[inline(never)]
fn rest(levels: &[Level], out: &mut [Level]) {
    out.copy_from_slice(&levels[..out.len()]);
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
    if step > 1 {
        let mut from = 0;
        for to in 0..some {
            of[to] = of[from];
            from += step;
        }
    }
    median_by_halving(&of[..some])
}

/// The same as [`median`] of at most 65535 levels: the range is halved by counting, which takes whole vectors and no branch a level.
fn median_by_halving(of: &[Level]) -> Level {
    let (mut low, mut high) = of.iter().fold((Level::MAX, 0), |(low, high), &level| (level.min(low), level.max(high)));
    let (eights, rest) = of.as_chunks::<8>();
    while low < high {
        let middle = low.midpoint(high);
        let above = eights.iter().fold(u16x8::ZERO, |above, &eight| above - u16x8::from(eight).simd_gt(u16x8::splat(middle)));
        let above = usize::from(above.reduce_add()) + rest.iter().filter(|&&level| level > middle).count();
        if of.len() - above > of.len() / 2 { high = middle } else { low = middle + 1 }
    }
    if of.is_empty() { ONE } else { low }
}

/// So many pixels give a median whose noise is a tenth of a pixel's.
const ENOUGH_FOR_MEDIAN: usize = 256;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_are_picked_in_order() {
        // The last pixels are fewer than are copied at once.
        for (width, height) in [(7usize, 3usize), (40, 9), (70, 5)] {
            let levels: Vec<Level> = (0..width * height).map(|i| Level::try_from(i).unwrap()).collect();
            for share in [1, 5, 9, 10] {
                let mut wanted = Bits::default();
                wanted.reset(width, height);
                (0..levels.len()).filter(|i| i * 31 % 10 < share).for_each(|i| wanted.set(i));
                let expected: Vec<Level> = wanted.places().map(|i| levels[i]).collect();
                assert_eq!(pick(&levels, &wanted, &mut vec![7; 3]), expected, "{width} {share}");
            }
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
