//! A batch folder, resolved: which pictures are measured, with what scale, tone, recipe and limits. Nothing is decoded yet.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use evenfilm_core::recipe::Recipe;
use unicode_normalization::UnicodeNormalization;

use crate::approval;
use crate::corrections::{CORRECTIONS, Corrections};
use crate::fault::Fault;
use crate::limits_file::{Limits, known_quantities};
use crate::pictures::{Budget, Ceiling, Info, Reading};
use crate::recipe_file;
use crate::settings::Settings;
use crate::sheet::{PictureEntry, Place, Role, Sheet};
use crate::toml_file::{LARGEST_FILE, as_text, read_bytes};

mod agree;
mod corrected;
mod find;
mod objective;
mod roles;
#[cfg(test)]
mod tests;

pub use find::natural_order;
pub use objective::{Objective, Scale};
pub(crate) use roles::Places;

/// Name of the sheet.
pub const SHEET: &str = "batch.toml";

/// Name of the recipe's file.
pub const RECIPE: &str = "recipe.toml";

/// Name of the limits' file.
pub const LIMITS: &str = "limits.toml";

/// What the caller chooses for all lots of a call.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// The recipe for all lots, whatever lies beside their sheets.
    pub recipe: Option<PathBuf>,
    /// Choices that stand in for those of the recipe file while they are being made; the file that they will go to is found as ever.
    pub choices: Option<Recipe>,
    /// The limits for all lots, whatever lies beside their sheets.
    pub limits: Option<PathBuf>,
    /// The recipe for lots that have none beside or above their sheets, in place of the built-in one.
    pub else_recipe: Option<PathBuf>,
    /// The limits for lots that have none beside or above their sheets.
    pub else_limits: Option<PathBuf>,
    /// Files that do not lie where their names in the sheet say, by those names: those of a record.
    pub archived: BTreeMap<String, PathBuf>,
    /// What a picture may take.
    pub ceiling: Ceiling,
    /// What of it is held in memory.
    pub budget: Budget,
}

