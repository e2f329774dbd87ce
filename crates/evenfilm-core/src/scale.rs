//! Micrometres per pixel from a ruling (stage micrometer).
//!
//! [`bands`](self) of rows are added up along the lines, so that noise falls and light stays local; in each the lines are found and placed to a
//! fraction of a pixel (`profile`). What goes on from band to band is a line (`track`); lines are numbered by their spacing (`number`), and a
//! straight line of place against number gives the pitch in pixels with its standard uncertainty (`fit`). Whatever leaves the count or the
//! pitch in doubt is refused with the reason ([`Refusal`]): a wrong scale spoils every number that rests on it.
//!
//! The idea, a straight line of known against found places with the certificate's uncertainty added, is that of ISO 13322-1 and ASTM E1951
//! (from memory); the rules of refusal are our own.

use crate::plane::{Samples, Stop};

mod bands;
mod fit;
mod number;
mod profile;
mod refusal;
mod set;
#[cfg(test)]
mod tests;
mod track;

pub use refusal::Refusal;
pub use set::{LineSet, RuledLine, Stroke};

use set::find;

/// Fewest lines that make a scale: the spread of three fitted lines fewer says nothing of itself.
pub const LEAST_LINES: usize = 5;
/// Largest angle between lines and the picture's sides, degrees.
pub const LARGEST_ANGLE_DEG: f64 = 15.0;
/// Fewest pixels from line to line; below, lines and sampling play into each other.
pub const LEAST_PITCH_PX: f64 = 6.0;
/// Largest difference between the scales of both directions, relative.
const LARGEST_DIFFERENCE: f64 = 0.01;
/// Largest departure of two directions from a right angle, degrees.
const LARGEST_SKEW_DEG: f64 = 1.0;

/// What the certificate says of the distance from line to line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pitch {
    /// µm, above 0.
    pub um: f64,
    /// Its standard uncertainty, µm, from 0; taken to be common to all lines.
    pub u_um: f64,
}

/// The direction in which places are measured: across the lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axis {
    /// Lines stand mostly upright.
    X,
    /// Lines lie mostly level.
    Y,
}

/// What a ruling gave.
#[derive(Clone, Debug, PartialEq)]
pub struct Scale {
    /// Width of a pixel, µm; of a ruling in both directions the geometric mean.
    pub um_per_px: f64,
    /// Its standard uncertainty, µm: lines, turn, certificate, and half the difference of both directions; twice as much covers 95 %.
    pub um_per_px_u: f64,
    /// Along x; `None` where no lines cross that direction.
    pub um_per_px_x: Option<f64>,
    /// Along y; `None` where no lines cross that direction.
    pub um_per_px_y: Option<f64>,
    /// How far the ruling is turned from the picture's sides, degrees from x towards y.
    pub angle_deg: f64,
    /// The lines of each direction that was measured, x first.
    pub sets: Vec<LineSet>,
}

impl Scale {
    /// Lines used, of both directions.
    pub fn lines(&self) -> usize {
        self.sets.iter().map(LineSet::used).sum()
    }
}

/// Why there is no scale.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Unscaled {
    /// The picture does not bear one out.
    #[error("{0}")]
    Refused(#[from] Refusal),
    /// The picture could not be read.
    #[error("{0}")]
    Stopped(#[from] Stop),
}

/// Measures the scale of a picture of a ruling, in linear or any other increasing counts: where a line lies does not hang on it.
///
/// # Errors
/// [`Unscaled::Refused`] with the reason; [`Unscaled::Stopped`] where the picture cannot be read.
pub fn measure(picture: &dyn Samples, pitch: Pitch) -> Result<Scale, Unscaled> {
    let (width, height) = picture.size();
    if width < bands::LEAST_SIDE || height < bands::LEAST_SIDE {
        return Err(Refusal::Small { width, height, least: bands::LEAST_SIDE }.into());
    }
    let tries = [Axis::X, Axis::Y].map(|axis| find(picture, axis));
    for result in &tries {
        if let Err((_, Unscaled::Stopped(stop))) = result {
            return Err(stop.clone().into());
        }
    }
    match tries {
        [Ok(x), Ok(y)] => both(x, y, pitch),
        [Ok(set), Err(_)] | [Err(_), Ok(set)] => Ok(single(set, pitch)),
        // The direction that looks more like a ruling knows what is wrong with it.
        [Err(x), Err(y)] => Err(if x.0 >= y.0 { x.1 } else { y.1 }),
    }
}

/// The scale from lines in one direction: pixels are taken to be square.
fn single(set: LineSet, pitch: Pitch) -> Scale {
    let (sin, cos) = libm::sincos(set.angle_deg.to_radians());
    let pitch_px = set.spacing_px * cos;
    let um_per_px = pitch.um / pitch_px;
    let turn = sin / cos * set.angle_u_rad;
    let parts = [set.spacing_u_px / set.spacing_px, turn, pitch.u_um / pitch.um];
    let um_per_px_u = um_per_px * root_sum(&parts);
    let of = |axis| (set.axis == axis).then_some(um_per_px);
    Scale { um_per_px, um_per_px_u, um_per_px_x: of(Axis::X), um_per_px_y: of(Axis::Y), angle_deg: set.angle_deg, sets: vec![set] }
}

/// The scale from lines in both directions, which need not be the same for x and y. With widths a and b of a pixel, lines of one pitch p that
/// are s px apart along x and lean by t px in x for each in y keep p = s / √(1/a² + t²/b²); the others likewise: linear in 1/a² and 1/b².
fn both(x: LineSet, y: LineSet, pitch: Pitch) -> Result<Scale, Unscaled> {
    let skew = (x.angle_deg - y.angle_deg).abs();
    if skew > LARGEST_SKEW_DEG {
        return Err(Refusal::Skew { degrees: skew }.into());
    }
    let [tx, ty] = [&x, &y].map(|set| libm::tan(set.angle_deg.to_radians()));
    let [sx, sy] = [&x, &y].map(|set| (set.spacing_px / pitch.um) * (set.spacing_px / pitch.um));
    let whole = 1.0 - tx * tx * ty * ty;
    let (a, b) = (1.0 / ((sx - tx * tx * sy) / whole).sqrt(), 1.0 / ((sy - ty * ty * sx) / whole).sqrt());
    let difference = (a / b - 1.0).abs();
    if difference.is_nan() || difference > LARGEST_DIFFERENCE {
        return Err(Refusal::Directions { x: a, y: b }.into());
    }
    let um_per_px = (a * b).sqrt();
    let parts = [
        0.5 * x.spacing_u_px / x.spacing_px,
        0.5 * y.spacing_u_px / y.spacing_px,
        pitch.u_um / pitch.um,
        // One scale for both directions is wrong by up to half their difference: as a rectangular distribution (JCGM 100, 4.3.7).
        0.5 * difference / 3_f64.sqrt(),
    ];
    Ok(Scale {
        um_per_px,
        um_per_px_u: um_per_px * root_sum(&parts),
        um_per_px_x: Some(a),
        um_per_px_y: Some(b),
        angle_deg: 0.5 * (x.angle_deg + y.angle_deg),
        sets: vec![x, y],
    })
}

fn root_sum(parts: &[f64]) -> f64 {
    parts.iter().map(|part| part * part).sum::<f64>().sqrt()
}
