//! What was measured before, for whoever measures a lot again with other choices: fields and chance films that the change leaves as they are
//! are taken from here, to the bit what a new measurement gives.

use std::path::{Path, PathBuf};
use std::time::Instant;

use evenfilm_core::chance::Chance;
use evenfilm_core::field::FieldResult;
use evenfilm_core::light::Optics;
use evenfilm_core::objects::Object;
use evenfilm_core::phases::Run;
use evenfilm_core::recipe::Recipe;

use crate::bag;
use crate::corrections::Change;
use crate::fault::Fault;
use crate::folder::{Batch, Objective, Source};
use crate::sheet::{Mode, Tone};

use super::pictures::Stamp;

/// Fields that the last lot did not ask for are forgotten beyond so many bytes in all.
const MOST_BYTES: usize = 256 << 20;
/// Most chance films that are remembered.
const MOST_CHANCES: usize = 16;

/// Fields and chance films as they were measured. Empty at first; one memo may serve several lots.
#[derive(Debug, Default)]
pub struct Memo {
    fields: Vec<FieldBefore>,
    chances: Vec<(ChanceKey, Chance)>,
    /// The file that was asked for its digest last: one that has many pages is asked for each.
    digest: Option<(PathBuf, Stamp, String)>,
    /// Number of the lot that is being measured.
    now: u64,
}

/// All that the measurement of a field reads.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Key {
    picture: File,
    lamps: [Option<File>; 2],
    optics: Optics,
    tone: Tone,
    float_full_scale: Option<f64>,
    dark_field: bool,
    recipe: Recipe,
}

/// A page of a file as it was.
#[derive(Clone, Debug, PartialEq)]
struct File {
    path: PathBuf,
    page: usize,
    stamp: Stamp,
}

impl File {
    fn of(source: &Source, stamp: Stamp) -> Self {
        Self { path: source.path.clone(), page: source.info.page, stamp }
    }
}

impl Key {
    /// What the measurement of a field would read now.
    pub(super) fn now(objective: &Objective, source: &Source) -> Self {
        let lamps = [&objective.blank, &objective.dark].map(|lamp| lamp.as_ref().map(|lamp| Stamp::of(&lamp.path)));
        Self::of(objective, (source, Stamp::of(&source.path)), lamps)
    }

    /// What it read of files that were like this.
    pub(super) fn of(objective: &Objective, (source, stamp): (&Source, Stamp), [blank, dark]: [Option<Stamp>; 2]) -> Self {
        let lamp =
            |source: &Option<Source>, stamp: Option<Stamp>| source.as_ref().zip(stamp).map(|(source, stamp)| File::of(source, stamp));
        Self {
            picture: File::of(source, stamp),
            lamps: [lamp(&objective.blank, blank), lamp(&objective.dark, dark)],
            optics: objective.optics(),
            tone: objective.tone,
            float_full_scale: objective.float_full_scale,
            dark_field: objective.microscope.mode == Some(Mode::Darkfield),
            recipe: read_by_fields(&objective.recipe),
        }
    }

    /// Whether all files could be asked how they are.
    fn is_sure(&self) -> bool {
        let lamps = self.lamps.iter().flatten();
        lamps.chain([&self.picture]).all(|file| file.stamp.is_known())
    }
}

/// The recipe without what no picture is read for: what is named, counted, judged and laid once objects and gaps are known. Whatever else a
/// recipe may come to say counts as read.
fn read_by_fields(recipe: &Recipe) -> Recipe {
    let any = Recipe::default();
    let mut read = Recipe { leave_out: any.leave_out, agglomerates: any.agglomerates, chance: any.chance, ..read_by_chance(recipe) };
    // `FieldResult::judge_again` sets these anew.
    read.particles.min_diameter_um = any.particles.min_diameter_um;
    read.gaps.min_diameter_um = any.gaps.min_diameter_um;
    read
}

/// The recipe without what changes neither objects nor chance films.
fn read_by_chance(recipe: &Recipe) -> Recipe {
    let any = Recipe::default();
    let mut read = Recipe {
        name: any.name,
        version: any.version,
        author: any.author,
        locked: any.locked,
        fields: any.fields,
        concern: any.concern,
        ..recipe.clone()
    };
    read.objects.model_u_pct = any.objects.model_u_pct;
    read
}

/// A field as it was measured, before its flags were judged by other fields, and before dust and corrections.
#[derive(Debug)]
pub(super) struct FieldBefore {
    key: Key,
    /// Level of the film, where the field shows enough of it.
    pub(super) film: Option<u16>,
    /// The level of the film elsewhere that it was measured with.
    pub(super) elsewhere: Option<u16>,
    /// SHA-256 of the picture's file.
    pub(super) sha256: String,
    pub(super) result: FieldResult,
    used: u64,
}

