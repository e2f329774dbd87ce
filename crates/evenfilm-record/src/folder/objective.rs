//! What the fields of one objective share, and never with those of another: microscope, scale, blank, dark, tone, and the recipe's light.

use std::path::Path;

use evenfilm_core::light::Optics;
use evenfilm_core::recipe::Recipe;
use jiff::civil::Date;

use super::roles::{Lamps, Roles};
use super::{Source, agree};
use crate::fault::Fault;
use crate::pictures::{FULL_SCALE, Reading};
use crate::recipe_file;
use crate::sheet::{Microscope, Sheet, Tone};

/// The scale that holds for all fields of an objective.
#[derive(Clone, Debug, PartialEq)]
pub struct Scale {
    /// Width of a pixel in the film, µm, above 0.
    pub um_per_px: f64,
    /// Its standard uncertainty, µm.
    pub um_per_px_u: Option<f64>,
    /// Where it comes from: the sheet's words, or "picture file".
    pub source: Option<String>,
    /// When it was measured.
    pub date: Option<Date>,
}

/// One objective of a lot. Numbers of different objectives are never pooled.
#[derive(Clone, Debug)]
pub struct Objective {
    /// Name of its microscope in the sheet; `None` is the default one.
    pub name: Option<String>,
    /// What the sheet says of it.
    pub microscope: Microscope,
    /// The recipe, its light decided.
    pub recipe: Recipe,
    /// The scale.
    pub scale: Scale,
    /// What counts stand for.
    pub tone: Tone,
    /// The linear count at which the camera saturates.
    pub full_scale: u16,
    /// The value of float pictures that becomes the count 65535; `None` where no picture is one.
    pub float_full_scale: Option<f64>,
    /// Its fields, at least one, all of one size: places in [`Batch::fields`](super::Batch::fields).
    pub fields: Vec<usize>,
    /// The empty slide, as large as the fields.
    pub blank: Option<Source>,
    /// The closed shutter, as large as the fields.
    pub dark: Option<Source>,
    /// What a reader of the record should know, in words.
    pub notes: Vec<String>,
}

/// An objective in words: "the default microscope", "the microscope 40x".
pub(super) fn in_words(name: Option<&str>) -> String {
    name.map_or_else(|| "the default microscope".into(), |name| format!("the microscope {name}"))
}

/// What an objective is resolved from.
pub(super) struct Asked<'a> {
    pub(super) sheet: &'a Sheet,
    /// The recipe, its light not yet decided.
    pub(super) recipe: &'a Recipe,
    pub(super) recipe_file: Option<&'a Path>,
    pub(super) reading: Reading<'a>,
}

impl Objective {
    /// Decides what holds for all pictures of an objective together.
    ///
    /// # Errors
    /// No scale or several, a recipe that asks for a blank where there is none, no tone, sizes that differ.
    pub(super) fn resolve(asked: &Asked<'_>, roles: &Roles, lamps: &Lamps) -> Result<Self, Fault> {
        let name = lamps.name.as_deref();
        let microscope = asked.sheet.microscope(name).clone();
        let numbers = 0..roles.fields.len();
        let places: Vec<usize> = numbers.filter(|&i| roles.fields[i].place.microscope == lamps.name).collect();
        let fields = places.iter().map(|&i| &roles.fields[i]).collect();
        let pictures = agree::Pictures { fields, blank: lamps.blank.as_ref(), dark: lamps.dark.as_ref() };
        let only = roles.lamps.len() == 1 && name.is_none();
        let of = if only { String::new() } else { format!(" of {}", in_words(name)) };
        let section = name.map_or_else(|| "[microscope]".into(), |name| format!("[microscopes.{name}]"));
        let scale = agree::scale(&microscope, &pictures, [&of, &section])?;
        let recipe = recipe_file::resolved(asked.recipe, lamps.blank.is_some()).map_err(|mut fault| {
            if !only {
                fault.message = format!("{}: {}", in_words(name), fault.message);
            }
            fault.file = asked.recipe_file.map(Path::to_path_buf);
            fault
        })?;
        let tone = agree::tone(&microscope, &pictures)?;
        agree::size(&pictures)?;
        let mut notes = agree::notes(&pictures);
        let reading = Reading { channel: recipe.light.channel, tone: Some(tone), ..asked.reading };
        let float_full_scale = agree::float_full_scale(&microscope, &pictures, &reading, &mut notes)?;
        let full_scale = agree::full_scale(&microscope, &pictures, tone);
        Ok(Self {
            name: lamps.name.clone(),
            microscope,
            recipe,
            scale,
            tone,
            full_scale,
            float_full_scale,
            fields: places,
            blank: lamps.blank.clone(),
            dark: lamps.dark.clone(),
            notes,
        })
    }

    /// The name as tables have it: empty for the default microscope.
    pub fn word(&self) -> &str {
        self.name.as_deref().unwrap_or_default()
    }

    /// The microscope as far as numbers depend on it.
    pub fn optics(&self) -> Optics {
        Optics {
            um_per_px: self.scale.um_per_px,
            numerical_aperture: self.microscope.numerical_aperture,
            wavelength_nm: self.microscope.wavelength_nm,
            full_scale: self.full_scale,
        }
    }

    /// The sheet's section with every choice written out. `beside` is that of the default microscope, as used, from which a named section
    /// would take what it does not say.
    pub(super) fn as_used(&self, beside: Option<&Microscope>) -> Microscope {
        let said = (self.full_scale < FULL_SCALE).then(|| self.full_scale.into());
        let mut used = Microscope {
            um_per_px: Some(self.scale.um_per_px),
            um_per_px_u: self.scale.um_per_px_u,
            scale_source: self.scale.source.clone(),
            scale_date: self.scale.date,
            tone: Some(self.tone),
            full_scale: self.microscope.full_scale.or(self.float_full_scale).or(said),
            blank: self.blank.as_ref().map(|blank| blank.name.clone()),
            dark: self.dark.as_ref().map(|dark| dark.name.clone()),
            ..self.microscope.clone()
        };
        if let Some(beside) = beside {
            used.scale_source = used.scale_source.or_else(|| beside.scale_source.as_ref().map(|_| "the sheet".into()));
            used.full_scale = used.full_scale.or_else(|| beside.full_scale.map(|_| self.full_scale.into()));
        }
        used
    }
}

#[cfg(test)]
mod tests;
