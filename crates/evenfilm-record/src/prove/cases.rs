//! The working range: what is rendered, and how near the numbers must come.

use evenfilm_core::phantom::{Clumps, FilmSpec, Lamp, Mode, Particle, Population};

use Allowed::{Percent, Points};

use crate::phantom_files::{Bits, BlurChoice, PhantomKind, PhantomOptions};

/// How far from the truth a number may lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Allowed {
    /// % of the expected value.
    Percent(f64),
    /// In the unit of the quantity.
    Points(f64),
}

/// Where `truth.json` has a number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Truth {
    /// A path below `pooled`.
    Pooled(&'static [&'static str]),
    /// The number of objects of which as much lies in the frame as makes them count.
    Counted,
}

/// What is expected of one quantity of a case.
#[derive(Clone, Debug, PartialEq)]
pub struct Expects {
    /// Its id.
    pub quantity: &'static str,
    /// Where its truth stands.
    pub(super) truth: Truth,
    /// How much too large it is known to read, %.
    pub bias_pct: f64,
    /// Why, in words; empty where it is not.
    pub known: &'static str,
    /// How far it may lie from the truth with its bias.
    pub allowed: Allowed,
}

/// A film of known truth.
#[derive(Clone, Debug)]
pub struct Case {
    /// Its name.
    pub id: &'static str,
    /// What is rendered.
    pub options: PhantomOptions,
    /// What is expected.
    pub expects: Vec<Expects>,
}

const MEDIAN: &[&str] = &["sizes_as_counted", "x50_0_um"];
const VOLUME: &[&str] = &["sizes_as_counted", "x50_3_um"];
const SAUTER: &[&str] = &["sizes_as_counted", "d32_um"];

