//! What each field alone shows of a quantity, beside the lot.

use std::fmt::Write as _;

use evenfilm_core::field::FieldResult;
use evenfilm_core::quantity::{Pool, QUANTITIES};
use evenfilm_core::recipe::Recipe;

use super::RestsOn;
use super::answer::ends95;
use super::axis::{Axis, Tick};
use super::frame::Frame;
use super::limit_lines::LimitLine;
use super::pen::Pen;
use super::rests_on::OBJECTS;
use super::scene::{Anchor, Baseline, Canvas, Ink, Mark, Scene};
use super::words::{self, id_name};
use crate::lot::ObjectiveOutcome;

/// What one field shows.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldValue {
    /// Its number in the lot, from 1.
    pub number: usize,
    /// Name of its slide; "" where the lot has only one.
    pub slide: String,
    /// The value of this field alone; `None` is "not measured".
    pub value: Option<f64>,
    /// Whether it is left out of the lot's numbers.
    pub rejected: bool,
}

impl FieldValue {
    /// A quantity of one field that was measured, by its id.
    pub fn of(number: usize, slide: &str, result: &FieldResult, recipe: &Recipe, id: &str) -> Self {
        let pool = [result];
        let pool = Pool::new(&pool, 1, 0, recipe);
        let value = QUANTITIES.iter().find(|quantity| quantity.id == id).and_then(|quantity| (quantity.of)(&pool));
        Self { number, slide: slide.into(), value: value.filter(|value| value.is_finite()), rejected: false }
    }
}

/// What the fields of a lot show of one quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldsData {
    /// The quantity's name as read out.
    pub name: String,
    /// Its unit, "" for none.
    pub unit: String,
    /// Field by field, in the order of the lot.
    pub fields: Vec<FieldValue>,
    /// The lot's value.
    pub lot: Option<f64>,
    /// Ends of its 95 % interval.
    pub ends: Option<[f64; 2]>,
    /// Smallest accepted value.
    pub min: Option<f64>,
    /// Largest accepted value.
    pub max: Option<f64>,
    /// What the lot's value rests on.
    pub rests_on: RestsOn,
}

impl FieldsData {
    /// A quantity by its id: what the lot gave, and its fields' values.
    pub fn of(outcome: &ObjectiveOutcome, id: &str, fields: Vec<FieldValue>) -> Self {
        let value = outcome.value(id);
        let limit = LimitLine::of(&outcome.judgement).into_iter().find(|limit| limit.quantity == id);
        Self {
            name: id_name(id),
            unit: value.map_or("", |value| value.unit).into(),
            fields,
            lot: value.and_then(|value| value.value),
            ends: value.and_then(ends95),
            min: limit.as_ref().and_then(|limit| limit.min),
            max: limit.as_ref().and_then(|limit| limit.max),
            rests_on: RestsOn::of(outcome),
        }
    }
}

/// A limit further from all else than this many of their spans is named at the side and does not widen the axis.
const NEAR: f64 = 3.0;

/// Opacity of the interval's band.
pub(super) const BAND: f64 = 0.22;

/// Draws every field's value as a dot, by slide, beside the lot's value as a line and its interval as a band. Fields that are left out of the
/// lot's numbers are hollow, those not measured a cross at the bottom.
pub fn fields(data: &FieldsData, canvas: &Canvas) -> Scene {
    let mut pen = Pen::new(canvas, format!("{}, field by field", data.name), described(data));
    let slides = data.fields.iter().any(|field| !field.slide.is_empty());
    let (top, bottom) = (1.9, if slides { 4.3 } else { 3.1 });
    let axis = values_of(data);
    let beside = pen.beside(&axis, canvas.height - (top + bottom) * pen.points);
    let frame = Frame::within(canvas, [1.9 + beside, top, 0.9, bottom], Axis::linear([0.4, data.fields.len().max(1) as f64 + 0.6]), axis);
    let name = if data.unit.is_empty() { data.name.clone() } else { format!("{}, {}", data.name, data.unit) };
    pen.axis_left(&frame, &name);
    lot(&mut pen, &frame, data);
    limits(&mut pen, &frame, data);
    numbers_below(&mut pen, &frame, data);
    if slides {
        slides_below(&mut pen, &frame, data);
    }
    dots(&mut pen, &frame, data);
    head(&mut pen, &frame, data);
    pen.done()
}

/// Place of the `i`-th field on the axis below.
fn place(i: usize) -> f64 {
    i as f64 + 1.0
}

