//! A picture per field that shows what was counted.
//!
//! The film is drawn in grey from its levels, always at the same grey, whatever its density. Objects have a solid light line, those of a kind
//! that is left out long dashes, agglomerates a sparse light hatch; gaps have a line of dark and light dashes by turns and a sparse dark hatch;
//! what is too small to be counted has a dotted line. So nothing hangs on telling colours apart; the lines are also far apart in lightness for every kind of colour vision (tested against simulated dichromacy). The bare
//! ground of a clear film, which is all that lies outside particles, is not marked. A scale bar with its length stands on a plate of its
//! own.
//!
//! The picture has at most [`LARGEST_SIDE`] pixels a side. It is an indexed PNG with the one way of compression whose bytes are the same in
//! every build.

use evenfilm_core::field::FieldResult;
use evenfilm_core::objects::Object;
use evenfilm_core::order::in_turn;
use evenfilm_core::plane::{Level, ONE, Plane, Rect, Stop};
use evenfilm_core::quality::FlagId;
use evenfilm_core::quantity::{counted, gap_counted, is_agglomerate};
use evenfilm_core::recipe::Recipe;
use png::{BitDepth, ColorType, Compression, Encoder};

mod lines;
mod ruling;
mod scale_bar;
#[cfg(test)]
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    clippy::cast_sign_loss,
    reason = "pictures of the tests are small and their numbers positive"
)]
mod tests;

pub use ruling::draw_ruling;

/// Largest side of an overlay, pixels; larger fields are reduced by a whole factor.
pub const LARGEST_SIDE: u32 = 4096;

/// Rows that are read and reduced at a time, at least.
const BAND_ROWS: u32 = 64;

/// The grey at which the film is drawn.
const FILM_GREY: u8 = 116;

/// The lightest grey of the picture; the palette's places above it are the colours.
const LIGHTEST: u8 = 239;

/// Places of the colours in the palette.
const OBJECT: u8 = 240;
const GAP: u8 = 241;
const PLATE: u8 = 242;
const INK: u8 = 243;
const GAP_BETWEEN: u8 = 244;

/// The colours at those places, sRGB: sand for objects, a dark blue for gaps, the plate and ink of the scale bar, and the light blue
/// between the dark dashes of a gap.
const COLOURS: [[u8; 3]; 5] = [[255, 216, 160], [12, 0, 96], [0, 0, 0], [255, 255, 255], [120, 200, 255]];

/// The flag of a field whose film is as light as the empty slide.
const CLEAR_FILM: &str = FlagId::ClearFilm.word();

/// One byte a pixel, an index into the palette.
struct Canvas {
    width: usize,
    height: usize,
    indices: Vec<u8>,
}

impl Canvas {
    /// Sets a pixel; what lies outside is left away.
    fn set(&mut self, x: usize, y: usize, index: u8) {
        if x < self.width && y < self.height {
            self.indices[y * self.width + x] = index;
        }
    }
}

/// Gives the levels of any rectangle of a field, to any thread.
pub type Levels<'a> = dyn Fn(Rect) -> Result<Plane<Level>, Stop> + Sync + 'a;

/// Draws the overlay of a field as a PNG. `levels` gives the levels of any rectangle of it.
///
/// # Errors
/// Those of `levels`.
pub fn draw(result: &FieldResult, recipe: &Recipe, levels: &Levels<'_>) -> Result<Vec<u8>, Stop> {
    let factor = reduction(result.size);
    let mut canvas = grey(result, factor, levels)?;
    let [particles, gaps] = &result.phases;
    let lines: Vec<lines::Line> = result.objects.iter().map(|object| line_of(result, object, recipe)).collect();
    let agglomerate = |owner: u32| result.objects.get(owner as usize).is_some_and(|o| is_agglomerate(result, o, recipe));
    let open = |owner: u32| result.gaps.get(owner as usize).is_some_and(|gap| gap_counted(result, gap));
    if !result.flags.iter().any(|flag| flag.id == CLEAR_FILM) {
        lines::hatch(&mut canvas, gaps, (factor, GAP), &open);
        lines::outline(&mut canvas, gaps, factor, &|owner| if open(owner) { lines::GAP } else { lines::SMALL_GAP });
    }
    lines::hatch(&mut canvas, particles, (factor, OBJECT), &agglomerate);
    lines::outline(&mut canvas, particles, factor, &|owner| lines.get(owner as usize).copied().unwrap_or(lines::SMALL_OBJECT));
    scale_bar::draw(&mut canvas, result.um_per_px * f64::from(factor));
    Ok(encode(&canvas))
}

