//! Survey: counts to levels; film level, noise and blur.
//!
//! Counts become transmission through the blank (`T = (I − D)/(B − D)`), stored as [`Level`]; without a blank through the picture's own light
//! (`own`, `surface`), and to bare places where some are seen (`bare`). In dark field the level is 1 less the scattered light
//! (`scatter`). The film level is found per sub-area from the pixels that show film, never from a median that a hole could fool.

mod bare;
mod film;
mod gain;
mod noise;
mod own;
mod reference;
mod scatter;
mod surface;

pub use film::{FilmGrid, Seen, look};
pub use noise::noise_of_counts;
pub(crate) use reference::is_black;
pub use reference::{Light, Reference};

use gain::{GainColumns, level_of};

use crate::order::in_turn;
use crate::plane::{Level, ONE, Plane, Rect, Samples, Stage, Stop, Watch, single};
use crate::reuse;

/// Rows of a band: the piece in which pictures are read, fixed by the data and never by the number of threads.
pub const BAND: u32 = 64;

/// Side of the cells by which a noisy blank is averaged, px.
const CELL: u32 = 16;

/// A blank is used pixel by pixel where its noise is below this share of the field's.
const QUIET_BLANK: f64 = 0.25;

/// The microscope as far as numbers depend on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Optics {
    /// Width of a pixel in the film, µm, above 0.
    pub um_per_px: f64,
    /// Numerical aperture of the objective.
    pub numerical_aperture: Option<f64>,
    /// Mean wavelength of the light, nm.
    pub wavelength_nm: Option<f64>,
    /// The count at which the camera saturates.
    pub full_scale: u16,
}

impl Optics {
    /// Lateral resolution 0.61 λ/NA in pixels (Rayleigh criterion), where the sheet gives both.
    pub fn resolution_px(&self) -> Option<f64> {
        Some(0.61 * self.wavelength_nm? * 1e-3 / self.numerical_aperture? / self.um_per_px)
    }

    /// Blur width expected from the optics, px: the Gaussian whose edge is as steep as that of the Airy pattern (0.235 λ/NA, from the line
    /// spread at its centre), with the pixel's aperture (1/12 px²) and the bilinear reading (1/6 px²) added.
    pub fn expected_blur_px(&self) -> Option<f64> {
        let lens = self.resolution_px()? * (0.235 / 0.61);
        Some((lens * lens + 0.25).sqrt())
    }
}

/// Optical density of a level, −log10 of the transmission; that of 10⁻⁵ for anything darker.
pub(crate) fn od_of_level(level: f64) -> f64 {
    -libm::log10((level / f64::from(ONE)).max(1e-5))
}

/// The bands of a picture of this size, top to bottom.
pub fn bands(size: (u32, u32)) -> Vec<Rect> {
    (0..size.1.div_ceil(BAND)).map(|b| Rect::new(0, b * BAND, size.0, BAND.min(size.1 - b * BAND))).collect()
}

/// Blank and dark picture, made ready once for all fields of one microscope.
pub struct Lamp<'a> {
    blank: Option<&'a dyn Samples>,
    dark: Option<&'a dyn Samples>,
    cells: Option<Cells>,
    blank_noise: f64,
    /// Darkest ÷ lightest part of the blank, without the outermost hundredths.
    evenness: Option<f64>,
    dark_field: bool,
}

/// Means of the blank less the dark by cells of [`CELL`] px.
struct Cells {
    size: (u32, u32),
    mean: Plane<f32>,
}