fn finite(value: Option<f64>) -> Option<f64> {
    value.filter(|value| value.is_finite())
}

/// The upright axis: every field's value and the lot's. An interval or limit that lies far from them does not press them together: it is cut
/// off, or named at the side.
fn values_of(data: &FieldsData) -> Axis {
    let all = data.fields.iter().map(|field| field.value).chain([data.lot]).filter_map(finite);
    let hold = |[low, high]: [f64; 2], value: f64| [low.min(value), high.max(value)];
    let [mut low, mut high] = all.fold([f64::INFINITY, f64::NEG_INFINITY], hold);
    let limits = [data.min, data.max].into_iter().filter_map(finite);
    if low > high {
        [low, high] = limits.fold([low, high], hold);
    } else {
        let span = (high - low).max(0.05 * high.abs());
        let near = [low - NEAR * span, high + NEAR * span];
        let ends = data.ends.iter().flatten().map(|end| end.clamp(low - span, high + span)).filter(|end| end.is_finite());
        [low, high] = ends.collect::<Vec<_>>().into_iter().fold([low, high], hold);
        [low, high] = limits.filter(|limit| near[0] <= *limit && *limit <= near[1]).fold([low, high], hold);
    }
    let span = if high > low { high - low } else { high.abs().max(1.0) };
    let below = low - 0.12 * span;
    let never_negative = data.fields.iter().filter_map(|field| field.value).all(|value| value >= 0.0);
    Axis::linear([if never_negative { below.max(0.0) } else { below }, high + 0.12 * span])
}

fn lot(pen: &mut Pen, frame: &Frame, data: &FieldsData) {
    let p = pen.points;
    if let Some([low, high]) = data.ends.filter(|ends| ends.iter().all(|end| end.is_finite())) {
        let [bottom, top] = [low, high].map(|end| frame.y_of(end).clamp(frame.top, frame.bottom));
        pen.scene.rect([frame.left, top, frame.right, bottom], Ink::Interval, BAND);
        for y in [low, high].into_iter().filter(|end| frame.y.holds(*end)).map(|end| frame.y_of(end)) {
            pen.line(vec![[frame.left, y], [frame.right, y]], Ink::Interval, 0.08 * p, Some([0.2 * p, 0.3 * p]));
        }
    }
    if let Some(value) = finite(data.lot) {
        let y = frame.y_of(value);
        pen.line(vec![[frame.left, y], [frame.right, y]], Ink::DataAlso, 0.14 * p, None);
    }
}

fn limits(pen: &mut Pen, frame: &Frame, data: &FieldsData) {
    let p = pen.points;
    for (limit, sign) in [(data.min, "≥"), (data.max, "≤")] {
        let Some(limit) = finite(limit) else { continue };
        let words = format!("limit {sign} {}", words::with_unit(limit, &data.unit));
        let spot = |y: f64, baseline| ([frame.right - 0.3 * p, y], Anchor::End, baseline);
        if frame.y.holds(limit) {
            let y = frame.y_of(limit);
            pen.line(vec![[frame.left, y], [frame.right, y]], Ink::Limit, 0.14 * p, Some([0.7 * p, 0.3 * p]));
            pen.keep_clear([frame.left, y], [frame.right, y]);
            pen.try_small(&[spot(y - 0.45 * p, Baseline::Alphabetic), spot(y + 0.45 * p, Baseline::Top)], &words, Ink::Limit);
        } else if limit > frame.y.to {
            pen.try_small(&[spot(frame.top + 0.3 * p, Baseline::Top)], &format!("{words}, above"), Ink::Limit);
        } else {
            pen.try_small(&[spot(frame.bottom - 0.4 * p, Baseline::Alphabetic)], &format!("{words}, below"), Ink::Limit);
        }
    }
}

/// Numbers of the fields, as many as stand clear.
fn numbers_below(pen: &mut Pen, frame: &Frame, data: &FieldsData) {
    let p = pen.points;
    pen.line(vec![[frame.left, frame.bottom], [frame.right, frame.bottom]], Ink::Axis, pen.fine(), None);
    let each = frame.width() / data.fields.len().max(1) as f64;
    let widest = data.fields.iter().map(|field| pen.width(&field.number.to_string())).fold(0.0, f64::max) + 0.6 * p;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small number above 0")]
    let every = (widest / each).ceil().clamp(1.0, 1e6) as usize;
    for (i, field) in data.fields.iter().enumerate().filter(|(i, _)| i % every == 0) {
        let tick = Tick { value: place(i), label: Some(field.number.to_string()) };
        pen.tick_below(frame, &tick);
    }
    let last = if data.fields.iter().any(|field| !field.slide.is_empty()) { 2.95 } else { 1.75 };
    let at = [f64::midpoint(frame.left, frame.right), frame.bottom + last * p];
    pen.small((at, Anchor::Middle, Baseline::Top), "field", Ink::Quiet);
}

