//! What each field alone shows of a quantity, beside the lot.

use evenfilm_core::field::FieldResult;
use evenfilm_core::quantity::{Pool, QUANTITIES};
use evenfilm_core::recipe::Recipe;

use super::RestsOn;
use super::answer::ends95;
use super::limit_lines::LimitLine;
use super::scene::{Canvas, Scene};
use super::sizes::id_name;
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

/// Draws every field's value beside the lot's.
pub fn fields(data: &FieldsData, canvas: &Canvas) -> Scene {
    Scene::new(canvas, data.name.clone(), data.rests_on.words(super::rests_on::OBJECTS))
}
