//! All of it for one field: survey, then cut, join, calibrate, refine.

use rayon::prelude::*;

use crate::gaps::{self, Gap, GapVisit};
use crate::light::{Correction, FilmGrid, Lamp, Light, Optics, Reference, Seen, is_black, look, od_of_level};
use crate::objects::{self, Block, Calibration, Found, Object, Refined, Scene, Visit, Visitor};
use crate::phases::{Component, Cut, Cuts, NOBODY, Places, RunMap, count32, cut, join};
use crate::plane::{Level, ONE, Rect, Samples, Stage, Stop, Watch};
pub use crate::quality::Flag;
use crate::quality::field::{FilmJudged, Fitness, LEAST_PX, flags};
use crate::quality::{light as quality_light, sharpness};
use crate::recipe::{Detect, Film, Kind, Recipe};
use crate::reuse;
use crate::statistics::{median, normal_quantile};

#[cfg(test)]
mod tests;

/// The film as one field shows it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FilmSeen {
    /// Median level of the film.
    pub level: u16,
    /// Share of the field's pixels that show film, 0 to 1.
    pub share: f64,
}

/// First look at a field: light, film, noise, blur.
pub struct Surveyed {
    /// The film, where enough of it is seen to trust its level; else the slide's other fields must say.
    pub film: Option<FilmSeen>,
    /// Whether bare places can be told: their level is known, and the picture is not black.
    pub bare_known: bool,
    reference: Reference,
    has_dark: bool,
    seen: Seen,
    /// Noise of a pixel, as a share of the empty slide.
    noise: f64,
    /// Count of the empty slide ÷ full scale; darkest ÷ lightest part of the light.
    lit: [Option<f64>; 2],
}

/// Everything measured in one field.
#[derive(Clone, Debug)]
pub struct FieldResult {
    /// Columns and rows.
    pub size: (u32, u32),
    /// Width of a pixel, µm.
    pub um_per_px: f64,
    /// Smallest distance that the lens resolves, px.
    pub resolution_px: f64,
    /// Objects in order of their first pixel, from 3 px.
    pub objects: Vec<Object>,
    /// Gaps in order of their first pixel; empty where gaps could not be measured.
    pub gaps: Vec<Gap>,
    /// Whether bare places can be told from film.
    pub bare_measured: bool,
    /// Smallest diameter counted, µm: objects, gaps.
    pub counted_from_um: [f64; 2],
    /// Particle and gap pixels; the owner of a run indexes `objects` or `gaps`, `u32::MAX` for pieces too small to be either.
    pub phases: [RunMap; 2],
    /// Share of the film's OD at which a gap begins, %.
    pub gap_cut_od_pct: Option<f64>,
    /// Film between the gap level and half its OD, px².
    pub thin_area_px2: Option<f64>,
    /// Median optical density of the film.
    pub film_od: Option<f64>,
    /// Spread of the film's optical density between sub-areas, %; the picture's own light would take up most of it.
    pub film_od_cv_pct: Option<f64>,
    /// Blur and powder as the field shows them.
    pub calibration: Calibration,
    /// What its quality is judged by.
    pub fitness: Fitness,
    /// What its objects were found and judged with.
    pub ground: Ground,
    /// What its flags rest on beside that.
    pub judged: Judged,
    /// What a reader should know.
    pub flags: Vec<Flag>,
}

/// What is known of the film and its light when a field is judged.
#[derive(Clone, Copy, Debug, Default)]
pub struct Judged(Option<FilmJudged>);

/// What the objects of a field were found and judged with, so that the same powder can be judged alike elsewhere. The default judges nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Ground {
    /// Level of the film.
    pub(crate) film: f64,
    /// A pixel below this share of the film's level may belong to a particle.
    pub(crate) particle: f64,
    /// Whether film and bare places differ, so that powder lies in the film rather than anywhere.
    pub(crate) hazy: bool,
    /// How an object's window is measured.
    pub(crate) visit: Option<Visit>,
}

impl FieldResult {
    /// Number of pixels measured.
    pub fn area_px2(&self) -> f64 {
        f64::from(self.size.0) * f64::from(self.size.1)
    }