/// Names of the slides below their fields, and lines between them.
fn slides_below(pen: &mut Pen, frame: &Frame, data: &FieldsData) {
    let p = pen.points;
    let mut from = 0;
    for run in data.fields.chunk_by(|a, b| a.slide == b.slide) {
        let to = from + run.len();
        let [left, right] = [place(from) - 0.5, place(to) - 0.5].map(|at| frame.x_of(at));
        if to < data.fields.len() {
            pen.line(vec![[right, frame.top], [right, frame.bottom + 2.4 * p]], Ink::Axis, pen.fine(), Some([0.15 * p, 0.3 * p]));
        }
        let name = format!("slide {}", run[0].slide);
        let name = if pen.width(&name) <= right - left { name } else { run[0].slide.clone() };
        if pen.width(&name) <= right - left {
            pen.small(([f64::midpoint(left, right), frame.bottom + 1.75 * p], Anchor::Middle, Baseline::Top), &name, Ink::Text);
        }
        from = to;
    }
}

fn dots(pen: &mut Pen, frame: &Frame, data: &FieldsData) {
    let p = pen.points;
    let each = frame.width() / data.fields.len().max(1) as f64;
    let radius = (0.35 * each).clamp(0.12 * p, 0.42 * p);
    for (i, field) in data.fields.iter().enumerate() {
        let x = frame.x_of(place(i));
        let Some(value) = finite(field.value) else {
            let (y, arm) = (frame.bottom - 0.7 * p, 0.7 * radius);
            for arm in [arm, -arm] {
                pen.line(vec![[x - arm, y - arm.abs()], [x + arm, y + arm.abs()]], Ink::Warn, 0.12 * p, None);
            }
            continue;
        };
        let at = [x, frame.y_of(value)];
        let (ink, hollow) = if field.rejected { (Ink::Warn, Some(0.14 * p)) } else { (Ink::Data, None) };
        pen.scene.push(Mark::Circle { at, radius, ink, hollow });
    }
}

fn head(pen: &mut Pen, frame: &Frame, data: &FieldsData) {
    let p = pen.points;
    let end = pen.scene.width - 0.6 * p;
    let lot = match (finite(data.lot), data.ends) {
        (Some(value), Some([low, high])) => {
            format!("lot {} ({} to {}, 95 %)", words::with_unit(value, &data.unit), words::short(low), words::short(high))
        }
        (Some(value), None) => format!("lot {}", words::with_unit(value, &data.unit)),
        (None, _) => "lot not measured".into(),
    };
    let rests_on = data.rests_on.words(OBJECTS);
    let mut choices = vec![format!("{lot} · {rests_on}"), lot];
    let left_out = data.fields.iter().filter(|field| field.rejected).count();
    if left_out > 0 {
        choices.insert(0, format!("{} · hollow: left out", choices[0]));
    }
    pen.row(frame.left, 0.45 * p, end - frame.left, &choices);
}

fn described(data: &FieldsData) -> String {
    let FieldsData { name, unit, rests_on, .. } = data;
    let values = || data.fields.iter().filter_map(|field| Some((finite(field.value)?, field.number)));
    let mut text = match (values().min_by(|a, b| a.0.total_cmp(&b.0)), values().max_by(|a, b| a.0.total_cmp(&b.0))) {
        (Some(low), Some(high)) => format!(
            "{name} of each field: {} (field {}) to {} (field {})",
            words::short(low.0),
            low.1,
            words::with_unit(high.0, unit),
            high.1
        ),
        _ => format!("{name}: not measured in any field"),
    };
    if let Some(lot) = finite(data.lot) {
        let _ = write!(text, "; the lot {}", words::with_unit(lot, unit));
    }
    if let Some([low, high]) = data.ends {
        let _ = write!(text, ", 95 % interval {} to {}", words::short(low), words::with_unit(high, unit));
    }
    if let Some(limits) = words::limits(data.min, data.max, unit) {
        let _ = write!(text, ", limit {limits}");
    }
    let _ = write!(text, " ({}).", rests_on.words(OBJECTS));
    text
}