impl<'a> Lamp<'a> {
    /// Reads blank and dark.
    ///
    /// # Errors
    /// [`Stop`] where they cannot be read, differ in size, or the caller stops.
    pub fn new(blank: Option<&'a dyn Samples>, dark: Option<&'a dyn Samples>, watch: Watch<'_>) -> Result<Self, Stop> {
        let Some(source) = blank else { return Ok(Self { blank, dark, cells: None, blank_noise: 0.0, evenness: None, dark_field: false }) };
        if let Some(dark) = dark {
            same_size("dark picture", dark.size(), source.size())?;
        }
        let all = bands(source.size());
        let rows = in_turn(all.len(), |index| {
            watch.poll()?;
            reuse::with(|buffers| cell_rows(source, dark, all[index], buffers))
        });
        let mean: Vec<f32> = rows?.concat();
        let across = source.size().0.div_ceil(CELL) as usize;
        let mean = Plane::from_shape_vec((mean.len() / across.max(1), across), mean).unwrap_or_else(|_| Plane::zeros((0, 0)));
        let blank_noise = noise_of_counts(source)?;
        let evenness = darkest_to_lightest(mean.iter().copied());
        Ok(Self { blank, dark, cells: Some(Cells { size: source.size(), mean }), blank_noise, evenness, dark_field: false })
    }

    /// The same in dark field: the blank is a picture of an even scatterer, the dark picture one of the empty slide.
    #[must_use]
    pub fn in_dark_field(self) -> Self {
        Self { dark_field: true, ..self }
    }

    /// Empty slides per count, in the middle of the picture.
    fn typical_gain(&self, optics: &Optics) -> f64 {
        let light = self.cells.as_ref().and_then(|c| c.mean.get([c.mean.nrows() / 2, c.mean.ncols() / 2]));
        1.0 / light.map_or_else(|| f64::from(optics.full_scale), |&m| f64::from(m)).max(1.0)
    }

    /// What turns the counts of this field into levels, by the blank where there is one and else by the camera's full scale. `field_noise` is
    /// its noise in counts ([`noise_of_counts`]).
    fn correction(&self, size: (u32, u32), field_noise: f64, optics: &Optics) -> Result<Correction<'a>, Stop> {
        if let Some(dark) = self.dark {
            same_size("dark picture", dark.size(), size)?;
        }
        let light = match (self.blank, &self.cells) {
            (Some(blank), Some(cells)) => {
                same_size("blank", cells.size, size)?;
                if self.blank_noise < QUIET_BLANK * field_noise { LightBy::Pixel(blank) } else { LightBy::Cell(gains(cells)) }
            }
            _ => LightBy::FullScale(ONE as f32 / f32::from(optics.full_scale.max(1))),
        };
        Ok(Correction { light, dark: self.dark, one: ONE as f32, inverted: false })
    }
}

fn same_size(what: &'static str, found: (u32, u32), wanted: (u32, u32)) -> Result<(), Stop> {
    if found == wanted {
        return Ok(());
    }
    Err(Stop::OtherSize { what, found_width: found.0, found_height: found.1, width: wanted.0, height: wanted.1 })
}

/// Cell means of one band, cell row after cell row.
fn cell_rows(
    blank: &dyn Samples,
    dark: Option<&dyn Samples>,
    band: Rect,
    (counts, below): &mut (Vec<u16>, Vec<u16>),
) -> Result<Vec<f32>, Stop> {
    counts.resize(usize::try_from(band.area()).unwrap_or(0), 0);
    below.clear();
    blank.read(band, counts)?;
    if let Some(dark) = dark {
        below.resize(counts.len(), 0);
        dark.read(band, below)?;
    }
    let width = band.width as usize;
    let mut means = Vec::new();
    for (index, strip) in counts.chunks(width * CELL as usize).enumerate() {
        let dark_strip = below.get(index * width * CELL as usize..).unwrap_or(&[]);
        for x0 in (0..width).step_by(CELL as usize) {
            let x1 = (x0 + CELL as usize).min(width);
            let total = |of: &[u16]| of.chunks(width).take(strip.len() / width).map(|row| sum(&row[x0..x1])).sum::<u64>();
            let pixels = ((x1 - x0) * strip.len() / width) as f64;
            let dark = if dark_strip.is_empty() { 0.0 } else { total(dark_strip) as f64 };
            means.push(single((total(strip) as f64 - dark) / pixels));
        }
    }
    Ok(means)
}