    /// Says anew what counts and what a reader should know, without looking at the picture: all that a measurement takes from the recipe's
    /// smallest diameters and kinds left out. Flags that others added are gone.
    pub fn judge_again(&mut self, optics: &Optics, recipe: &Recipe) {
        self.counted_from_um = counted_from(optics, recipe);
        let least_px = [self.counted_from_um[0] / optics.um_per_px, self.resolution_px];
        self.flags = match &self.judged.0 {
            Some(judged) => flags(judged, &self.fitness, (&self.objects, recipe), least_px),
            None => Vec::new(),
        };
    }
}

/// Half the distance between the outer two of the three edge levels, as a share of the contrast.
pub const EDGE_STEP: f64 = 0.1;

/// Edge step of the calibration: at a quarter and three quarters of a Gaussian edge, 0.6745 blur widths from its middle.
const BLUR_STEP: f64 = 0.25;
const BLUR_QUANTILE: f64 = 0.674_489_750_196_081_7;

/// Resolution of a lens (0.61 λ/NA) in widths of the Gaussian that fits its pattern (0.21 λ/NA), for sheets that name no aperture.
const BLURS_A_RESOLUTION: f64 = 0.61 / 0.21;

/// What is no noise has a pixel at least so many noise widths off the film; one in a gigapixel of noise alone has that.
const NOISE_FACTOR: f64 = 6.0;

/// A blur that is neither measured nor known from the optics, px.
const ASSUMED_BLUR: f64 = 1.0;

/// What a field is measured with.
#[derive(Clone, Copy)]
pub struct Setting<'a> {
    /// The microscope.
    pub optics: &'a Optics,
    /// The choices.
    pub recipe: &'a Recipe,
    /// Whether objects keep the lines between their constituents, for whoever draws them.
    pub necks: bool,
    /// What the work asks and tells while it runs.
    pub watch: Watch<'a>,
}

/// First look at a field. Cheap; a lot surveys all fields of a slide before it measures one that shows too little film.
///
/// # Errors
/// [`Stop`].
pub fn survey<'a>(field: &dyn Samples, lamp: &Lamp<'a>, setting: &Setting<'_>) -> Result<(Surveyed, Correction<'a>), Stop> {
    let Setting { optics, recipe, watch, .. } = *setting;
    let Light { correction, noise, reference, has_dark, brightness, evenness } = lamp.light(field, recipe.light.film, optics, watch)?;
    let mut seen = look(field, &correction, reference.bare_known(), noise, watch)?;
    let bare_known = reference.bare_known() && !is_black(seen.median, reference);
    if recipe.light.film == Film::Clear {
        seen.film = None;
    }
    let film = seen.film.as_ref().map(|_| FilmSeen { level: objects::to_level(median(seen.cell_levels.clone())), share: seen.share });
    let lit = [brightness, evenness];
    Ok((Surveyed { film, bare_known, reference, has_dark, seen, noise, lit }, correction))
}

/// What the film is taken to be, once the slide's other fields have been asked.
struct FilmTaken {
    grid: FilmGrid,
    /// No haze: bare film and empty slide look the same.
    clear: bool,
    level: f64,
}

fn take_film(surveyed: &Surveyed, elsewhere: Option<u16>, recipe: &Recipe) -> FilmTaken {
    let one = f64::from(ONE);
    match (&surveyed.seen.film, elsewhere) {
        (Some(grid), _) => FilmTaken { grid: grid.clone(), clear: false, level: median(surveyed.seen.cell_levels.clone()) },
        (None, Some(level)) if recipe.light.film != Film::Clear => {
            FilmTaken { grid: FilmGrid::flat(f64::from(level)), clear: false, level: f64::from(level) }
        }
        _ => {
            let level = if surveyed.bare_known { one } else { surveyed.seen.median };
            FilmTaken { grid: FilmGrid::flat(level), clear: true, level }
        }
    }
}

/// A field cut and joined, with blur and powder calibrated: all that its objects are measured with.
pub struct Joined {
    film: FilmTaken,
    cuts: Cuts,
    particle: RunMap,
    components: Vec<Component>,
    gap: RunMap,
    gap_components: Vec<Component>,
    places: Places,
    thin: u64,
    /// Pixels beyond the camera's range: film, bare, particles.
    clipped: [u64; 3],
    /// Whether more than half of the picture is at full scale.
    saturated: bool,
    /// Share of the pixels in runs that turned out to be nothing: noise, and specks of less than three pixels.
    noisy: f64,
    /// Whether bare places can be told: also less than half of the picture is at full scale.
    bare_known: bool,
    noise: f64,
    calibration: Calibration,
}

