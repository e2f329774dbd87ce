//! The lines of one direction: from bands to a fitted set, or the reason why not.

use std::f64::consts::TAU;

use super::bands::{Band, Tilt, Upright, bands, tilt};
use super::fit::{Fitted, fitted};
use super::number::numbered;
use super::profile::{Relief, Tone, usual_depth};
use super::track::{Seen, Track, spacing, tangent, tracks};
use super::{Axis, LARGEST_ANGLE_DEG, LEAST_LINES, LEAST_PITCH_PX, Refusal, Unscaled};
use crate::light::noise_of_counts;
use crate::order::in_turn;
use crate::plane::Samples;
use crate::statistics::median;

/// How much sharper than usual a direction must be to hold lines.
const CLEAR: f64 = 1.6;
/// Least light that is a ground, in shares of the brightest.
const LEAST_LIGHT: f64 = 0.1;
/// Least difference of lines from the ground, relative to the brighter.
const LEAST_CONTRAST: f64 = 0.03;
/// Below this contrast lines must be more than a wave, else they are blurred into each other.
const PLAIN_CONTRAST: f64 = 0.25;
/// Least share of overtones in what is more than a wave.
const OVERTONES: f64 = 0.12;
/// Fewest pieces of a line, in shares of the usual line's.
const LEAST_SHARE: f64 = 0.4;
/// Largest share of pieces that stand between the lines.
const STRAY: f64 = 0.15;
/// How far off the ruling a piece stands between the lines, in spacings.
const BETWEEN: f64 = 0.15;
/// Largest share of lines not seen between the first and the last.
const MISSING: f64 = 0.25;
/// How much longer or deeper every second line must be to be of another kind.
const OTHER_KIND: f64 = 1.15;

/// A straight piece in the picture, px.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Where it begins (x, y).
    pub from: [f64; 2],
    /// Where it ends.
    pub to: [f64; 2],
}

/// A line of the ruling.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RuledLine {
    /// Its number, from 0 for the first one seen.
    pub number: i64,
    /// Where it was seen.
    pub stroke: Stroke,
    /// How far it lies off the fitted ruling along the axis, px.
    pub off_px: f64,
    /// Whether it is used; one far off its place is not.
    pub used: bool,
}

/// The lines of one direction.
#[derive(Clone, Debug, PartialEq)]
pub struct LineSet {
    /// Along which places are measured.
    pub axis: Axis,
    /// Turn from the picture's side, degrees from x towards y.
    pub angle_deg: f64,
    /// Its standard uncertainty, rad.
    pub angle_u_rad: f64,
    /// From line to line along the axis, px.
    pub spacing_px: f64,
    /// Its standard uncertainty, px.
    pub spacing_u_px: f64,
    /// Standard deviation of the lines' places about the fitted ruling, px.
    pub residual_px: f64,
    /// Difference of the usual line from the ground, relative to the brighter of both.
    pub contrast: f64,
    /// Whether lines are darker than the ground.
    pub dark: bool,
    /// Whether the departures of neighbours hang together, as a lens that stretches the picture makes them.
    pub stretched: bool,
    /// From the first to the last.
    pub lines: Vec<RuledLine>,
    /// What goes on like a line, but stands elsewhere.
    pub strays: Vec<Stroke>,
}

impl LineSet {
    /// Lines used.
    pub fn used(&self) -> usize {
        self.lines.iter().filter(|line| line.used).count()
    }
}

/// The lines across an axis; else how clearly the direction shows lines, and why they do not serve.
pub(super) fn find(picture: &dyn Samples, axis: Axis) -> Result<LineSet, (f64, Unscaled)> {
    let view = Upright::new(picture, axis);
    let tilt = tilt(&view).map_err(|stop| (0.0, stop.into()))?;
    if tilt.clearness < CLEAR {
        return Err((tilt.clearness, Refusal::NoRuling.into()));
    }
    clear(picture, &view, tilt).map_err(|unscaled| (tilt.clearness, unscaled))
}

fn clear(picture: &dyn Samples, view: &Upright<'_>, tilt: Tilt) -> Result<LineSet, Unscaled> {
    let steep = |tangent: f64| {
        let degrees = libm::atan(tangent).to_degrees().abs();
        if degrees > LARGEST_ANGLE_DEG { Err(Refusal::Steep { degrees, most: LARGEST_ANGLE_DEG }) } else { Ok(()) }
    };
    let ground = Ground::new(picture, bands(view, tilt.tangent)?)?;
    let seen = ground.seen()?;
    let found = seen.iter().map(|band| band.marks.len()).max().unwrap_or(0);
    let few = |found| Refusal::FewLines { found, least: LEAST_LINES };
    let pitch_px = spacing(&seen).ok_or_else(|| few(found))?;
    let tangent = tangent(&seen, pitch_px, tilt.tangent);
    steep(tangent)?;
    if pitch_px < LEAST_PITCH_PX {
        return Err(Refusal::Dense { pitch_px, least: LEAST_PITCH_PX }.into());
    }
    if ground.usual < PLAIN_CONTRAST && ground.overtones(&seen, pitch_px) < OVERTONES {
        return Err(Refusal::Blurred { pitch_px }.into());
    }
    let (lines, others) = counted(tracks(&seen, pitch_px, tangent), pitch_px, tangent)?;
    if lines.len() < LEAST_LINES {
        return Err(few(lines.len()).into());
    }
    let numbered: Vec<(i64, &Track)> = lines.iter().map(|(number, track)| (*number, track)).collect();
    let fit = fitted(&numbered, tangent).ok_or_else(|| few(lines.len()))?;
    judged(&lines, &others, &fit)?;
    Ok(set(view, &ground, (&lines, &others), &fit))
}

