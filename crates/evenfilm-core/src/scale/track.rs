//! From marks in bands to lines: what goes on from one band to the next.

use super::profile::Mark;
use crate::statistics::median;

/// Marks of two bands belong together within this share of the spacing.
const TOGETHER: f64 = 0.3;
/// Spacings within this share of each other are one.
const SAME_SPACING: f64 = 0.1;
/// A spacing is common where it occurs at least so often, in shares of the commonest: lines of full length may outnumber all others.
const COMMON: f64 = 0.2;

/// The marks of a band; places are those of the upright picture.
pub(super) struct Seen {
    /// Height of the band's middle, px.
    pub(super) y: f64,
    /// From left to right.
    pub(super) marks: Vec<Mark>,
}

/// A piece of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) depth: f64,
}

/// What goes on from band to band.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Track {
    pub(super) points: Vec<Point>,
}

impl Track {
    /// Mean place where it crosses the height 0 at this tilt.
    pub(super) fn foot(&self, tangent: f64) -> f64 {
        self.points.iter().map(|p| p.x - tangent * p.y).sum::<f64>() / self.points.len().max(1) as f64
    }

    /// Mean depth.
    pub(super) fn depth(&self) -> f64 {
        self.points.iter().map(|p| p.depth).sum::<f64>() / self.points.len().max(1) as f64
    }
}

/// The smallest spacing of neighbours that is common; `None` without neighbours.
pub(super) fn spacing(bands: &[Seen]) -> Option<f64> {
    let mut all: Vec<f64> =
        bands.iter().flat_map(|band| band.marks.windows(2).map(|two| two[1].x - two[0].x)).filter(|&d| d > 0.0).collect();
    all.sort_by(f64::total_cmp);
    let below = |limit: f64| all.partition_point(|&d| d < limit);
    let around = |d: f64| (below(d * (1.0 - SAME_SPACING)), below(d * (1.0 + SAME_SPACING)));
    let most = all.iter().map(|&d| around(d)).map(|(from, to)| to - from).max()?;
    let common = |d: f64| {
        let (from, to) = around(d);
        (to - from) as f64 >= COMMON * most as f64
    };
    let first = all.iter().copied().find(|&d| common(d))?;
    // The group's own middle, which its first member lies below.
    let mut middle = first;
    for _ in 0..3 {
        let (from, to) = around(middle);
        middle = median(all[from..to].to_vec());
    }
    Some(middle)
}

/// The tilt, told anew from how marks move from band to band.
pub(super) fn tangent(bands: &[Seen], spacing: f64, tangent: f64) -> f64 {
    let mut slopes = Vec::new();
    for two in bands.windows(2) {
        let dy = two[1].y - two[0].y;
        for mark in &two[0].marks {
            let expected = mark.x + tangent * dy;
            let off = two[1].marks.iter().map(|next| next.x - expected).reduce(|best, off| if off.abs() < best.abs() { off } else { best });
            slopes.extend(off.filter(|off| off.abs() < TOGETHER * spacing).map(|off| off / dy));
        }
    }
    tangent + median(slopes)
}

/// Links marks from the top down, each to the nearest track; a track that dust interrupts goes on behind it.
pub(super) fn tracks(bands: &[Seen], spacing: f64, tangent: f64) -> Vec<Track> {
    let mut tracks: Vec<Track> = Vec::new();
    let mut feet: Vec<f64> = Vec::new();
    for band in bands {
        let known = tracks.len();
        let mut taken: Vec<Option<f64>> = vec![None; known];
        for mark in &band.marks {
            let point = Point { x: mark.x, y: band.y, depth: mark.depth };
            let foot = mark.x - tangent * band.y;
            let nearest = (0..known).reduce(|best, i| if (feet[i] - foot).abs() < (feet[best] - foot).abs() { i } else { best });
            let nearest = nearest.map(|i| (i, (feet[i] - foot).abs())).filter(|near| near.1 < TOGETHER * spacing);
            match nearest {
                Some((i, off)) if taken[i].is_none_or(|before| off < before) => {
                    if taken[i].is_some() {
                        tracks[i].points.pop();
                    }
                    taken[i] = Some(off);
                    tracks[i].points.push(point);
                }
                Some(_) => {}
                None => {
                    tracks.push(Track { points: vec![point] });
                    feet.push(foot);
                }
            }
        }
        for (i, _) in taken.iter().enumerate().filter(|(_, off)| off.is_some()) {
            if let Some(last) = tracks[i].points.last() {
                feet[i] = last.x - tangent * last.y;
            }
        }
    }
    tracks
}
