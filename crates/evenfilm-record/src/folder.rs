//! A batch folder, resolved: which pictures are measured, with what scale, tone, recipe and limits. Nothing is decoded yet.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use evenfilm_core::light::Optics;
use evenfilm_core::recipe::Recipe;
use jiff::civil::Date;
use unicode_normalization::UnicodeNormalization;

use crate::fault::Fault;
use crate::limits_file::{Limits, known_quantities};
use crate::pictures::{Budget, Ceiling, FULL_SCALE, Info, Reading};
use crate::recipe_file;
use crate::sheet::{Microscope, PictureEntry, Place, Role, Sheet, Tone};

mod agree;
mod find;
mod roles;
#[cfg(test)]
mod tests;

pub use find::natural_order;
pub(crate) use roles::file_of;

/// Name of the sheet.
pub const SHEET: &str = "batch.toml";

/// What the caller chooses for all lots of a call.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// The recipe for all lots, whatever lies beside their sheets.
    pub recipe: Option<PathBuf>,
    /// The limits for all lots, whatever lies beside their sheets.
    pub limits: Option<PathBuf>,
    /// What a picture may take.
    pub ceiling: Ceiling,
    /// What of it is held in memory.
    pub budget: Budget,
}

/// A lot of a call, usable or not.
#[derive(Clone, Debug)]
pub struct Opened {
    /// Its folder, or the folder that was asked for and holds none.
    pub folder: PathBuf,
    /// Its name, where the sheet could be read.
    pub lot: Option<String>,
    /// The lot, or why it cannot be measured.
    pub batch: Result<Batch, Fault>,
}

/// A picture that takes part in a measurement.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// Its name as the sheet gives it, or as it lies in the folder; a page of several has its number behind it, as in `stack.tif#2`.
    pub name: String,
    /// Where it is.
    pub path: PathBuf,
    /// Whether its file has several pages of its size.
    pub several: bool,
    /// What its head says.
    pub info: Info,
}

impl Source {
    /// The name without the number of a page.
    pub fn file(&self) -> &str {
        let number = format!("#{}", self.info.page + 1);
        if self.several { self.name.strip_suffix(&number).unwrap_or(&self.name) } else { &self.name }
    }
}

/// A field to measure.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// The picture.
    pub source: Source,
    /// The slide it shows; empty where the sheet does not say, which is one slide.
    pub slide: String,
    /// What else the sheet says of it.
    pub place: Place,
}

/// The scale that holds for all fields of a lot.
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

/// A lot that can be measured.
#[derive(Clone, Debug)]
pub struct Batch {
    /// Its folder.
    pub folder: PathBuf,
    /// What the technician wrote.
    pub sheet: Sheet,
    /// The recipe, its light decided.
    pub recipe: Recipe,
    /// Where the recipe was found; `None` is the built-in one.
    pub recipe_file: Option<PathBuf>,
    /// The limits, where there are any.
    pub limits: Option<Limits>,
    /// Where the limits were found.
    pub limits_file: Option<PathBuf>,
    /// Name of the microscope; `None` is the default one.
    pub microscope_name: Option<String>,
    /// The microscope that the fields were taken with.
    pub microscope: Microscope,
    /// The scale.
    pub scale: Scale,
    /// What counts stand for.
    pub tone: Tone,
    /// The linear count at which the camera saturates.
    pub full_scale: u16,
    /// The value of float pictures that becomes the count 65535; `None` where no picture is one.
    pub float_full_scale: Option<f64>,
    /// The fields, at least one, all of one size: in the order of the sheet, or in natural order of their names.
    pub fields: Vec<Field>,
    /// The empty slide, as large as the fields.
    pub blank: Option<Source>,
    /// The closed shutter, as large as the fields.
    pub dark: Option<Source>,
    /// What a reader of the record should know, in words.
    pub notes: Vec<String>,
    ceiling: Ceiling,
    budget: Budget,
}

/// Opens the lots of a call, in the order of the folders and below each in natural order. A folder without a sheet stands for all its
/// subfolders that have one; a folder named twice counts once.
pub fn open_all(folders: &[PathBuf], options: &Options) -> Vec<Opened> {
    let (mut taken, mut names) = (BTreeSet::new(), BTreeMap::new());
    let mut opened = Vec::new();
    for folder in folders {
        match find::lots(folder, &mut taken) {
            Ok(lots) => opened.extend(lots.into_iter().map(|lot| open_named(lot, &mut names, options))),
            Err(fault) => opened.push(Opened { folder: folder.clone(), lot: None, batch: Err(fault) }),
        }
    }
    opened
}

