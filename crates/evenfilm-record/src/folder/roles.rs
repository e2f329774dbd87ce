//! Which picture is what.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use super::{Field, SHEET, Source, find};
use crate::fault::Fault;
use crate::pictures::{Ceiling, Info, is_picture, probe_pages};
use crate::sheet::{Microscope, PictureEntry, Place, Role, Sheet, microscope_key_line};

/// The pictures of a lot by role, their heads read.
pub(super) struct Roles {
    /// The microscope of all fields; `None` is the default one.
    pub(super) microscope: Option<String>,
    pub(super) fields: Vec<Field>,
    pub(super) blank: Option<Source>,
    pub(super) dark: Option<Source>,
}

/// A picture by name, its head not yet read.
#[derive(Clone)]
struct Named {
    name: String,
    path: PathBuf,
    /// The page that the name asks for, from 0.
    page: Option<usize>,
    place: Place,
}

impl Named {
    /// What the heads of its pages say.
    fn pages(&self, ceiling: &Ceiling) -> Result<Vec<Info>, Fault> {
        let pages = probe_pages(&self.path, ceiling)?;
        match self.page {
            Some(page) if page >= pages.len() => {
                let message = format!("the sheet names page {} of the picture, which has {} of one size", page + 1, pages.len());
                Err(Fault::input(message, "correct the number behind # in the sheet").at(&self.path))
            }
            _ => Ok(pages),
        }
    }

    fn source(self, info: Info, several: bool) -> Source {
        let page = info.page;
        let name = if several && self.page.is_none() { format!("{}#{}", self.name, page + 1) } else { self.name };
        Source { name, path: self.path, several, info }
    }

    /// Every page that the name stands for.
    fn sources(self, ceiling: &Ceiling) -> Result<Vec<Source>, Fault> {
        let pages = self.pages(ceiling)?;
        let (several, wanted) = (pages.len() > 1, self.page);
        let pages = pages.into_iter().enumerate().filter(|(page, _)| wanted.is_none_or(|wanted| wanted == *page));
        Ok(pages.map(|(_, info)| self.clone().source(info, several)).collect())
    }

    /// The one page that a blank or a dark picture is.
    fn lamp(self, ceiling: &Ceiling) -> Result<Source, Fault> {
        let mut pages = self.pages(ceiling)?;
        let count = pages.len();
        let mut info = pages.swap_remove(self.page.unwrap_or(0));
        if count > 1 && self.page.is_none() {
            info.notes.push(format!("its first page of {count} is read"));
        }
        // Its name stays as the sheet has it: without a number it is the first page.
        let several = count > 1;
        Ok(Source { name: self.name, path: self.path, several, info })
    }
}

/// The file that a name of the sheet means and the page of it: `stack.tif#2` is the second page of `stack.tif`, unless there is a file of
/// that name.
pub(crate) fn file_of(folder: &Path, name: &str) -> (PathBuf, Option<usize>) {
    let whole = folder.join(name);
    let page = |(file, page): (&str, &str)| Some((folder.join(file), page.parse::<usize>().ok()?.checked_sub(1)?));
    match name.rsplit_once('#').and_then(page) {
        Some((file, page)) if !whole.is_file() => (file, Some(page)),
        _ => (whole, None),
    }
}

