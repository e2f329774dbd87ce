//! Lots of known truth at the level of events and objects, and how often intervals hold it.

use evenfilm_core::interval::{Events, Tails, rare, tails};
use evenfilm_core::random::{Draws, Source};
use evenfilm_core::sizes::Sized;

/// How a lot was looked at.
#[derive(Clone, Copy, Debug)]
pub struct Layout {
    /// Number of slides.
    pub slides: usize,
    /// Fields of each slide.
    pub fields: usize,
}

/// Films whose gaps are few: log-normal areas, Poisson numbers, expectations that differ between slides and between fields by log-normal factors.
#[derive(Clone, Copy, Debug)]
pub struct Gaps {
    /// Expected bare share of the lot, 0 to 1.
    pub bare: f64,
    /// Mean area of a gap, µm².
    pub mean_um2: f64,
    /// Standard deviation of the logarithm of the areas.
    pub spread: f64,
    /// Coefficient of variation of the factor of each slide.
    pub slide_cv: f64,
    /// Coefficient of variation of the factor of each field.
    pub field_cv: f64,
}

/// Area of a field, µm²: 5 megapixels of 0.25 µm.
pub const FIELD_UM2: f64 = 3e5;

/// Area of the gap of concern, µm²: 25 µm across, as the built-in recipe has it.
pub const CONCERN_UM2: f64 = 490.87;

/// How often an interval held the truth, and how wide it was.
#[derive(Clone, Copy, Debug)]
pub struct Coverage {
    /// Share of the lots whose interval holds the truth, %.
    pub inside_pct: f64,
    /// Share whose interval lies wholly above the truth, %.
    pub above_pct: f64,
    /// Median width of the intervals over the truth.
    pub width: f64,
    /// Median number of events or effective number of objects of a lot.
    pub seen: f64,
}

/// Coverage of [`rare`] over `lots` lots: that of the slide's own expectation where there is one slide, of the lot's where there are several.
///
/// # Panics
/// When there is no interval, which every lot has.
pub fn coverage_of_gaps(gaps: &Gaps, layout: Layout, lots: u64, seed: u64) -> Coverage {
    coverage_of_gaps_by(gaps, layout, lots, seed, |fields, slides| rare(fields, slides, CONCERN_UM2, 0.95).expect("there is exposure"))
}

/// The same of any interval.
pub fn coverage_of_gaps_by(gaps: &Gaps, layout: Layout, lots: u64, seed: u64, by: impl Fn(&[Events], &[usize]) -> [f64; 2]) -> Coverage {
    let mut tally = Tally::default();
    for lot in 0..lots {
        let mut draws = Draws::new(Source::new(seed, lot));
        let (fields, slides, truth, seen) = film(gaps, layout, &mut draws);
        tally.add(by(&fields, &slides), truth, seen);
    }
    tally.coverage()
}

fn film(gaps: &Gaps, layout: Layout, draws: &mut Draws) -> (Vec<Events>, Vec<usize>, f64, f64) {
    let (mut fields, mut slides, mut seen, mut truth) = (Vec::new(), Vec::new(), 0.0, gaps.bare);
    let median = gaps.mean_um2 * libm::exp(-0.5 * gaps.spread * gaps.spread);
    for slide in 0..layout.slides {
        let of_slide = factor(gaps.slide_cv, draws);
        if layout.slides == 1 {
            truth = gaps.bare * of_slide;
        }
        for _ in 0..layout.fields {
            let expected = gaps.bare * FIELD_UM2 / gaps.mean_um2 * of_slide * factor(gaps.field_cv, draws);
            let areas: Vec<f64> = (0..whole(draws.poisson(expected))).map(|_| median * libm::exp(gaps.spread * draws.normal())).collect();
            seen += areas.len() as f64;
            fields.push(Events::of(areas, FIELD_UM2));
            slides.push(slide);
        }
    }
    (fields, slides, truth, seen)
}

