//! A ruling with the lines that were found.
//!
//! Lines that are used have a solid line along their middle, light on dark lines and dark on bright ones; what was found but not used has
//! dashes of dark and light by turns. The first, the last and every tenth line have their number at one end.

use evenfilm_core::plane::{Plane, Rect, Samples, Stop};
use evenfilm_core::scale::{LineSet, Scale, Stroke};

use super::lines::{GAP, Line, OBJECT, draw};
use super::scale_bar::{self, GLYPH, fill, write};
use super::{BAND_ROWS, Canvas, GAP as GAP_COLOUR, LIGHTEST, PLATE, encode, reduced, reduction};

/// The grey of the brightest ground.
const BRIGHT_GREY: f64 = 225.0;
/// Brightest share of the picture that stands for its light, one in so many.
const ONE_IN: usize = 50;

/// Draws a ruling with what was found in it, as a PNG.
///
/// # Errors
/// Those of reading the picture.
pub fn draw_ruling(picture: &dyn Samples, scale: &Scale) -> Result<Vec<u8>, Stop> {
    let factor = reduction(picture.size());
    let mut canvas = grey(picture, factor)?;
    for set in &scale.sets {
        let used = if set.dark { OBJECT } else { Line::solid(GAP_COLOUR) };
        for line in &set.lines {
            stroke(&mut canvas, &line.stroke, factor, if line.used { used } else { GAP });
        }
        set.strays.iter().for_each(|stray| stroke(&mut canvas, stray, factor, GAP));
    }
    scale.sets.iter().for_each(|set| numbers(&mut canvas, set, factor));
    scale_bar::draw(&mut canvas, scale.um_per_px * f64::from(factor));
    Ok(encode(&canvas))
}

/// The picture in grey, reduced by area means; grey goes with the square root of light, as lightness nearly does.
fn grey(picture: &dyn Samples, factor: u32) -> Result<Canvas, Stop> {
    let (width, height) = picture.size();
    let (columns, rows) = (width / factor, height / factor);
    let mut means = Vec::with_capacity(columns as usize * rows as usize);
    let band = BAND_ROWS.div_ceil(factor);
    for from in (0..rows).step_by(band as usize) {
        let at = Rect::new(0, from * factor, columns * factor, band.min(rows - from) * factor);
        let mut counts = Plane::zeros((at.height as usize, at.width as usize));
        if let Some(all) = counts.as_slice_mut() {
            picture.read(at, all)?;
        }
        means.extend(reduced(&counts, [factor as usize; 2]));
    }
    let mut sorted = means.clone();
    let last = sorted.len().saturating_sub(1);
    let light = if sorted.is_empty() { 1 } else { *sorted.select_nth_unstable(last - last / ONE_IN).1 };
    let light = f64::from(light.max(1));
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 239")]
    let index = |count: u16| (BRIGHT_GREY * (f64::from(count) / light).sqrt() + 0.5).min(f64::from(LIGHTEST)) as u8;
    let indices = means.into_iter().map(index).collect();
    Ok(Canvas { width: columns as usize, height: rows as usize, indices })
}

/// Draws a straight piece, one pixel wide, or as wide as a dot of the labels in a large picture.
fn stroke(canvas: &mut Canvas, stroke: &Stroke, factor: u32, line: Line) {
    let dot = dot(canvas);
    let [from, to] = [stroke.from, stroke.to].map(|p| p.map(|v| v / f64::from(factor)));
    let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
    let steps = libm::ceil(dx.abs().max(dy.abs())).max(1.0);
    let sideways = dx.abs() < dy.abs();
    for i in (0..).map(f64::from).take_while(|&i| i <= steps) {
        let [x, y] = [from[0] + dx * i / steps, from[1] + dy * i / steps];
        for aside in 0..dot {
            let aside = aside as f64 - 0.5 * (dot as f64 - 1.0);
            let (x, y) = if sideways { (x + aside, y) } else { (x, y + aside) };
            if x >= 0.0 && y >= 0.0 {
                draw(canvas, line, whole(x), whole(y));
            }
        }
    }
}

/// Puts the number of the first, the last and every tenth line at the end that comes first.
fn numbers(canvas: &mut Canvas, set: &LineSet, factor: u32) {
    let last = set.lines.last().map_or(0, |line| line.number);
    let dot = dot(canvas);
    for line in set.lines.iter().filter(|line| line.number % 10 == 0 && last - line.number > 3 || line.number == last) {
        let label = line.number.to_string();
        let (width, height) = ((label.len() * (GLYPH.0 + 1) + 3) * dot, GLYPH.1 * dot + dot);
        if width >= canvas.width || height >= canvas.height {
            continue;
        }
        let [x, y] = line.stroke.from.map(|v| v / f64::from(factor));
        // Above an upright line, left of a level one, but always within the picture.
        let upright = (line.stroke.to[1] - line.stroke.from[1]).abs() > (line.stroke.to[0] - line.stroke.from[0]).abs();
        let (left, top) = if upright { (x - 0.5 * width as f64, y - height as f64) } else { (x - width as f64, y - 0.5 * height as f64) };
        let left = whole(left.max(0.0)).min(canvas.width - width);
        let top = whole(top.max(0.0)).min(canvas.height - height);
        fill(canvas, [left, top, width, height], PLATE);
        write(canvas, [left + 2 * dot, top + dot], dot, &label);
    }
}

fn dot(canvas: &Canvas) -> usize {
    (canvas.width.min(canvas.height) / 700).max(1)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates; what lies outside is not drawn")]
fn whole(x: f64) -> usize {
    x as usize
}
