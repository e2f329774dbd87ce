//! Rendering: the transmission of any rectangle of a laid film, after the lens and over the area of each pixel.

use super::haze::Haze;
use super::lay::{Disc, Film, LaidGap};
use super::outline::{Form, Traced};
use super::{Purpose, floor_index};
use crate::plane::Rect;
use rayon::prelude::*;
use std::f64::consts::LN_10;

/// Rows that are worked on together; the result does not depend on it.
pub(super) const BAND_ROWS: u32 = 128;
/// Steps per σ of a disc's radial profile; reading it by cubics is then true to 10⁻⁴.
const PROFILE_STEPS: f64 = 5.0;
/// The two-point Gauss rule over a pixel: ½/√3 to either side of its centre.
const ASIDE: f64 = 0.288_675_134_594_812_9;

impl Film {
    /// Transmission of a rectangle of the field, row after row, into `out` of exactly `at.area()` samples: 1 is the empty slide. In bands, on
    /// the threads of the current rayon pool; the same bits however the field is cut into rectangles.
    pub fn render(&self, at: Rect, out: &mut [f64]) {
        let width = (at.width as usize).max(1);
        out.par_chunks_mut(width * BAND_ROWS as usize).zip((at.y..at.bottom()).into_par_iter().step_by(BAND_ROWS as usize)).for_each(
            |(band, y)| {
                let height = BAND_ROWS.min(at.bottom() - y);
                self.render_band(Rect::new(at.x, y, at.width, height), band);
            },
        );
    }

    /// Transmission of one band, on this thread.
    pub(super) fn render_band(&self, at: Rect, out: &mut [f64]) {
        let mut covers = Covers::new(at, out.len());
        let particle = 1.0 - libm::exp(-LN_10 * self.spec.film.particle_od);
        for disc in &self.discs {
            covers.add_disc(self, disc, particle);
        }
        for gap in &self.gaps {
            covers.add_gap(self, gap);
        }
        self.haze(at, out);
        for ((t, darkened), bare) in out.iter_mut().zip(&covers.darkened).zip(&covers.bare) {
            *t = *t * (1.0 - darkened) + (1.0 - *t) * bare;
        }
    }

    /// Transmission of the film alone.
    fn haze(&self, at: Rect, out: &mut [f64]) {
        let film = self.spec.film;
        let cv = film.haze_cv_pct / 100.0;
        let level = |od: f64| libm::exp(-LN_10 * od.max(0.0));
        if cv * film.od > 0.0 {
            let source = self.spec.source(self.slide, self.field, Purpose::Haze);
            Haze::new(source, film.haze_length_um / self.spec.um_per_px).fill(at, out);
            for h in out.iter_mut() {
                *h = level(film.od * (1.0 + cv * *h));
            }
        } else {
            out.fill(level(film.od));
        }
    }
}

/// What lies over the pixels of a band: light taken by particles, and bare share.
struct Covers {
    at: Rect,
    darkened: Vec<f64>,
    bare: Vec<f64>,
}

impl Covers {
    fn new(at: Rect, pixels: usize) -> Self {
        Self { at, darkened: vec![0.0; pixels], bare: vec![0.0; pixels] }
    }

    fn add_disc(&mut self, film: &Film, disc: &Disc, times: f64) {
        if let Some(window) = window(self.at, film, disc.centre, Form::Disc { radius: disc.radius }) {
            add_round(film, disc, window, self.at, times, &mut self.darkened);
        }
    }

    fn add_gap(&mut self, film: &Film, gap: &LaidGap) {
        let Some(window) = window(self.at, film, gap.centre, gap.form) else { return };
        if let Form::Disc { radius } = gap.form {
            return add_round(film, &Disc { centre: gap.centre, radius }, window, self.at, 1.0, &mut self.bare);
        }
        let traced = Traced::new(gap.form, film.lens.sigma_px);
        each_pixel(window, self.at, gap.centre, &mut self.bare, |p, value| {
            let middle = traced.cover(&film.lens, p);
            let edge = (0.002..0.998).contains(&middle);
            *value += if edge { over_pixel(p, |q| traced.cover(&film.lens, q)) } else { middle };
        });
    }
}