impl Joined {
    fn scene<'a>(&'a self, field: &'a dyn Samples, correction: &'a Correction<'a>) -> Scene<'a> {
        Scene {
            field,
            correction,
            particle: &self.particle,
            gap: &self.gap,
            places: &self.places,
            film: &self.cuts.film,
            frame: Rect::whole(field.size()),
        }
    }
}

/// Share of the film's level below which a pixel may belong to a particle. `auto` is the noise rule kept between depths of 6 % (fainter is no
/// detectable powder, and halos would join everything) and 40 % (deeper would pass the edge of ordinary powder); `noise` is the plain rule.
/// `spread` is the film's own, as a share of its level.
pub fn detection_level(recipe: &Recipe, spread: f64) -> f64 {
    let depth = recipe.particles.noise_factor * spread;
    match recipe.particles.detect {
        Detect::Fixed => recipe.particles.fixed_level,
        Detect::Noise => 1.0 - depth.min(0.95),
        _ => 1.0 - depth.clamp(0.06, 0.4),
    }
}

fn cuts_by(surveyed: &Surveyed, film: &FilmTaken, recipe: &Recipe) -> Cuts {
    let gap = (surveyed.bare_known && !film.clear).then_some(recipe.gaps.edge);
    Cuts { film: film.grid.clone(), particle: detection_level(recipe, surveyed.seen.spread), gap }
}

impl Surveyed {
    /// What a measurement with this recipe would cut at: the same as [`join_field`], but that no gaps are measured where half of the picture
    /// turns out to be at full scale. `film_elsewhere` as there; the recipe's `[light]` must be that of the survey.
    pub fn cuts(&self, film_elsewhere: Option<u16>, recipe: &Recipe) -> Cuts {
        cuts_by(self, &take_film(self, film_elsewhere, recipe), recipe)
    }

    /// Noise of a pixel, as a share of the empty slide.
    pub const fn noise(&self) -> f64 {
        self.noise
    }
}

