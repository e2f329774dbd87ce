//! The bar of a headline number: value, interval, limits.

use super::RestsOn;
use super::limit_lines::LimitLine;
use super::scene::{Canvas, Scene};
use super::sizes::id_name;
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

/// Draws a headline number as a bar.
pub fn answer_bar(data: &AnswerData, canvas: &Canvas) -> Scene {
    Scene::new(canvas, data.name.clone(), data.rests_on.words(super::rests_on::OBJECTS))
}
