//! What one field shows of its own quality.

use super::light::{AGREE, DARKER, assumed};
use super::{Flag, FlagId, sharpness};
use crate::light::Reference;
use crate::objects::Object;
use crate::recipe::Recipe;

/// What a field's quality is judged by, kept for the comparison with its siblings.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Fitness {
    /// Count of the empty slide as a share of the camera's full scale, where it is known.
    pub brightness: Option<f64>,
    /// Darkest ÷ lightest part of the light, where it is known.
    pub evenness: Option<f64>,
    /// Noise of a pixel ÷ level of the film.
    pub noise: f64,
    /// Level of bare places ÷ that of the blank, where both are seen.
    pub bare_level: Option<f64>,
    /// Level of the film in nine parts of the picture as shares of its median, where a blank gives the light.
    pub film_parts: Option<[f64; 9]>,
    /// Width of the field's edges, px, as the standard deviation of a Gaussian.
    pub edge_px: Option<f64>,
    /// The width that aperture, wavelength and pixels allow, px; the field's own where the sheet does not give them.
    pub allowed_px: f64,
    /// Whether it is theirs.
    pub allowed_by_optics: bool,
    /// Width of the edges in the widest direction ÷ across it.
    pub motion: Option<f64>,
    /// Pixels of film, bare places and particles.
    pub pixels: [u64; 3],
    /// Those of them beyond the camera's range.
    pub clipped: [u64; 3],
    /// Share of the pixels in specks of noise.
    pub specks: f64,
    /// Pieces too large to look at.
    pub too_large: usize,
    /// Edges that the blur was measured on.
    pub blur_edges: usize,
}

/// What is known of the film when a field is judged.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FilmJudged {
    /// What the levels stand on, and whether a dark picture was given.
    pub(crate) light: (Reference, bool),
    /// Median level of the picture, as a share of the empty slide, where that is too dark to show anything.
    pub(crate) black: Option<f64>,
    /// Share of the pixels that show film, where its level came from the slide's other fields.
    pub(crate) mostly_bare: Option<f64>,
    /// Level of the film ÷ empty slide, where they are one.
    pub(crate) clear: Option<f64>,
    /// Whether more than half of the picture is at full scale.
    pub(crate) saturated: bool,
}

/// The flags of one field by itself. `counted_from_px` is the smallest diameter counted, `resolution_px` what the lens resolves.
pub(crate) fn flags(
    film: &FilmJudged,
    fitness: &Fitness,
    (objects, recipe): (&[Object], &Recipe),
    [counted_from_px, resolution_px]: [f64; 2],
) -> Vec<Flag> {
    let mut flags = assumed(film.light.0, film.light.1);
    let mut add = |flag: Option<Flag>| flags.extend(flag);
    add(film.black.and_then(|level| FlagId::Black.check(level)));
    add(film.mostly_bare.map(|share| FlagId::MostlyBare.flag(share, 0.02)));
    add(film.clear.map(|level| FlagId::ClearFilm.flag(level, 0.97)));
    add(fitness.brightness.filter(|_| film.black.is_none()).and_then(|share| FlagId::Dim.check(share)));
    add(fitness.evenness.and_then(|ratio| FlagId::UnevenLight.check(ratio)));
    let fits = if fitness.bare_level.is_some_and(|level| level > 1.0) { 1.0 + AGREE } else { 1.0 - DARKER };
    add(fitness.bare_level.filter(|level| (level - 1.0).abs() > (fits - 1.0).abs()).map(|level| FlagId::BlankDiffers.flag(level, fits)));
    add_clipped(film, fitness, &mut add);
    add(FlagId::Noise.check(fitness.noise).filter(|_| film.black.is_none()));
    add(FlagId::TooNoisy.check(fitness.specks));
    add_objects(fitness, (objects, recipe), [counted_from_px, resolution_px], &mut add);
    flags
}

fn add_clipped(film: &FilmJudged, fitness: &Fitness, add: &mut impl FnMut(Option<Flag>)) {
    let share = |k: usize| fitness.clipped[k] as f64 / fitness.pixels[k].max(1) as f64;
    if film.saturated {
        let [clipped, pixels] = [fitness.clipped, fitness.pixels].map(|of| of.iter().sum::<u64>());
        add(FlagId::Clipped.check(clipped as f64 / pixels.max(1) as f64));
    } else {
        add(FlagId::Clipped.check(share(0)));
        add(FlagId::BareClipped.check(share(1)));
    }
    add(FlagId::ParticlesClipped.check(share(2)));
}

fn add_objects(
    fitness: &Fitness,
    (objects, recipe): (&[Object], &Recipe),
    [counted_from_px, resolution_px]: [f64; 2],
    add: &mut impl FnMut(Option<Flag>),
) {
    let counts = |o: &&Object| !recipe.leave_out.contains(&o.told.kind);
    let covered = fitness.pixels[2] as f64 / fitness.pixels.iter().sum::<u64>().max(1) as f64;
    if fitness.too_large > 0 {
        add(Some(
            FlagId::TooDense
                .flag(fitness.too_large as f64, 0.0)
                .with_advice("objects join to a piece too large to take apart; dilute, or use a higher magnification"),
        ));
    } else {
        add(FlagId::TooDense.check(covered));
    }
    add(FlagId::NoObjects.check(objects.len() as f64));
    add(FlagId::BlurNotMeasured.check(fitness.blur_edges as f64));
    if let (Some(width), true) = (fitness.edge_px, fitness.allowed_by_optics) {
        add(FlagId::Unsharp.check(width / fitness.allowed_px));
    }
    let large = objects.iter().filter(counts).filter(|o| o.diameter_px() >= counted_from_px);
    add(sharpness::unsharp_share(large, fitness.allowed_px, recipe).and_then(|share| FlagId::UnsharpObjects.check(share)));
    add(fitness.motion.and_then(|ratio| FlagId::MotionBlur.check(ratio)));
    let sizes: Vec<(f64, f64)> = objects.iter().filter(counts).map(|o| (o.diameter_px(), o.area_px2[1])).collect();
    let area = |below_px: f64| sizes.iter().filter(|(diameter, _)| *diameter < below_px).map(|(_, area)| area).sum::<f64>();
    let whole = area(f64::INFINITY).max(f64::MIN_POSITIVE);
    add(FlagId::FewPixels.check(area(LEAST_PX) / whole));
    add(FlagId::BelowResolution.check(area(2.0 * resolution_px) / whole));
    add(many_left_out(objects, recipe, counted_from_px));
}

/// Objects less than so many pixels across are not counted.
pub(crate) const LEAST_PX: f64 = 6.0;

/// Whether much of what is large enough to count is of a kind that does not. That may be true; or the powder itself refracts, and every
/// particle is a ring with a bright centre.
fn many_left_out(objects: &[Object], recipe: &Recipe, counted_from_px: f64) -> Option<Flag> {
    let large = objects.iter().filter(|o| o.diameter_px() >= counted_from_px);
    let is_left_out: Vec<bool> = large.map(|o| recipe.leave_out.contains(&o.told.kind)).collect();
    let left_out = is_left_out.iter().filter(|is| **is).count();
    FlagId::ManyLeftOut.check(left_out as f64 / is_left_out.len().max(1) as f64)
}
