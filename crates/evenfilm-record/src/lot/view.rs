//! One field to look at: its picture with its light, as a measurement sees it.

use std::sync::OnceLock;
use std::sync::atomic::AtomicBool;

use evenfilm_core::field::{self, FilmSeen, Setting, Surveyed};
use evenfilm_core::light::{Correction, Counts, in_bands};
use evenfilm_core::phases::Cuts;
use evenfilm_core::plane::{ONE, Rect, Samples, Stage, Stop, Watch};
use evenfilm_core::recipe::Recipe;

use crate::fault::Fault;
use crate::folder::Batch;
use crate::pictures::Picture;

use super::{lit, pictures, stopped};

/// Bins of [`View::levels_seen`].
const BINS: usize = 512;

/// Of larger pictures only every fourth row is counted, px.
const LARGE_PX: u64 = 32 << 20;

/// A field's picture, its light, and what a first look told of it.
pub struct View<'a> {
    picture: &'a Picture,
    light: &'a Correction<'a>,
    surveyed: &'a Surveyed,
    um_per_px: f64,
    full_scale: u16,
    cancel: &'a AtomicBool,
    levels_seen: OnceLock<Vec<u64>>,
}

/// Opens the picture of a field (its place in [`Batch::fields`]) with its lamp, looks at it once, and calls `with` with what that gave. All
/// is closed when `with` comes back.
///
/// # Errors
/// There is no such field, a picture cannot be read, or the work was stopped before `with` was called.
pub fn view(batch: &Batch, field: usize, cancel: &AtomicBool, with: &mut dyn FnMut(&View<'_>)) -> Result<(), Fault> {
    let objective = batch.objectives.iter().find(|objective| objective.fields.contains(&field));
    let Some((objective, asked)) = objective.zip(batch.fields.get(field)) else {
        let message = format!("the lot has {} fields, and no field {}", batch.fields.len(), field.saturating_add(1));
        return Err(Fault::input(message, "choose one of its fields").at(&batch.folder));
    };
    let silent = |_: Stage, _: f32| {};
    let watch = Watch { cancel, tell: &silent };
    let poll = || watch.poll().map_err(|_| Fault::interrupted());
    poll()?;
    let [blank, dark] = lit::open(batch, objective, None)?;
    if let (Some(read), Some(source)) = (&blank, &objective.blank) {
        lit::check_blank(&read.picture, source, objective.full_scale)?;
    }
    poll()?;
    let lamp = lit::lamp(batch, objective, [blank.as_ref(), dark.as_ref()], watch)?;
    let picture = pictures::read((batch, objective), &asked.source, None)?.picture;
    let optics = objective.optics();
    let setting = Setting { optics: &optics, recipe: &objective.recipe, necks: false, watch };
    let (surveyed, light) = field::survey(&picture, &lamp, &setting).map_err(|stop| stopped(&stop, &asked.source.path))?;
    let (um_per_px, full_scale) = (optics.um_per_px, optics.full_scale);
    with(&View { picture: &picture, light: &light, surveyed: &surveyed, um_per_px, full_scale, cancel, levels_seen: OnceLock::new() });
    Ok(())
}

impl View<'_> {
    /// Columns and rows.
    pub fn size(&self) -> (u32, u32) {
        self.picture.size()
    }

    /// Width of a pixel in the film, µm.
    pub const fn um_per_px(&self) -> f64 {
        self.um_per_px
    }

    /// The linear count at which the camera saturates.
    pub const fn full_scale(&self) -> u16 {
        self.full_scale
    }

    /// Levels of a rectangle, the light corrected: what a measurement sees, [`ONE`] for the empty slide. Row after row into `out`, which
    /// becomes as long as the rectangle has pixels. May be called from several threads at once.
    ///
    /// # Errors
    /// [`Stop::Unreadable`], also for a rectangle that does not lie within the picture.
    pub fn levels(&self, at: Rect, out: &mut Vec<u16>) -> Result<(), Stop> {
        self.within(at)?;
        self.light.levels_with_kept(self.picture, at, out)
    }

    /// Linear counts of a rectangle as they were photographed; else as [`levels`](Self::levels).
    ///
    /// # Errors
    /// As [`levels`](Self::levels).
    pub fn counts(&self, at: Rect, out: &mut Vec<u16>) -> Result<(), Stop> {
        self.within(at)?;
        out.resize(at.width as usize * at.height as usize, 0);
        self.picture.read(at, out)
    }

    fn within(&self, at: Rect) -> Result<(), Stop> {
        let (width, height) = self.size();
        let end = |from: u32, length: u32, end: u32| from.checked_add(length).is_some_and(|to| to <= end);
        if end(at.x, at.width, width) && end(at.y, at.height, height) {
            return Ok(());
        }
        let Rect { x, y, width: w, height: h } = at;
        Err(Stop::Unreadable(format!("{w} × {h} pixels from column {x} and row {y} do not lie within a picture of {width} × {height}")))
    }

    /// Whether the picture is not held in memory, so that each rectangle is read from the disk.
    pub const fn is_by_rectangle(&self) -> bool {
        !self.picture.is_held()
    }

    /// The film, where enough of it is seen to trust its level.
    pub const fn film(&self) -> Option<FilmSeen> {
        self.surveyed.film
    }

    /// Whether bare places can be told from film.
    pub const fn bare_known(&self) -> bool {
        self.surveyed.bare_known
    }

    /// Noise of a pixel, as a share of the empty slide.
    pub const fn noise(&self) -> f64 {
        self.surveyed.noise()
    }

    /// What a measurement with this recipe would cut at; its `[light]` must be that of the lot. `film_elsewhere` is the median film level of
    /// the slide's other fields, for a field that shows too little film itself.
    pub fn cuts(&self, recipe: &Recipe, film_elsewhere: Option<u16>) -> Cuts {
        self.surveyed.cuts(film_elsewhere, recipe)
    }

    /// How many pixels have which level, in 512 bins of equal width from 0 to twice [`ONE`]; counted at the first call, from every pixel, or
    /// from every fourth row of a picture of more than 2²⁵ pixels. Empty where the picture cannot be read any more or the work was stopped.
    pub fn levels_seen(&self) -> &[u64] {
        self.levels_seen.get_or_init(|| self.count().unwrap_or_default())
    }

    fn count(&self) -> Result<Vec<u64>, Stop> {
        let size = self.size();
        let every = if Rect::whole(size).area() > LARGE_PX { 4 } else { 1 };
        let silent = |_: Stage, _: f32| {};
        let watch = Watch { cancel: self.cancel, tell: &silent };
        let in_band = |at: Rect, levels: &[u16], _: Counts<'_>| {
            let mut bins = [0u32; BINS];
            for row in levels.chunks_exact(at.width.max(1) as usize).step_by(every) {
                for &level in row {
                    bins[usize::from(level) / (2 * ONE as usize / BINS)] += 1;
                }
            }
            bins
        };
        let parts = in_bands(self.picture, self.light, (Stage::Survey, watch), in_band)?;
        let mut bins = vec![0; BINS];
        for part in &parts {
            bins.iter_mut().zip(part).for_each(|(sum, &count)| *sum += u64::from(count));
        }
        Ok(bins)
    }
}
