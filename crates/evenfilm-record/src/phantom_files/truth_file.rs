//! `truth.json`: what was rendered.

use evenfilm_core::phantom::{Truth, truth};
use serde::Serialize;

use super::{ORIGIN, PhantomOptions, PhantomSummary};

/// The diameter from which the built-in rule calls an object of powder an agglomerate, µm.
const AGGLOMERATE_FROM_UM: f64 = 5.0;

/// `truth.json`.
#[derive(Serialize)]
pub(super) struct TruthFile {
    origin: String,
    format: u32,
    lot: String,
    kind: &'static str,
    seed: u64,
    files: Vec<String>,
    columns: u32,
    rows: u32,
    um_per_px: f64,
    blur_sigma_um: f64,
    film_od: f64,
    particle_od: f64,
    pub(super) pooled: Pooled,
    fields: Vec<FieldFile>,
}

impl TruthFile {
    pub(super) fn new(options: &PhantomOptions, files: Vec<String>, fields: Vec<FieldFile>, truths: &[Truth]) -> Self {
        // The smallest diameter that an automatic cut counts: 6 pixels, or two resolution widths of 0.61 λ/NA.
        let resolution_um = 0.61 * options.wavelength_nm * 1e-3 / options.numerical_aperture;
        let from_um = f64::max(6.0 * options.um_per_px, 2.0 * resolution_um);
        Self {
            origin: format!("{ORIGIN}: true values from geometry, in the order of the fields"),
            format: 1,
            lot: options.lot.clone(),
            kind: options.kind.word(),
            seed: options.seed,
            files,
            columns: options.size.0,
            rows: options.size.1,
            um_per_px: options.um_per_px,
            blur_sigma_um: rounded(options.spec(0).blur.sigma_um()),
            film_od: options.film.od,
            particle_od: options.film.particle_od,
            pooled: Pooled::new(truths, from_um),
            fields,
        }
    }
}

/// All fields together; of powder, but for what is left out.
#[derive(Serialize)]
pub(super) struct Pooled {
    objects: usize,
    constituents: usize,
    left_out_objects: usize,
    left_out_area_pct: f64,
    agglomerate_fraction_pct: f64,
    gaps: usize,
    particle_area_pct: f64,
    uncovered_area_pct: f64,
    largest_gap_um: f64,
    sizes_of_all: Option<SizesFile>,
    sizes_as_counted: Option<SizesFile>,
}

impl Pooled {
    fn new(truths: &[Truth], from_um: f64) -> Self {
        let mean = |of: fn(&Truth) -> f64| rounded(truths.iter().map(of).sum::<f64>() / truths.len().max(1) as f64);
        Self {
            objects: truths.iter().map(|t| t.powder().count()).sum(),
            constituents: truth::constituents(truths),
            left_out_objects: truths.iter().map(|t| t.left_out().count()).sum(),
            left_out_area_pct: mean(Truth::left_out_area_pct),
            agglomerate_fraction_pct: rounded(truth::agglomerate_fraction_pct(truths, AGGLOMERATE_FROM_UM)),
            gaps: truths.iter().map(|t| t.gaps.len()).sum(),
            particle_area_pct: mean(Truth::particle_area_pct),
            uncovered_area_pct: mean(Truth::uncovered_area_pct),
            largest_gap_um: rounded(truths.iter().fold(0.0, |m, t| m.max(t.largest_gap_um()))),
            sizes_of_all: SizesFile::new(truths, 0.0),
            sizes_as_counted: SizesFile::new(truths, from_um),
        }
    }

    pub(super) fn summary(&self, fields: usize) -> PhantomSummary {
        PhantomSummary {
            fields,
            objects: self.objects,
            left_out_objects: self.left_out_objects,
            gaps: self.gaps,
            particle_area_pct: self.particle_area_pct,
            uncovered_area_pct: self.uncovered_area_pct,
        }
    }
}

/// Sizes of whole objects, frame-weighted, from `from_um` on.
#[derive(Serialize)]
struct SizesFile {
    from_um: f64,
    objects: usize,
    x10_0_um: f64,
    x50_0_um: f64,
    x90_0_um: f64,
    mean_0_um: f64,
    x10_3_um: f64,
    x50_3_um: f64,
    x90_3_um: f64,
    d32_um: f64,
    d43_um: f64,
}

impl SizesFile {
    fn new(truths: &[Truth], from_um: f64) -> Option<Self> {
        let sizes = truth::sizes(truths, from_um)?;
        let ([x10_0_um, x50_0_um, x90_0_um], [x10_3_um, x50_3_um, x90_3_um]) = (sizes.x_0_um.map(rounded), sizes.x_3_um.map(rounded));
        Some(Self {
            from_um: rounded(from_um),
            objects: sizes.objects,
            x10_0_um,
            x50_0_um,
            x90_0_um,
            mean_0_um: rounded(sizes.mean_0_um),
            x10_3_um,
            x50_3_um,
            x90_3_um,
            d32_um: rounded(sizes.d32_um),
            d43_um: rounded(sizes.d43_um),
        })
    }
}

/// One field.
#[derive(Serialize)]
pub(super) struct FieldFile {
    file: String,
    slide: char,
    particle_area_pct: f64,
    uncovered_area_pct: f64,
    largest_gap_um: f64,
    objects: Vec<ObjectFile>,
    gaps: Vec<GapFile>,
}

impl FieldFile {
    pub(super) fn new(file: &str, slide: char, truth: &Truth, options: &PhantomOptions) -> Self {
        let objects = truth.objects.iter().map(|o| ObjectFile {
            kind: o.kind.word(),
            x_um: rounded(o.centre_um[0]),
            y_um: rounded(o.centre_um[1]),
            area_um2: rounded(o.area_um2),
            area_in_frame_um2: rounded(o.area_in_frame_um2),
            diameter_um: rounded(o.diameter_um),
            constituents: o.constituents,
            depth_um: (options.film.depth_um > 0.0).then(|| rounded(o.depth_um)),
            touches_frame: o.touches_frame,
        });
        let gaps = truth.gaps.iter().map(|g| GapFile {
            kind: g.kind.word(),
            x_um: rounded(g.centre_um[0]),
            y_um: rounded(g.centre_um[1]),
            form: g.form,
            area_um2: rounded(g.area_um2),
            area_in_frame_um2: rounded(g.area_in_frame_um2),
            diameter_um: rounded(g.diameter_um),
            largest_circle_um: rounded(g.largest_circle_um),
            touches_frame: g.touches_frame,
        });
        Self {
            file: file.to_owned(),
            slide,
            particle_area_pct: rounded(truth.particle_area_pct()),
            uncovered_area_pct: rounded(truth.uncovered_area_pct()),
            largest_gap_um: rounded(truth.largest_gap_um()),
            objects: objects.collect(),
            gaps: gaps.collect(),
        }
    }
}

#[derive(Serialize)]
struct ObjectFile {
    kind: &'static str,
    x_um: f64,
    y_um: f64,
    area_um2: f64,
    area_in_frame_um2: f64,
    diameter_um: f64,
    constituents: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    depth_um: Option<f64>,
    touches_frame: bool,
}

#[derive(Serialize)]
struct GapFile {
    kind: &'static str,
    x_um: f64,
    y_um: f64,
    form: &'static str,
    area_um2: f64,
    area_in_frame_um2: f64,
    diameter_um: f64,
    largest_circle_um: f64,
    touches_frame: bool,
}

/// To four decimals: a tenth of a nanometre is truth enough.
fn rounded(x: f64) -> f64 {
    (x * 1e4).round() / 1e4
}