impl Options {
    /// What a lab's settings ask for: in controlled mode lots without a recipe or limits of their own have the approved ones.
    pub fn of(settings: &Settings) -> Self {
        let approved = |name| settings.controlled.then(|| approval::candidate(settings, name)).flatten();
        Self { else_recipe: approved(RECIPE), else_limits: approved(LIMITS), ..Self::default() }
    }
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

/// The files of recipe and limits as they were read, byte for byte: what an approval speaks of. `None` where there is no such file, or choices
/// stand in for it that are in no file yet.
#[derive(Clone, Debug, Default)]
pub(crate) struct AsFound(pub(crate) [Option<Vec<u8>>; 2]);

impl AsFound {
    fn read(&mut self, place: usize, path: &Path, what: &str) -> Result<String, Fault> {
        let bytes = read_bytes(path, what, LARGEST_FILE)?;
        let text = as_text(&bytes, path, what)?;
        self.0[place] = Some(bytes);
        Ok(text)
    }
}

/// A lot that can be measured.
#[derive(Clone, Debug)]
pub struct Batch {
    /// Its folder.
    pub folder: PathBuf,
    /// What the technician wrote.
    pub sheet: Sheet,
    /// The recipe. Where the light comes from is decided if it is the same for all objectives, and else left to each.
    pub recipe: Recipe,
    /// Where the recipe was found; `None` is the built-in one.
    pub recipe_file: Option<PathBuf>,
    /// Recipe and limits byte for byte.
    pub(crate) as_found: AsFound,
    /// The limits, where there are any.
    pub limits: Option<Limits>,
    /// Where the limits were found.
    pub limits_file: Option<PathBuf>,
    /// The fields, at least one: in the order of the sheet, or in natural order of their names.
    pub fields: Vec<Field>,
    /// The objectives that they were taken with, in the order of first use; at least one, most lots have no more.
    pub objectives: Vec<Objective>,
    /// What was corrected by hand.
    pub corrections: Corrections,
    /// Where the names in the sheet lead.
    pub(crate) places: Places,
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
        let recipe_file = options.recipe.clone().or_else(|| beside(folder, RECIPE)).or_else(|| options.else_recipe.clone());
        let mut as_found = AsFound::default();
        let recipe = match (&options.choices, &recipe_file) {
            (Some(choices), path) => {
                // Choices that are the file's are approved where it is.
                let of_file = path.as_ref().and_then(|path| recipe_file::parse(&as_found.read(0, path, "recipe").ok()?, path).ok());
                if of_file.as_ref() != Some(choices) {
                    as_found.0[0] = None;
                }
                choices.clone()
            }
            (None, Some(path)) => as_found.read(0, path, "recipe").and_then(|text| recipe_file::parse(&text, path))?,
            (None, None) => Recipe::default(),
        };
        let limits_file = options.limits.clone().or_else(|| beside(folder, LIMITS)).or_else(|| options.else_limits.clone());
        let read_limits =
            |path: &PathBuf| as_found.read(1, path, "limits").and_then(|text| Limits::parse(&text, path, &known_quantities()));
        let limits = limits_file.as_ref().map(read_limits).transpose()?;
        let places = Places::new(folder, &options.archived);
        let roles = roles::find(&places, &sheet, &options.ceiling)?;
        let at_sheet = |fault: Fault| if fault.file.is_none() { fault.at(folder.join(SHEET)) } else { fault };
        if let Some(limits) = &limits {
            limits.check_microscopes(&sheet.microscopes).map_err(|fault| match &limits_file {
                Some(path) => fault.at(path),
                None => fault,
            })?;
        }
        let reading = Reading { ceiling: options.ceiling, ..Reading::new(None) };
        let asked = objective::Asked { sheet: &sheet, recipe: &recipe, recipe_file: recipe_file.as_deref(), reading };
        let each = roles.lamps.iter().map(|lamps| Objective::resolve(&asked, &roles, lamps).map_err(at_sheet));
        let mut objectives = each.collect::<Result<Vec<_>, _>>()?;
        agree::shared_lamps(&mut objectives);
        agree::unheld_limits(limits.as_ref(), &mut objectives);
        let recipe = match objectives.as_slice() {
            [first, others @ ..] if others.iter().all(|other| other.recipe == first.recipe) => first.recipe.clone(),
            _ => recipe,
        };
        let corrections = Corrections::beside(folder)?;
        corrected::check(&corrections, &folder.join(CORRECTIONS), &roles.fields, &mut objectives)?;
        Ok(Self {
            folder: folder.to_path_buf(),
            recipe,
            recipe_file,
            as_found,
            limits,
            limits_file,
            fields: roles.fields,
            objectives,
            corrections,
            sheet,
            places,
            ceiling: options.ceiling,
            budget: options.budget,
        })
    }

    /// How the pictures of an objective are to be read.
    pub fn reading(&self, objective: &Objective) -> Reading<'static> {
        Reading {
            channel: objective.recipe.light.channel,
            ceiling: self.ceiling,
            budget: self.budget,
            float_full_scale: objective.float_full_scale.unwrap_or(1.0),
            ..Reading::new(Some(objective.tone))
        }
    }

    /// What a reader of the record should know, in words; where there are several objectives, each note names its own.
    pub fn notes(&self) -> Vec<String> {
        self.objectives.iter().flat_map(|objective| objective.notes.iter().map(|note| self.named(objective, note))).collect()
    }

    /// A note that names its objective where there are several.
    pub(crate) fn named(&self, objective: &Objective, note: &str) -> String {
        let several = self.objectives.len() > 1;
        let whose = if several { objective::in_words(objective.name.as_deref()) + ": " } else { String::new() };
        whose + note
    }

    /// The sheet with every choice written out: scale, tone, blank and dark as used, and each field by name.
    pub fn sheet_as_used(&self) -> Sheet {
        let mut sheet = self.sheet.clone();
        let default = self.objectives.iter().find(|objective| objective.name.is_none()).map(|default| default.as_used(None));
        for (name, objective) in self.objectives.iter().filter_map(|o| Some((o.name.clone()?, o))) {
            sheet.microscopes.insert(name, objective.as_used(default.as_ref()));
        }
        if let Some(default) = default {
            sheet.microscope = default;
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
