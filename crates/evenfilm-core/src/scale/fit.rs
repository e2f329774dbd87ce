//! The straight line of place against number, and how sure its slope is.

use super::track::{Point, Track};
use crate::statistics::{median, straight_line};

/// A value lies out where it is so many robust standard deviations off.
const FAR: f64 = 4.5;
/// At most one line in so many is left out for that.
const ONE_IN: usize = 10;
/// Departures below this are never outliers, px.
const NEVER_FAR_PX: f64 = 0.02;
/// What residuals do not show, since it moves all lines at one side alike: pixels and what is left of uneven light. Standard uncertainty of a
/// place at either end, px; lines rendered without errors lie within it.
const COMMON_PX: f64 = 0.01;
/// Fewest lines whose departures can be told to hang together.
const ENOUGH: usize = 8;

/// Spacing and tilt of numbered lines.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Fitted {
    /// Px from line to line.
    pub(super) spacing: f64,
    /// Its standard uncertainty, px.
    pub(super) spacing_u: f64,
    /// Place of line 0 at the height 0, px.
    pub(super) foot: f64,
    /// Px in x for each in y.
    pub(super) tangent: f64,
    /// Its standard uncertainty.
    pub(super) tangent_u: f64,
    /// Standard deviation of the lines' departures, px.
    pub(super) residual: f64,
    /// Departure of each line, px.
    pub(super) residuals: Vec<f64>,
    /// Whether each line is used.
    pub(super) used: Vec<bool>,
    /// Whether departures of neighbours hang together.
    pub(super) smooth: bool,
}

/// Fits lines with their numbers. `None` for fewer than two lines, or lines without height.
pub(super) fn fitted(lines: &[(i64, &Track)], tangent: f64) -> Option<Fitted> {
    let kept = without_outliers(lines, tangent);
    let (tangent, tangent_u) = leaning(&kept)?;
    let feet: Vec<f64> = kept.iter().map(|points| foot(points, tangent)).collect();
    let numbers: Vec<f64> = lines.iter().map(|line| line.0 as f64).collect();
    let mut used = vec![true; lines.len()];
    let mut line = straight_line(&numbers, &feet)?;
    let residuals = |line: &crate::statistics::StraightLine| -> Vec<f64> {
        numbers.iter().zip(&feet).map(|(n, x)| x - line.intercept - line.slope * n).collect()
    };
    for _ in 0..lines.len() / ONE_IN {
        let off = residuals(&line);
        let sizes: Vec<f64> = off.iter().zip(&used).filter(|(_, used)| **used).map(|(off, _)| off.abs()).collect();
        let limit = (FAR * 1.4826 * median(sizes)).max(NEVER_FAR_PX);
        let worst = (0..off.len()).filter(|&i| used[i]).max_by(|&a, &b| off[a].abs().total_cmp(&off[b].abs()))?;
        if off[worst].abs() <= limit {
            break;
        }
        used[worst] = false;
        let of = |all: &[f64]| all.iter().zip(&used).filter(|(_, used)| **used).map(|(v, _)| *v).collect::<Vec<f64>>();
        line = straight_line(&of(&numbers), &of(&feet))?;
    }
    let residuals = residuals(&line);
    let count = used.iter().filter(|used| **used).count() as f64;
    let sum2 = residuals.iter().zip(&used).filter(|(_, used)| **used).map(|(r, _)| r * r).sum::<f64>();
    let degrees = count - 2.0;
    // The spread of a scaled and shifted t distribution rather than its scale, so that twice the standard uncertainty covers 95 % also
    // of few lines (JCGM 101, 6.4.9.4; from memory).
    let of_few = if degrees > 2.0 { (degrees / (degrees - 2.0)).sqrt() } else { f64::INFINITY };
    let together = hang_together(&residuals, &used);
    // Of an autoregressive series of this correlation 1 value in (1 + r)/(1 − r) counts.
    let smooth = together.map_or(1.0, |r| ((1.0 + r) / (1.0 - r)).sqrt());
    let last = numbers.last().zip(numbers.first()).map_or(1.0, |(last, first)| last - first);
    let common = COMMON_PX * std::f64::consts::SQRT_2 / last.max(1.0);
    Some(Fitted {
        spacing: line.slope,
        spacing_u: libm::hypot(line.slope_u * of_few * smooth, common),
        foot: line.intercept,
        tangent,
        tangent_u,
        residual: if degrees > 0.0 { (sum2 / degrees).sqrt() } else { 0.0 },
        residuals,
        used,
        smooth: together.is_some(),
    })
}

/// The points of each line without those that dust or an edge has moved.
fn without_outliers(lines: &[(i64, &Track)], tangent: f64) -> Vec<Vec<Point>> {
    let feet = |track: &Track| track.points.iter().map(|p| p.x - tangent * p.y).collect::<Vec<f64>>();
    let middles: Vec<f64> = lines.iter().map(|(_, track)| median(feet(track))).collect();
    let off = |p: &Point, middle: f64| (p.x - tangent * p.y - middle).abs();
    let all = lines.iter().zip(&middles).flat_map(|((_, track), &m)| track.points.iter().map(move |p| off(p, m)));
    let limit = (FAR * 1.4826 * median(all.collect())).max(NEVER_FAR_PX);
    let kept = lines.iter().zip(&middles).map(|((_, track), &m)| track.points.iter().filter(|p| off(p, m) <= limit).copied().collect());
    kept.collect()
}

fn foot(points: &[Point], tangent: f64) -> f64 {
    points.iter().map(|p| p.x - tangent * p.y).sum::<f64>() / points.len().max(1) as f64
}

/// The tilt common to all lines, and its standard uncertainty from the spread of what each line says of it (a line's edge wanders, so its
/// points are not independent).
fn leaning(lines: &[Vec<Point>]) -> Option<(f64, f64)> {
    let mean = |points: &[Point], of: fn(&Point) -> f64| points.iter().map(of).sum::<f64>() / points.len().max(1) as f64;
    let means: Vec<[f64; 2]> = lines.iter().map(|points| [mean(points, |p| p.x), mean(points, |p| p.y)]).collect();
    let pairs = || lines.iter().zip(&means).map(|(points, &[x, y])| points.iter().map(move |p| (p.x - x, p.y - y)));
    let squares = pairs().flatten().map(|(_, dy)| dy * dy).sum::<f64>();
    if squares <= 0.0 {
        return None;
    }
    let tangent = pairs().flatten().map(|(dx, dy)| dx * dy).sum::<f64>() / squares;
    let scores = pairs().map(|line| line.map(|(dx, dy)| dy * (dx - tangent * dy)).sum::<f64>());
    let count = lines.len() as f64;
    let spread = scores.map(|score| score * score).sum::<f64>() * count / (count - 1.0).max(1.0);
    Some((tangent, spread.sqrt() / squares))
}

/// Correlation of the departures of neighbours, where it is larger than chance gives.
fn hang_together(residuals: &[f64], used: &[bool]) -> Option<f64> {
    let kept: Vec<f64> = residuals.iter().zip(used).filter(|(_, used)| **used).map(|(r, _)| *r).collect();
    let sum2 = kept.iter().map(|r| r * r).sum::<f64>();
    if kept.len() < ENOUGH || sum2 <= 0.0 {
        return None;
    }
    let r = kept.windows(2).map(|two| two[0] * two[1]).sum::<f64>() / sum2;
    (r > 2.0 / (kept.len() as f64).sqrt()).then_some(r.min(0.9))
}
