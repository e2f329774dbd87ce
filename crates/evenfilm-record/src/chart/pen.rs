//! What charts have in common: axes, keys, and words that do not cover each other.

use super::axis::{Axis, Tick};
use super::frame::Frame;
use super::letters;
use super::scene::{Anchor, Baseline, Canvas, Ink, Mark, Point, Scene};

/// Size of the numbers of axes and of small words, in sizes of the text.
pub(super) const SMALL: f64 = 0.9;
/// Height of a capital in sizes of its text, as in most faces without serifs.
pub(super) const CAPITAL: f64 = 0.72;
/// Length of a tick in sizes of the text.
const TICK: f64 = 0.35;
/// Distance of rows of small words, in sizes of the text.
const ROW: f64 = 1.3;
/// Opacity of what was not counted.
pub(super) const SHADE: f64 = 0.14;

/// A scene that is being drawn.
pub(super) struct Pen {
    pub(super) scene: Scene,
    /// Size of the text, points.
    pub(super) points: f64,
    /// Boxes that words already fill: left, top, right, bottom.
    taken: Vec<[f64; 4]>,
}

/// Where a word may stand.
pub(super) type Spot = (Point, Anchor, Baseline);

impl Pen {
    pub(super) fn new(canvas: &Canvas, title: String, description: String) -> Self {
        let points = if canvas.points.is_finite() { canvas.points.max(1.0) } else { 1.0 };
        Self { scene: Scene::new(canvas, title, description), points, taken: Vec::new() }
    }

    /// Width of small words, points.
    pub(super) fn width(&self, text: &str) -> f64 {
        letters::width(text, SMALL * self.points)
    }

    /// Width of a fine line, points.
    pub(super) fn fine(&self) -> f64 {
        0.07 * self.points
    }

    /// Width of a line of data.
    pub(super) fn strong(&self) -> f64 {
        0.17 * self.points
    }

    pub(super) fn line(&mut self, points: Vec<Point>, stroke: Ink, width: f64, dash: Option<[f64; 2]>) {
        self.scene.line(points, stroke, width, dash);
    }

    /// Keeps words out of a box.
    pub(super) fn take(&mut self, box_of: [f64; 4]) {
        self.taken.push(box_of);
    }

    /// Small words at a place, whatever lies there.
    pub(super) fn small(&mut self, spot: Spot, text: &str, ink: Ink) {
        let size = SMALL * self.points;
        self.taken.push(self.box_of(spot, text));
        self.scene.text(spot.0, text, size, (spot.1, spot.2), ink);
    }

    /// Small words at the first spot where they lie inside the scene and clear of others; says whether there was one.
    pub(super) fn try_small(&mut self, spots: &[Spot], text: &str, ink: Ink) -> bool {
        let air = 0.2 * self.points;
        let inside = |b: &[f64; 4]| b[0] >= 0.0 && b[1] >= 0.0 && b[2] <= self.scene.width && b[3] <= self.scene.height;
        let clear =
            |b: &[f64; 4]| self.taken.iter().all(|t| b[2] + air <= t[0] || t[2] + air <= b[0] || b[3] + air <= t[1] || t[3] + air <= b[1]);
        let free = |spot: &&Spot| {
            let found = self.box_of(**spot, text);
            inside(&found) && clear(&found)
        };
        let Some(&spot) = spots.iter().find(free) else { return false };
        self.small(spot, text, ink);
        true
    }

    fn box_of(&self, ([x, y], anchor, baseline): Spot, text: &str) -> [f64; 4] {
        let (size, width) = (SMALL * self.points, self.width(text));
        let left = match anchor {
            Anchor::Start => x,
            Anchor::Middle => x - width / 2.0,
            Anchor::End => x - width,
        };
        let top = match baseline {
            Baseline::Alphabetic => y - CAPITAL * size,
            Baseline::Middle => y - 0.5 * CAPITAL * size,
            Baseline::Top => y,
        };
        // Letters such as "p" and "," reach below the line.
        [left, top, left + width, top + (CAPITAL + 0.2) * size]
    }

    /// Ticks along an axis from left to right.
    pub(super) fn ticks_along(&self, axis: &Axis, length: f64) -> Vec<Tick> {
        axis.ticks(length, &|label| self.width(label) + self.points)
    }

    /// Ticks along an axis from below upwards.
    pub(super) fn ticks_up(&self, axis: &Axis, height: f64) -> Vec<Tick> {
        axis.ticks(height, &|_| 2.8 * self.points)
    }