/// Cuts a surveyed field into runs, joins them, and measures blur and core. `film_elsewhere` is the median film level of the slide's other
/// fields, used where this one shows too little film.
///
/// # Errors
/// [`Stop`].
pub fn join_field(
    field: &dyn Samples,
    (surveyed, correction): (&Surveyed, &Correction<'_>),
    film_elsewhere: Option<u16>,
    setting: &Setting<'_>,
) -> Result<Joined, Stop> {
    let Setting { optics, recipe, watch, .. } = *setting;
    let film = take_film(surveyed, film_elsewhere, recipe);
    let mut cuts = cuts_by(surveyed, &film, recipe);
    let Cut { mut particle, darkest, gap: mut gap_runs, lightest, thin, clipped } =
        cut(field, correction, &cuts, optics.full_scale, watch)?;
    watch.poll()?;
    (watch.tell)(Stage::Join, 0.0);
    let saturated = 2 * clipped.iter().sum::<u64>() >= Rect::whole(field.size()).area();
    let bare_known = surveyed.bare_known && !saturated;
    let noise = surveyed.noise * f64::from(ONE);
    let gap_least = film.level + NOISE_FACTOR * noise;
    let width = field.size().0;
    let ((components, places), gap_components) = rayon::join(
        || (join_particles((&mut particle, &darkest), &cuts.film, noise), Places::of(&particle, width)),
        || {
            let kept = |c: &Component| bare_known && c.area >= 3 && f64::from(c.extreme) >= gap_least;
            objects::know_densities();
            join(&mut gap_runs, &lightest, false, kept)
        },
    );
    if !bare_known {
        // A picture that is mostly saturated shows no gaps, whatever lies above the gap level.
        cuts.gap = None;
    }
    let noisy = (particle.area_of(NOBODY) + if bare_known { gap_runs.area_of(NOBODY) } else { 0 }) as f64;
    let noisy = noisy / Rect::whole(field.size()).area().max(1) as f64;
    let uncalibrated = Calibration { blur_px: 0.0, blur_edges: 0, core_ratio: 0.0, cores: 0 };
    let mut joined = Joined {
        film,
        cuts,
        particle,
        components,
        gap: gap_runs,
        gap_components,
        places,
        thin,
        clipped,
        saturated,
        noisy,
        bare_known,
        noise,
        calibration: uncalibrated,
    };
    joined.calibration = calibrate(&joined, &joined.scene(field, correction), setting)?;
    Ok(joined)
}

/// Joins the particle runs of a cut. Noise alone makes specks beyond the level, thousands of them; what is more than noise lies well off the
/// film.
fn join_particles((particle, darkest): (&mut RunMap, &[Level]), film: &FilmGrid, noise: f64) -> Vec<Component> {
    let deep = |c: &Component| {
        let [x, y] = [f64::from(c.at.x) + f64::from(c.at.width) / 2.0, f64::from(c.at.y) + f64::from(c.at.height) / 2.0];
        f64::from(c.extreme) <= film.at(x, y) - NOISE_FACTOR * noise
    };
    join(particle, darkest, true, |c| c.area >= 3 && deep(c))
}

/// The objects of a picture of levels that shows powder on even film and nothing else, found and judged as those of the field that `ground`
/// comes from.
///
/// # Errors
/// [`Stop`].
pub(crate) fn objects_on_film(levels: &dyn Samples, ground: &Ground, watch: Watch<'_>) -> Result<Refined, Stop> {
    let Some(visit) = &ground.visit else { return Ok(Refined { objects: Vec::new(), map: RunMap::default(), too_large: 0 }) };
    let correction = Correction::none();
    let cuts = Cuts { film: FilmGrid::flat(ground.film), particle: ground.particle, gap: None };
    let Cut { mut particle, darkest, gap, .. } = cut(levels, &correction, &cuts, u16::MAX, watch)?;
    let components = join_particles((&mut particle, &darkest), &cuts.film, visit.noise);
    let places = Places::of(&particle, levels.size().0);
    let frame = Rect::whole(levels.size());
    let scene = Scene { field: levels, correction: &correction, particle: &particle, gap: &gap, places: &places, film: &cuts.film, frame };
    objects::refine(&scene, &components, visit, watch)
}

/// Visits every object of a joined field.
///
/// # Errors
/// [`Stop`].
pub fn refine_field(field: &dyn Samples, correction: &Correction<'_>, joined: &Joined, setting: &Setting<'_>) -> Result<Refined, Stop> {
    objects::refine(&joined.scene(field, correction), &joined.components, &final_visit(joined, setting), setting.watch)
}

/// How objects are visited once blur and powder are known.
fn final_visit(joined: &Joined, setting: &Setting<'_>) -> Visit {
    let calibration = &joined.calibration;
    let split = &setting.recipe.objects;
    Visit {
        core_ratio: (calibration.cores > 0).then_some(calibration.core_ratio),
        step: EDGE_STEP,
        split_depth_px: split.split.then(|| split.split_depth_um / setting.optics.um_per_px),
        necks: setting.necks,
        ..visit_of(setting, joined.noise, calibration.blur_px)
    }
}

/// Measures a surveyed field. `film_elsewhere` is the median film level of the slide's other fields, used where this one shows too
/// little film.
///
/// # Errors
/// [`Stop`].
pub fn measure(
    field: &dyn Samples,
    (surveyed, correction): (&Surveyed, &Correction<'_>),
    film_elsewhere: Option<u16>,
    setting: &Setting<'_>,
) -> Result<FieldResult, Stop> {
    let mut joined = join_field(field, (surveyed, correction), film_elsewhere, setting)?;
    let refined = refine_field(field, correction, &joined, setting)?;
    // The objects' own pixels take the place of the cut's.
    (joined.particle, joined.components) = (RunMap::default(), Vec::new());
    (setting.watch.tell)(Stage::Sum, 0.0);
    if joined.cuts.gap.is_none() && refined.too_large > 0 {
        // In a clear film all that is no object is gap; powder that was too large to look at would pass for bare.
        joined.bare_known = false;
    }
    let (mut gaps, gap_map) = gaps_of(field, correction, (&mut joined, &refined), setting)?;
    mark_centres(&mut gaps, &refined.objects);
    let fitness = fitness_of(field, (surveyed, correction), (&joined, &refined), (&gaps, &gap_map), setting)?;
    let judged = Judged(Some(judged(surveyed, film_elsewhere.is_some(), &joined)));
    let resolution_px = resolution(setting.optics, joined.calibration.blur_px);
    // What is laid by chance is judged, and never drawn.
    let visit = Some(Visit { necks: false, ..final_visit(&joined, setting) });
    let ground = Ground { film: joined.film.level, particle: joined.cuts.particle, hazy: joined.cuts.gap.is_some(), visit };
    let Joined { film, cuts, calibration, thin, bare_known, .. } = joined;
    let has_od = bare_known && !surveyed.reference.is_dark_field();
    let hazy = has_od && !film.clear;
    let film_od = od_of_level(film.level);
    let mut result = FieldResult {
        size: field.size(),
        um_per_px: setting.optics.um_per_px,
        resolution_px,
        objects: weighted(refined.objects, (setting.recipe, surveyed.reference)),
        bare_measured: bare_known,
        counted_from_um: [0.0; 2],
        phases: [refined.map, gap_map],
        gap_cut_od_pct: hazy.then(|| 100.0 * od_of_level(cuts.gap_level(film.level)) / film_od).filter(|v| v.is_finite()),
        thin_area_px2: cuts.gap.filter(|_| has_od).map(|edge| thin_area(thin, &gaps, film.level, edge, calibration.blur_px)),
        film_od: has_od.then_some(film_od),
        film_od_cv_pct: (hazy && surveyed.reference == Reference::Blank).then(|| od_spread(&surveyed.seen.cell_levels)).flatten(),
        gaps,
        calibration,
        fitness,
        ground,
        judged,
        flags: Vec::new(),
    };
    result.judge_again(setting.optics, setting.recipe);
    Ok(result)
}

/// What the quality of a field is judged by.
fn fitness_of(
    field: &dyn Samples,
    (surveyed, correction): (&Surveyed, &Correction<'_>),
    (joined, refined): (&Joined, &Refined),
    (gaps, gap_map): (&[Gap], &RunMap),
    setting: &Setting<'_>,
) -> Result<Fitness, Stop> {
    let (one, blur_px) = (f64::from(ONE), joined.calibration.blur_px);
    let [brightness, evenness] = surveyed.lit;
    let by_blank = surveyed.reference == Reference::Blank;
    let bare_level = match (by_blank && joined.bare_known, joined.film.clear) {
        (true, false) => quality_light::bare_level(field, correction, (gaps, gap_map), blur_px)?,
        (true, true) => Some(surveyed.seen.median / one),
        _ => None,
    };
    let edge_px = sharpness::of_field(&joined.calibration, &refined.objects, setting.recipe);
    let allowed = setting.optics.expected_blur_px();
    let [particles, bare] = [refined.map.area(), gap_map.area()];
    Ok(Fitness {
        brightness,
        evenness,
        noise: surveyed.noise * one / joined.film.level.max(1.0),
        bare_level,
        film_parts: surveyed.seen.film.as_ref().filter(|_| by_blank).map(|film| quality_light::film_parts(film, field.size())),
        edge_px,
        allowed_px: allowed.unwrap_or(blur_px),
        allowed_by_optics: allowed.is_some(),
        motion: sharpness::motion(field, correction, &refined.objects)?,
        pixels: [Rect::whole(field.size()).area().saturating_sub(particles + bare), bare, particles],
        clipped: joined.clipped,
        specks: joined.noisy,
        too_large: refined.too_large,
        blur_edges: joined.calibration.blur_edges,
    })
}

/// What is known of the film when its field is judged.
fn judged(surveyed: &Surveyed, film_elsewhere: bool, joined: &Joined) -> FilmJudged {
    let one = f64::from(ONE);
    let mostly_bare = surveyed.seen.film.is_none() && film_elsewhere;
    FilmJudged {
        light: (surveyed.reference, surveyed.has_dark),
        black: is_black(surveyed.seen.median, surveyed.reference).then_some(surveyed.seen.median / one),
        mostly_bare: mostly_bare.then_some(surveyed.seen.share),
        clear: (!mostly_bare && joined.film.clear && joined.bare_known).then_some(joined.film.level / one),
        saturated: joined.saturated,
    }
}

/// Gaps and their pixels: what lies above the gap level of a hazy film, or all that lies outside the objects of a clear one. None where
/// the empty slide is not known.
fn gaps_of(
    field: &dyn Samples,
    correction: &Correction<'_>,
    (joined, refined): (&mut Joined, &Refined),
    setting: &Setting<'_>,
) -> Result<(Vec<Gap>, RunMap), Stop> {
    let watch = setting.watch;
    let resolution_px = resolution(setting.optics, joined.calibration.blur_px);
    let Calibration { blur_px, core_ratio, cores, .. } = joined.calibration;
    let visit = GapVisit { blur_px, step: EDGE_STEP, circle: true, core_ratio: (cores > 0).then_some(core_ratio), resolution_px };
    let scene = Scene { particle: &refined.map, ..joined.scene(field, correction) };
    if joined.cuts.gap.is_some() {
        let gaps = gaps::refine(&scene, &joined.cuts, &joined.gap_components, visit, watch)?;
        Ok((gaps, std::mem::take(&mut joined.gap)))
    } else if joined.bare_known {
        gaps::outside_objects(refined, scene.frame, visit, watch)
    } else {
        Ok((Vec::new(), RunMap { row_start: vec![0; scene.frame.height as usize + 1], ..RunMap::default() }))
    }
}

/// Smallest distance that the lens resolves, px.
fn resolution(optics: &Optics, blur_px: f64) -> f64 {
    optics.resolution_px().unwrap_or(BLURS_A_RESOLUTION * blur_px)
}

/// Marks the gaps that are the bright centres of hollow things, and no others.
pub(crate) fn mark_centres(gaps: &mut [Gap], objects: &[Object]) {
    for gap in gaps.iter_mut() {
        gap.in_hollow = false;
    }
    for hollow in objects.iter().filter(|o| o.told.kind == Kind::Hollow) {
        let reach = 0.5 * hollow.shape.feret_min_px;
        for gap in gaps.iter_mut().filter(|g| g.at.union(hollow.at) == hollow.at) {
            let [dx, dy] = [0, 1].map(|k| gap.centroid_px[k] - hollow.centroid_px[k]);
            gap.in_hollow |= dx * dx + dy * dy < reach * reach;
        }
    }
}

fn visit_of(setting: &Setting<'_>, noise: f64, blur_px: f64) -> Visit {
    let Setting { optics, recipe, .. } = *setting;
    Visit {
        blur_px,
        core_ratio: None,
        noise,
        edge: recipe.particles.edge,
        step: BLUR_STEP,
        contrast: recipe.particles.contrast,
        deficit_below_px: (4.0 * blur_px).max(6.0),
        split_depth_px: None,
        necks: false,
        fill_holes: recipe.particles.fill_holes,
        resolution_px: resolution(optics, blur_px),
    }
}

/// Measures blur and core on the largest components of the field.
fn calibrate(joined: &Joined, scene: &Scene<'_>, setting: &Setting<'_>) -> Result<Calibration, Stop> {
    let (particles, gaps) = (&joined.components, &joined.gap_components);
    let guess = setting.optics.expected_blur_px().unwrap_or(ASSUMED_BLUR);
    let least = objects::CORE_WIDTHS * guess;
    // The width of an edge is read about its middle, wherever the recipe puts the edge.
    let visit = Visit { edge: 0.5, deficit_below_px: 0.0, ..visit_of(setting, joined.noise, guess) };
    let watch = setting.watch;
    let chosen = objects::probes(particles, least, scene.frame);
    let probed: Vec<Found> = chosen
        .par_iter()
        .map(|&i| {
            watch.poll()?;
            let mut found = Found::default();
            let of = (count32(i), &particles[i]);
            reuse::with(|visitor: &mut Visitor| visitor.visit((scene, &Block::default()), of, &visit, &mut found))?;
            Ok(found)
        })
        .collect::<Result<_, Stop>>()?;
    let probed: Vec<Object> = probed
        .into_iter()
        .flat_map(|found| found.objects)
        .filter(|o| o.core_from == objects::CoreFrom::Own && o.diameter_px() >= least)
        .collect();
    let chosen = objects::probes(gaps, least, scene.frame);
    let gap_visit = GapVisit { blur_px: guess, step: BLUR_STEP, circle: false, core_ratio: None, resolution_px: visit.resolution_px };
    let probed_gaps = gaps::probe(scene, &joined.cuts, gaps, &chosen, gap_visit, watch)?;
    let width = |area: &[f64; 3], perimeter: f64| (area[0] - area[2]) / (2.0 * BLUR_QUANTILE * perimeter);
    let particle_edges = probed.iter().map(|o| (width(&o.area_px2, o.shape.perimeter_px), o.shape.perimeter_px, o.shape.circularity));
    let gap_edges = probed_gaps.iter().map(|g| (width(&g.area_px2, g.perimeter_px), g.perimeter_px, g.circularity()));
    let mut widths = smooth_edges(particle_edges.chain(gap_edges));
    let ratios: Vec<f64> = probed.iter().map(|o| f64::from(o.core) / f64::from(o.surround.max(1))).collect();
    Ok(Calibration {
        blur_px: weighted_median(&mut widths).unwrap_or(guess),
        blur_edges: widths.len(),
        core_ratio: if ratios.is_empty() { 0.0 } else { median(ratios.clone()) },
        cores: ratios.len(),
    })
}

/// Blur widths and lengths of the edges to go by, from (width, length, circularity): the smooth ones, since the crevices of a ragged piece
/// widen what its edge seems to be (rendered clumps read 1.10 px where smooth gaps read the true 1.01); all where fewer than three are smooth.
fn smooth_edges(edges: impl Iterator<Item = (f64, f64, f64)>) -> Vec<(f64, f64)> {
    const SMOOTH: f64 = 0.9;
    let edges: Vec<_> = edges.filter(|(w, p, _)| w.is_finite() && *w > 0.0 && *p > 0.0).collect();
    let smooth: Vec<_> = edges.iter().filter(|e| e.2 >= SMOOTH).map(|e| (e.0, e.1)).collect();
    if smooth.len() < 3 { edges.into_iter().map(|e| (e.0, e.1)).collect() } else { smooth }
}

/// Value at which half of the weight is reached.
fn weighted_median(values: &mut [(f64, f64)]) -> Option<f64> {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = values.iter().map(|v| v.1).sum::<f64>() / 2.0;
    let mut below = 0.0;
    values
        .iter()
        .find(|v| {
            below += v.1;
            below >= half
        })
        .map(|v| v.0)
}

/// Smallest diameters counted, µm: six pixels, twice the resolution, or what the recipe says, whichever is largest.
pub fn counted_from(optics: &Optics, recipe: &Recipe) -> [f64; 2] {
    let seen = LEAST_PX.max(2.0 * optics.resolution_px().unwrap_or(0.0)) * optics.um_per_px;
    [recipe.particles.min_diameter_um.unwrap_or(0.0).max(seen), recipe.gaps.min_diameter_um.max(seen)]
}

/// Area of film that is thin, px²: pixels between the gap level and half the film's OD, less those that a blurred edge of a gap passes
/// through on its way from bare to film.
fn thin_area(pixels: u64, gaps: &[Gap], film: f64, edge: f64, blur_px: f64) -> f64 {
    let one = f64::from(ONE);
    let half = ((film * one).sqrt() - film) / (one - film).max(1.0);
    let quantile = |p: f64| normal_quantile(p.clamp(1e-15, 1.0 - 1e-15));
    let passed = blur_px * (quantile(edge.max(half)) - quantile(edge.min(half))) * if half < edge { 1.0 } else { 0.0 };
    (pixels as f64 - passed * gaps.iter().map(|g| g.perimeter_px).sum::<f64>()).max(0.0)
}

/// Relative standard deviation of the film's optical density between sub-areas, %.
fn od_spread(levels: &[f64]) -> Option<f64> {
    let od: Vec<f64> = levels.iter().map(|&l| od_of_level(l)).collect();
    let (mean, deviation) = crate::statistics::mean_and_deviation(&od)?;
    (mean > 0.0).then_some(100.0 * deviation? / mean)
}

/// Weights as the recipe asks; without optical densities where the levels are scattered light.
fn weighted(mut objects: Vec<Object>, (recipe, reference): (&Recipe, Reference)) -> Vec<Object> {
    if reference.is_dark_field() {
        for object in &mut objects {
            object.od = [f64::NAN; 2];
        }
    }
    if recipe.objects.frame == crate::recipe::FrameRule::All {
        for object in &mut objects {
            object.weight = Some(1.0);
        }
    }
    objects
}