/// Adds `times` the cover of a disc, which depends on the distance from its centre alone.
fn add_round(film: &Film, disc: &Disc, window: Rect, band: Rect, times: f64, values: &mut [f64]) {
    let reach = disc.radius + film.lens.reach_px(Form::Disc { radius: disc.radius }.area());
    let profile = Profile::new(film, disc.radius, reach + 2.0);
    let near = disc.radius + 5.0 * film.lens.sigma_px + 1.0;
    each_pixel(window, band, disc.centre, values, |p, value| {
        let distance2 = p[0] * p[0] + p[1] * p[1];
        let cover = if distance2 < near * near { over_pixel(p, |q| profile.at(q)) } else { profile.at(p) };
        *value += times * cover;
    });
}

/// The pixels of a band that the light of an outline reaches, if any.
fn window(band: Rect, film: &Film, centre: [f64; 2], form: Form) -> Option<Rect> {
    let reach = form.bound() + film.lens.reach_px(form.area());
    let stretch = |k: usize, from: u32, to: u32| {
        let low = u32::try_from(floor_index(centre[k] - reach)).unwrap_or(u32::MAX).max(from);
        let high = u32::try_from(floor_index(centre[k] + reach + 1.0)).unwrap_or(u32::MAX).min(to);
        (low, high.saturating_sub(low))
    };
    let (x, width) = stretch(0, band.x, band.right());
    let (y, height) = stretch(1, band.y, band.bottom());
    (width > 0 && height > 0).then_some(Rect::new(x, y, width, height))
}

/// Visits the pixels of a window of a band: the place of each relative to `centre`, and its value.
fn each_pixel(window: Rect, band: Rect, centre: [f64; 2], values: &mut [f64], mut visit: impl FnMut([f64; 2], &mut f64)) {
    for y in window.y..window.bottom() {
        let start = (y - band.y) as usize * band.width as usize + (window.x - band.x) as usize;
        let dy = f64::from(y) + 0.5 - centre[1];
        for (x, value) in (window.x..window.right()).zip(&mut values[start..]) {
            visit([f64::from(x) + 0.5 - centre[0], dy], value);
        }
    }
}

/// Mean over the area of a pixel.
fn over_pixel(p: [f64; 2], cover: impl Fn([f64; 2]) -> f64) -> f64 {
    let [x, y] = p;
    0.25 * (cover([x - ASIDE, y - ASIDE]) + cover([x + ASIDE, y - ASIDE]) + cover([x - ASIDE, y + ASIDE]) + cover([x + ASIDE, y + ASIDE]))
}

/// Cover of a blurred disc by the distance from its centre.
struct Profile {
    per_px: f64,
    values: Vec<f64>,
}

impl Profile {
    fn new(film: &Film, radius: f64, to: f64) -> Self {
        let half = Traced::half_disc(radius, film.lens.sigma_px);
        let per_px = PROFILE_STEPS / film.lens.sigma_px;
        // One step before the centre and two behind the end, for the cubics.
        let steps = floor_index(to * per_px) + 4;
        let values = (0..steps).map(|i| 2.0 * half.cover(&film.lens, [(i as f64 - 1.0) / per_px, 0.0])).collect();
        Self { per_px, values }
    }

    /// Four-point Lagrange interpolation.
    fn at(&self, p: [f64; 2]) -> f64 {
        let place = (p[0] * p[0] + p[1] * p[1]).sqrt() * self.per_px;
        let cell = floor_index(place);
        let t = place - cell as f64;
        let Some([a, b, c, d]) = self.values.get(cell..cell + 4) else { return 0.0 };
        let (before, after, two) = (t + 1.0, t - 1.0, t - 2.0);
        -t * after * two / 6.0 * a + before * after * two / 2.0 * b - before * t * two / 2.0 * c + before * t * after / 6.0 * d
    }
}