/// The profiles of all bands, and what the usual line is.
struct Ground {
    bands: Vec<Band>,
    reliefs: Vec<Relief>,
    tone: Tone,
    /// Noise of one pixel, counts.
    noise: f64,
    usual: f64,
}

impl Ground {
    fn new(picture: &dyn Samples, mut bands: Vec<Band>) -> Result<Self, Unscaled> {
        let noise = noise_of_counts(picture)?;
        let light = bands.iter().flat_map(|band| &band.values).fold(0.0, |most: f64, &value| most.max(value));
        let reliefs = bands.iter_mut().map(|band| Relief::new(std::mem::take(&mut band.values), LEAST_LIGHT * light));
        let reliefs: Vec<Relief> = reliefs.collect();
        let tone = if reliefs.iter().map(Relief::dark_less_bright).sum::<f64>() < 0.0 { Tone::Dark } else { Tone::Bright };
        let depths = reliefs.iter().zip(&bands).flat_map(|(relief, band)| relief.depths(tone, noise / f64::from(band.rows).sqrt()));
        let depths: Vec<f64> = depths.collect();
        let most = reliefs.iter().flat_map(|relief| relief.of(tone)).fold(0.0, |most: f64, &depth| most.max(depth));
        let usual = if depths.is_empty() { most } else { usual_depth(depths.clone()) };
        if depths.is_empty() || usual < LEAST_CONTRAST {
            return Err(Refusal::Faint { contrast_pct: 100.0 * usual }.into());
        }
        Ok(Self { bands, reliefs, tone, noise, usual })
    }

    /// The marks of every band.
    fn seen(&self) -> Result<Vec<Seen>, Unscaled> {
        let seen = in_turn(self.bands.len(), |i| {
            let band = &self.bands[i];
            let mut marks = self.reliefs[i].marks(self.tone, self.noise / f64::from(band.rows).sqrt(), self.usual);
            for mark in &mut marks {
                mark.x += band.start;
            }
            Ok(Seen { y: band.y, marks })
        });
        Ok(seen?)
    }

    /// Amplitudes of the second and third overtone of the spacing against the first, over the bands with most lines.
    fn overtones(&self, seen: &[Seen], spacing: f64) -> f64 {
        let most = seen.iter().map(|band| band.marks.len()).max().unwrap_or(0);
        let mut sums = [0.0; 3];
        for ((relief, band), seen) in self.reliefs.iter().zip(&self.bands).zip(seen) {
            let ends = seen.marks.first().zip(seen.marks.last()).filter(|_| 5 * seen.marks.len() >= 4 * most);
            let Some((first, last)) = ends else { continue };
            let periods = libm::floor((last.x - first.x) / spacing + 0.25);
            let (from, to) = (first.x - band.start, first.x - band.start + periods * spacing);
            for (k, sum) in (1..).zip(&mut sums) {
                let (mut re, mut im) = (0.0, 0.0);
                for (i, depth) in relief.of(self.tone).iter().enumerate() {
                    let x = i as f64 + 0.5;
                    if x >= from && x < to {
                        let (sin, cos) = libm::sincos(TAU * f64::from(k) * (x - from) / spacing);
                        re += depth * cos;
                        im += depth * sin;
                    }
                }
                *sum += (re * re + im * im).sqrt();
            }
        }
        if sums[0] > 0.0 { (sums[1] + sums[2]) / sums[0] } else { 0.0 }
    }
}

/// Numbered lines from left to right, and what goes on like a line but stands elsewhere.
type Counted = (Vec<(i64, Track)>, Vec<Track>);