pub(super) fn find(folder: &Path, sheet: &Sheet, ceiling: &Ceiling) -> Result<Roles, Fault> {
    let at = Finder { folder, sheet, sheet_file: folder.join(SHEET) };
    at.check_entries()?;
    let microscope = at.one_microscope()?;
    let optics = sheet.microscope(microscope.as_deref());
    let blank = at.lamp(microscope.as_deref(), optics, Role::Blank)?;
    let dark = at.lamp(microscope.as_deref(), optics, Role::Dark)?;
    let named = at.fields(blank.iter().chain(&dark))?;
    let (blank, dark) = (blank.map(|blank| blank.lamp(ceiling)).transpose()?, dark.map(|dark| dark.lamp(ceiling)).transpose()?);
    if let (Some(blank), Some(dark)) = (&blank, &dark) {
        at.differ(blank, dark, "blank and as dark")?;
    }
    let mut fields = Vec::new();
    for named in named {
        let place = named.place.clone();
        let field = |source| Field { source, slide: place.slide.clone().unwrap_or_default(), place: place.clone() };
        fields.extend(named.sources(ceiling)?.into_iter().map(field));
    }
    let same = |field: &Field, lamp: &Source| real(&field.source.path) == real(&lamp.path) && field.source.info.page == lamp.info.page;
    if sheet.pictures.is_empty() {
        // A page that is the blank is no field, though its file holds some.
        fields.retain(|field| blank.iter().chain(&dark).all(|lamp| !same(field, lamp)));
    }
    for (lamp, as_what) in [(&blank, "field and as blank"), (&dark, "field and as dark")] {
        if let Some(lamp) = lamp {
            fields.iter().try_for_each(|field| at.differ(&field.source, lamp, as_what))?;
        }
    }
    if fields.is_empty() {
        return Err(at.no_fields());
    }
    Ok(Roles { microscope, fields, blank, dark })
}

struct Finder<'a> {
    folder: &'a Path,
    sheet: &'a Sheet,
    sheet_file: PathBuf,
}