const fn expects(quantity: &'static str, truth: &'static [&'static str], allowed: Allowed) -> Expects {
    Expects { quantity, truth: Truth::Pooled(truth), bias_pct: 0.0, known: "", allowed }
}

/// Sizes and area of separate particles.
fn sizes([median, sauter, area]: [f64; 3]) -> Vec<Expects> {
    vec![
        expects("x50_0_um", MEDIAN, Percent(median)),
        expects("x50_3_um", VOLUME, Percent(median)),
        expects("d32_um", SAUTER, Percent(sauter)),
        expects("particle_area_pct", &["particle_area_pct"], Percent(area)),
    ]
}

/// Bare places.
fn bare([area, largest]: [f64; 2]) -> Vec<Expects> {
    vec![
        expects("uncovered_area_pct", &["uncovered_area_pct"], Percent(area)),
        expects("largest_gap_um", &["largest_gap_um"], Percent(largest)),
        expects("gaps", &["gaps"], Points(0.0)),
    ]
}

/// One field of 0.77 megapixels and how it is seen, the same for all cases unless they say otherwise.
fn one(id: &'static str, film: &FilmSpec, expects: Vec<Expects>) -> Case {
    let options = PhantomOptions { fields: 1, size: (1024, 752), film: *film, ..PhantomOptions::new(PhantomKind::Film, 20_260_304) };
    Case { id, options, expects }
}

/// Separate flat discs of nearly one size, µm, covering a twentieth of the film.
fn discs(diameter_um: f64, cover: f64) -> FilmSpec {
    let per_mm2 = cover * 1e6 / (std::f64::consts::PI / 4.0 * diameter_um * diameter_um);
    let singles = Population { per_mm2, median_um: diameter_um, gsd: 1.04, range_um: [0.9 * diameter_um, 1.1 * diameter_um] };
    FilmSpec { singles, clear_um: 1.5, ..FilmSpec::discs() }
}

/// A hazy film with gaps and few particles.
fn gaps(od: f64) -> FilmSpec {
    let film = FilmSpec::film();
    let singles = Population { per_mm2: 2000.0, ..film.singles };
    let gaps = Population { per_mm2: 600.0, ..film.gaps };
    FilmSpec { od, singles, gaps, clumps: Clumps { per_mm2: 0.0, ..film.clumps }, ..film }
}

fn seen(case: Case, change: impl FnOnce(&mut PhantomOptions)) -> Case {
    let mut case = case;
    change(&mut case.options);
    case
}

/// Every case.
pub fn cases() -> Vec<Case> {
    let mut cases = by_size();
    cases.extend(by_density_and_contrast());
    cases.extend(by_light());
    cases.extend(of_bare());
    cases.extend(beyond());
    cases
}

/// Sizes in pixels and in widths of the lens's resolution (0.516 µm). 0.25 µm a pixel is two pixels a resolution width.
fn by_size() -> Vec<Case> {
    let wide = |id, px: f64, allowed| one(id, &discs(0.25 * px, 0.05), sizes(allowed));
    // Fine pixels: three resolution widths, ten pixels across and more.
    let fine = |id, um: f64, allowed| {
        seen(one(id, &discs(um, 0.05), sizes(allowed)), |o| {
            o.um_per_px = 0.1;
            o.size = (1536, 1152);
        })
    };
    // A slow lens: coarse pixels behind an aperture of 0.25.
    let slow = |id, um: f64, allowed| {
        seen(one(id, &FilmSpec { clear_um: 4.0, ..discs(um, 0.05) }, sizes(allowed)), |o| {
            o.um_per_px = 0.65;
            o.numerical_aperture = 0.25;
        })
    };
    vec![
        wide("discs-7-px", 7.0, [2.0, 2.0, 3.0]),
        wide("discs-10-px", 10.0, [1.0, 1.0, 2.0]),
        wide("discs-16-px", 16.0, [1.0, 0.5, 1.0]),
        wide("discs-30-px", 30.0, [1.0, 0.3, 1.0]),
        fine("discs-3-resolutions", 1.55, [2.0, 2.0, 3.0]),
        fine("discs-6-resolutions", 3.1, [1.0, 0.5, 1.0]),
        slow("discs-aperture-0.25", 12.0, [1.0, 1.0, 2.0]),
    ]
}

fn by_density_and_contrast() -> Vec<Case> {
    let counted = Expects { truth: Truth::Counted, ..expects("objects", &[], Percent(1.0)) };
    let found = || vec![counted.clone(), expects("x50_0_um", MEDIAN, Percent(1.0))];
    let dense = |id, cover| one(id, &FilmSpec { clear_um: 1.2, ..discs(2.5, cover) }, found());
    let faint = |id, od, allowed: [f64; 3]| one(id, &FilmSpec { particle_od: od, ..discs(3.0, 0.05) }, sizes(allowed));
    let noisy = |id, full_well_e: f64, allowed: [f64; 3]| seen(one(id, &discs(3.0, 0.05), sizes(allowed)), |o| o.full_well_e = full_well_e);
    vec![
        dense("density-1-pct", 0.01),
        dense("density-10-pct", 0.10),
        dense("density-18-pct", 0.18),
        faint("contrast-od-0.25", 0.25, [1.0, 1.0, 2.0]),
        faint("contrast-od-1.5", 1.5, [1.0, 0.5, 1.0]),
        noisy("noise-1-pct", 12_000.0, [1.0, 0.5, 1.0]),
        noisy("noise-2-pct", 3_000.0, [1.0, 1.0, 2.0]),
    ]
}

fn by_light() -> Vec<Case> {
    let film = |id, expects| one(id, &gaps(0.35), expects);
    let both = || [bare([0.7, 2.0]), vec![expects("x50_0_um", MEDIAN, Percent(1.0))]].concat();
    vec![
        seen(film("light-even", both()), |o| o.lamp = Lamp { tilt_pct: 0.0, tilt_deg: 0.0, vignette_pct: 0.0 }),
        seen(film("light-uneven", both()), |o| o.lamp = Lamp { tilt_pct: 30.0, tilt_deg: 60.0, vignette_pct: 40.0 }),
        seen(film("light-8-bit", both()), |o| o.bits = Bits::Eight),
        seen(film("light-gaussian-blur", both()), |o| o.blur = BlurChoice::Gaussian),
        seen(film("light-with-dark", both()), |o| o.dark = true),
        seen(film("dark-field", both()), |o| o.mode = Mode::Darkfield),
    ]
}

fn of_bare() -> Vec<Case> {
    let hazy = |id, od, allowed| one(id, &gaps(od), bare(allowed));
    let hole = |id, pct| {
        let film = FilmSpec { hole_pct: pct, gaps: Population { per_mm2: 0.0, ..FilmSpec::film().gaps }, ..gaps(0.35) };
        one(id, &film, vec![expects("uncovered_area_pct", &["uncovered_area_pct"], Percent(1.0))])
    };
    vec![hazy("bare-od-0.1", 0.1, [0.7, 2.0]), hazy("bare-od-1", 1.0, [0.7, 2.0]), hole("hole-10-pct", 10.0), hole("hole-60-pct", 60.0)]
}

/// Clumps, and what the edge rule does not hold for: its bias is known, and these checks say whether this installation has the same.
fn beyond() -> Vec<Case> {
    let fraction = expects("agglomerate_fraction_pct", &["agglomerate_fraction_pct"], Points(2.0));
    let clumps = one("clumps", &FilmSpec::film(), vec![fraction, expects("particle_area_pct", &["particle_area_pct"], Percent(3.0))]);
    let biased = |bias_pct, known, allowed| Expects { bias_pct, known, ..expects("x50_0_um", MEDIAN, Percent(allowed)) };
    let spheres = FilmSpec { particle: Particle::Absorbing, ..discs(5.0, 0.05) };
    let spheres = one("spheres-5-um", &spheres, vec![biased(-6.0, "absorbing spheres fade towards their edge", 2.0)]);
    let depth = FilmSpec { depth_um: 3.0, ..discs(5.0, 0.03) };
    let depth = one("defocus-3-um", &depth, vec![biased(-0.3, "particles up to 3 µm out of focus", 2.0)]);
    let refracting = FilmSpec { particle: Particle::Refracting { relative_index: 4.0 / 3.0 }, ..discs(5.0, 0.03) };
    let named = Expects {
        known: "clear spheres that refract look like bubbles, and are named so",
        ..expects("left_out_objects", &["objects"], Percent(10.0))
    };
    vec![clumps, spheres, depth, one("refracting-5-um", &refracting, vec![named])]
}
