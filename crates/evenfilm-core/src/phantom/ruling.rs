//! Rulings of known pitch, through the same lens, light and camera as films.
//!
//! Lines are bars that take a share of the light; they stand on a common base, every fifth and tenth is longer. Each lies off its place by
//! its own error, as lines of a real ruling do. Dust lies on the optics and takes its share of whatever lies beneath.

use super::camera::{Mode, Shot};
use super::lay::Film;
use super::lens::{Blur, Lens};
use super::outline::Form;
use super::path::Path;
use super::render::over_pixel;
use super::trace::Traced;
use super::{PhantomSpec, Purpose, floor_index};
use crate::plane::{Rect, Samples, Stop};
use crate::random::Draws;

/// Lines on either side of the middle, at most.
const MOST: i32 = 2000;

crate::choices! {
    /// Which way the lines run.
    Ruled {
        /// Upright, so that they measure x.
        Upright = "upright",
        /// Level, so that they measure y.
        Level = "level",
        /// Both, as a grid.
        Both = "both",
    }
}

/// A ruling.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RulingSpec {
    /// From line to line, µm, above 0.
    pub pitch_um: f64,
    /// Which way the lines run before the turn.
    pub ruled: Ruled,
    /// Turn from x towards y, degrees.
    pub angle_deg: f64,
    /// Where line 0 crosses the middle of the picture, in pitches.
    pub offset: f64,
    /// Width of a line, µm, above 0.
    pub width_um: f64,
    /// Lengths of ordinary, every fifth and every tenth line, µm, above 0.
    pub lengths_um: [f64; 3],
    /// Share of the light that a line takes, 0 to 1.
    pub taken: f64,
    /// Standard deviation of the lines' places about even ones, µm.
    pub placement_um: f64,
}

impl RulingSpec {
    /// A ruling of 10 µm, lines 2 µm wide and 60, 80 and 100 µm long, placed within 0.02 µm, that lets a tenth of the light through.
    pub const fn new() -> Self {
        Self {
            pitch_um: 10.0,
            ruled: Ruled::Upright,
            angle_deg: 0.0,
            offset: 0.0,
            width_um: 2.0,
            lengths_um: [60.0, 80.0, 100.0],
            taken: 0.9,
            placement_um: 0.02,
        }
    }
}

impl Default for RulingSpec {
    fn default() -> Self {
        Self::new()
    }
}

/// One line as it lies in the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// Its number; 0 is nearest the middle.
    pub number: i32,
    /// Whether it stood upright before the turn.
    pub upright: bool,
    /// How far off its even place it lies across, µm.
    pub off_um: f64,
    /// Its corners relative to its middle, px.
    corners: [[f64; 2]; 4],
    /// Its middle, px.
    pub centre: [f64; 2],
    /// How far it reaches from its middle, px.
    half: [f64; 2],
}

impl Bar {
    /// Cover by a Gaussian, which parts into both sides of a rectangle: a product of differences of error functions.
    fn gaussian(&self, sigma_px: f64, p: [f64; 2]) -> f64 {
        let [a, b, _, d] = self.corners;
        let side = |from: [f64; 2], to: [f64; 2]| {
            let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
            let length = libm::hypot(dx, dy);
            let at = (p[0] * dx + p[1] * dy) / length;
            let share = |x: f64| libm::erf(x / (sigma_px * std::f64::consts::SQRT_2));
            0.5 * (share(at + 0.5 * length) - share(at - 0.5 * length))
        };
        side(a, b) * side(a, d)
    }
}

/// A picture of a ruling.
#[derive(Debug)]
pub struct Ruling {
    /// Size, scale, lens, light, camera and dust.
    pub spec: PhantomSpec,
    /// The ruling.
    pub ruling: RulingSpec,
    /// Number of the picture.
    pub field: u32,
    /// Every line of which something is seen.
    pub bars: Vec<Bar>,
    dust: Film,
    lens: Lens,
}

impl Ruling {
    /// Lays a ruling into a picture; of the film of `spec` only what lies on the optics counts.
    pub fn lay(spec: &PhantomSpec, ruling: &RulingSpec, field: u32) -> Self {
        let dust = Film::lay(spec, 0, field);
        let lens = Lens::new(spec.blur, spec.um_per_px);
        let mut bars = Vec::new();
        for upright in [true, false] {
            if matches!((ruling.ruled, upright), (Ruled::Both, _) | (Ruled::Upright, true) | (Ruled::Level, false)) {
                bars.extend(laid(spec, ruling, (upright, field), &lens));
            }
        }
        Self { spec: *spec, ruling: *ruling, field, bars, dust, lens }
    }

