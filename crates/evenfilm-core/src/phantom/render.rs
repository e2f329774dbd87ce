//! Rendering: the transmission of any rectangle of a laid film, after the lens and over the area of each pixel.

use super::haze::Haze;
use super::lay::Film;
use super::layer::Layer;
use super::lens::Lens;
use super::near::Near;
use super::outline::Form;
use super::trace::Traced;
use super::{Purpose, floor_index};
use crate::plane::Rect;
use crate::recipe::Kind;
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
        let [mut darkened, mut bare, mut dust] = [(); 3].map(|()| Cover { at, values: vec![0.0; out.len()] });
        let film = self.spec.film;
        let sine = self.spec.accepted_sine();
        let [objects, strangers, gaps] = self.near.get_or_init(|| self.places());
        for object in objects.within(at).into_iter().map(|i| &self.objects[i]) {
            let lens = self.lens_at(object.depth_um);
            for disc in &self.discs[object.discs.clone()] {
                let (times, layers) = film.particle.layers(disc.radius, film.particle_od, sine, lens.sigma_px);
                darkened.add(lens, disc.centre, &layers, times);
            }
        }
        for thing in strangers.within(at).into_iter().map(|i| &self.strangers[i]) {
            let cover = if thing.kind == Kind::Dust { &mut dust } else { &mut darkened };
            cover.add(&self.lens, thing.centre, &thing.figure.layers, 1.0);
        }
        for gap in gaps.within(at).into_iter().map(|i| &self.gaps[i]) {
            darkened.add(&self.lens, gap.centre, &gap.figure.layers, 1.0);
            bare.add(&self.lens, gap.centre, &[Layer { form: gap.figure.form.clone(), taken: 1.0 }], 1.0);
        }
        self.haze(at, out);
        for (((t, darkened), bare), dust) in out.iter_mut().zip(&darkened.values).zip(&bare.values).zip(&dust.values) {
            *t = (*t * (1.0 - darkened) + (1.0 - *t) * bare) * (1.0 - dust);
        }
    }

    /// Where objects, strangers and gaps are seen.
    fn places(&self) -> [Near; 3] {
        let (film, sine, size) = (self.spec.film, self.spec.accepted_sine(), self.spec.size);
        let objects = self.objects.iter().map(|object| {
            let lens = self.lens_at(object.depth_um);
            let boxes = self.discs[object.discs.clone()].iter().map(|disc| {
                let (_, layers) = film.particle.layers(disc.radius, film.particle_od, sine, lens.sigma_px);
                reached(lens, disc.centre, layers.iter().map(|layer| &layer.form))
            });
            boxes.fold(NOTHING, joined)
        });
        let strangers = self.strangers.iter().map(|thing| reached(&self.lens, thing.centre, thing.figure.layers.iter().map(|l| &l.form)));
        let gaps = self.gaps.iter().map(|gap| {
            let layers = reached(&self.lens, gap.centre, gap.figure.layers.iter().map(|l| &l.form));
            joined(layers, reached(&self.lens, gap.centre, std::iter::once(&gap.figure.form)))
        });
        [Near::new(size, objects), Near::new(size, strangers), Near::new(size, gaps)]
    }

    /// Transmission of the film alone.
    fn haze(&self, at: Rect, out: &mut [f64]) {
        let film = self.spec.film;
        let cv = film.haze_cv_pct / 100.0;
        let level = |od: f64| libm::exp(-LN_10 * od.max(0.0));
        let columns: Vec<f64> = (at.x..at.right()).map(|x| film.margin.od_at((f64::from(x) + 0.5) * self.spec.um_per_px)).collect();
        if cv * film.od > 0.0 {
            let source = self.spec.source(self.slide, self.field, Purpose::Haze);
            Haze::new(source, film.haze_length_um / self.spec.um_per_px).fill(at, out);
        } else {
            out.fill(0.0);
        }
        for row in out.chunks_exact_mut((at.width as usize).max(1)) {
            for (h, times) in row.iter_mut().zip(&columns) {
                *h = level(film.od * times * (1.0 + cv * *h));
            }
        }
    }
}

/// Something that adds up over the pixels of a band.
struct Cover {
    at: Rect,
    values: Vec<f64>,
}

impl Cover {
    /// Adds `times` what the layers of a thing take.
    fn add(&mut self, lens: &Lens, centre: [f64; 2], layers: &[Layer], times: f64) {
        let radii = layers.iter().map(|layer| match layer.form {
            Form::Disc { radius } => Some([radius, layer.taken]),
            _ => None,
        });
        match radii.collect::<Option<Vec<_>>>() {
            Some(rings) => self.add_round(lens, centre, &rings, times),
            None => layers.iter().for_each(|layer| self.add_outline(lens, centre, layer, times)),
        }
    }