/// A log-normal factor with mean 1 and this coefficient of variation.
fn factor(cv: f64, draws: &mut Draws) -> f64 {
    let s = libm::log1p(cv * cv).sqrt();
    libm::exp(s * draws.normal() - 0.5 * s * s)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a Poisson number is whole and small")]
fn whole(number: f64) -> usize {
    number as usize
}

/// Powder whose diameters are log-normal, with medians that differ between slides and between fields.
#[derive(Clone, Copy, Debug)]
pub struct Powder {
    /// Geometric standard deviation of the diameters.
    pub gsd: f64,
    /// Expected number of objects of a field.
    pub objects: f64,
    /// Standard deviation of the logarithm of the slides' medians.
    pub slide_spread: f64,
    /// Standard deviation of the logarithm of the fields' medians.
    pub field_spread: f64,
}

/// Coverage of [`tails`] over `lots` lots: x90,3, span, D\[4,3\]; and the share of lots, %, in which each was decided.
pub fn coverage_of_tails(powder: &Powder, layout: Layout, lots: u64, seed: u64) -> [(Coverage, f64); 3] {
    let mut tallies: [Tally; 3] = Default::default();
    for lot in 0..lots {
        let mut draws = Draws::new(Source::new(seed, lot));
        let (found, truth) = sized_lot(powder, layout, &mut draws);
        for ((tally, interval), truth) in tallies.iter_mut().zip([found.x90_3, found.span_3, found.d43]).zip(truth) {
            if let Some(interval) = interval {
                tally.add(interval, truth, found.effective);
            }
        }
    }
    tallies.map(|t| {
        let decided = 100.0 * t.rows.len() as f64 / lots as f64;
        (t.coverage(), decided)
    })
}

fn sized_lot(powder: &Powder, layout: Layout, draws: &mut Draws) -> (Tails, [f64; 3]) {
    let s = libm::log(powder.gsd);
    let (mut fields, mut slides, mut middle) = (Vec::new(), Vec::new(), 0.0);
    for slide in 0..layout.slides {
        let of_slide = powder.slide_spread * draws.normal();
        if layout.slides == 1 {
            middle = of_slide;
        }
        for _ in 0..layout.fields {
            let ln_median = of_slide + powder.field_spread * draws.normal();
            let n = whole(draws.poisson(powder.objects));
            fields.push((0..n).map(|_| Sized { diameter: libm::exp(ln_median + s * draws.normal()), weight: 1.0 }).collect::<Vec<_>>());
            slides.push(slide);
        }
    }
    // Mixed log-normally, diameters are log-normal again (Hatch and Choate, J. Franklin Inst. 207 (1929) 369).
    let between = if layout.slides == 1 { 0.0 } else { powder.slide_spread * powder.slide_spread };
    let all = s * s + powder.field_spread * powder.field_spread + between;
    let z = 1.281_551_565_544_600_4 * all.sqrt();
    let truth = [libm::exp(middle + 3.0 * all + z), 2.0 * libm::sinh(z), libm::exp(middle + 3.5 * all)];
    let fields: Vec<&[Sized]> = fields.iter().map(Vec::as_slice).collect();
    (tails(&fields, &slides, 0.95), truth)
}

#[derive(Default)]
struct Tally {
    /// Ends and truth over the truth, and what was seen.
    rows: Vec<([f64; 2], f64)>,
}

impl Tally {
    fn add(&mut self, interval: [f64; 2], truth: f64, seen: f64) {
        self.rows.push((interval.map(|e| e / truth), seen));
    }

    fn coverage(&self) -> Coverage {
        let share =
            |of: &dyn Fn(&[f64; 2]) -> bool| 100.0 * self.rows.iter().filter(|r| of(&r.0)).count() as f64 / self.rows.len().max(1) as f64;
        let middle = |mut values: Vec<f64>| {
            values.sort_by(f64::total_cmp);
            values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
        };
        Coverage {
            inside_pct: share(&|[low, high]| *low <= 1.0 && *high >= 1.0),
            above_pct: share(&|[low, _]| *low > 1.0),
            width: middle(self.rows.iter().map(|r| r.0[1] - r.0[0]).collect()),
            seen: middle(self.rows.iter().map(|r| r.1).collect()),
        }
    }
}