/// The smallest ÷ the largest of some values, without the hundredth at either end.
fn darkest_to_lightest(values: impl Iterator<Item = f32>) -> Option<f64> {
    let mut values: Vec<f32> = values.collect();
    if values.is_empty() {
        return None;
    }
    let end = values.len() / 100;
    let last = values.len() - 1 - end;
    let high = f64::from(*values.select_nth_unstable_by(last, f32::total_cmp).1);
    let low = f64::from(*values.select_nth_unstable_by(end, f32::total_cmp).1);
    (high > 0.0).then_some(low.max(0.0) / high)
}

/// Of no more than [`CELL`] counts.
fn sum(of: &[u16]) -> u64 {
    u64::from(of.iter().map(|&c| u32::from(c)).sum::<u32>())
}

/// Gain of each cell: levels per count.
fn gains(cells: &Cells) -> Plane<f32> {
    cells.mean.mapv(|m| ONE as f32 / m.max(1.0))
}

enum LightBy<'a> {
    /// A quiet blank, pixel by pixel.
    Pixel(&'a dyn Samples),
    /// Gains at cell centres, linear between them.
    Cell(Plane<f32>),
    /// No light is known: the camera's full scale stands for 1.
    FullScale(f32),
}

/// What turns the counts of one field into levels.
pub struct Correction<'a> {
    light: LightBy<'a>,
    dark: Option<&'a dyn Samples>,
    /// Level of a pixel as light as a quiet blank.
    one: f32,
    /// Whether light lowers the level: dark field.
    inverted: bool,
}

/// Buffers of one thread, kept between reads.
#[derive(Default)]
pub struct Scratch {
    counts: Vec<u16>,
    light: Vec<u16>,
    dark: Vec<u16>,
    columns: GainColumns,
}

impl Correction<'static> {
    /// For counts that are levels already.
    pub(crate) const fn none() -> Self {
        Self { light: LightBy::FullScale(1.0), dark: None, one: ONE as f32, inverted: false }
    }
}

impl Correction<'_> {
    /// Whether a quiet blank corrects pixel by pixel rather than by averaged cells.
    pub const fn is_by_pixel(&self) -> bool {
        matches!(self.light, LightBy::Pixel(_))
    }

    /// The same with other gains: levels per count at the centres of the cells.
    fn with_gains(&self, gains: Plane<f32>) -> Self {
        Self { light: LightBy::Cell(gains), ..*self }
    }

    /// Levels `factor` times as high.
    fn scaled(&self, factor: f32) -> Self {
        let light = match &self.light {
            LightBy::Pixel(blank) => LightBy::Pixel(*blank),
            LightBy::Cell(gains) => LightBy::Cell(gains.mapv(|g| g * factor)),
            LightBy::FullScale(gain) => LightBy::FullScale(gain * factor),
        };
        Self { light, one: self.one * factor, ..*self }
    }

    /// The same in dark field: light lowers the level.
    fn inverted(self) -> Self {
        Self { inverted: true, ..self }
    }

    /// Levels of a rectangle of the field: what every stage, the overlay and the desk see.
    ///
    /// # Errors
    /// [`Stop::Unreadable`].
    pub fn levels(&self, field: &dyn Samples, at: Rect) -> Result<Plane<Level>, Stop> {
        let mut out = Vec::new();
        self.levels_into(field, at, &mut Scratch::default(), &mut out)?;
        Plane::from_shape_vec((at.height as usize, at.width as usize), out).map_err(|e| Stop::Unreadable(e.to_string()))
    }

    /// Levels of a rectangle, row after row, into `out`, with buffers that the thread keeps.
    ///
    /// # Errors
    /// [`Stop::Unreadable`].
    pub fn levels_with_kept(&self, field: &dyn Samples, at: Rect, out: &mut Vec<Level>) -> Result<(), Stop> {
        reuse::with(|scratch: &mut Scratch| self.levels_into(field, at, scratch, out))
    }

    /// Levels of a rectangle, row after row, into `out`.
    ///
    /// # Errors
    /// [`Stop::Unreadable`].
    pub fn levels_into(&self, field: &dyn Samples, at: Rect, scratch: &mut Scratch, out: &mut Vec<Level>) -> Result<(), Stop> {
        let pixels = usize::try_from(at.area()).unwrap_or(0);
        out.resize(pixels, 0);
        scratch.counts.resize(pixels, 0);
        field.read(at, &mut scratch.counts)?;
        let dark = match self.dark {
            Some(dark) => {
                scratch.dark.resize(pixels, 0);
                dark.read(at, &mut scratch.dark)?;
                Some(&scratch.dark[..])
            }
            None => None,
        };
        if let Some(dark) = dark {
            scratch.counts.iter_mut().zip(dark).for_each(|(c, &d)| *c = c.saturating_sub(d));
        }
        match &self.light {
            LightBy::FullScale(gain) => scratch.counts.iter().zip(&mut *out).for_each(|(&c, o)| *o = level_of(c, *gain)),
            LightBy::Pixel(blank) => {
                scratch.light.resize(pixels, 0);
                blank.read(at, &mut scratch.light)?;
                if let Some(dark) = dark {
                    scratch.light.iter_mut().zip(dark).for_each(|(b, &d)| *b = b.saturating_sub(d));
                }
                let lit = scratch.counts.iter().zip(&scratch.light);
                lit.zip(&mut *out).for_each(|((&c, &b), o)| *o = level_of(c, self.one / f32::from(b.max(1))));
            }
            LightBy::Cell(gain) => {
                scratch.columns.levels(gain, at, &scratch.counts, out);
            }
        }
        if self.inverted {
            for level in out.iter_mut() {
                *level = ONE.saturating_sub(*level);
            }
        }
        Ok(())
    }
}