impl Finder<'_> {
    fn fault(&self, line: Option<usize>, message: String, remedy: &str) -> Fault {
        let fault = Fault::input(message, remedy).at(&self.sheet_file);
        match line {
            Some(line) => fault.on_line(line),
            None => fault,
        }
    }

    /// One picture cannot be two things.
    fn differ(&self, one: &Source, other: &Source, as_what: &str) -> Result<(), Fault> {
        if real(&one.path) != real(&other.path) || one.info.page != other.info.page {
            return Ok(());
        }
        let message = format!("the picture {} is named as {as_what}", one.name);
        Err(self.fault(None, message, "name another picture for one of the two"))
    }

    /// The file of a name, which must be there.
    fn existing(&self, name: &str, line: impl FnOnce() -> Option<usize>) -> Result<(PathBuf, Option<usize>), Fault> {
        let (path, page) = file_of(self.folder, name);
        if path.is_file() {
            return Ok((path, page));
        }
        let message = format!("the picture {name} is named in the sheet and is not there");
        Err(self.fault(line(), message, "correct the name, which is relative to the folder of the sheet, or add the file"))
    }

    /// Every entry is there, once, and names a microscope that the sheet knows.
    fn check_entries(&self) -> Result<(), Fault> {
        let mut seen = BTreeMap::new();
        for entry in &self.sheet.pictures {
            let (path, page) = self.existing(&entry.file, || entry.line)?;
            if let Some(earlier) = seen.insert((real(&path), page), entry.file.as_str()) {
                let message = format!("two entries name one picture: {earlier} and {}", entry.file);
                return Err(self.fault(entry.line, message, "remove one of the two"));
            }
            let microscope = entry.place.microscope.as_ref().filter(|name| !self.sheet.microscopes.contains_key(*name));
            if let Some(name) = microscope {
                let message = format!("the picture {} names the microscope {name}, which the sheet does not describe", entry.file);
                return Err(self.fault(entry.line, message, "add a section [microscopes.NAME] with its scale, or correct the name"));
            }
        }
        Ok(())
    }

    fn entries(&self, role: Role) -> impl Iterator<Item = &PictureEntry> {
        self.sheet.pictures.iter().filter(move |entry| entry.role == role)
    }

    /// Numbers of different microscopes are never pooled.
    fn one_microscope(&self) -> Result<Option<String>, Fault> {
        let names = self.entries(Role::Field).map(|entry| entry.place.microscope.clone()).collect::<BTreeSet<_>>();
        if names.len() > 1 {
            let shown = names.into_iter().map(|name| name.unwrap_or_else(|| "the default".into())).collect::<Vec<_>>().join(", ");
            let message = format!("the fields were taken with several microscopes ({shown}), which this version cannot keep apart");
            return Err(self.fault(None, message, "give the pictures of each microscope a folder and a lot of their own"));
        }
        Ok(names.into_iter().next().flatten())
    }

    /// Blank or dark of a microscope: named in its section, or in an entry.
    fn lamp(&self, name: Option<&str>, microscope: &Microscope, role: Role) -> Result<Option<Named>, Fault> {
        let (key, stated) = match role {
            Role::Blank => ("blank", &microscope.blank),
            _ => ("dark", &microscope.dark),
        };
        let mut found = Vec::new();
        if let Some(file) = stated {
            let (path, page) = self.existing(file, || microscope_key_line(&self.sheet_file, name, key))?;
            found.push(Named { name: file.clone(), path, page, place: Place::default() });
        }
        let fits = |entry: &&PictureEntry| entry.place.microscope.is_none() || entry.place.microscope.as_deref() == name;
        for entry in self.entries(role).filter(fits) {
            let named = self.named(entry);
            if found.iter().all(|earlier| real(&earlier.path) != real(&named.path) || earlier.page != named.page) {
                found.push(named);
            }
        }
        if let [first, second, ..] = found.as_slice() {
            let message = format!("two pictures are named as {key}: {} and {}", first.name, second.name);
            return Err(self.fault(None, message, "name one for each microscope"));
        }
        Ok(found.pop())
    }

    fn named(&self, entry: &PictureEntry) -> Named {
        let (path, page) = file_of(self.folder, &entry.file);
        Named { name: entry.file.clone(), path, page, place: entry.place.clone() }
    }

    /// The fields: those that the sheet names, else all pictures of the folder that are neither blank nor dark.
    fn fields<'n>(&self, lamps: impl Iterator<Item = &'n Named>) -> Result<Vec<Named>, Fault> {
        let fields = if self.sheet.pictures.is_empty() {
            self.unnamed_fields(lamps.filter(|lamp| lamp.page.is_none()).map(|lamp| real(&lamp.path)).collect())?
        } else {
            self.entries(Role::Field).map(|entry| self.named(entry)).collect()
        };
        if fields.is_empty() { Err(self.no_fields()) } else { Ok(fields) }
    }

    fn no_fields(&self) -> Fault {
        let (message, remedy) = if self.sheet.pictures.is_empty() {
            ("the folder holds no picture of a field", "put the pictures beside the sheet, or name them in [[picture]]")
        } else {
            ("no [[picture]] of the sheet is a field", "name the fields too, each with role = \"field\", or remove the other entries")
        };
        self.fault(None, message.into(), remedy)
    }

    fn unnamed_fields(&self, mut lamps: BTreeSet<PathBuf>) -> Result<Vec<Named>, Fault> {
        // Blank and dark of a microscope that this lot does not use are no fields either.
        let others = self.sheet.microscopes.values().chain([&self.sheet.microscope]);
        let whole = |name: &String| match file_of(self.folder, name) {
            (path, None) => Some(real(&path)),
            (_, Some(_)) => None,
        };
        lamps.extend(others.flat_map(|m| m.blank.iter().chain(&m.dark)).filter_map(whole));
        let named = |name: String| Named { path: self.folder.join(&name), name, page: None, place: Place::default() };
        let pictures = find::names(self.folder)?.into_iter().map(named);
        Ok(pictures.filter(|named| named.path.is_file() && !lamps.contains(&real(&named.path)) && is_picture(&named.path)).collect())
    }
}

/// The path without links and detours, by which two names of one file are told.
fn real(path: &Path) -> PathBuf {
    path.canonicalize().unwrap_or_else(|_| path.to_path_buf())
}
