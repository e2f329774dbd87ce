//! The sheet `batch.toml`: what the technician knows about a lot.

use std::collections::BTreeMap;
use std::path::Path;

use crate::fault::Fault;
use crate::toml_file::{Section, TomlFile, Writer};

pub mod form;
mod parts;

pub use crate::toml_file::Entry;
use parts::Part;
pub use parts::{About, Device, Microscope, Mixing, Mode, Place, Placement, Plan, Powder, Purpose, Role, Sample, Slide, Tone};

/// One `[[picture]]`.
#[derive(Clone, Debug, PartialEq)]
pub struct PictureEntry {
    /// Line of its file in the sheet; `None` where the program made the entry.
    pub line: Option<usize>,
    /// Picture, relative to the lot's folder.
    pub file: String,
    /// What it is for; a field where the sheet does not say.
    pub role: Role,
    /// Slide, microscope, place.
    pub place: Place,
}

/// The sheet of a lot. Sections that override another hold the result: `slides["A"]` is `[slide]` with what `[slides.A]` says instead.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Name of the lot: any text without control characters, not empty.
    pub lot: String,
    /// The other keys above the first section.
    pub about: About,
    /// `[powder]`
    pub powder: Powder,
    /// `[mixing]`
    pub mixing: Mixing,
    /// `[sample]`
    pub sample: Sample,
    /// `[slide]`
    pub slide: Slide,
    /// `[slides.X]`, filled up from `[slide]`.
    pub slides: BTreeMap<String, Slide>,
    /// `[plan]`
    pub plan: Plan,
    /// `[microscope]`
    pub microscope: Microscope,
    /// `[microscopes.X]`, filled up from `[microscope]`.
    pub microscopes: BTreeMap<String, Microscope>,
    /// `[[picture]]`, in the order of the file.
    pub pictures: Vec<PictureEntry>,
    /// `[note]`, in the order of the file.
    pub notes: Vec<(String, Entry)>,
}

impl Sheet {
    /// Reads a sheet.
    ///
    /// # Errors
    /// Broken TOML, unknown keys, wrong types and values out of their physical range, each with line and key; a missing or unusable name
    /// of the lot.
    pub fn read(path: &Path) -> Result<Self, Fault> {
        Self::from_file(&TomlFile::read(path, "sheet")?)
    }

    /// Reads a sheet from text; `path` stands in messages.
    ///
    /// # Errors
    /// As [`Sheet::read`].
    pub fn parse(text: &str, path: &Path) -> Result<Self, Fault> {
        Self::from_file(&TomlFile::parse(text.to_owned(), path)?)
    }

    fn from_file(file: &TomlFile) -> Result<Self, Fault> {
        let top = file.top();
        let lot = top.text("lot")?;
        let about = About::read(&top)?.or(&About { purpose: Some(Purpose::Lot), ..About::default() });
        let (powder, mixing, sample, plan) = (one(&top, "powder")?, one(&top, "mixing")?, one(&top, "sample")?, one(&top, "plan")?);
        let (slide, slides) = with_overrides(&top, ["slide", "slides"], &Slide::default())?;
        let assumed = Microscope { mode: Some(Mode::Transmitted), ..Microscope::default() };
        let (microscope, microscopes) = with_overrides(&top, ["microscope", "microscopes"], &assumed)?;
        let pictures = top.sections("picture")?.iter().map(PictureEntry::read).collect::<Result<_, _>>()?;
        let notes = top.section("note")?.map(|note| note.anything()).transpose()?.unwrap_or_default();
        top.finish()?;
        let lot = lot_name(lot, &top)?;
        Ok(Self { lot, about, powder, mixing, sample, slide, slides, plan, microscope, microscopes, pictures, notes })
    }

    /// Why the pictures were taken.
    pub fn purpose(&self) -> Purpose {
        self.about.purpose.unwrap_or(Purpose::Lot)
    }

    /// The microscope of this name, or the default one.
    pub fn microscope(&self, name: Option<&str>) -> &Microscope {
        name.and_then(|name| self.microscopes.get(name)).unwrap_or(&self.microscope)
    }

    /// What is known of the slide of this name.
    pub fn slide(&self, name: &str) -> &Slide {
        self.slides.get(name).unwrap_or(&self.slide)
    }

