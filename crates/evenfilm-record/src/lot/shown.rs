//! What was measured in each field, for those who draw it.

use evenfilm_core::field::FieldResult;
use evenfilm_core::recipe::Recipe;

use super::Measured;

/// What one objective saw.
#[derive(Debug)]
pub struct Shown<'a> {
    /// What it was measured by.
    pub recipe: &'a Recipe,
    /// Its fields, in the order of the lot.
    pub fields: Vec<ShownField<'a>>,
}

/// One field.
#[derive(Clone, Copy, Debug)]
pub struct ShownField<'a> {
    /// Its number in the lot, from 1.
    pub number: usize,
    /// Name of its slide.
    pub slide: &'a str,
    /// What was measured.
    pub result: &'a FieldResult,
    /// Its values alone, in the order of the quantity table.
    pub values: &'a [Option<f64>],
    /// Whether it stays in the numbers that decide.
    pub stays: bool,
}

impl<'a> Shown<'a> {
    /// What was measured in the fields that stay in the numbers.
    pub fn counting(&self) -> Vec<&'a FieldResult> {
        self.fields.iter().filter(|field| field.stays).map(|field| field.result).collect()
    }
}

impl Measured<'_> {
    /// What was measured in each field, one objective after another as [`Measured::objectives`] has them.
    pub fn shown(&self) -> Vec<Shown<'_>> {
        let mut all = Vec::new();
        for (objective, seen) in self.batch.objectives.iter().zip(&self.seen) {
            let field = |(i, &place): (usize, &usize)| ShownField {
                number: place + 1,
                slide: &self.batch.fields[place].slide,
                result: &seen.fields[i],
                values: seen.per_field.get(i).map_or(&[][..], Vec::as_slice),
                stays: seen.by_hand[i].stays,
            };
            all.push(Shown { recipe: &objective.recipe, fields: objective.fields.iter().enumerate().map(field).collect() });
        }
        all
    }
}