    /// Concentric discs, whose cover depends on the distance from their centre alone.
    fn add_round(&mut self, lens: &Lens, centre: [f64; 2], rings: &[[f64; 2]], times: f64) {
        let radius = rings.iter().fold(0.0, |m: f64, ring| m.max(ring[0]));
        let whole = Form::Disc { radius };
        let Some(window) = window(self.at, lens, centre, &whole) else { return };
        let profile = Profile::new(lens, rings, radius + lens.reach_px(whole.area()) + 2.0);
        let near = radius + 5.0 * lens.sigma_px + lens.spread_px + 1.0;
        each_pixel(window, self.at, centre, &mut self.values, |p, value| {
            let distance2 = p[0] * p[0] + p[1] * p[1];
            let cover = if distance2 < near * near { over_pixel(p, |q| profile.at(q)) } else { profile.at(p) };
            *value += times * cover;
        });
    }

    fn add_outline(&mut self, lens: &Lens, centre: [f64; 2], layer: &Layer, times: f64) {
        let Some(window) = window(self.at, lens, centre, &layer.form) else { return };
        let traced = Traced::new(&layer.form, lens.sigma_px);
        each_pixel(window, self.at, centre, &mut self.values, |p, value| {
            let middle = traced.cover(lens, p);
            let edge = (0.002..0.998).contains(&middle);
            let cover = if edge { over_pixel(p, |q| traced.cover(lens, q)) } else { middle };
            *value += times * layer.taken * cover;
        });
    }
}

/// The box of no thing.
const NOTHING: [f64; 4] = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];

fn joined(a: [f64; 4], b: [f64; 4]) -> [f64; 4] {
    [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])]
}

/// The box `[x0, y0, x1, y1]` beyond which [`window`] has no pixel for any of some outlines around one centre.
fn reached<'a>(lens: &Lens, [x, y]: [f64; 2], forms: impl Iterator<Item = &'a Form>) -> [f64; 4] {
    let boxes = forms.map(|form| {
        let tails = lens.reach_px(form.area()) + 1.0;
        let [w, h] = form.half_extents();
        [x - w - tails, y - h - tails, x + w + tails, y + h + tails]
    });
    boxes.fold(NOTHING, joined)
}

/// The pixels of a band that the light of an outline reaches, if any.
fn window(band: Rect, lens: &Lens, centre: [f64; 2], form: &Form) -> Option<Rect> {
    let tails = lens.reach_px(form.area());
    let half = form.half_extents();
    let stretch = |k: usize, from: u32, to: u32| {
        let reach = half[k] + tails;
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
pub(super) fn over_pixel(p: [f64; 2], cover: impl Fn([f64; 2]) -> f64) -> f64 {
    let [x, y] = p;
    0.25 * (cover([x - ASIDE, y - ASIDE]) + cover([x + ASIDE, y - ASIDE]) + cover([x - ASIDE, y + ASIDE]) + cover([x + ASIDE, y + ASIDE]))
}

/// What blurred concentric discs take, by the distance from their centre.
struct Profile {
    per_px: f64,
    values: Vec<f64>,
}

impl Profile {
    fn new(lens: &Lens, rings: &[[f64; 2]], to: f64) -> Self {
        let halves: Vec<(Traced, f64)> =
            rings.iter().map(|&[radius, taken]| (Traced::half_disc(radius, lens.sigma_px), 2.0 * taken)).collect();
        let per_px = PROFILE_STEPS / lens.sigma_px;
        // One step before the centre and two behind the end, for the cubics.
        let steps = floor_index(to * per_px) + 4;
        let at = |distance: f64| halves.iter().fold(0.0, |sum, (half, times)| sum + times * half.cover(lens, [distance, 0.0]));
        Self { per_px, values: (0..steps).map(|i| at((i as f64 - 1.0) / per_px)).collect() }
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

#[cfg(test)]
mod tests {
    use super::super::lens::Blur;
    use super::super::sphere::Particle;
    use super::*;

    /// A blurred absorbing sphere against the sum of its chords' light under a Gaussian on a fine grid, at its middle, within, at its edge
    /// and outside.
    #[test]
    fn blurred_sphere_is_the_sum_of_its_chords() {
        let (radius, od, sigma) = (8.0, 0.9, 0.75);
        let lens = Lens::new(Blur::Gaussian { sigma_um: sigma }, 1.0);
        let (_, layers) = Particle::Absorbing.layers(radius, od, 0.4, sigma);
        let rings: Vec<[f64; 2]> = layers.iter().map(|l| [l.form.bound(), l.taken]).collect();
        let profile = Profile::new(&lens, &rings, 14.0);
        for distance in [0.0, 0.7, 3.0, 6.5, 8.0, 9.0] {
            let (mut sum, step) = (0.0, 0.02);
            for i in -250..250 {
                for j in -250..250 {
                    let (x, y) = (step * (f64::from(i) + 0.5), step * (f64::from(j) + 0.5));
                    let chord2 = 1.0 - ((distance + x) * (distance + x) + y * y) / (radius * radius);
                    let taken = 1.0 - libm::exp10(-od * chord2.max(0.0).sqrt());
                    sum += taken * step * step * libm::exp(-0.5 * (x * x + y * y) / (sigma * sigma));
                }
            }
            let expected = sum / (std::f64::consts::TAU * sigma * sigma);
            let found = profile.at([distance, 0.0]);
            assert!((found - expected).abs() < 2e-4, "{distance} {found} {expected}");
        }
    }
}