fn counted(tracks: Vec<Track>, spacing: f64, tangent: f64) -> Result<Counted, Refusal> {
    let lengths: Vec<f64> = tracks.iter().map(|track| track.points.len() as f64).filter(|&n| n > 1.5).collect();
    let least = (LEAST_SHARE * median(lengths)).max(2.0);
    let mut lasting: Vec<Track> = tracks.into_iter().filter(|track| track.points.len() as f64 >= least).collect();
    lasting.sort_by(|a, b| a.foot(tangent).total_cmp(&b.foot(tangent)));
    let feet: Vec<f64> = lasting.iter().map(|track| track.foot(tangent)).collect();
    let weights: Vec<usize> = lasting.iter().map(|track| track.points.len()).collect();
    let numbers = numbered(&feet, &weights, spacing);
    let all: usize = weights.iter().sum();
    let fitting: usize = weights.iter().zip(&numbers).filter(|(_, n)| n.is_some()).map(|(w, _)| w).sum();
    if 4 * fitting < all {
        return Err(Refusal::NoRuling);
    }
    if (all - fitting) as f64 > STRAY * all as f64 {
        return Err(Refusal::TwoSets { stray: all - fitting, all, pitch_px: spacing });
    }
    let first = numbers.iter().flatten().min().copied().unwrap_or(0);
    let (mut lines, mut others) = (Vec::new(), Vec::new());
    for (track, number) in lasting.into_iter().zip(numbers) {
        match number {
            Some(number) => lines.push((number - first, track)),
            None => others.push(track),
        }
    }
    Ok((lines, others))
}

/// Refuses lines whose count or pitch is in doubt.
fn judged(lines: &[(i64, Track)], others: &[Track], fit: &Fitted) -> Result<(), Refusal> {
    let all = lines.last().map_or(0, |last| usize::try_from(last.0).unwrap_or(0) + 1);
    let missing = all.saturating_sub(lines.len());
    if missing as f64 > MISSING * all as f64 {
        return Err(Refusal::Missing { missing, all });
    }
    let between = |track: &Track| {
        let off = track.points.iter().map(|p| (p.x - fit.tangent * p.y - fit.foot) / fit.spacing);
        off.filter(|off| (off - libm::round(*off)).abs() > BETWEEN).count()
    };
    let tracks = || lines.iter().map(|line| &line.1).chain(others);
    let (stray, pieces) = (tracks().map(between).sum::<usize>(), tracks().map(|track| track.points.len()).sum::<usize>());
    if stray as f64 > STRAY * pieces as f64 {
        return Err(Refusal::TwoSets { stray, all: pieces, pitch_px: fit.spacing });
    }
    let worst = fit.residuals.iter().zip(&fit.used).filter(|(_, used)| **used).fold(0.0, |worst: f64, (off, _)| worst.max(off.abs()));
    if worst > BETWEEN * fit.spacing {
        return Err(Refusal::Uneven { worst_pct: 100.0 * worst / fit.spacing });
    }
    let kinds = |of: fn(&Track) -> f64| every_second_differs(lines, of);
    if kinds(|track| track.points.len() as f64) {
        return Err(Refusal::Alternate { how: "shorter" });
    }
    if kinds(Track::depth) { Err(Refusal::Alternate { how: "fainter" }) } else { Ok(()) }
}

/// Whether all lines of even number lie above or below all others; the first and the last, which the frame may cut, do not count.
fn every_second_differs(lines: &[(i64, Track)], of: fn(&Track) -> f64) -> bool {
    let inner = lines.get(1..lines.len().saturating_sub(1)).unwrap_or_default();
    let ends = |odd: i64| {
        let values = || inner.iter().filter(|line| line.0 % 2 == odd).map(|line| of(&line.1));
        let (low, high) = values().fold((f64::INFINITY, 0.0_f64), |(low, high), value| (low.min(value), high.max(value)));
        (values().count() >= 3).then_some([low, high])
    };
    let (Some(even), Some(odd)) = (ends(0), ends(1)) else { return false };
    even[0] > OTHER_KIND * odd[1] || odd[0] > OTHER_KIND * even[1]
}

fn set(view: &Upright<'_>, ground: &Ground, (lines, others): (&[(i64, Track)], &[Track]), fit: &Fitted) -> LineSet {
    let half = 0.5 * ground.bands.first().map_or(0.0, |band| f64::from(band.rows));
    let axis = view.axis();
    let place = |x: f64, y: f64| if axis == Axis::X { [x, y] } else { [y, x] };
    let stroke = |track: &Track| {
        let foot = track.foot(fit.tangent);
        let [from, to] = [track.points.first(), track.points.last()].map(|p| p.map_or(0.0, |p| p.y));
        let [from, to] = [from - half, to + half].map(|y| place(foot + fit.tangent * y, y));
        Stroke { from, to }
    };
    let each = lines.iter().zip(&fit.residuals).zip(&fit.used);
    let lines = each.map(|(((number, track), &off_px), &used)| RuledLine { number: *number, stroke: stroke(track), off_px, used });
    let turn = libm::atan(fit.tangent);
    LineSet {
        axis,
        // Upright lines that lean towards +x as y grows are turned from y towards x.
        angle_deg: if axis == Axis::X { -turn } else { turn }.to_degrees(),
        angle_u_rad: fit.tangent_u / (1.0 + fit.tangent * fit.tangent),
        spacing_px: fit.spacing,
        spacing_u_px: fit.spacing_u,
        residual_px: fit.residual,
        contrast: ground.usual,
        dark: ground.tone == Tone::Dark,
        stretched: fit.smooth,
        lines: lines.collect(),
        strays: others.iter().map(stroke).collect(),
    }
}
