//! The recipe's choices as questions: what each is called, what may be chosen, and why one would.
//!
//! [`CHOICES`] is the one table. Ranges are those that the reader checks; the narrower ones of sliders are where a change makes sense. Name,
//! version and lock of a recipe are its label, not choices, and stand in [`Recipe`] itself. The built-in values are [`Recipe::default`]'s.

use evenfilm_core::recipe::{AgglomerateRule, Channel, Contrast, Detect, FillHoles, Film, FrameRule, Kind, LightFrom, Recipe, Reject};

use super::range;
use crate::toml_file::Span;
use crate::typed;

mod choices;
#[cfg(test)]
mod tests;

pub use choices::CHOICES;

/// The questions, in the order in which a field is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Question {
    /// Where does the light come from?
    Light,
    /// What is a particle?
    Particle,
    /// What is bare?
    Bare,
    /// What is a clump?
    Clump,
    /// Which fields count?
    Fields,
    /// What would chance do?
    Chance,
}

impl Question {
    /// Every question, in order.
    pub const ALL: &'static [Self] = &[Self::Light, Self::Particle, Self::Bare, Self::Clump, Self::Fields, Self::Chance];

    /// The question as a person reads it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Light => "Where does the light come from?",
            Self::Particle => "What is a particle?",
            Self::Bare => "What is bare?",
            Self::Clump => "What is a clump?",
            Self::Fields => "Which fields count?",
            Self::Chance => "What would chance do?",
        }
    }
}

/// Words of the file, each with what a person reads.
pub type Words = &'static [(&'static str, &'static str)];

/// Where a slider goes, narrower than what may be typed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slider {
    /// Its left end.
    pub low: f64,
    /// Its right end.
    pub high: f64,
    /// From one value to the next.
    pub step: f64,
}

/// What may be chosen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ChoiceKind {
    /// Yes or no.
    Flag,
    /// A number: what may be typed, and where a slider goes.
    Number(Span, Slider),
    /// The same, or left to the program.
    NumberOrAuto(Span, Slider),
    /// A whole number, both ends in it; and where a slider goes.
    Whole(u64, u64, Slider),
    /// One of some words. The word "" is a choice left to the program that no file spells out.
    Words(Words),
    /// Any of some words.
    Kinds(Words),
}

/// What is chosen.
#[derive(Clone, Debug, PartialEq)]
pub enum ChoiceValue {
    /// Yes or no.
    Flag(bool),
    /// A number.
    Number(f64),
    /// A number left to the program.
    Auto,
    /// A whole number.
    Whole(u64),
    /// One word of the file.
    Word(&'static str),
    /// Some words of the file, in the order of the documentation.
    Words(Vec<&'static str>),
}

/// One choice of the recipe.
#[derive(Clone, Copy, Debug)]
pub struct Choice {
    /// Its section in the file.
    pub section: &'static str,
    /// Its key.
    pub key: &'static str,
    /// The question that it is part of an answer to.
    pub question: Question,
    /// What a person reads beside it, sentence case.
    pub label: &'static str,
    /// Unit as printed, "" for none.
    pub unit: &'static str,
    /// What may be chosen.
    pub kind: ChoiceKind,
    /// Why one would change it, and what the built-in value rests on.
    pub reason: &'static str,
    /// What a recipe chose; `None` for what this version does not measure.
    read: fn(&Recipe) -> Option<ChoiceValue>,
    /// Changes a recipe; the value has been checked.
    write: fn(&mut Recipe, ChoiceValue),
}

impl Choice {
    /// What a recipe chose. A word that a file may hold and this version does not measure (another `detect`) reads as the built-in value.
    pub fn get(&self, recipe: &Recipe) -> ChoiceValue {
        (self.read)(recipe).or_else(|| (self.read)(&Recipe::default())).unwrap_or(ChoiceValue::Auto)
    }

    /// Changes a recipe.
    ///
    /// # Errors
    /// In words: the value is out of range, no known word, or of another sort. The recipe is then as it was.
    pub fn set(&self, recipe: &mut Recipe, value: ChoiceValue) -> Result<(), String> {
        self.allows(&value)?;
        (self.write)(recipe, value);
        Ok(())
    }

    /// What the built-in recipe chose.
    pub fn built_in(&self) -> ChoiceValue {
        self.get(&Recipe::default())
    }

    /// What a person typed, made into a value; numbers may have a decimal comma and the unit behind them. Words of a list are parted by
    /// commas.
    ///
    /// # Errors
    /// In words what is wrong: "must be above 0 and below 1".
    pub fn check(&self, text: &str) -> Result<ChoiceValue, String> {
        let text = text.trim();
        Ok(match self.kind {
            ChoiceKind::Flag => ChoiceValue::Flag(typed::flag(text)?),
            ChoiceKind::NumberOrAuto(..) if text.eq_ignore_ascii_case("auto") => ChoiceValue::Auto,
            ChoiceKind::Number(range, _) | ChoiceKind::NumberOrAuto(range, _) => {
                ChoiceValue::Number(typed::number(text, self.unit, range)?)
            }
            ChoiceKind::Whole(least, most, _) => ChoiceValue::Whole(typed::whole(text, self.unit, least, most)?),
            ChoiceKind::Words(words) => ChoiceValue::Word(typed::word(text, words)?),
            ChoiceKind::Kinds(words) => {
                let named = text.split(',').map(str::trim).filter(|part| !part.is_empty());
                ChoiceValue::Words(named.map(|part| typed::word(part, words)).collect::<Result<_, _>>()?)
            }
        })
    }

    fn allows(&self, value: &ChoiceValue) -> Result<(), String> {
        let ok = |ok: bool, wanted: String| if ok { Ok(()) } else { Err(format!("must be {wanted}")) };
        let known = |words: Words, word: &str| words.iter().any(|(known, _)| *known == word);
        match (self.kind, value) {
            (ChoiceKind::Flag, ChoiceValue::Flag(_)) | (ChoiceKind::NumberOrAuto(..), ChoiceValue::Auto) => Ok(()),
            (ChoiceKind::Number(range, _) | ChoiceKind::NumberOrAuto(range, _), ChoiceValue::Number(value)) => {
                ok(range.holds(*value), range.to_string())
            }
            (ChoiceKind::Whole(least, most, _), ChoiceValue::Whole(value)) => {
                ok((least..=most).contains(value), format!("a whole number from {least} to {most}"))
            }
            (ChoiceKind::Words(words), ChoiceValue::Word(word)) => ok(known(words, word), labels(words)),
            (ChoiceKind::Kinds(words), ChoiceValue::Words(chosen)) => ok(chosen.iter().all(|word| known(words, word)), labels(words)),
            _ => Err("must be of another sort".into()),
        }
    }
}

/// The choice of a key.
pub fn choice(section: &str, key: &str) -> Option<&'static Choice> {
    CHOICES.iter().find(|choice| choice.section == section && choice.key == key)
}

fn labels(words: Words) -> String {
    format!("one of: {}", words.iter().map(|(_, label)| *label).collect::<Vec<_>>().join(", "))
}
