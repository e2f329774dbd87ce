//! What is kept of a lot while it is measured: pictures and overlays for its record, or a memo for whoever only looks.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use evenfilm_core::field::FieldResult;
use evenfilm_core::light::Correction;
use evenfilm_core::plane::Rect;
use evenfilm_core::recipe::Recipe;

use crate::archive::Staging;
use crate::bag::sha256_of;
use crate::fault::Fault;
use crate::folder::{Batch, Objective, Source};
use crate::names::Places;
use crate::overlay;
use crate::sheet::{Microscope, Role};
use crate::tables::PictureRow;
use crate::time::Stated;

use super::memo::Memo;
use super::pictures::Read;
use super::{Kept, stopped};

/// What a measurement leaves beside its numbers.
pub(super) enum Keeper<'a> {
    /// A record.
    Record(&'a mut Archive),
    /// Nothing on the disk.
    Memo(&'a mut Memo),
}

/// The pictures and overlays of a record that is being made.
pub(super) struct Archive {
    pub(super) staging: Staging,
    images: Places,
    overlays: Places,
    /// Files that lie in the record.
    copied: BTreeMap<PathBuf, PictureRow>,
    /// Whether pictures are only looked at, since the record that is made is for its numbers alone.
    numbers_only: bool,
}

/// A field's picture and what was measured in it.
#[derive(Clone, Copy)]
pub(super) struct Shown<'a> {
    pub(super) source: &'a Source,
    pub(super) read: &'a Read,
    pub(super) result: &'a FieldResult,
    pub(super) light: &'a Correction<'a>,
    pub(super) recipe: &'a Recipe,
}

impl Keeper<'_> {
    /// Whether a record is made.
    pub(super) const fn is_record(&self) -> bool {
        matches!(self, Self::Record(_))
    }

    /// Keeps the picture of a field and what is drawn of it, while both are at hand.
    pub(super) fn field(&mut self, shown: Shown<'_>) -> Result<Kept, Fault> {
        match self {
            Self::Record(archive) => archive.field(shown),
            Self::Memo(memo) => {
                let path = &shown.source.path;
                let sha256 = memo.digest(path, shown.read.stamp)?;
                shown.read.stamp.check(path)?;
                Ok(Kept { place: String::new(), sha256, overlay: String::new() })
            }
        }
    }

    /// Keeps blank and dark of an objective, or makes sure that they are still what they were.
    pub(super) fn lamps(&mut self, objective: &Objective, lamp: [Option<&Read>; 2]) -> Result<(), Fault> {
        let lamps = [(&objective.blank, Role::Blank), (&objective.dark, Role::Dark)];
        for ((source, role), read) in lamps.into_iter().zip(lamp) {
            match (&mut *self, source, read) {
                (Self::Record(archive), Some(source), read) => drop(archive.picture(source, role, read)?),
                (Self::Memo(_), Some(source), Some(read)) => read.stamp.check(&source.path)?,
                _ => {}
            }
        }
        Ok(())
    }

    /// Keeps what else the sheet names: rulings, overviews, labels and evidence of whatever kind of file, and blanks and darks of microscopes
    /// that no field was taken with.
    pub(super) fn others(&mut self, batch: &Batch) -> Result<(), Fault> {
        if let Self::Record(archive) = self { archive.others(batch) } else { Ok(()) }
    }
}

impl Archive {
    pub(super) fn of(staging: Staging) -> Self {
        Self { staging, images: Places::default(), overlays: Places::default(), copied: BTreeMap::new(), numbers_only: false }
    }

    /// An archive of tables without pictures and overlays.
    pub(super) fn of_numbers(staging: Staging) -> Self {
        Self { numbers_only: true, ..Self::of(staging) }
    }

    /// The bag and all pictures that lie in it, by their places.
    pub(super) fn into_parts(self) -> (Staging, Vec<PictureRow>) {
        let mut pictures: Vec<PictureRow> = self.copied.into_values().collect();
        pictures.sort_by(|a, b| a.archived_as.cmp(&b.archived_as));
        (self.staging, pictures)
    }

    fn field(&mut self, shown: Shown<'_>) -> Result<Kept, Fault> {
        if self.numbers_only {
            return self.picture(shown.source, Role::Field, Some(shown.read));
        }
        // The disk copies while the processors draw.
        let (png, kept) = rayon::join(|| draw(shown), || self.picture(shown.source, Role::Field, Some(shown.read)));
        let (png, mut kept) = (png?, kept?);
        let file = shown.source.file();
        let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
        let page = if shown.source.several { format!("-{}", shown.source.info.page + 1) } else { String::new() };
        kept.overlay = format!("overlays/{}", self.overlays.give(&format!("{stem}{page}.png")));
        self.staging.bag.put(&kept.overlay, &png)?;
        Ok(kept)
    }

    /// Draws the overlay of a field again, in the place of the one before.
    pub(super) fn draw_again(&mut self, kept: &Kept, shown: Shown<'_>) -> Result<(), Fault> {
        if self.numbers_only {
            return Ok(());
        }
        self.staging.bag.put(&kept.overlay, &draw(shown)?)
    }

    /// Copies the file of a picture, once for all its pages.
    fn picture(&mut self, source: &Source, role: Role, read: Option<&Read>) -> Result<Kept, Fault> {
        if !self.copied.contains_key(&source.path) {
            self.copy(source.file(), &source.path, role, source.info.taken_at)?;
        }
        if let Some(read) = read {
            read.stamp.check(&source.path)?;
        }
        let row = &self.copied[&source.path];
        Ok(Kept { place: row.archived_as.clone(), sha256: row.sha256.clone(), overlay: String::new() })
    }

    fn copy(&mut self, file: &str, path: &Path, role: Role, taken_at: Option<Stated>) -> Result<(), Fault> {
        let archived_as = format!("images/{}", self.images.give(file));
        let sha256 = if self.numbers_only { sha256_of(path)? } else { self.staging.bag.copy(&archived_as, path)? };
        let taken_at = taken_at.map_or_else(String::new, |at| at.to_string());
        self.copied.insert(path.to_path_buf(), PictureRow { archived_as, file: file.to_owned(), role: role.word(), sha256, taken_at });
        Ok(())
    }

    fn others(&mut self, batch: &Batch) -> Result<(), Fault> {
        let entries = batch.sheet.pictures.iter().filter(|entry| entry.role != Role::Field).map(|entry| (&entry.file, entry.role, true));
        let sections = [&batch.sheet.microscope].into_iter().chain(batch.sheet.microscopes.values());
        let lamps = |section: &Microscope| {
            [section.blank.clone().map(|name| (name, Role::Blank)), section.dark.clone().map(|name| (name, Role::Dark))]
        };
        let unused: Vec<(String, Role)> = sections.flat_map(lamps).flatten().collect();
        for (name, role, must_be_there) in entries.chain(unused.iter().map(|(name, role)| (name, *role, false))) {
            let (path, page) = batch.places.file_of(name);
            if self.copied.contains_key(&path) || !(must_be_there || path.is_file()) {
                continue;
            }
            let file = page.and_then(|_| name.rsplit_once('#')).map_or(name.as_str(), |(file, _)| file);
            self.copy(file, &path, role, None)?;
        }
        Ok(())
    }
}

fn draw(shown: Shown<'_>) -> Result<Vec<u8>, Fault> {
    let levels = |at: Rect| shown.light.levels(&shown.read.picture, at);
    overlay::draw(shown.result, shown.recipe, &levels).map_err(|stop| stopped(&stop, &shown.source.path))
}
