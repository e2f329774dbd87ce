//! How many pixels have which level.

use super::axis::Axis;
use super::frame::Frame;
use super::pen::Pen;
use super::scene::{Anchor, Baseline, Canvas, Ink, Mark, Scene};
use super::words;

/// Counts of levels, in bins of one width.
#[derive(Clone, Debug, PartialEq)]
pub struct LevelData {
    /// Pixels per bin.
    pub bins: Vec<u64>,
    /// Relative light at the lower end of the first bin; 1 is the empty slide.
    pub from: f64,
    /// Width of a bin in relative light, above 0.
    pub step: f64,
}

/// What the height of a bar stands for; both let few pixels be seen beside very many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LevelHeight {
    /// The square root of the count.
    #[default]
    Root,
    /// The logarithm of one more than the count.
    Log,
}

/// How levels are drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LevelOptions {
    /// The plane.
    pub canvas: Canvas,
    /// What the height of a bar stands for.
    pub height: LevelHeight,
    /// Ends of the axis in relative light.
    pub light: [f64; 2],
}

impl Default for LevelOptions {
    /// Relative light from 0 to 2, heights as square roots.
    fn default() -> Self {
        Self { canvas: Canvas::default(), height: LevelHeight::Root, light: [0.0, 2.0] }
    }
}

/// Densities that the axis along the top may name, the most useful first.
const DENSITIES: [f64; 13] = [0.0, 0.3, 1.0, 0.1, -0.3, 0.5, 2.0, 0.2, -0.2, -0.1, 0.4, 0.7, 1.5];

/// Opacity of the bars.
const BARS: f64 = 0.5;

/// Where the bars lie, for whoever draws marks on them: [`Frame::x_of`] of a relative light, [`Frame::at_x`] back. Its upright axis runs from
/// 0 to 1, the height of the highest bar.
pub fn level_frame(options: &LevelOptions) -> Frame {
    Frame::within(&options.canvas, [1.9, 3.1, 1.4, 3.1], Axis::linear(options.light), Axis::linear([0.0, 1.04]))
}

impl LevelHeight {
    const fn words(self) -> &'static str {
        match self {
            Self::Root => "pixels, square root",
            Self::Log => "pixels, logarithm",
        }
    }

    /// Height of a count beside the largest, 0 to 1.
    fn of(self, count: f64, most: f64) -> f64 {
        if most <= 0.0 {
            return 0.0;
        }
        match self {
            Self::Root => (count / most).sqrt(),
            Self::Log => libm::log1p(count) / libm::log1p(most),
        }
    }
}

/// Draws counts of levels as bars over relative light, with the optical density along the top.
pub fn level_histogram(data: &LevelData, options: &LevelOptions) -> Scene {
    let frame = level_frame(options);
    let columns = columns(data, &frame);
    let most = columns.iter().map(|column| column.2).fold(0.0, f64::max);
    let mut pen = Pen::new(&options.canvas, "Levels of light".into(), described(data));
    let p = pen.points;
    for density in [0.0, 0.3, 1.0] {
        let x = frame.x_of(libm::pow(10.0, -density));
        if frame.left < x && x < frame.right {
            pen.line(vec![[x, frame.top], [x, frame.bottom]], Ink::Grid, pen.fine(), None);
        }
    }
    let mut outline: Vec<[f64; 2]> = Vec::new();
    for &(left, right, count) in &columns {
        let y = frame.y_of(options.height.of(count, most));
        outline.extend([[left, y], [right, y]]);
    }
    if let (Some(first), Some(last), true) = (columns.first(), columns.last(), most > 0.0) {
        let mut area = outline.clone();
        area.extend([[last.1, frame.bottom], [first.0, frame.bottom]]);
        pen.scene.push(Mark::Fill { points: area, ink: Ink::Data, share: BARS });
        pen.line(outline, Ink::Data, pen.fine(), None);
    } else {
        pen.say(&frame, "no pixel within this range");
    }
    pen.axis_below(&frame, "relative light, 1 = empty slide");
    densities_above(&mut pen, &frame);
    let at = [0.4 * p, f64::midpoint(frame.top, frame.bottom)];
    pen.turned(at, options.height.words(), frame.height());
    pen.done()
}

/// Bars as left end, right end and count: as many bins together, from the first on, as make a bar of at least a point. Bins beyond the axis
/// are left away.
fn columns(data: &LevelData, frame: &Frame) -> Vec<(f64, f64, f64)> {
    let step = (frame.x_of(frame.x.from + data.step) - frame.left).max(0.0);
    let (true, true, true) = (step > 0.0, data.step.is_finite(), data.from.is_finite()) else { return Vec::new() };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most the number of bins")]
    let each = ((1.0 / step).ceil().clamp(1.0, data.bins.len().max(1) as f64)) as usize;
    let bar = |(i, bins): (usize, &[u64])| {
        let at = |bin: usize| frame.x_of(data.from + bin as f64 * data.step);
        let count = bins.iter().map(|count| *count as f64).sum::<f64>();
        (at(i * each), at(i * each + bins.len()), count / bins.len() as f64)
    };
    let within = |(left, right, _): &(f64, f64, f64)| *right > frame.left && *left < frame.right;
    let cut = |(left, right, count): (f64, f64, f64)| (left.max(frame.left), right.min(frame.right), count);
    data.bins.chunks(each).enumerate().map(bar).filter(within).map(cut).collect()
}

/// Optical densities along the top.
fn densities_above(pen: &mut Pen, frame: &Frame) {
    let p = pen.points;
    pen.line(vec![[frame.left, frame.top], [frame.right, frame.top]], Ink::Axis, pen.fine(), None);
    let name = ([frame.left, 0.35 * p], Anchor::Start, Baseline::Top);
    pen.small(name, "optical density", Ink::Quiet);
    for density in DENSITIES {
        let light = libm::pow(10.0, -density);
        if !frame.x.holds(light) {
            continue;
        }
        let x = frame.x_of(light);
        let label = words::short(density);
        if pen.try_small(&[([x, frame.top - 0.65 * p], Anchor::Middle, Baseline::Alphabetic)], &label, Ink::Text) {
            pen.line(vec![[x, frame.top], [x, frame.top - 0.35 * p]], Ink::Axis, pen.fine(), None);
        }
    }
}

fn described(data: &LevelData) -> String {
    let pixels: u64 = data.bins.iter().fold(0, |sum, count| sum.saturating_add(*count));
    let most = data.bins.iter().enumerate().filter(|(_, count)| **count > 0).max_by_key(|(i, count)| (**count, usize::MAX - i));
    let Some((i, _)) = most else { return "No pixel has a level in this range.".into() };
    let light = data.from + (i as f64 + 0.5) * data.step;
    let density = if light > 0.0 { format!(", optical density {}", words::short(-libm::log10(light))) } else { String::new() };
    format!("Levels of {pixels} pixels; most of them near {} of the empty slide's light{density}.", words::short(light))
}
