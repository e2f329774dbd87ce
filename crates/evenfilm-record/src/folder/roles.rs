//! Which picture is what.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use super::{Field, SHEET, Source, find};
use crate::fault::Fault;
use crate::pictures::{Ceiling, Info, is_picture, probe_pages};
use crate::sheet::{Microscope, PictureEntry, Place, Role, Sheet, microscope_key_line};
use crate::toml_file::nearest;

/// The pictures of a lot by role, their heads read.
pub(super) struct Roles {
    /// All fields, in their order.
    pub(super) fields: Vec<Field>,
    /// The microscopes of the fields, in the order of first use.
    pub(super) lamps: Vec<Lamps>,
}

/// What the light of a microscope is told from.
pub(super) struct Lamps {
    /// Its name; `None` is the default one.
    pub(super) name: Option<String>,
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

/// Where the names of a sheet lead.
#[derive(Clone, Debug, Default)]
pub(crate) struct Places {
    folder: PathBuf,
    /// Files that do not lie where their names say, by those names.
    elsewhere: BTreeMap<String, PathBuf>,
}

impl Places {
    pub(super) fn new(folder: &Path, elsewhere: &BTreeMap<String, PathBuf>) -> Self {
        Self { folder: folder.to_path_buf(), elsewhere: elsewhere.clone() }
    }

    fn path(&self, name: &str) -> PathBuf {
        match self.elsewhere.get(name) {
            Some(path) => path.clone(),
            None if self.elsewhere.is_empty() => self.folder.join(name),
            // Of a record only its own pictures count.
            None => PathBuf::new(),
        }
    }

    /// The file that a name of the sheet means and the page of it: `stack.tif#2` is the second page of `stack.tif`, unless there is a file of
    /// that name.
    pub(crate) fn file_of(&self, name: &str) -> (PathBuf, Option<usize>) {
        let whole = self.path(name);
        let page = |(file, page): (&str, &str)| Some((self.path(file), page.parse::<usize>().ok()?.checked_sub(1)?));
        match name.rsplit_once('#').and_then(page) {
            Some((file, page)) if !whole.is_file() => (file, Some(page)),
            _ => (whole, None),
        }
    }
}

pub(super) fn find(places: &Places, sheet: &Sheet, ceiling: &Ceiling) -> Result<Roles, Fault> {
    let at = Finder { places, sheet, sheet_file: places.folder.join(SHEET) };
    at.check_entries()?;
    let names = at.microscopes();
    let both = |name: &Option<String>| Ok([at.lamp(name.as_deref(), Role::Blank)?, at.lamp(name.as_deref(), Role::Dark)?]);
    let wanted = names.iter().map(both).collect::<Result<Vec<_>, Fault>>()?;
    let named = at.fields(wanted.iter().flatten().flatten())?;
    let mut lamps = Vec::new();
    for (name, [blank, dark]) in names.into_iter().zip(wanted) {
        let read = |lamp: Option<Named>| lamp.map(|lamp| lamp.lamp(ceiling)).transpose();
        let (blank, dark) = (read(blank)?, read(dark)?);
        if let (Some(blank), Some(dark)) = (&blank, &dark) {
            at.differ(blank, dark, "blank and as dark")?;
        }
        lamps.push(Lamps { name, blank, dark });
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
        fields.retain(|field| lamps.iter().flat_map(|l| l.blank.iter().chain(&l.dark)).all(|lamp| !same(field, lamp)));
    }
    for Lamps { blank, dark, .. } in &lamps {
        for (lamp, as_what) in [(blank, "field and as blank"), (dark, "field and as dark")] {
            if let Some(lamp) = lamp {
                fields.iter().try_for_each(|field| at.differ(&field.source, lamp, as_what))?;
            }
        }
    }
    if fields.is_empty() {
        return Err(at.no_fields());
    }
    Ok(Roles { fields, lamps })
}

struct Finder<'a> {
    places: &'a Places,
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
        let (path, page) = self.places.file_of(name);
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
            if let Some(name) = entry.place.microscope.as_ref().filter(|name| !self.sheet.microscopes.contains_key(*name)) {
                return Err(self.unknown_microscope(entry, name));
            }
        }
        Ok(())
    }

    fn unknown_microscope(&self, entry: &PictureEntry, name: &str) -> Fault {
        let near = nearest(name, self.sheet.microscopes.keys().map(String::as_str));
        let near = near.map_or_else(|| "it describes none by name".into(), |near| format!("the nearest known one is {near}"));
        let message = format!("the picture {} names the microscope {name}, which the sheet does not describe; {near}", entry.file);
        self.fault(entry.line, message, "correct microscope in [[picture]], or add a section [microscopes.NAME] with its scale")
    }

    fn entries(&self, role: Role) -> impl Iterator<Item = &PictureEntry> {
        self.sheet.pictures.iter().filter(move |entry| entry.role == role)
    }

    /// The microscopes of the fields, in the order of first use; the default one where no field is named.
    fn microscopes(&self) -> Vec<Option<String>> {
        let mut names = Vec::new();
        for entry in self.entries(Role::Field) {
            if !names.contains(&entry.place.microscope) {
                names.push(entry.place.microscope.clone());
            }
        }
        if names.is_empty() { vec![None] } else { names }
    }

    /// Blank or dark of a microscope: what is said of it by name, else what is said of all.
    fn lamp(&self, name: Option<&str>, role: Role) -> Result<Option<Named>, Fault> {
        let own = self.lamp_named(name, role)?;
        if own.is_some() || name.is_none() { Ok(own) } else { self.lamp_named(None, role) }
    }

    /// Blank or dark that is named for just this microscope, in its section or in an entry.
    fn lamp_named(&self, name: Option<&str>, role: Role) -> Result<Option<Named>, Fault> {
        let of = |microscope: &'_ Microscope| match role {
            Role::Blank => ("blank", microscope.blank.clone()),
            _ => ("dark", microscope.dark.clone()),
        };
        let (key, general) = of(&self.sheet.microscope);
        // A named section holds what the default one says, so that only what differs is its own.
        let stated =
            name.map_or_else(|| general.clone(), |_| of(self.sheet.microscope(name)).1.filter(|own| Some(own) != general.as_ref()));
        let mut found = Vec::new();
        if let Some(file) = stated {
            let (path, page) = self.existing(&file, || microscope_key_line(&self.sheet_file, name, key))?;
            found.push(Named { name: file, path, page, place: Place::default() });
        }
        for entry in self.entries(role).filter(|entry| entry.place.microscope.as_deref() == name) {
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
        let (path, page) = self.places.file_of(&entry.file);
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
        let whole = |name: &String| match self.places.file_of(name) {
            (path, None) => Some(real(&path)),
            (_, Some(_)) => None,
        };
        lamps.extend(others.flat_map(|m| m.blank.iter().chain(&m.dark)).filter_map(whole));
        let named = |name: String| Named { path: self.places.folder.join(&name), name, page: None, place: Place::default() };
        let pictures = find::names(&self.places.folder)?.into_iter().map(named);
        Ok(pictures.filter(|named| named.path.is_file() && !lamps.contains(&real(&named.path)) && is_picture(&named.path)).collect())
    }
}

/// The path without links and detours, by which two names of one file are told.
fn real(path: &Path) -> PathBuf {
    path.canonicalize().unwrap_or_else(|_| path.to_path_buf())
}