    /// What is let through of one band.
    fn band(&self, at: Rect, out: &mut [f64]) {
        let mut through = vec![1.0; out.len()];
        for bar in &self.bars {
            self.darken(bar, at, &mut through);
        }
        self.dust.render_band(at, out);
        for (t, through) in out.iter_mut().zip(through) {
            *t *= if self.spec.mode == Mode::Darkfield { 1.0 - through } else { through };
        }
    }

    fn darken(&self, bar: &Bar, at: Rect, through: &mut [f64]) {
        let tails = self.lens.reach_px(Path::polygon(&bar.corners).area()) + 1.0;
        if [0, 1].iter().any(|&k| {
            let (from, to) = if k == 0 { (at.x, at.right()) } else { (at.y, at.bottom()) };
            bar.centre[k] + bar.half[k] + tails < f64::from(from) || bar.centre[k] - bar.half[k] - tails > f64::from(to)
        }) {
            return;
        }
        let traced = Traced::new(&Form::Path(Path::polygon(&bar.corners)), self.lens.sigma_px);
        let gaussian = matches!(self.spec.blur, Blur::Gaussian { .. });
        let cover = |p: [f64; 2]| if gaussian { bar.gaussian(self.lens.sigma_px, p) } else { traced.cover(&self.lens, p) };
        for (y, row) in (at.y..at.bottom()).zip(through.chunks_exact_mut((at.width as usize).max(1))) {
            let dy = f64::from(y) + 0.5 - bar.centre[1];
            let [low, high] = reach_at(&bar.corners, dy, tails);
            let from = floor_index(bar.centre[0] + low - f64::from(at.x)).min(row.len());
            let to = floor_index(bar.centre[0] + high + 1.0 - f64::from(at.x)).clamp(from, row.len());
            for (i, t) in row.iter_mut().enumerate().take(to).skip(from) {
                let p = [f64::from(at.x) + i as f64 + 0.5 - bar.centre[0], dy];
                let middle = cover(p);
                let cover = if (0.002..0.998).contains(&middle) { over_pixel(p, cover) } else { middle };
                *t *= 1.0 - self.ruling.taken * cover;
            }
        }
    }
}

/// The part of a row at this height within `tails` of a convex outline, left and right of its middle; empty where it is farther.
fn reach_at(corners: &[[f64; 2]; 4], dy: f64, tails: f64) -> [f64; 2] {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for (i, a) in corners.iter().enumerate() {
        let b = corners[(i + 1) % 4];
        let (y0, y1) = (dy - tails, dy + tails);
        let (from, to) = if a[1] <= b[1] { (*a, b) } else { (b, *a) };
        if to[1] < y0 || from[1] > y1 {
            continue;
        }
        let x = |y: f64| if to[1] > from[1] { from[0] + (to[0] - from[0]) * (y - from[1]) / (to[1] - from[1]) } else { from[0] };
        for end in [x(y0.clamp(from[1], to[1])), x(y1.clamp(from[1], to[1]))] {
            low = low.min(end - tails);
            high = high.max(end + tails);
        }
    }
    if low < high { [low, high] } else { [0.0, -1.0] }
}