/// Opens one lot and refuses a name that another lot of the call already has.
fn open_named(folder: PathBuf, names: &mut BTreeMap<String, PathBuf>, options: &Options) -> Opened {
    let sheet = match Sheet::read(&folder.join(SHEET)) {
        Ok(sheet) => sheet,
        Err(fault) => return Opened { folder, lot: None, batch: Err(fault) },
    };
    let lot = Some(sheet.lot.clone());
    let key = sheet.lot.nfc().collect::<String>();
    if let Some(earlier) = names.get(&key) {
        let message = format!("another lot of this call is also named {}: {}", sheet.lot, earlier.display());
        let fault = Fault::input(message, "give each lot a name of its own, or put the slides of one lot into one folder");
        return Opened { batch: Err(fault.at(folder.join(SHEET))), folder, lot };
    }
    names.insert(key, folder.clone());
    let batch = Batch::resolve(&folder, sheet, options);
    Opened { folder, lot, batch }
}

impl Batch {
    /// Opens the lot of a folder with a sheet.
    ///
    /// # Errors
    /// Whatever in sheet, recipe, limits or the heads of the pictures keeps the lot from being measured.
    pub fn open(folder: &Path, options: &Options) -> Result<Self, Fault> {
        Self::resolve(folder, Sheet::read(&folder.join(SHEET))?, options)
    }

    fn resolve(folder: &Path, sheet: Sheet, options: &Options) -> Result<Self, Fault> {
        let recipe_file = options.recipe.clone().or_else(|| beside(folder, "recipe.toml"));
        let recipe = recipe_file.as_deref().map(recipe_file::read).transpose()?.unwrap_or_default();
        let limits_file = options.limits.clone().or_else(|| beside(folder, "limits.toml"));
        let limits = limits_file.as_deref().map(|path| Limits::read(path, &known_quantities())).transpose()?;
        let roles = roles::find(folder, &sheet, &options.ceiling)?;
        let microscope = sheet.microscope(roles.microscope.as_deref()).clone();
        let recipe = recipe_file::resolved(&recipe, roles.blank.is_some()).map_err(|fault| match &recipe_file {
            Some(path) => fault.at(path),
            None => fault,
        })?;
        let at_sheet = |fault: Fault| if fault.file.is_none() { fault.at(folder.join(SHEET)) } else { fault };
        let scale = agree::scale(&microscope, &roles.fields).map_err(at_sheet)?;
        let tone = agree::tone(&microscope, &roles)?;
        agree::size(&roles)?;
        let mut notes = agree::notes(&roles);
        let reading = Reading { channel: recipe.light.channel, ceiling: options.ceiling, ..Reading::new(Some(tone)) };
        let float_full_scale = agree::float_full_scale(&microscope, &roles, &reading, &mut notes)?;
        let full_scale = agree::full_scale(&microscope, &roles, tone);
        Ok(Self {
            folder: folder.to_path_buf(),
            recipe,
            recipe_file,
            limits,
            limits_file,
            microscope_name: roles.microscope.clone(),
            microscope,
            scale,
            tone,
            full_scale,
            float_full_scale,
            notes,
            fields: roles.fields,
            blank: roles.blank,
            dark: roles.dark,
            sheet,
            ceiling: options.ceiling,
            budget: options.budget,
        })
    }

    /// How its pictures are to be read.
    pub fn reading(&self) -> Reading<'static> {
        Reading {
            channel: self.recipe.light.channel,
            ceiling: self.ceiling,
            budget: self.budget,
            float_full_scale: self.float_full_scale.unwrap_or(1.0),
            ..Reading::new(Some(self.tone))
        }
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

    /// The sheet with every choice written out: scale, tone, blank and dark as used, and each field by name.
    pub fn sheet_as_used(&self) -> Sheet {
        let mut sheet = self.sheet.clone();
        let said = (self.full_scale < FULL_SCALE).then(|| self.full_scale.into());
        let used = Microscope {
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
        match &self.microscope_name {
            Some(name) => drop(sheet.microscopes.insert(name.clone(), used)),
            None => sheet.microscope = used,
        }
        if sheet.pictures.is_empty() {
            let entry =
                |field: &Field| PictureEntry { line: None, file: field.source.name.clone(), role: Role::Field, place: field.place.clone() };
            sheet.pictures = self.fields.iter().map(entry).collect();
        }
        sheet
    }
}

/// A file of this name beside the sheet, or else in the folder above.
fn beside(folder: &Path, name: &str) -> Option<PathBuf> {
    let here = folder.join(name);
    if here.is_file() {
        return Some(here);
    }
    // The folder above is that of the real folder: a relative path such as "." has none in its text.
    folder.canonicalize().ok()?.parent().map(|above| above.join(name)).filter(|above| above.is_file())
}
