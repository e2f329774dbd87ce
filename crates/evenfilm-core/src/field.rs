//! All of it for one field: survey, then cut, join, calibrate, refine.

use rayon::prelude::*;

use crate::gaps::{self, Gap, GapVisit};
use crate::light::{BLACK, Correction, FilmGrid, Lamp, Light, Optics, Reference, Seen, flags_of_light, is_black, look, od_of_level};
use crate::objects::{self, Calibration, Object, Refined, Scene, Visit, Visitor};
use crate::phases::{Component, Cut, Cuts, RunMap, count32, cut, join};
use crate::plane::{ONE, Rect, Samples, Stage, Stop, Watch};
use crate::recipe::{Detect, Film, Kind, Recipe};
use crate::reuse;
use crate::statistics::median;

/// Something about a field that a reader of its numbers should know. A poor picture is a result with flags, not an error.
#[derive(Clone, Debug, PartialEq)]
pub struct Flag {
    /// Which flag: a word with underscores.
    pub id: &'static str,
    /// What was found.
    pub value: Option<f64>,
    /// What it was held against.
    pub limit: Option<f64>,
    /// What to do, in words.
    pub advice: &'static str,
}

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
    /// What a reader should know.
    pub flags: Vec<Flag>,
}

impl FieldResult {
    /// Number of pixels measured.
    pub fn area_px2(&self) -> f64 {
        f64::from(self.size.0) * f64::from(self.size.1)
    }
}

/// Half the distance between the outer two of the three edge levels, as a share of the contrast.
pub const EDGE_STEP: f64 = 0.1;

/// Edge step of the calibration: at a quarter and three quarters of a Gaussian edge, 0.6745 blur widths from its middle.
const BLUR_STEP: f64 = 0.25;
const BLUR_QUANTILE: f64 = 0.674_489_750_196_081_7;

/// Resolution of a lens (0.61 λ/NA) in widths of the Gaussian that fits its pattern (0.21 λ/NA), for sheets that name no aperture.
const BLURS_A_RESOLUTION: f64 = 0.61 / 0.21;

/// A blur that is neither measured nor known from the optics, px.
const ASSUMED_BLUR: f64 = 1.0;

/// What a field is measured with.
#[derive(Clone, Copy)]
pub struct Setting<'a> {
    /// The microscope.
    pub optics: &'a Optics,
    /// The choices.
    pub recipe: &'a Recipe,
    /// What the work asks and tells while it runs.
    pub watch: Watch<'a>,
}

/// First look at a field. Cheap; a lot surveys all fields of a slide before it measures one that shows too little film.
///
/// # Errors
/// [`Stop`].
pub fn survey<'a>(field: &dyn Samples, lamp: &Lamp<'a>, setting: &Setting<'_>) -> Result<(Surveyed, Correction<'a>), Stop> {
    let Setting { optics, recipe, watch } = *setting;
    let Light { correction, noise, reference, has_dark } = lamp.light(field, recipe.light.film, optics, watch)?;
    let mut seen = look(field, &correction, reference.bare_known(), noise, watch)?;
    let bare_known = reference.bare_known() && !is_black(seen.median, reference);
    if recipe.light.film == Film::Clear {
        seen.film = None;
    }
    let film = seen.film.as_ref().map(|_| FilmSeen { level: objects::to_level(median(seen.cell_levels.clone())), share: seen.share });
    Ok((Surveyed { film, bare_known, reference, has_dark, seen, noise }, correction))
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
    thin: u64,
    clipped: u64,
    /// Whether bare places can be told: also less than half of the picture is at full scale.
    bare_known: bool,
    noise: f64,
    calibration: Calibration,
}

impl Joined {
    fn scene<'a>(&'a self, field: &'a dyn Samples, correction: &'a Correction<'a>) -> Scene<'a> {
        Scene { field, correction, particle: &self.particle, gap: &self.gap, film: &self.cuts.film, frame: Rect::whole(field.size()) }
    }
}