/// The counts that some levels were made from, the dark picture taken off, and that picture's own where there is one.
#[derive(Clone, Copy)]
pub struct Counts<'a> {
    lit: &'a [u16],
    dark: &'a [u16],
}

impl Counts<'_> {
    /// How many of a range of pixels the camera gave at `full_scale` or above.
    pub fn at_full_scale(&self, pixels: std::ops::Range<usize>, full_scale: u16) -> u64 {
        let lit = &self.lit[pixels.clone()];
        if self.dark.is_empty() {
            // In pieces whose count fits into 16 bits, eight pixels at a time.
            let of = |piece: &[u16]| u64::from(piece.iter().map(|&c| u16::from(c >= full_scale)).sum::<u16>());
            return lit.chunks(1 << 13).map(of).sum();
        }
        lit.iter().zip(&self.dark[pixels]).filter(|&(&c, &d)| c.saturating_add(d) >= full_scale).count() as u64
    }

    /// Whether a dark picture was taken off.
    pub const fn is_less_dark(&self) -> bool {
        !self.dark.is_empty()
    }
}

/// Reads every band of a field as levels and gives each to `work`, in parallel; the results come back in the order of the bands.
///
/// # Errors
/// [`Stop`].
pub fn in_bands<T: Send>(
    field: &dyn Samples,
    correction: &Correction<'_>,
    (stage, watch): (Stage, Watch<'_>),
    work: impl Fn(Rect, &[Level], Counts<'_>) -> T + Sync,
) -> Result<Vec<T>, Stop> {
    let all = bands(field.size());
    let count = all.len().max(1) as f32;
    in_turn(all.len(), |index| {
        watch.poll()?;
        (watch.tell)(stage, index as f32 / count);
        reuse::with(|(scratch, levels): &mut (Scratch, Vec<Level>)| {
            correction.levels_into(field, all[index], scratch, levels)?;
            let dark = if correction.dark.is_some() { &scratch.dark[..] } else { &[] };
            Ok(work(all[index], levels, Counts { lit: &scratch.counts, dark }))
        })
    })
}