/// The lines of one direction that reach into the picture.
fn laid(spec: &PhantomSpec, ruling: &RulingSpec, (upright, field): (bool, u32), lens: &Lens) -> Vec<Bar> {
    let [_, _, width, height] = spec.frame();
    let (sin, cos) = libm::sincos(ruling.angle_deg.to_radians());
    let mut draws = Draws::new(spec.source(u32::from(!upright), field, Purpose::Ruling));
    let px = |um: f64| um / spec.um_per_px;
    let base = -0.5 * px(ruling.lengths_um[2]);
    let far = libm::hypot(width, height);
    let all = (-MOST..=MOST).filter_map(|number| {
        // Drawn for every line, so that a place does not hang on which others are seen.
        let off_um = ruling.placement_um * draws.normal();
        let across = px((f64::from(number) + ruling.offset) * ruling.pitch_um + off_um);
        if across.abs() > far {
            return None;
        }
        let kind = if number % 10 == 0 { 2 } else { usize::from(number % 5 == 0) };
        let (half_width, length) = (0.5 * px(ruling.width_um), px(ruling.lengths_um[kind]));
        let along = if ruling.ruled == Ruled::Both { 0.0 } else { base + 0.5 * length };
        let half_length = 0.5 * length;
        let turned = |p: [f64; 2]| [cos * p[0] - sin * p[1], sin * p[0] + cos * p[1]];
        let sides = if upright { [half_width, half_length] } else { [half_length, half_width] };
        let middle = turned(if upright { [across, along] } else { [along, across] });
        let corners = [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]].map(|[x, y]| turned([x * sides[0], y * sides[1]]));
        let half = [0, 1].map(|k| corners.iter().fold(0.0, |most: f64, c| most.max(c[k].abs())));
        let centre = [0.5 * width + middle[0], 0.5 * height + middle[1]];
        let tails = lens.reach_px(4.0 * sides[0] * sides[1]);
        let seen =
            [width, height].iter().enumerate().all(|(k, &side)| centre[k] + half[k] + tails > 0.0 && centre[k] - half[k] - tails < side);
        seen.then_some(Bar { number, upright, off_um, corners, centre, half })
    });
    all.collect()
}

impl Samples for Ruling {
    fn size(&self) -> (u32, u32) {
        self.spec.size
    }
    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop> {
        let shot = Shot { spec: &self.spec, source: self.spec.source(0, self.field, Purpose::Noise), frames: 1 };
        shot.expose(at, out, |band, light| self.band(band, light));
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Camera, FilmSpec, Lamp};
    use super::*;

    fn spec(mode: Mode) -> PhantomSpec {
        PhantomSpec {
            seed: 2,
            size: (120, 90),
            um_per_px: 0.5,
            blur: Blur::Gaussian { sigma_um: 0.6 },
            film: FilmSpec::glass(),
            lamp: Lamp { tilt_pct: 0.0, tilt_deg: 0.0, vignette_pct: 0.0 },
            mode,
            camera: Camera { full_scale: 65535, exposure: 0.5, full_well_e: 1e9, read_noise_e: 0.0, black_pct: 0.0, blank_frames: 1 },
        }
    }

    /// The product of error functions and the line integral around the outline are two ways to the same cover.
    #[test]
    fn both_ways_of_blurring_a_bar_agree() {
        let ruling = Ruling::lay(&spec(Mode::Transmitted), &RulingSpec { angle_deg: 9.0, ..RulingSpec::new() }, 0);
        let bar = &ruling.bars[0];
        let traced = Traced::new(&Form::Path(Path::polygon(&bar.corners)), ruling.lens.sigma_px);
        for i in 0..400 {
            let p = [f64::from(i % 20) - 9.7, 6.0 * f64::from(i / 20) - 60.2];
            let (one, other) = (bar.gaussian(ruling.lens.sigma_px, p), traced.cover(&ruling.lens, p));
            assert!((one - other).abs() < 1e-4, "{p:?} {one} {other}");
        }
    }

    /// Lines take their share of the light, and nothing between them; in dark field they give it. Places are even but for their errors.
    #[test]
    fn lines_lie_where_they_are_said_to() {
        let even = RulingSpec { placement_um: 0.0, width_um: 4.0, ..RulingSpec::new() };
        for (mode, [line, between]) in [(Mode::Transmitted, [0.1, 1.0]), (Mode::Darkfield, [0.9, 0.0])] {
            let ruling = Ruling::lay(&spec(mode), &even, 0);
            let mut counts = vec![0; 120 * 90];
            ruling.read(Rect::whole((120, 90)), &mut counts).unwrap();
            let middle = &counts[45 * 120..46 * 120];
            for (x, share) in [(60, line), (70, between), (80, line), (40, line), (50, between)] {
                let found = f64::from(middle[x]) / 65535.0 / 0.5;
                assert!((found - share).abs() < 0.01, "{mode:?} {x}: {found} {share}");
            }
            assert_eq!(ruling.bars.iter().map(|bar| bar.number).collect::<Vec<_>>(), [-3, -2, -1, 0, 1, 2, 3]);
        }
        let erring = Ruling::lay(&spec(Mode::Transmitted), &RulingSpec::new(), 1);
        assert!(erring.bars.iter().all(|bar| bar.off_um != 0.0 && bar.off_um.abs() < 0.1));
    }
}