    /// Room that the numbers of an axis take at its side, in sizes of the text.
    pub(super) fn beside(&self, axis: &Axis, height: f64) -> f64 {
        let ticks = self.ticks_up(axis, height);
        ticks.iter().filter_map(|tick| tick.label.as_deref()).map(|label| self.width(label)).fold(0.0, f64::max) / self.points
    }

    /// The axis below, its numbers, and what it is.
    pub(super) fn axis_below(&mut self, frame: &Frame, name: &str) {
        let p = self.points;
        self.line(vec![[frame.left, frame.bottom], [frame.right, frame.bottom]], Ink::Axis, self.fine(), None);
        for tick in self.ticks_along(&frame.x, frame.width()) {
            self.tick_below(frame, &tick);
        }
        let at = [f64::midpoint(frame.left, frame.right), frame.bottom + 1.75 * p];
        self.small((at, Anchor::Middle, Baseline::Top), name, Ink::Quiet);
    }

    /// One tick of the axis below.
    pub(super) fn tick_below(&mut self, frame: &Frame, tick: &Tick) {
        let (p, x) = (self.points, frame.x_of(tick.value));
        let length = if tick.label.is_some() { TICK } else { 0.55 * TICK } * p;
        self.line(vec![[x, frame.bottom], [x, frame.bottom + length]], Ink::Axis, self.fine(), None);
        if let Some(label) = &tick.label {
            self.small(([x, frame.bottom + 0.65 * p], Anchor::Middle, Baseline::Top), label, Ink::Text);
        }
    }

    /// Lines of the grid, the numbers at the left, and what they are, to be read from below.
    pub(super) fn axis_left(&mut self, frame: &Frame, name: &str) {
        let p = self.points;
        for tick in self.ticks_up(&frame.y, frame.height()) {
            let y = frame.y_of(tick.value);
            if frame.bottom - y > 0.5 {
                self.line(vec![[frame.left, y], [frame.right, y]], Ink::Grid, self.fine(), None);
            }
            if let Some(label) = &tick.label {
                self.small(([frame.left - 0.4 * p, y], Anchor::End, Baseline::Middle), label, Ink::Text);
            }
        }
        self.turned([0.4 * p, f64::midpoint(frame.top, frame.bottom)], name, frame.height());
    }

    /// The numbers at the right, and what they are.
    pub(super) fn axis_right(&mut self, frame: &Frame, axis: &Axis, name: &str) {
        let p = self.points;
        let frame = &Frame { y: *axis, ..*frame };
        for tick in self.ticks_up(axis, frame.height()) {
            let y = frame.y_of(tick.value);
            self.line(vec![[frame.right, y], [frame.right + TICK * p, y]], Ink::Axis, self.fine(), None);
            if let Some(label) = &tick.label {
                self.small(([frame.right + 0.6 * p, y], Anchor::Start, Baseline::Middle), label, Ink::Text);
            }
        }
        self.line(vec![[frame.right, frame.top], [frame.right, frame.bottom]], Ink::Axis, self.fine(), None);
        self.turned([self.scene.width - 1.1 * p, f64::midpoint(frame.top, frame.bottom)], name, frame.height());
    }

    /// Words to be read from below upwards, the tops of their capitals at `x`; the part before a comma where the whole is too long.
    pub(super) fn turned(&mut self, at: Point, name: &str, room: f64) {
        let short = name.split(',').next().unwrap_or(name);
        let name = if self.width(name) <= room + 2.0 * self.points { name } else { short };
        self.scene.push(Mark::Text {
            at,
            text: name.into(),
            size: SMALL * self.points,
            anchor: Anchor::Middle,
            baseline: Baseline::Top,
            ink: Ink::Quiet,
            bold: false,
            turned: true,
        });
    }

    /// Small quiet words in the row at the top: the longest of them, from left to right, that fits.
    pub(super) fn row(&mut self, x: f64, y: f64, room: f64, choices: &[String]) {
        if let Some(text) = choices.iter().find(|text| self.width(text) <= room) {
            self.small(([x, y], Anchor::Start, Baseline::Top), text, Ink::Quiet);
        }
    }

    /// Small quiet words from `x` on; gives where the next may begin.
    pub(super) fn named(&mut self, x: f64, y: f64, text: &str) -> f64 {
        self.small(([x, y], Anchor::Start, Baseline::Top), text, Ink::Text);
        x + self.width(text) + 1.2 * self.points
    }