fn line_of(result: &FieldResult, object: &Object, recipe: &Recipe) -> lines::Line {
    if counted(result, object, recipe) {
        lines::OBJECT
    } else if recipe.leave_out.contains(&object.told.kind) {
        lines::LEFT_OUT
    } else {
        lines::SMALL_OBJECT
    }
}

/// The whole factor by which a field is reduced.
fn reduction(size: (u32, u32)) -> u32 {
    size.0.max(size.1).div_ceil(LARGEST_SIDE).max(1)
}

/// The field in grey, reduced by area means; pixels that do not fill a last square are left away.
fn grey(result: &FieldResult, factor: u32, levels: &Levels<'_>) -> Result<Canvas, Stop> {
    let (width, height) = ((result.size.0 / factor).max(1), (result.size.1 / factor).max(1));
    let table = grey_table(result.film_od);
    let rows = BAND_ROWS.div_ceil(factor);
    // A side shorter than a square is one square across.
    let (across, down) = (factor.min(result.size.0), factor.min(result.size.1));
    let bands: Vec<Vec<u8>> = in_turn(height.div_ceil(rows) as usize, |band| {
        let from = u32::try_from(band).unwrap_or(height) * rows;
        let count = rows.min(height - from);
        let means = reduced(&levels(Rect::new(0, from * down, width * across, count * down))?, [across, down].map(|n| n as usize));
        Ok(means.into_iter().map(|level| table[usize::from(level)]).collect())
    })?;
    Ok(Canvas { width: width as usize, height: height as usize, indices: bands.concat() })
}

/// Means of whole squares, so many pixels across and down, row after row.
fn reduced(levels: &Plane<Level>, [across, down]: [usize; 2]) -> Vec<Level> {
    if across * down == 1 {
        return levels.iter().copied().collect();
    }
    let (rows, columns) = (levels.nrows() / down, levels.ncols() / across);
    let area = (across * down) as u64;
    let mut means = Vec::with_capacity(rows * columns);
    let mut sums = vec![0_u64; columns];
    for row in 0..rows {
        sums.fill(0);
        for y in row * down..(row + 1) * down {
            let line = levels.row(y);
            for (x, &level) in line.iter().take(columns * across).enumerate() {
                sums[x / across] += u64::from(level);
            }
        }
        means.extend(sums.iter().map(|sum| Level::try_from((sum + area / 2) / area).unwrap_or(Level::MAX)));
    }
    means
}

/// The grey of every level: proportional to the square root of the level, close to how lightness is seen and exact on every machine,
/// with the film (or, where its density is not known, the empty slide) at [`FILM_GREY`].
fn grey_table(film_od: Option<f64>) -> Vec<u8> {
    let film = f64::from(ONE) * film_od.map_or(1.0, |od| libm::pow(10.0, -od).clamp(1e-3, 1.0));
    let top = f64::from(LIGHTEST);
    let grey = |level: u16| (f64::from(FILM_GREY) * (f64::from(level) / film).sqrt() + 0.5).min(top);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 239")]
    (0..=u16::MAX).map(|level| grey(level) as u8).collect()
}

fn palette() -> Vec<u8> {
    let greys = (0..OBJECT).map(|grey| [grey; 3]);
    greys.chain(COLOURS).flatten().collect()
}

fn encode(canvas: &Canvas) -> Vec<u8> {
    let side = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let mut out = Vec::with_capacity(canvas.indices.len() / 2);
    let mut encoder = Encoder::new(&mut out, side(canvas.width), side(canvas.height));
    encoder.set_color(ColorType::Indexed);
    encoder.set_depth(BitDepth::Eight);
    encoder.set_palette(palette());
    encoder.set_compression(Compression::Fast);
    // Writing into memory fails only where the sizes above disagree, which would be a fault of this file.
    let written = encoder.write_header().and_then(|mut writer| writer.write_image_data(&canvas.indices));
    debug_assert!(written.is_ok(), "{written:?}");
    out
}
