//! Judging: a group of particles becomes a picture, blurred as the microscope does, and its objects are found by the code that measures
//! fields.

use super::lay::Laid;
use super::singles::Singles;
use crate::field::{FieldResult, objects_on_film};
use crate::objects::{Object, pixels, to_level};
use crate::phases::count32;
use crate::plane::{Level, Plane, Rect, Stop, Watch, single};
use crate::quantity::is_agglomerate;
use crate::recipe::{AgglomerateRule, Recipe};

/// An object may be larger than its particles together by what blur fills in between: taken to be never by this factor.
const FILLED: f64 = 1.3;

/// Film shown around a group: an object's window takes 3.5 blur widths and 4 px beyond its pixels, which begin within 1.5 of its outline.
const MARGIN: f64 = 5.0;

/// Blur that a picture of levels has besides the lens's: pixel and reading, px² (`light::Optics::expected_blur_px`).
const PIXEL_AND_READING: f64 = 0.25;

/// Whether a group can make an agglomerate at all, so that it is worth a look.
pub(super) fn may_agglomerate(areas: impl ExactSizeIterator<Item = f64>, um_per_px: f64, recipe: &Recipe) -> bool {
    let rule = &recipe.agglomerates;
    let many = areas.len() >= rule.min_constituents as usize;
    let area = FILLED * areas.sum::<f64>() * um_per_px * um_per_px;
    let large = area >= 0.25 * std::f64::consts::PI * rule.min_diameter_um * rule.min_diameter_um;
    match rule.rule {
        AgglomerateRule::Size => large,
        AgglomerateRule::Constituents => many,
        AgglomerateRule::Either => large || many,
    }
}

/// What a group turned out to be, px².
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Judged {
    /// Area in agglomerates.
    pub(super) agglomerated: f64,
    /// Area of kinds that do not count.
    pub(super) left_out: f64,
}

/// Buffers of one thread.
#[derive(Default)]
pub(super) struct Painter {
    light: Vec<f32>,
    across: Vec<f32>,
    kernel: Vec<f32>,
}

/// A window that may reach beyond the frame.
#[derive(Clone, Copy, Debug)]
struct Window {
    x: i64,
    y: i64,
    width: usize,
    height: usize,
}

/// The pixels of the frame that show a group with film around it; `None` where none does.
pub(super) fn window_of(group: &[Laid], singles: &Singles, blur_px: f64, frame: [f64; 2]) -> Option<Rect> {
    let margin = (MARGIN * blur_px).ceil() + 4.0;
    let side = |k: usize| {
        let reach = |l: &Laid| singles.all[l.single as usize].bound + margin;
        let low = group.iter().map(|l| l.at[k] - reach(l)).fold(f64::INFINITY, f64::min).max(0.0);
        let high = group.iter().map(|l| l.at[k] + reach(l)).fold(0.0, f64::max).min(frame[k].floor());
        (low < high).then(|| (count32(super::floor(low)), count32(super::floor(high.ceil()))))
    };
    let ((x0, x1), (y0, y1)) = (side(0)?, side(1)?);
    Some(Rect::new(x0, y0, x1 - x0, y1 - y0))
}

impl Painter {
    /// The levels that the group shows in a window.
    pub(super) fn paint(&mut self, group: &[Laid], singles: &Singles, (at, film, blur_px): (Rect, f64, f64)) -> Plane<u16> {
        gaussian((blur_px * blur_px - PIXEL_AND_READING).max(0.0), &mut self.kernel);
        let reach = self.kernel.len() / 2;
        let (x, y) = (i64::from(at.x) - i64::from(count32(reach)), i64::from(at.y) - i64::from(count32(reach)));
        let whole = Window { x, y, width: at.width as usize + 2 * reach, height: at.height as usize + 2 * reach };
        self.light.clear();
        self.light.resize(whole.width * whole.height, 1.0);
        for one in group {
            darken(&mut self.light, whole, one, singles);
        }
        self.blur(whole, reach);
        let levels: Vec<Level> = self.light.iter().map(|&light| to_level(film * f64::from(light))).collect();
        Plane::from_shape_vec((at.height as usize, at.width as usize), levels).expect("the blur leaves the window")
    }

