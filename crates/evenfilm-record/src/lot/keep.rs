//! What is kept of a lot while it is measured: pictures and overlays for its record, or a memo for whoever only looks.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use evenfilm_core::field::FieldResult;
use evenfilm_core::light::Correction;
use evenfilm_core::plane::Rect;
use evenfilm_core::recipe::Recipe;

use crate::archive::Staging;
use crate::fault::Fault;
use crate::folder::{Batch, Objective, Source, file_of};
use crate::names::Places;
use crate::overlay;
use crate::sheet::Role;

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
    /// Files that lie in the record: place and digest.
    copied: BTreeMap<PathBuf, (String, String)>,
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
        for (source, read) in [&objective.blank, &objective.dark].into_iter().zip(lamp) {
            match (&mut *self, source, read) {
                (Self::Record(archive), Some(source), read) => drop(archive.picture(source, read)?),
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
        Self { staging, images: Places::default(), overlays: Places::default(), copied: BTreeMap::new() }
    }

    fn field(&mut self, shown: Shown<'_>) -> Result<Kept, Fault> {
        // The disk copies while the processors draw.
        let (png, kept) = rayon::join(|| draw(shown), || self.picture(shown.source, Some(shown.read)));
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
        self.staging.bag.put(&kept.overlay, &draw(shown)?)
    }

    /// Copies the file of a picture, once for all its pages.
    fn picture(&mut self, source: &Source, read: Option<&Read>) -> Result<Kept, Fault> {
        let kept = |place: &str, sha256: &str| Kept { place: place.into(), sha256: sha256.into(), overlay: String::new() };
        let known = self.copied.get(&source.path).map(|(place, sha256)| kept(place, sha256));
        let kept = if let Some(kept) = known {
            kept
        } else {
            let (place, sha256) = self.copy(source.file(), &source.path)?;
            kept(&place, &sha256)
        };
        if let Some(read) = read {
            read.stamp.check(&source.path)?;
        }
        Ok(kept)
    }

    fn copy(&mut self, file: &str, path: &Path) -> Result<(String, String), Fault> {
        let place = format!("images/{}", self.images.give(file));
        let sha256 = self.staging.bag.copy(&place, path)?;
        self.copied.insert(path.to_path_buf(), (place.clone(), sha256.clone()));
        Ok((place, sha256))
    }

    fn others(&mut self, batch: &Batch) -> Result<(), Fault> {
        let entries = batch.sheet.pictures.iter().filter(|entry| entry.role != Role::Field).map(|entry| &entry.file);
        let sections = [&batch.sheet.microscope].into_iter().chain(batch.sheet.microscopes.values());
        let unused = sections.flat_map(|section| section.blank.iter().chain(&section.dark));
        for (name, must_be_there) in entries.map(|name| (name, true)).chain(unused.map(|name| (name, false))) {
            let (path, page) = file_of(&batch.folder, name);
            if self.copied.contains_key(&path) || !(must_be_there || path.is_file()) {
                continue;
            }
            let file = page.and_then(|_| name.rsplit_once('#')).map_or(name.as_str(), |(file, _)| file);
            self.copy(file, &path)?;
        }
        Ok(())
    }
}

fn draw(shown: Shown<'_>) -> Result<Vec<u8>, Fault> {
    let levels = |at: Rect| shown.light.levels(&shown.read.picture, at);
    overlay::draw(shown.result, shown.recipe, &levels).map_err(|stop| stopped(&stop, &shown.source.path))
}