    /// The plan alone as text; empty where there is none.
    pub(crate) fn plan_as_text(&self) -> String {
        let mut out = Writer::default();
        out.part(&["plan"], self.plan.entries());
        out.finish()
    }

    /// The sheet as text, in the order of the documentation: what the program assumed is written out, what nobody stated stays absent.
    /// Reading it gives the same sheet.
    pub fn canonical(&self) -> String {
        let mut out = Writer::default();
        out.entry("lot", self.lot.as_str());
        self.about.entries().into_iter().for_each(|(key, value)| out.entry(key, value));
        out.part(&["powder"], self.powder.entries());
        out.part(&["mixing"], self.mixing.entries());
        out.part(&["sample"], self.sample.entries());
        out.part(&["slide"], self.slide.entries());
        self.slides.iter().for_each(|(name, slide)| out.part(&["slides", name], slide.entries()));
        out.part(&["plan"], self.plan.entries());
        out.part(&["microscope"], self.microscope.entries());
        self.microscopes.iter().for_each(|(name, microscope)| out.part(&["microscopes", name], microscope.entries()));
        self.pictures.iter().for_each(|picture| picture.write(&mut out));
        if !self.notes.is_empty() {
            out.section(&["note"]);
            self.notes.iter().for_each(|(key, value)| out.entry(key, value.clone()));
        }
        out.finish()
    }
}

impl PictureEntry {
    fn read(section: &Section<'_>) -> Result<Self, Fault> {
        let file = section.name("file")?;
        let role = section.choice("role", Role::ALL, Role::word)?.unwrap_or(Role::Field);
        let place = Place::read(section)?;
        section.finish()?;
        let missing = || section.fault("file", "a [[picture]] has no file", "name the picture: file = \"f01.tif\"");
        Ok(Self { line: Some(section.line_of("file")), file: file.ok_or_else(missing)?, role, place })
    }

    fn write(&self, out: &mut Writer) {
        out.header(["[[", "]]"], &["picture"]);
        out.entry("file", self.file.as_str());
        out.entry("role", self.role);
        self.place.entries().into_iter().for_each(|(key, value)| out.entry(key, value));
    }
}

fn one<P: Part + Default>(top: &Section<'_>, key: &'static str) -> Result<P, Fault> {
    let Some(section) = top.section(key)? else { return Ok(P::default()) };
    let part = P::read(&section)?;
    section.finish()?;
    Ok(part)
}

/// A section, and the named sections that override it, each filled up.
fn with_overrides<P: Part + Default>(top: &Section<'_>, keys: [&'static str; 2], assumed: &P) -> Result<(P, BTreeMap<String, P>), Fault> {
    let default = one::<P>(top, keys[0])?.or(assumed);
    let mut named = BTreeMap::new();
    for (name, section) in top.named_sections(keys[1])? {
        let part = P::read(&section)?;
        section.finish()?;
        named.insert(name, part.or(&default));
    }
    Ok((default, named))
}

/// The line of a key of `[microscope]`, or of `[microscopes.NAME]` where that section has it; looked up again when an error needs it.
pub(crate) fn microscope_key_line(path: &Path, name: Option<&str>, key: &str) -> Option<usize> {
    let file = TomlFile::read(path, "sheet").ok()?;
    let top = file.top();
    let named = top.named_sections("microscopes").ok()?.into_iter().find(|(found, _)| Some(found.as_str()) == name);
    let sections = named.map(|(_, section)| section).into_iter().chain(top.section("microscope").ok()?);
    sections.filter(|section| section.has(key)).map(|section| section.line_of(key)).next()
}

fn lot_name(lot: Option<String>, top: &Section<'_>) -> Result<String, Fault> {
    let example = "name the lot in the first line: lot = \"TS-0412\"";
    let lot = lot.ok_or_else(|| top.fault("lot", "the sheet does not name the lot", example))?;
    if lot.trim().is_empty() {
        return Err(top.fault("lot", "the name of the lot is empty", example));
    }
    if lot.chars().any(char::is_control) {
        return Err(top.fault("lot", "the name of the lot holds a control character", "write the name in one line without tabs"));
    }
    Ok(lot)
}

#[cfg(test)]
mod tests;