    /// Words in the middle of a chart that has nothing else to show, beside what stands there already.
    pub(super) fn say(&mut self, frame: &Frame, text: &str) {
        let y = f64::midpoint(frame.top, frame.bottom);
        let spots = [0.5, 0.65, 0.35, 0.75, 0.25].map(|share| ([frame.left + share * frame.width(), y], Anchor::Middle, Baseline::Middle));
        if !self.try_small(&spots, text, Ink::Text) {
            self.small(spots[0], text, Ink::Text);
        }
    }

    /// Keeps words off a piece of a line.
    pub(super) fn keep_clear(&mut self, a: Point, b: Point) {
        let air = 0.1 * self.points;
        let parts = ((b[0] - a[0]).abs().min((b[1] - a[1]).abs()) / self.points).ceil().clamp(1.0, 1000.0);
        let mut i = 0.0;
        while i < parts {
            let at = |share: f64, axis: usize| a[axis] + share / parts * (b[axis] - a[axis]);
            let ([x0, x1], [y0, y1]) = ([at(i, 0), at(i + 1.0, 0)], [at(i, 1), at(i + 1.0, 1)]);
            self.take([x0.min(x1) - air, y0.min(y1) - air, x0.max(x1) + air, y0.max(y1) + air]);
            i += 1.0;
        }
    }

    /// Shades what lies below the smallest diameter counted.
    pub(super) fn not_counted(&mut self, frame: &Frame, from: Option<f64>) {
        let Some(from) = from.filter(|from| frame.x.holds(*from)) else { return };
        let x = frame.x_of(from);
        self.scene.rect([frame.left, frame.top, x, frame.bottom], Ink::Quiet, SHADE);
        let capital = CAPITAL * SMALL * self.points;
        if x - frame.left > 1.6 * capital && self.width("not counted") < frame.height() {
            let at = [f64::midpoint(frame.left, x) - capital / 2.0, f64::midpoint(frame.top, frame.bottom)];
            self.turned(at, "not counted", frame.height());
        }
    }

    /// Factor by which an axis of this height reaches beyond what it holds, so that the words of so many upright lines stand above it all.
    pub(super) fn headroom(&self, height: f64, lines: usize) -> f64 {
        let rows = (0.5 + ROW * lines.min(3) as f64) * self.points;
        if lines == 0 || height < 2.0 * rows { 1.04 } else { height / (height - rows) }
    }

    /// Dashed lines up from the axis below, each with its words beside its upper end; one beyond the axis is named at the side where it would
    /// stand. Limits have long dashes, others short ones. The words stand in rows of their own, the rightmost line's highest, so that they pass
    /// above the lines at their left.
    pub(super) fn upright_lines(&mut self, frame: &Frame, lines: &[(f64, String, Ink)]) {
        let p = self.points;
        let mut lines: Vec<&(f64, String, Ink)> = lines.iter().filter(|line| line.0.is_finite()).collect();
        lines.sort_by(|a, b| b.0.total_cmp(&a.0));
        let top = |row: f64| (frame.top + (0.3 + ROW * row) * p).min(frame.bottom - p);
        let mut row = 0.0;
        for (value, _, ink) in &lines {
            if frame.x.holds(*value) {
                let (x, top) = (frame.x_of(*value), top(row));
                let (width, dash) = if *ink == Ink::Limit { (0.14 * p, [0.7 * p, 0.3 * p]) } else { (0.1 * p, [0.3 * p, 0.3 * p]) };
                self.line(vec![[x, frame.bottom], [x, top]], *ink, width, Some(dash));
                self.keep_clear([x, frame.bottom], [x, top]);
            }
            row += 1.0;
        }
        for (i, (value, words, ink)) in lines.iter().enumerate() {
            let words = match *value {
                value if value > frame.x.to => format!("{words} →"),
                value if value < frame.x.from => format!("← {words}"),
                _ => words.clone(),
            };
            let x = frame.x_of(*value).clamp(frame.left, frame.right);
            let at_row = |row: f64| {
                [([x - 0.45 * p, top(row)], Anchor::End, Baseline::Top), ([x + 0.45 * p, top(row)], Anchor::Start, Baseline::Top)]
            };
            let spots: Vec<Spot> = (0..4).flat_map(|more| at_row(i as f64 + f64::from(more))).collect();
            let within = |spot: &Spot| {
                let reach = self.box_of(*spot, &words);
                reach[0] >= frame.left && reach[2] <= frame.right
            };
            let inside: Vec<Spot> = spots.iter().filter(|spot| within(spot)).copied().collect();
            let ink = if *ink == Ink::Limit { *ink } else { Ink::Text };
            self.try_small(&inside, &words, ink);
        }
    }

    /// The drawing.
    pub(super) fn done(self) -> Scene {
        self.scene
    }
}