impl FieldBefore {
    fn bytes(&self) -> usize {
        let runs: usize = self.result.phases.iter().map(|map| map.runs.len()).sum();
        let lines: usize =
            self.result.objects.iter().map(|object| size_of_val(&*object.necks_px) + size_of_val(&*object.constituents_px2)).sum();
        self.result.objects.len() * size_of::<Object>() + runs * (size_of::<Run>() + size_of::<u32>()) + lines
    }
}

impl Memo {
    /// Begins another lot.
    pub(super) fn begin(&mut self) {
        self.now += 1;
    }

    /// The field that was measured from just this.
    pub(super) fn field(&mut self, key: &Key) -> Option<&FieldBefore> {
        let now = self.now;
        let before = self.fields.iter_mut().find(|before| key.is_sure() && before.key == *key)?;
        before.used = now;
        Some(before)
    }

    /// Keeps a field; `elsewhere` is the level of the film that it was measured with, `film` its own.
    pub(super) fn keep(&mut self, key: Key, [film, elsewhere]: [Option<u16>; 2], sha256: &str, result: FieldResult) {
        self.fields.retain(|before| before.key != key);
        self.fields.push(FieldBefore { key, film, elsewhere, sha256: sha256.into(), result, used: self.now });
    }

    /// SHA-256 of a picture's file that is like this.
    pub(super) fn digest(&mut self, path: &Path, stamp: Stamp) -> Result<String, Fault> {
        let known = self.digest.as_ref().filter(|(of, like, _)| of == path && *like == stamp && stamp.is_known());
        if let Some((_, _, sha256)) = known {
            return Ok(sha256.clone());
        }
        let sha256 = bag::sha256_of(path)?;
        self.digest = Some((path.to_path_buf(), stamp, sha256.clone()));
        Ok(sha256)
    }

    /// Forgets what is oldest beyond what may be kept, but nothing of the lot that was just measured.
    pub(super) fn end(&mut self) {
        self.fields.sort_by_key(|before| std::cmp::Reverse(before.used));
        let mut bytes = 0;
        let now = self.now;
        self.fields.retain(|before| {
            bytes += before.bytes();
            before.used == now || bytes <= MOST_BYTES
        });
        let too_many = self.chances.len().saturating_sub(MOST_CHANCES);
        self.chances.drain(..too_many);
    }

    /// Fields that are remembered.
    #[cfg(test)]
    pub(super) fn known(&self) -> usize {
        self.fields.len()
    }
}

/// All that a chance film depends on.
#[derive(Clone, Debug, PartialEq)]
struct ChanceKey {
    /// Every field of the objective, with the film level that it was measured with: what lies at one place in all of them is dust.
    fields: Vec<FieldKey>,
    /// Kinds given by hand, each with the place of its field.
    kinds: Vec<(usize, Change)>,
    gone: Vec<bool>,
    recipe: Recipe,
}

/// What a field was measured from, and the film level elsewhere that it was measured with.
pub(super) type FieldKey = (Key, Option<u16>);

/// Chance films of an objective, and the time that they took.
pub(super) struct Films<'m> {
    /// Where they are remembered, and what the fields were measured from.
    pub(super) memo: Option<(&'m mut Memo, Vec<FieldKey>)>,
    /// Seconds.
    pub(super) simulate_s: f64,
}

impl Films<'_> {
    /// What chance shows of the fields that are not gone: laid, or remembered. `by_hand` says whether kinds are already corrected.
    pub(super) fn chance(
        &mut self,
        (batch, objective): (&Batch, &Objective),
        (gone, by_hand): (&[bool], bool),
        lay: impl FnOnce() -> Result<Chance, Fault>,
    ) -> Result<Chance, Fault> {
        let start = Instant::now();
        let Some((memo, fields)) = &mut self.memo else {
            let chance = lay()?;
            self.simulate_s += start.elapsed().as_secs_f64();
            return Ok(chance);
        };
        let of_field = |(i, &place): (usize, &usize)| {
            let lines = batch.corrections.of_field(&batch.fields[place]);
            lines.map(|line| line.change).filter(|change| *change != Change::LeaveOut).map(move |change| (i, change)).collect::<Vec<_>>()
        };
        let kinds = if by_hand { objective.fields.iter().enumerate().flat_map(of_field).collect() } else { Vec::new() };
        let key = ChanceKey { fields: fields.clone(), kinds, gone: gone.to_vec(), recipe: read_by_chance(&objective.recipe) };
        let chance = match memo.chances.iter().position(|(before, _)| *before == key) {
            Some(place) => memo.chances.remove(place).1,
            None => lay()?,
        };
        // The latest stand at the end.
        memo.chances.push((key, chance));
        self.simulate_s += start.elapsed().as_secs_f64();
        Ok(chance)
    }
}
