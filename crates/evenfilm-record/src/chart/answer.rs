//! The bar of a headline number: value, interval, limits.

use std::fmt::Write as _;

use super::RestsOn;
use super::axis::Axis;
use super::frame::Frame;
use super::limit_lines::LimitLine;
use super::pen::Pen;
use super::rests_on::OBJECTS;
use super::scene::{Anchor, Baseline, Canvas, Ink, Mark, Scene};
use super::words::{self, id_name};
use crate::lot::{Interval, ObjectiveOutcome, Value};

/// A headline number.
#[derive(Clone, Debug, PartialEq)]
pub struct AnswerData {
    /// Its name as read out.
    pub name: String,
    /// Its unit, "" for none.
    pub unit: String,
    /// The value; `None` is "not measured".
    pub value: Option<f64>,
    /// Ends of its 95 % interval.
    pub ends: Option<[f64; 2]>,
    /// Smallest accepted value.
    pub min: Option<f64>,
    /// Largest accepted value.
    pub max: Option<f64>,
    /// What it rests on.
    pub rests_on: RestsOn,
}

impl AnswerData {
    /// A quantity of what an objective gave, by its id, with the limits it was judged by.
    pub fn of(outcome: &ObjectiveOutcome, id: &str) -> Self {
        let value = outcome.value(id);
        let limit = LimitLine::of(&outcome.judgement).into_iter().find(|limit| limit.quantity == id);
        Self {
            name: id_name(id),
            unit: value.map_or("", |value| value.unit).into(),
            value: value.and_then(|value| value.value),
            ends: value.and_then(ends95),
            min: limit.as_ref().and_then(|limit| limit.min),
            max: limit.as_ref().and_then(|limit| limit.max),
            rests_on: RestsOn::of(outcome),
        }
    }
}

/// Ends of the 95 % interval of a value: its own two ends, or value and expanded uncertainty. What is the largest seen has none.
pub(super) fn ends95(value: &Value) -> Option<[f64; 2]> {
    match value.interval {
        Interval::Rare(_) | Interval::Tail(_) => Some([value.ends95[0]?, value.ends95[1]?]),
        Interval::BetweenFields => value.value.zip(value.u95).map(|(value, u)| [value - u, value + u]),
        Interval::None | Interval::Largest => None,
    }
}

/// The size that the bar is made for: 240 × 36 points.
pub const ANSWER_CANVAS: Canvas = Canvas { width: 240.0, height: 36.0, points: 9.0 };

/// Air beside what the scale holds, as a share of its span.
const AIR: f64 = 0.14;
/// Opacity of the forbidden side.
const FORBIDDEN: f64 = 0.12;

/// Draws a headline number: its value as a dot, its 95 % interval as a bar with end ticks, and the limits as upright lines whose forbidden
/// side is hatched, on a scale that holds them all. What is missing is left away; without a value the bar says "not measured".
pub fn answer_bar(data: &AnswerData, canvas: &Canvas) -> Scene {
    let mut pen = Pen::new(canvas, data.name.clone(), described(data));
    let p = pen.points;
    let (top, bottom) = (0.15 * p, canvas.height - 1.45 * p);
    let axis = scale_of(data);
    let frame = Frame { left: 0.6 * p, top, right: canvas.width - 0.6 * p, bottom, x: axis, y: Axis::linear([0.0, 1.0]) };
    for (limit, side) in [(data.min, frame.left), (data.max, frame.right)] {
        if let Some(limit) = finite(limit) {
            forbid(&mut pen, &frame, frame.x_of(limit), side);
        }
    }
    pen.line(vec![[frame.left, bottom], [frame.right, bottom]], Ink::Axis, 0.07 * p, None);
    for (limit, sign) in [(data.min, "≥"), (data.max, "≤")] {
        let Some(limit) = finite(limit) else { continue };
        let x = frame.x_of(limit);
        pen.line(vec![[x, top], [x, bottom + 0.35 * p]], Ink::Limit, 0.2 * p, None);
        let words = format!("{sign} {}", words::short(limit));
        let y = bottom + 0.5 * p;
        let spots = [([x, y], Anchor::Middle, Baseline::Top), ([x, y], Anchor::End, Baseline::Top), ([x, y], Anchor::Start, Baseline::Top)];
        pen.try_small(&spots, &words, Ink::Limit);
    }
    number(&mut pen, &frame, data);
    if data.value.is_some() || data.min.is_some() || data.max.is_some() {
        for tick in pen.ticks_along(&axis, frame.width()) {
            let Some(label) = &tick.label else { continue };
            let x = frame.x_of(tick.value);
            pen.line(vec![[x, bottom], [x, bottom + 0.25 * p]], Ink::Axis, 0.07 * p, None);
            pen.try_small(&[([x, bottom + 0.5 * p], Anchor::Middle, Baseline::Top)], label, Ink::Quiet);
        }
    }
    pen.done()
}