/// Share of the film's level below which a pixel may belong to a particle. `auto` is the noise rule kept between depths of 6 % (fainter is no
/// detectable powder, and halos would join everything) and 40 % (deeper would pass the edge of ordinary powder); `noise` is the plain rule.
fn detection_level(recipe: &Recipe, spread: f64) -> f64 {
    let depth = recipe.particles.noise_factor * spread;
    match recipe.particles.detect {
        Detect::Fixed => recipe.particles.fixed_level,
        Detect::Noise => 1.0 - depth.min(0.95),
        _ => 1.0 - depth.clamp(0.06, 0.4),
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
    let Setting { optics, recipe, watch } = *setting;
    let film = take_film(surveyed, film_elsewhere, recipe);
    let gap = (surveyed.bare_known && !film.clear).then_some(recipe.gaps.edge);
    let mut cuts = Cuts { film: film.grid.clone(), particle: detection_level(recipe, surveyed.seen.spread), gap };
    let Cut { mut particle, darkest, gap: mut gap_runs, lightest, thin, clipped } =
        cut(field, correction, &cuts, optics.full_scale, watch)?;
    watch.poll()?;
    (watch.tell)(Stage::Join, 0.0);
    let bare_known = surveyed.bare_known && 2 * clipped < Rect::whole(field.size()).area();
    let noise = surveyed.noise * f64::from(ONE);
    let components = join(&mut particle, &darkest, true, |c| c.area >= 3);
    if !bare_known {
        // A picture that is mostly saturated shows no gaps, whatever lies above the gap level.
        cuts.gap = None;
    }
    // Noise alone makes specks above the gap level; what is bare rises well above the film's noise.
    let gap_least = film.level + 5.0 * noise;
    let gap_components = join(&mut gap_runs, &lightest, false, |c| bare_known && c.area >= 3 && f64::from(c.extreme) >= gap_least);
    let uncalibrated = Calibration { blur_px: 0.0, blur_edges: 0, core_ratio: 0.0, cores: 0 };
    let mut joined = Joined {
        film,
        cuts,
        particle,
        components,
        gap: gap_runs,
        gap_components,
        thin,
        clipped,
        bare_known,
        noise,
        calibration: uncalibrated,
    };
    joined.calibration = calibrate(&joined, &joined.scene(field, correction), setting)?;
    Ok(joined)
}

/// Visits every object of a joined field.
///
/// # Errors
/// [`Stop`].
pub fn refine_field(field: &dyn Samples, correction: &Correction<'_>, joined: &Joined, setting: &Setting<'_>) -> Result<Refined, Stop> {
    let calibration = &joined.calibration;
    let core_ratio = (calibration.cores > 0).then_some(calibration.core_ratio);
    let split = &setting.recipe.objects;
    let visit = Visit {
        core_ratio,
        step: EDGE_STEP,
        split_depth_px: split.split.then(|| split.split_depth_um / setting.optics.um_per_px),
        ..visit_of(setting, joined.noise, calibration.blur_px)
    };
    objects::refine(&joined.scene(field, correction), &joined.components, &visit, setting.watch)
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
    let joined = join_field(field, (surveyed, correction), film_elsewhere, setting)?;
    let refined = refine_field(field, correction, &joined, setting)?;
    (setting.watch.tell)(Stage::Sum, 0.0);
    let (mut gaps, gap_map) = gaps_of(field, correction, (&joined, &refined), setting)?;
    mark_centres(&mut gaps, &refined.objects);
    let mut flags = flags_of(surveyed, film_elsewhere.is_some(), &joined, &refined);
    flags.extend(many_left_out(&refined.objects, setting));
    let Joined { film, cuts, calibration, thin, bare_known, .. } = joined;
    let has_od = bare_known && !surveyed.reference.is_dark_field();
    let hazy = has_od && !film.clear;
    let film_od = od_of_level(film.level);
    Ok(FieldResult {
        size: field.size(),
        um_per_px: setting.optics.um_per_px,
        resolution_px: resolution(setting.optics, calibration.blur_px),
        objects: weighted(refined.objects, (setting.recipe, surveyed.reference)),
        bare_measured: bare_known,
        counted_from_um: counted_from(setting.optics, setting.recipe),
        phases: [refined.map, gap_map],
        gap_cut_od_pct: hazy.then(|| 100.0 * od_of_level(cuts.gap_level(film.level)) / film_od).filter(|v| v.is_finite()),
        thin_area_px2: cuts.gap.filter(|_| has_od).map(|edge| thin_area(thin, &gaps, film.level, edge, calibration.blur_px)),
        film_od: has_od.then_some(film_od),
        film_od_cv_pct: (hazy && surveyed.reference == Reference::Blank).then(|| od_spread(&surveyed.seen.cell_levels)).flatten(),
        gaps,
        calibration,
        flags,
    })
}

/// Gaps and their pixels: what lies above the gap level of a hazy film, or all that lies outside the objects of a clear one. None where
/// the empty slide is not known.
fn gaps_of(
    field: &dyn Samples,
    correction: &Correction<'_>,
    (joined, refined): (&Joined, &Refined),
    setting: &Setting<'_>,
) -> Result<(Vec<Gap>, RunMap), Stop> {
    let watch = setting.watch;
    let resolution_px = resolution(setting.optics, joined.calibration.blur_px);
    let Calibration { blur_px, core_ratio, cores, .. } = joined.calibration;
    let visit = GapVisit { blur_px, step: EDGE_STEP, circle: true, core_ratio: (cores > 0).then_some(core_ratio), resolution_px };
    let scene = Scene { particle: &refined.map, ..joined.scene(field, correction) };
    if joined.cuts.gap.is_some() {
        Ok((gaps::refine(&scene, &joined.cuts, &joined.gap_components, visit, watch)?, joined.gap.clone()))
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

/// Whether much of what is large enough to count is of a kind that does not. That may be true; or the powder itself refracts, and every
/// particle is a ring with a bright centre.
fn many_left_out(objects: &[Object], setting: &Setting<'_>) -> Option<Flag> {
    const MANY: f64 = 0.2;
    let least_px = counted_from(setting.optics, setting.recipe)[0] / setting.optics.um_per_px;
    let large = || objects.iter().filter(|o| o.diameter_px() >= least_px);
    let left_out = large().filter(|o| setting.recipe.leave_out.contains(&o.told.kind)).count();
    let share = left_out as f64 / large().count().max(1) as f64;
    (share > MANY).then_some(Flag {
        id: "many_left_out",
        value: Some(share),
        limit: Some(MANY),
        advice: "many objects are of kinds that do not count; look at the overlay, and if they are powder, take their kind out of leave_out",
    })
}

/// Marks the gaps that are the bright centres of hollow things.
fn mark_centres(gaps: &mut [Gap], objects: &[Object]) {
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
    let probed: Vec<Vec<(Object, _)>> = chosen
        .par_iter()
        .map(|&i| {
            watch.poll()?;
            let mut found = Vec::new();
            reuse::with(|visitor: &mut Visitor| visitor.visit(scene, (count32(i), &particles[i]), &visit, &mut found))?;
            Ok(found)
        })
        .collect::<Result<_, Stop>>()?;
    let probed: Vec<Object> = probed
        .into_iter()
        .flatten()
        .map(|(o, _)| o)
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
    let seen = 6f64.max(2.0 * optics.resolution_px().unwrap_or(0.0)) * optics.um_per_px;
    [recipe.particles.min_diameter_um.unwrap_or(0.0).max(seen), recipe.gaps.min_diameter_um.max(seen)]
}

/// Area of film that is thin, px²: pixels between the gap level and half the film's OD, less those that a blurred edge of a gap passes
/// through on its way from bare to film.
fn thin_area(pixels: u64, gaps: &[Gap], film: f64, edge: f64, blur_px: f64) -> f64 {
    let one = f64::from(ONE);
    let half = ((film * one).sqrt() - film) / (one - film).max(1.0);
    let passed = blur_px * (normal_quantile(edge.max(half)) - normal_quantile(edge.min(half))) * if half < edge { 1.0 } else { 0.0 };
    (pixels as f64 - passed * gaps.iter().map(|g| g.perimeter_px).sum::<f64>()).max(0.0)
}

/// Quantile of the standard normal distribution, by halving on `libm::erfc`; to about 1e-9, for 0 < p < 1.
fn normal_quantile(p: f64) -> f64 {
    let (mut low, mut high) = (-8.0, 8.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 0.5 * libm::erfc(-middle / std::f64::consts::SQRT_2) < p { low = middle } else { high = middle }
    }
    0.5 * (low + high)
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

/// What a reader of the field's numbers should know.
fn flags_of(surveyed: &Surveyed, film_elsewhere: bool, joined: &Joined, refined: &Refined) -> Vec<Flag> {
    let mut flags = flags_of_light(surveyed.reference, surveyed.has_dark);
    let mut flag = |id, value: f64, limit: f64, advice| flags.push(Flag { id, value: Some(value), limit: Some(limit), advice });
    if is_black(surveyed.seen.median, surveyed.reference) {
        flag("black", surveyed.seen.median / f64::from(ONE), BLACK, "the picture is black; check lamp, shutter and exposure");
    }
    if surveyed.seen.film.is_none() && film_elsewhere {
        flag("mostly_bare", surveyed.seen.share, 0.02, "too little film shows; its level was taken from the slide's other fields");
    } else if joined.film.clear && joined.bare_known {
        flag(
            "clear_film",
            joined.film.level / f64::from(ONE),
            0.97,
            "the film is as light as the empty slide; everything outside particles counts as uncovered",
        );
    }
    if joined.clipped > 0 {
        flag(
            "clipped",
            joined.clipped as f64,
            0.0,
            "pixels at the camera's full scale: levels there are too low by an unknown amount; expose less",
        );
    }
    if refined.too_large > 0 {
        flag(
            "too_dense",
            refined.too_large as f64,
            0.0,
            "objects join to a piece too large to take apart; dilute, or use a higher magnification",
        );
    }
    if refined.objects.is_empty() {
        flag("no_objects", 0.0, 1.0, "no particle was found; check focus and light");
    }
    if joined.calibration.blur_edges == 0 {
        flag(
            "blur_not_measured",
            0.0,
            1.0,
            "no edge was long enough to measure the blur; it was taken from the optics, or assumed to be 1 px",
        );
    }
    flags
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plane::Plane;
    use crate::recipe::FillHoles;
    use std::sync::atomic::AtomicBool;

    const OPTICS: Optics = Optics { um_per_px: 0.25, numerical_aperture: Some(0.65), wavelength_nm: Some(550.0), full_scale: u16::MAX };

    fn measured(picture: &Plane<u16>, blank: Option<&Plane<u16>>, recipe: &Recipe) -> Result<FieldResult, Stop> {
        let cancel = AtomicBool::new(false);
        let watch = Watch { cancel: &cancel, tell: &|_, _| () };
        let lamp = Lamp::new(blank.map(|b| b as &dyn Samples), None, watch)?;
        let setting = Setting { optics: &OPTICS, recipe, watch };
        let (surveyed, correction) = survey(picture, &lamp, &setting)?;
        measure(picture, (&surveyed, &correction), None, &setting)
    }

    fn flags(result: &FieldResult) -> Vec<&str> {
        result.flags.iter().map(|f| f.id).collect()
    }

    /// A film of transmission 0.45 with discs (x, y, radius, transmission), 16 samples a pixel, without blur.
    fn film(width: usize, height: usize, discs: &[(f64, f64, f64, f64)]) -> Plane<u16> {
        Plane::from_shape_fn((height, width), |(row, column)| {
            let sample = |k: usize| {
                let (x, y) = (column as f64 + (k % 4) as f64 / 4.0 + 0.125, row as f64 + (k / 4) as f64 / 4.0 + 0.125);
                discs.iter().find(|d| (x - d.0).powi(2) + (y - d.1).powi(2) < d.2 * d.2).map_or(0.45, |d| d.3)
            };
            objects::to_level((0..16).map(sample).sum::<f64>() / 16.0 * 40_000.0)
        })
    }

    #[test]
    fn pictures_without_a_film_are_results_with_flags() {
        let recipe = Recipe::default();
        for (width, height) in [(1, 1), (1, 300), (300, 1), (2, 2), (65, 64), (200, 130)] {
            let blank = Plane::from_elem((height, width), 40_000u16);
            for (value, flag) in [(0u16, "black"), (u16::MAX, "clipped"), (40_000, "clear_film"), (18_000, "no_objects")] {
                let picture = Plane::from_elem((height, width), value);
                for blank in [Some(&blank), None] {
                    let result = measured(&picture, blank, &recipe).unwrap();
                    assert!(result.objects.is_empty(), "{width} × {height} at {value}");
                    assert!(blank.is_none() || flags(&result).contains(&flag), "{width} × {height} at {value}: {:?}", flags(&result));
                    assert_eq!(blank.is_none(), flags(&result).contains(&"no_blank"));
                    let shows_nothing = value == 0 || value == u16::MAX || blank.is_none();
                    assert_eq!(result.bare_measured, !shows_nothing, "{width} × {height} at {value}");
                    assert_eq!(result.phases[0].row_start.len(), height + 1);
                }
            }
        }
    }

    #[test]
    fn a_saturated_film_shows_no_gaps() {
        let blank = Plane::from_elem((128, 128), 40_000u16);
        // A strip of film; the rest is at full scale.
        let picture = Plane::from_shape_fn((128, 128), |(_, c)| if c < 40 { 18_000 } else { u16::MAX });
        let result = measured(&picture, Some(&blank), &Recipe::default()).unwrap();
        assert!(!result.bare_measured && result.gaps.is_empty() && result.thin_area_px2.is_none() && result.film_od.is_none());
        assert!(flags(&result).contains(&"clipped") && !flags(&result).contains(&"clear_film"));
    }

    #[test]
    fn a_blank_of_another_size_is_refused() {
        let stop = measured(&Plane::zeros((10, 12)), Some(&Plane::from_elem((10, 11), 9)), &Recipe::default()).unwrap_err();
        assert!(stop.to_string().contains("blank") && stop.to_string().contains("11 × 10"), "{stop}");
    }

    #[test]
    fn a_cancelled_field_stops() {
        let cancel = AtomicBool::new(true);
        let watch = Watch { cancel: &cancel, tell: &|_, _| () };
        assert!(matches!(Lamp::new(Some(&Plane::from_elem((9, 9), 1u16)), None, watch), Err(Stop::Cancelled)));
    }

    #[test]
    fn a_faint_particle_beside_a_dark_one_survives() {
        let blank = Plane::from_elem((80, 120), 40_000u16);
        // Edge to edge 2.2 px; the fainter one darkens a third as much.
        let picture = film(120, 80, &[(40.0, 40.0, 6.0, 0.05), (53.2, 40.0, 5.0, 0.32), (90.0, 40.0, 6.0, 0.05)]);
        let result = measured(&picture, Some(&blank), &Recipe::default()).unwrap();
        let centres: Vec<(f64, f64)> = result.objects.iter().map(|o| (o.centroid_px[0].round(), o.diameter_px().round())).collect();
        assert_eq!(centres, [(40.0, 12.0), (90.0, 12.0), (53.0, 10.0)]);
    }

    #[test]
    fn one_ragged_piece_is_one_object_and_touching_the_frame_is_seen() {
        let blank = Plane::from_elem((80, 120), 40_000u16);
        let picture = film(120, 80, &[(40.0, 40.0, 6.0, 0.05), (50.0, 43.0, 5.0, 0.05), (119.0, 40.0, 6.0, 0.05)]);
        let result = measured(&picture, Some(&blank), &Recipe::default()).unwrap();
        let seen: Vec<(bool, bool)> = result.objects.iter().map(|o| (o.touches_frame, o.weight.is_none())).collect();
        assert_eq!(seen, [(false, false), (true, true)]);
    }

    #[test]
    fn quarter_turns_and_mirrors_leave_the_numbers() {
        let blank = Plane::from_elem((200, 300), 40_000u16);
        let mut discs = vec![
            (40.0, 60.0, 7.3, 0.05),
            (120.7, 33.0, 5.1, 0.05),
            (80.0, 130.0, 24.0, 1.0),
            (150.0, 150.0, 9.0, 0.05),
            (161.0, 160.0, 5.0, 0.05),
            // A bubble: its centre is as bright as the film.
            (246.2, 49.6, 14.0, 0.45),
            (246.2, 49.6, 18.0, 0.05),
        ];
        // Clumps of touching discs, and a fibre.
        discs.extend([(60.4, 12.2), (66.9, 18.9), (75.9, 16.6), (72.1, 27.3), (63.0, 29.1)].map(|(x, y)| (x, y, 4.7, 0.05)));
        discs.extend([(200.3, 150.2, 8.3), (214.8, 158.1, 8.1), (201.4, 166.9, 8.4), (228.0, 147.5, 8.9)].map(|(x, y, r)| (x, y, r, 0.05)));
        discs.extend((0..130).map(|i| (150.0 + f64::from(i), 92.3 + 0.2 * f64::from(i), 3.1, 0.05)));
        let picture = film(300, 200, &discs);
        let totals = |p: &Plane<u16>, blank: &Plane<u16>| {
            let r = measured(p, Some(blank), &Recipe::default()).unwrap();
            let particles: f64 = r.objects.iter().map(|o| o.area_px2[1]).sum();
            let mut parts: Vec<(f64, Kind, Vec<f32>)> =
                r.objects.iter().map(|o| (o.area_px2[1], o.told.kind, o.constituents_px2.to_vec())).collect();
            parts.sort_by(|a, b| a.0.total_cmp(&b.0));
            ((r.objects.len(), r.gaps.len(), particles, r.gaps[0].area_px2[1], r.gaps[0].largest_circle_px), parts)
        };
        let (first, parts) = totals(&picture, &blank);
        let kinds = |kind| parts.iter().filter(|p| p.1 == kind).count();
        assert_eq!((kinds(Kind::Hollow), kinds(Kind::Fibre)), (1, 1), "{parts:?}");
        let mut clumps: Vec<usize> = parts.iter().filter(|p| p.1 == Kind::Powder).map(|p| p.2.len()).filter(|&n| n > 2).collect();
        clumps.sort_unstable();
        assert_eq!(clumps, [4, 5], "{parts:?}");
        let swapped = |p: &Plane<u16>| p.clone().reversed_axes().as_standard_layout().to_owned();
        let mirrored = Plane::from_shape_fn((200, 300), |(r, c)| picture[[r, 299 - c]]);
        let turned = swapped(&mirrored);
        let near = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-6;
        for (other, others) in [totals(&swapped(&picture), &swapped(&blank)), totals(&mirrored, &blank), totals(&turned, &swapped(&blank))]
        {
            assert_eq!((first.0, first.1), (other.0, other.1));
            assert!(near(first.2, other.2) && near(first.3, other.3), "{first:?} {other:?}");
            assert!((first.4 / other.4 - 1.0).abs() < 5e-3, "{first:?} {other:?}");
            for (a, b) in parts.iter().zip(&others) {
                assert_eq!((a.1, a.2.len()), (b.1, b.2.len()), "{a:?} {b:?}");
                assert!(a.2.iter().zip(&b.2).all(|(x, y)| near(f64::from(*x), f64::from(*y))), "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn noise_alone_is_no_powder() {
        let blank = Plane::from_elem((256, 256), 40_000u16);
        let picture = Plane::from_shape_fn((256, 256), |(r, c)| {
            let mut state = (r as u64 * 65_537 + c as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
            let mut sum = 0u64;
            for _ in 0..4 {
                state ^= state >> 29;
                state = state.wrapping_mul(0xbf58_476d_1ce4_e5b9);
                sum += state >> 54;
            }
            objects::to_level(18_000.0 + (sum as f64 - 2046.0) * 0.6)
        });
        let result = measured(&picture, Some(&blank), &Recipe::default()).unwrap();
        assert_eq!((result.objects.len(), result.gaps.len()), (0, 0));
    }

    #[test]
    fn the_recipe_says_from_where_on_a_pixel_may_be_powder() {
        let blank = Plane::from_elem((80, 120), 40_000u16);
        // One disc a fifth darker than the film, one much darker.
        let picture = film(120, 80, &[(40.0, 40.0, 6.0, 0.36), (90.0, 40.0, 6.0, 0.05)]);
        let found = |detect, fixed_level| {
            let mut recipe = Recipe::default();
            (recipe.particles.detect, recipe.particles.fixed_level) = (detect, fixed_level);
            measured(&picture, Some(&blank), &recipe).unwrap().objects.len()
        };
        assert_eq!(found(Detect::Auto, 0.5), 2);
        assert_eq!((found(Detect::Fixed, 0.5), found(Detect::Fixed, 0.9)), (1, 2));
    }

    #[test]
    fn one_and_two_threads_give_the_same_numbers() {
        let blank = Plane::from_elem((300, 400), 40_000u16);
        let discs: Vec<_> = (0..60)
            .map(|i| {
                (
                    f64::from(i % 10) * 39.0 + 20.3,
                    f64::from(i / 10) * 48.0 + 30.0,
                    3.0 + f64::from(i % 7),
                    if i % 9 == 0 { 1.0 } else { 0.06 },
                )
            })
            .collect();
        let picture = film(400, 300, &discs);
        let with = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| format!("{:?}", measured(&picture, Some(&blank), &Recipe::default()).unwrap()))
        };
        let one = with(1);
        assert!(one.len() > 10_000);
        assert!(one == with(2) && one == with(5));
    }

    #[test]
    fn holes_are_filled_only_when_dark() {
        let blank = Plane::from_elem((140, 240), 40_000u16);
        // Two rings of transmission 0.05, one around a spot two thirds as deep as it, one around film; and discs that tell the blur.
        let mut discs = vec![(40.0, 40.0, 5.0, 0.18), (40.0, 40.0, 14.0, 0.05), (85.0, 40.0, 5.0, 0.45), (85.0, 40.0, 14.0, 0.05)];
        discs.extend((0..7).map(|i| (22.0 + 30.0 * f64::from(i), 100.0, 10.0, 0.05)));
        let picture = film(240, 140, &discs);
        let areas = |edge, fill_holes| {
            let mut recipe = Recipe::default();
            (recipe.particles.edge, recipe.particles.fill_holes) = (edge, fill_holes);
            let result = measured(&picture, Some(&blank), &recipe).unwrap();
            result.objects.iter().take(2).map(|o| o.area_px2[1]).collect::<Vec<_>>()
        };
        let (whole, hole) = (std::f64::consts::PI * 196.0, std::f64::consts::PI * 25.0);
        // The deeper edge lies a third of a pixel further in, on either line.
        let [outer, inner] = [14.0, 5.0].map(|radius| 0.33 * std::f64::consts::TAU * radius);
        let near = |found: &[f64], expected: [f64; 2]| {
            assert!(found.len() == 2 && found.iter().zip(expected).all(|(f, e)| (f - e).abs() < 0.2 * hole), "{found:?} {expected:?}");
        };
        // With the edge half way a hole shallower than that is bright, and one deeper is none.
        near(&areas(0.5, FillHoles::Dark), [whole, whole - hole]);
        near(&areas(0.8, FillHoles::Dark), [whole - outer, whole - hole - outer - inner]);
        near(&areas(0.8, FillHoles::Never), [whole - hole - outer - inner; 2]);
    }
}
