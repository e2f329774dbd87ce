//! One component seen in its own window: levels, classes, and the level around it.

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
    near: Vec<u8>,
    near_gap: Vec<u8>,
    picked: Vec<Level>,
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

    /// Marks the component's own pixels and all within `reach` of them (chessboard distance).
    pub(crate) fn own_widened(&mut self, reach: usize, out: &mut Vec<bool>) {
        widen(&self.classes, self.at.width as usize, reach, |c| c == class::OWN, &mut self.near);
        out.clear();
        out.extend(self.near.iter().map(|&n| n != 0));
    }

    /// Level around the component: the median of the pixels at least `clear` px from any particle; of film, or of bare where that
    /// prevails. The film's map stands in where the window shows neither.
    pub(crate) fn surround(&mut self, scene: &Scene<'_>, clear: usize) -> Level {
        const ENOUGH: usize = 8;
        let width = self.width();
        let has_gap = self.classes.contains(&class::GAP);
        widen(&self.classes, width, clear, |c| c == class::OWN || c == class::OTHER, &mut self.near);
        if has_gap {
            widen(&self.classes, width, clear, |c| c == class::GAP, &mut self.near_gap);
        }
        let far = |i: usize| self.near[i] == 0;
        self.picked.clear();
        let film = |i: &usize| far(*i) && self.classes[*i] == class::FILM && !(has_gap && self.near_gap[*i] != 0);
        self.picked.extend((0..self.levels.len()).filter(film).map(|i| self.levels[i]));
        let film_pixels = self.picked.len();
        if has_gap {
            let bare = (0..self.levels.len()).filter(|&i| far(i) && self.classes[i] == class::GAP);
            self.picked.extend(bare.map(|i| self.levels[i]));
        }
        let bare_pixels = self.picked.len() - film_pixels;
        if film_pixels >= ENOUGH && film_pixels >= bare_pixels {
            return median(&mut self.picked[..film_pixels]);
        }
        if bare_pixels >= ENOUGH {
            return median(&mut self.picked[film_pixels..]);
        }
        let (x, y) = (f64::from(self.at.x) + f64::from(self.at.width) / 2.0, f64::from(self.at.y) + f64::from(self.at.height) / 2.0);
        to_level(scene.film.at(x, y))
    }
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

/// Marks every pixel within `reach` (chessboard distance) of one that is `wanted`.
pub(crate) fn widen(classes: &[u8], width: usize, reach: usize, wanted: impl Fn(u8) -> bool, out: &mut Vec<u8>) {
    out.clear();
    out.resize(classes.len(), 0);
    if width == 0 {
        return;
    }
    for (from, to) in classes.chunks_exact(width).zip(out.chunks_exact_mut(width)) {
        let mut since = reach + 1;
        for (&c, t) in from.iter().zip(to.iter_mut()) {
            since = if wanted(c) { 0 } else { since + 1 };
            *t = u8::from(since <= reach);
        }
        since = reach + 1;
        for (&c, t) in from.iter().zip(to.iter_mut()).rev() {
            since = if wanted(c) { 0 } else { since + 1 };
            *t |= u8::from(since <= reach);
        }
    }
    // Down and up the columns: 1 marks the row's own widening, 2 what comes from other rows.
    let rows = out.len() / width;
    for x in 0..width {
        let mut since = reach + 1;
        for y in 0..rows {
            let t = &mut out[y * width + x];
            since = if *t & 1 == 1 { 0 } else { since + 1 };
            *t |= u8::from(since <= reach) << 1;
        }
        since = reach + 1;
        for y in (0..rows).rev() {
            let t = &mut out[y * width + x];
            since = if *t & 1 == 1 { 0 } else { since + 1 };
            *t |= u8::from(since <= reach) << 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widening_is_the_chessboard_distance() {
        let (width, height) = (13usize, 9usize);
        let classes: Vec<u8> = (0..width * height).map(|i| u8::from(i * 7 % 41 == 3)).collect();
        for reach in 0..4 {
            let mut out = Vec::new();
            widen(&classes, width, reach, |c| c == 1, &mut out);
            for (i, &mark) in out.iter().enumerate() {
                let near = (0..classes.len())
                    .any(|j| classes[j] == 1 && (i % width).abs_diff(j % width) <= reach && (i / width).abs_diff(j / width) <= reach);
                assert_eq!(mark != 0, near, "reach {reach} pixel {i}");
            }
        }
    }
}
