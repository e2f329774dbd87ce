//! Light and camera: transmission to linear counts, with uneven light, shot noise and read noise.
//!
//! In dark field a place scatters what it does not let through, 1 − T, an even scatterer scatters everything, and the empty slide nothing: the
//! simplest way that is linear in intensity, so that edges lie half way in both. Real powder scatters by size and angle; that is not modelled.

use super::lay::Film;
use super::render::BAND_ROWS;
use super::{PhantomSpec, Purpose};
use crate::plane::{Rect, Samples, Stop};
use crate::random::{POISSON_NORMAL_ABOVE, Source, poisson_normal};
use rayon::prelude::*;

/// How uneven the light is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lamp {
    /// Difference between the brightest and the darkest side, % of the mean.
    pub tilt_pct: f64,
    /// Direction in which it grows brighter, degrees from x to y.
    pub tilt_deg: f64,
    /// Loss in the corners against the middle, growing with the square of the distance, %.
    pub vignette_pct: f64,
}

impl Lamp {
    /// Light at the centre (column, row) of a pixel in a picture of this size; 1 is the brightest that tilt alone gives.
    pub fn over(&self, size: (u32, u32)) -> impl Fn(u32, u32) -> f64 + use<> {
        let (width, height) = (f64::from(size.0), f64::from(size.1));
        let (sin, cos) = libm::sincos(self.tilt_deg.to_radians());
        let (tilt, vignette, ways) = (self.tilt_pct / 100.0, self.vignette_pct / 100.0, cos.abs() + sin.abs());
        move |x, y| {
            let (dx, dy) = ((f64::from(x) + 0.5) / width - 0.5, (f64::from(y) + 0.5) / height - 0.5);
            let along = (dx * cos + dy * sin) / ways;
            let out2 = 4.0 * (dx * dx * width * width + dy * dy * height * height) / (width * width + height * height);
            (1.0 + tilt * along) / (1.0 + 0.5 * tilt) * (1.0 - vignette * out2)
        }
    }
}

crate::choices! {
    /// How the slide is lit.
    Mode {
        /// Light through the film.
        Transmitted = "transmitted",
        /// Scattered light on a dark ground.
        Darkfield = "darkfield",
    }
}

/// The camera. Counts are linear in light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// Count at which it saturates: 255 or 65535.
    pub full_scale: u16,
    /// Share of full scale that the brightest light reaches, 0 to 1.
    pub exposure: f64,
    /// Electrons at full scale.
    pub full_well_e: f64,
    /// Standard deviation of the read noise, electrons.
    pub read_noise_e: f64,
    /// Count without light, % of full scale; above 0 the lot needs a dark picture.
    pub black_pct: f64,
    /// Pictures averaged for blank and dark.
    pub blank_frames: u32,
}

impl Samples for Film {
    fn size(&self) -> (u32, u32) {
        self.spec.size
    }
    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop> {
        let shot = Shot { spec: &self.spec, source: self.spec.source(self.slide, self.field, Purpose::Noise), frames: 1 };
        shot.expose(at, out, |band, light| {
            self.render_band(band, light);
            if self.spec.mode == Mode::Darkfield {
                for t in light.iter_mut() {
                    *t = (1.0 - *t).max(0.0);
                }
            }
        });
        Ok(())
    }
}

/// The picture of the lit empty slide; in dark field that of an even scatterer.
#[derive(Clone, Copy, Debug)]
pub struct Blank(pub PhantomSpec);

impl Samples for Blank {
    fn size(&self) -> (u32, u32) {
        self.0.size
    }
    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop> {
        let shot = Shot { spec: &self.0, source: self.0.source(0, 0, Purpose::Blank), frames: self.0.camera.blank_frames };
        shot.expose(at, out, |_, light| light.fill(1.0));
        Ok(())
    }
}

/// The picture of the closed shutter; in dark field that of the empty slide.
#[derive(Clone, Copy, Debug)]
pub struct Dark(pub PhantomSpec);

impl Samples for Dark {
    fn size(&self) -> (u32, u32) {
        self.0.size
    }
    fn read(&self, at: Rect, out: &mut [u16]) -> Result<(), Stop> {
        let shot = Shot { spec: &self.0, source: self.0.source(0, 0, Purpose::Dark), frames: self.0.camera.blank_frames };
        shot.expose(at, out, |_, light| light.fill(0.0));
        Ok(())
    }
}

/// One exposure: its noise is found by pixel, so any rectangle of it can be had alone.
pub(super) struct Shot<'a> {
    pub(super) spec: &'a PhantomSpec,
    pub(super) source: Source,
    pub(super) frames: u32,
}

impl Shot<'_> {
    /// Counts of a rectangle; `transmission` fills a band.
    pub(super) fn expose(&self, at: Rect, out: &mut [u16], transmission: impl Fn(Rect, &mut [f64]) + Sync) {
        let width = (at.width as usize).max(1);
        let rows = (at.y..at.bottom()).into_par_iter().step_by(BAND_ROWS as usize);
        out.par_chunks_mut(width * BAND_ROWS as usize).zip(rows).for_each(|(counts, y)| {
            let band = Rect::new(at.x, y, at.width, BAND_ROWS.min(at.bottom() - y));
            let mut light = vec![0.0; counts.len()];
            transmission(band, &mut light);
            let lamp = self.spec.lamp.over(self.spec.size);
            for ((count, t), i) in counts.iter_mut().zip(&light).zip(0_u32..) {
                let (x, y) = (band.x + i % band.width, band.y + i / band.width);
                *count = self.count(u64::from(y) << 32 | u64::from(x), lamp(x, y) * t);
            }
        });
    }

    /// The count of the pixel of this index under this light.
    fn count(&self, index: u64, light: f64) -> u16 {
        let camera = self.spec.camera;
        let frames = f64::from(self.frames.max(1));
        let mean = frames * camera.full_well_e * camera.exposure * light;
        let [shot, read] = self.source.normals(index);
        let electrons = if mean > POISSON_NORMAL_ABOVE { poisson_normal(mean, shot) } else { self.source.poisson(index | 1 << 63, mean) };
        let electrons = (electrons + camera.read_noise_e * frames.sqrt() * read) / frames;
        let black = camera.black_pct / 100.0;
        let full = f64::from(camera.full_scale);
        clamped(full * (black + (1.0 - black) * electrons / camera.full_well_e), camera.full_scale)
    }
}

/// The nearest whole count.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates, which is what a camera does")]
fn clamped(count: f64, full_scale: u16) -> u16 {
    ((count + 0.5) as u16).min(full_scale)
}