    /// Blurs `light`; what is left of it is the inside of the window, by the kernel's reach.
    fn blur(&mut self, window: Window, reach: usize) {
        let (width, inner) = (window.width, window.width - 2 * reach);
        self.across.clear();
        self.across.resize(inner * window.height, 0.0);
        for (from, to) in self.light.chunks_exact(width).zip(self.across.chunks_exact_mut(inner.max(1))) {
            for (k, &weight) in self.kernel.iter().enumerate() {
                to.iter_mut().zip(&from[k..]).for_each(|(to, &light)| *to += weight * light);
            }
        }
        let rows = window.height - 2 * reach;
        self.light.clear();
        self.light.resize(inner * rows, 0.0);
        for (row, to) in self.light.chunks_exact_mut(inner.max(1)).enumerate() {
            for (k, &weight) in self.kernel.iter().enumerate() {
                let from = &self.across[(row + k) * inner..(row + k + 1) * inner];
                to.iter_mut().zip(from).for_each(|(to, &light)| *to += weight * light);
            }
        }
    }
}

/// Takes the light that a particle takes; where particles overlap, each takes its share of what the other leaves.
fn darken(light: &mut [f32], window: Window, one: &Laid, singles: &Singles) {
    let particle = &singles.all[one.single as usize];
    let taken = 1.0 - particle.ratio;
    let (sin, cos) = libm::sincos(std::f64::consts::TAU * one.turn);
    let (sin, cos) = (single(sin), single(cos));
    let [x, y] = [one.at[0] - window.x as f64, one.at[1] - window.y as f64];
    let range = |at: f64, side: usize| {
        let reach = particle.bound + 1.0;
        super::floor((at - reach).max(0.0)).min(side)..super::floor((at + reach + 1.0).max(0.0)).min(side)
    };
    for row in range(y, window.height) {
        let dy = single(row as f64 + 0.5 - y);
        for column in range(x, window.width) {
            let dx = single(column as f64 + 0.5 - x);
            light[row * window.width + column] *= 1.0 - taken * singles.cover(particle, [cos * dx + sin * dy, cos * dy - sin * dx]);
        }
    }
}

/// Weights of a Gaussian of this variance on whole pixels, px²; three of exactly that variance where it is too narrow for its samples.
fn gaussian(variance: f64, kernel: &mut Vec<f32>) {
    kernel.clear();
    if variance < 0.4 {
        kernel.extend([0.5 * variance, 1.0 - variance, 0.5 * variance].map(single));
        return;
    }
    let reach = pixels(3.5 * variance.sqrt());
    let weights: Vec<f64> = (0..=2 * reach)
        .map(|k| {
            let d = k as f64 - reach as f64;
            libm::exp(-0.5 * d * d / variance)
        })
        .collect();
    let sum: f64 = weights.iter().sum();
    kernel.extend(weights.iter().map(|w| single(w / sum)));
}

/// The objects that a group of particles shows, found as those of a field are, in a window that begins at its first pixel. The sides of the
/// window that lie on the frame cut it as the frame does.
pub(super) fn objects_of(
    group: &[Laid],
    singles: &Singles,
    (field, at): (&FieldResult, Rect),
    watch: Watch<'_>,
    painter: &mut Painter,
) -> Result<Vec<Object>, Stop> {
    let levels = painter.paint(group, singles, (at, field.ground.film, field.calibration.blur_px));
    Ok(objects_on_film(&levels, &field.ground, watch)?.objects)
}

/// Judges a group of particles by the recipe.
pub(super) fn judge(
    group: &[Laid],
    singles: &Singles,
    (field, at): (&FieldResult, Rect),
    (recipe, watch): (&Recipe, Watch<'_>),
    painter: &mut Painter,
) -> Result<Judged, Stop> {
    let mut judged = Judged::default();
    for object in &objects_of(group, singles, (field, at), watch, painter)? {
        let area = object.area_px2[1];
        if recipe.leave_out.contains(&object.told.kind) {
            judged.left_out += area;
        } else if is_agglomerate(field, object, recipe) {
            judged.agglomerated += area;
        }
    }
    Ok(judged)
}