fn finite(value: Option<f64>) -> Option<f64> {
    value.filter(|value| value.is_finite())
}

/// Value and interval.
fn number(pen: &mut Pen, frame: &Frame, data: &AnswerData) {
    let p = pen.points;
    let y = f64::midpoint(frame.top, frame.bottom);
    let Some(value) = finite(data.value) else {
        let spots = [0.5, 0.25, 0.75].map(|share| ([frame.left + share * frame.width(), y], Anchor::Middle, Baseline::Middle));
        let spot = spots
            .into_iter()
            .find(|spot| [data.min, data.max].into_iter().flatten().all(|limit| (frame.x_of(limit) - spot.0[0]).abs() > 5.0 * p));
        return pen.small(spot.unwrap_or(spots[0]), "not measured", Ink::Text);
    };
    if let Some([low, high]) = data.ends.filter(|ends| ends.iter().all(|end| end.is_finite())) {
        let [left, right] = [frame.x_of(low), frame.x_of(high)];
        pen.scene.rect([left, y - 0.22 * p, right, y + 0.22 * p], Ink::Interval, 1.0);
        for x in [left, right] {
            pen.line(vec![[x, y - 0.6 * p], [x, y + 0.6 * p]], Ink::Interval, 0.16 * p, None);
        }
    }
    let x = frame.x_of(value);
    pen.scene.push(Mark::Circle { at: [x, y], radius: 0.56 * p, ink: Ink::Ground, hollow: None });
    pen.scene.push(Mark::Circle { at: [x, y], radius: 0.44 * p, ink: Ink::Data, hollow: None });
}

/// Shades and hatches what lies beyond a limit.
fn forbid(pen: &mut Pen, frame: &Frame, limit: f64, side: f64) {
    let [left, right] = [limit.min(side), limit.max(side)];
    pen.scene.rect([left, frame.top, right, frame.bottom], Ink::Limit, FORBIDDEN);
    let (step, height, width) = (0.8 * pen.points, frame.height(), 0.06 * pen.points);
    // Lines that rise to the right, cut at both sides.
    let mut from = left - height;
    while step > 0.0 && from < right {
        let [a, b] = [from.max(left), (from + height).min(right)];
        if b > a {
            let y = |x: f64| frame.bottom - (x - from);
            pen.line(vec![[a, y(a)], [b, y(b)]], Ink::Limit, width, None);
        }
        from += step;
    }
}

/// A scale that holds value, interval and limits with some air; from 0 where nothing lies below and that costs less than half of it.
fn scale_of(data: &AnswerData) -> Axis {
    let all = [data.value, data.min, data.max, data.ends.map(|ends| ends[0]), data.ends.map(|ends| ends[1])];
    let all: Vec<f64> = all.into_iter().filter_map(finite).collect();
    let low = all.iter().copied().fold(f64::INFINITY, f64::min);
    let high = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if all.is_empty() {
        return Axis::linear([0.0, 1.0]);
    }
    let span = if high > low { high - low } else { high.abs().max(1e-9) };
    let from_zero = low >= 0.0 && low <= 0.5 * high;
    let span = if from_zero { high.max(1e-9) } else { span };
    Axis::linear([if from_zero { -0.03 * span } else { low - AIR * span }, high + AIR * span])
}

fn described(data: &AnswerData) -> String {
    let AnswerData { name, unit, ends, rests_on, .. } = data;
    let mut text = match finite(data.value) {
        Some(value) => format!("{name}: {}", words::with_unit(value, unit)),
        None => format!("{name}: not measured"),
    };
    if let Some([low, high]) = ends {
        let _ = write!(text, ", 95 % interval {} to {}", words::short(*low), words::with_unit(*high, unit));
    }
    if let Some(limits) = words::limits(data.min, data.max, unit) {
        let _ = write!(text, ", limit {limits}");
    }
    let _ = write!(text, " ({}).", rests_on.words(OBJECTS));
    text
}
