//! All fields of a lot, one objective after another.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::time::Instant;

use evenfilm_core::batch::LotResult;
use evenfilm_core::dust;
use evenfilm_core::field::{self, FieldResult, Setting};
use evenfilm_core::light::{Correction, Lamp, Optics};
use evenfilm_core::plane::{Rect, Samples, Stage, Stop, Watch};
use evenfilm_core::quality::{Flag, count, siblings};
use evenfilm_core::recipe::{Film, LightFrom};

use crate::archive::Staging;
use crate::fault::Fault;
use crate::folder::{Batch, Objective, Source, file_of};
use crate::names::Places;
use crate::overlay;
use crate::pictures::Picture;
use crate::sheet::{Mode, Role};

use super::correct::{self, Numbers};
use super::exposed;
use super::judge;
use super::overlapping::{self, Again};
use super::pictures::{Read, for_each, read};
use super::{ByHand, Event, Job, Kept, Measured, Seen, Timing, stopped};

/// A blank without a single count as bright as this is black: one 256th of full scale.
const DARKEST_BLANK: u16 = 256;

/// What all fields of an objective share.
struct Bench<'a> {
    batch: &'a Batch,
    objective: &'a Objective,
    lamp: Lamp<'a>,
    /// The pictures that the lamp reads.
    lit: [Option<&'a Read>; 2],
    optics: Optics,
    job: &'a Job<'a>,
}

/// Tells work from waiting for pictures that are not held in memory. What its threads waited counts by their number: the wall time lost
/// where all of them work, and less than that where some had nothing to do.
struct Clock<'a> {
    start: Instant,
    pictures: [Option<&'a Picture>; 3],
    waited_s: f64,
}

impl<'a> Clock<'a> {
    fn start([blank, dark]: [Option<&'a Read>; 2], field: Option<&'a Picture>) -> Self {
        let pictures = [blank.map(|read| &read.picture), dark.map(|read| &read.picture), field];
        Self { start: Instant::now(), pictures, waited_s: waited_s(pictures) }
    }

    /// Adds what has passed to the time of some work, and to that of waiting.
    fn stop(self, work_s: &mut f64, read_s: &mut f64) {
        let passed = self.start.elapsed().as_secs_f64();
        let waited = ((waited_s(self.pictures) - self.waited_s) / rayon::current_num_threads() as f64).min(passed);
        *work_s += passed - waited;
        *read_s += waited;
    }
}

fn waited_s(pictures: [Option<&Picture>; 3]) -> f64 {
    pictures.into_iter().flatten().map(Picture::waited_s).sum()
}

/// What grows while fields are measured.
struct Progress {
    staging: Staging,
    images: Places,
    overlays: Places,
    timing: Timing,
    /// Fields of the objective that is being measured.
    fields: BTreeMap<usize, (FieldResult, Kept)>,
    /// Film levels seen on each slide through that objective.
    films: BTreeMap<String, Vec<u16>>,
    /// Files that lie in the record: place and digest.
    copied: BTreeMap<PathBuf, (String, String)>,
}

/// What only the other fields of an objective or a person tell.
struct Told {
    by_hand: Vec<ByHand>,
    /// Fields that show one place.
    again: Vec<Again>,
    /// The numbers without what a person changed, where the lot has corrections.
    uncorrected: Option<LotResult>,
}

/// The film level that the other fields of a slide show.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Elsewhere {
    /// They were not all measured yet.
    Unasked,
    /// Their median; `None` where none of them shows enough film either.
    Known(Option<u16>),
}

impl Elsewhere {
    const fn level(self) -> Option<u16> {
        match self {
            Self::Unasked => None,
            Self::Known(level) => level,
        }
    }
}

pub(super) fn all_fields<'a>(batch: &'a Batch, staging: Staging, job: &Job<'_>) -> Result<Measured<'a>, Fault> {
    let (images, overlays) = (Places::default(), Places::default());
    let mut progress = Progress {
        staging,
        images,
        overlays,
        timing: Timing::default(),
        fields: BTreeMap::new(),
        films: BTreeMap::new(),
        copied: BTreeMap::new(),
    };
    let mut seen = batch.objectives.iter().map(|objective| progress.objective(batch, objective, job)).collect::<Result<Vec<_>, _>>()?;
    let start = Instant::now();
    progress.archive_others(batch)?;
    if let Some(first) = seen.first_mut() {
        first.timing.write_s += start.elapsed().as_secs_f64();
    }
    Ok(Measured { batch, staging: progress.staging, seen })
}

/// Refuses a blank that tells nothing about the light.
fn check_blank(blank: &Picture, source: &Source, full_scale: u16) -> Result<(), Fault> {
    let (mut least, mut most) = (u16::MAX, 0);
    let frame = Rect::whole(blank.size());
    let mut counts = Vec::new();
    for y in (0..frame.height).step_by(64) {
        let band = Rect::new(0, y, frame.width, 64.min(frame.height - y));
        counts.resize(band.width as usize * band.height as usize, 0);
        blank.read(band, &mut counts).map_err(|stop| stopped(&stop, &source.path))?;
        (least, most) = counts.iter().fold((least, most), |(least, most), &count| (least.min(count), most.max(count)));
        if most >= DARKEST_BLANK && least < full_scale {
            return Ok(());
        }
    }
    let (message, remedy) = if most < DARKEST_BLANK {
        ("the blank is black, so it does not tell how bright the empty slide is", "check lamp and shutter, then take it again")
    } else if least >= full_scale {
        ("the blank is at the camera's full scale everywhere", "expose less, then take blank and fields again with one setting")
    } else {
        return Ok(());
    };
    Err(Fault::input(message, remedy).at(&source.path))
}

impl Bench<'_> {
    const fn of(&self) -> (&Batch, &Objective) {
        (self.batch, self.objective)
    }

    /// What is known of the film elsewhere when a field is first looked at. Where no other field could say more, it need not wait.
    fn first_time(&self, index: usize) -> Elsewhere {
        let (fields, film) = (&self.batch.fields, self.objective.recipe.light.film);
        let alone = self.objective.fields.iter().filter(|&&i| fields[i].slide == fields[index].slide).count() == 1;
        if alone || film == Film::Clear { Elsewhere::Known(None) } else { Elsewhere::Unasked }
    }
}

impl Progress {
    /// Measures all fields of an objective, and nothing of another: light, film levels, dust and numbers are its own.
    fn objective(&mut self, batch: &Batch, objective: &Objective, job: &Job<'_>) -> Result<Seen, Fault> {
        let start = Instant::now();
        let open = |source: &Option<Source>| source.as_ref().map(|source| read((batch, objective), source, job)).transpose();
        let (blank, dark) = (open(&objective.blank)?, open(&objective.dark)?);
        self.timing.read_s += start.elapsed().as_secs_f64();
        if let (Some(read), Some(source)) = (&blank, &objective.blank) {
            check_blank(&read.picture, source, objective.full_scale)?;
        }

        let bench = self.bench((batch, objective), job, [blank.as_ref(), dark.as_ref()])?;
        let waiting = self.fields_with_film(&bench)?;
        self.fields_by_others(&bench, &waiting)?;
        self.archive_lamps(objective, [blank.as_ref(), dark.as_ref()])?;
        let Told { mut by_hand, again, uncorrected } = self.name_by_others(&bench)?;

        self.films.clear();
        let (mut fields, kept): (Vec<FieldResult>, Vec<Kept>) = std::mem::take(&mut self.fields).into_values().unzip();
        let start = Instant::now();
        let mut simulate_s = 0.0;
        let parts = (batch, objective, job);
        let numbers = correct::pool(parts, &mut fields, &mut by_hand, (&again, uncorrected), &mut simulate_s)?;
        let flags = flags_of_all((batch, objective), &fields, &by_hand);
        self.timing.measure_s += start.elapsed().as_secs_f64() - simulate_s;
        self.timing.simulate_s += simulate_s;
        let Numbers { result, per_field, uncorrected, without_rejected, notes } = numbers;
        let judgement = judge::judge(batch, objective, (&result, &fields), job);
        let timing = std::mem::take(&mut self.timing);
        Ok(Seen { fields, kept, by_hand, result, per_field, judgement, uncorrected, flags, without_rejected, notes, timing })
    }

    fn bench<'a>(
        &mut self,
        (batch, objective): (&'a Batch, &'a Objective),
        job: &'a Job<'a>,
        [blank, dark]: [Option<&'a Read>; 2],
    ) -> Result<Bench<'a>, Fault> {
        let clock = Clock::start([blank, dark], None);
        let lit = [blank, dark];
        let silent = |_: Stage, _: f32| {};
        let watch = Watch { cancel: job.cancel, tell: &silent };
        let samples = |read: Option<&'a Read>| read.map(|read| &read.picture as &dyn evenfilm_core::plane::Samples);
        let blank = blank.filter(|_| objective.recipe.light.from != Some(LightFrom::Picture));
        let lamp = Lamp::new(samples(blank), samples(dark), watch).map_err(|stop| {
            let source = objective.blank.as_ref().or(objective.dark.as_ref()).map_or(batch.folder.as_path(), |source| &source.path);
            stopped(&stop, source)
        })?;
        let lamp = if objective.microscope.mode == Some(Mode::Darkfield) { lamp.in_dark_field() } else { lamp };
        clock.stop(&mut self.timing.measure_s, &mut self.timing.read_s);
        Ok(Bench { batch, objective, lamp, lit, optics: objective.optics(), job })
    }

    /// Measures the fields that show enough film; gives the others.
    fn fields_with_film(&mut self, bench: &Bench<'_>) -> Result<Vec<usize>, Fault> {
        let mut waiting = Vec::new();
        let waited_s = for_each(bench.of(), &bench.objective.fields, bench.job, &mut |index, read| {
            if !self.field(bench, index, read, bench.first_time(index))? {
                let name = &bench.batch.fields[index].source.name;
                (bench.job.tell)(Event::Waits { number: index + 1, name });
                waiting.push(index);
            }
            Ok(())
        })?;
        self.timing.read_s += waited_s;
        Ok(waiting)
    }

    /// Measures the fields that show too little film, with the film level of their slide's other fields.
    fn fields_by_others(&mut self, bench: &Bench<'_>, waiting: &[usize]) -> Result<(), Fault> {
        let waited_s = for_each(bench.of(), waiting, bench.job, &mut |index, read| {
            let film = self.films.get(&bench.batch.fields[index].slide).and_then(|levels| median(levels));
            self.field(bench, index, read, Elsewhere::Known(film)).map(drop)
        })?;
        self.timing.read_s += waited_s;
        Ok(())
    }

    /// Measures one field and archives its picture and overlay; false where it shows too little film and the others were not asked yet.
    fn field(&mut self, bench: &Bench<'_>, index: usize, read: &Read, elsewhere: Elsewhere) -> Result<bool, Fault> {
        let clock = Clock::start(bench.lit, Some(&read.picture));
        let asked = &bench.batch.fields[index];
        let tell = |stage: Stage, share: f32| (bench.job.tell)(Event::Field { number: index + 1, share: done(stage, share) });
        let watch = Watch { cancel: bench.job.cancel, tell: &tell };
        let stopped = |stop: Stop| stopped(&stop, &asked.source.path);
        let picture = &read.picture;
        let setting = Setting { optics: &bench.optics, recipe: &bench.objective.recipe, watch };
        let (seen, light) = field::survey(picture, &bench.lamp, &setting).map_err(stopped)?;
        if seen.film.is_none() && elsewhere == Elsewhere::Unasked {
            clock.stop(&mut self.timing.measure_s, &mut self.timing.read_s);
            return Ok(false);
        }
        let mut result = field::measure(picture, (&seen, &light), elsewhere.level(), &setting).map_err(stopped)?;
        result.flags.extend(exposed::flags(&asked.source.info, bench.of()));
        if let (Some(film), Elsewhere::Unasked) = (seen.film, elsewhere) {
            self.films.entry(asked.slide.clone()).or_default().push(film.level);
        }
        clock.stop(&mut self.timing.measure_s, &mut self.timing.read_s);
        let clock = Clock::start(bench.lit, Some(&read.picture));
        let kept = self.archive_field(bench, &asked.source, read, (&result, &light))?;
        clock.stop(&mut self.timing.write_s, &mut self.timing.read_s);
        self.fields.insert(index, (result, kept));
        (bench.job.tell)(Event::Done { number: index + 1, name: &asked.source.name });
        Ok(true)
    }

    /// Names what only other fields or a person can tell: what is dark at one place in all fields, and corrections by hand. Draws the
    /// overlays of the fields that change again. Gives what was corrected, which fields show one place, and the numbers without corrections.
    fn name_by_others(&mut self, bench: &Bench<'_>) -> Result<Told, Fault> {
        let start = Instant::now();
        let (indices, (mut fields, kept)): (Vec<usize>, (Vec<FieldResult>, Vec<Kept>)) =
            std::mem::take(&mut self.fields).into_iter().unzip();
        let mut changed: BTreeSet<usize> = dust::mark(&mut fields).into_iter().map(|i| indices[i]).collect();
        siblings::mark(&mut fields);
        let again = overlapping::find(bench.batch, bench.objective, &fields, &kept);
        for pair in &again {
            pair.add_flag(&mut fields, |i| &bench.batch.fields[indices[i]].source.name);
        }
        let corrected = !bench.batch.corrections.lines.is_empty();
        let mut simulate_s = 0.0;
        let parts = (bench.batch, bench.objective, bench.job);
        let uncorrected = if corrected { Some(correct::plain(parts, &fields, &again, &mut simulate_s)?) } else { None };
        let by_hand = correct::kinds(bench.batch, bench.objective, &mut fields)?;
        changed.extend(indices.iter().zip(&by_hand).filter(|(_, hand)| hand.changes_kinds()).map(|(i, _)| *i));
        let changed: Vec<usize> = changed.into_iter().collect();
        self.fields = indices.into_iter().zip(fields.into_iter().zip(kept)).collect();
        self.timing.measure_s += start.elapsed().as_secs_f64() - simulate_s;
        self.timing.simulate_s += simulate_s;
        let silent = |_: Stage, _: f32| {};
        let watch = Watch { cancel: bench.job.cancel, tell: &silent };
        let waited_s = for_each(bench.of(), &changed, bench.job, &mut |index, read| {
            let clock = Clock::start(bench.lit, Some(&read.picture));
            let path = &bench.batch.fields[index].source.path;
            let Some((result, kept)) = self.fields.get(&index) else { return Ok(()) };
            let setting = Setting { optics: &bench.optics, recipe: &bench.objective.recipe, watch };
            let drawn = field::survey(&read.picture, &bench.lamp, &setting)
                .and_then(|(_, light)| overlay::draw(result, &bench.objective.recipe, &|at: Rect| light.levels(&read.picture, at)));
            self.staging.bag.put(&kept.overlay, &drawn.map_err(|stop| stopped(&stop, path))?)?;
            clock.stop(&mut self.timing.write_s, &mut self.timing.read_s);
            Ok(())
        })?;
        self.timing.read_s += waited_s;
        Ok(Told { by_hand, again, uncorrected })
    }

    /// Writes the overlay of a field and copies its picture, while both are at hand.
    fn archive_field(
        &mut self,
        bench: &Bench<'_>,
        source: &Source,
        read: &Read,
        measured: (&FieldResult, &Correction<'_>),
    ) -> Result<Kept, Fault> {
        let (result, light) = measured;
        let picture: &Picture = &read.picture;
        let levels = |at: Rect| light.levels(picture, at);
        // The disk copies while the processors draw.
        let (png, kept) = rayon::join(|| overlay::draw(result, &bench.objective.recipe, &levels), || self.archive(source, Some(read)));
        let (png, mut kept) = (png.map_err(|stop| stopped(&stop, &source.path))?, kept?);
        let file = source.file();
        let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
        let page = if source.several { format!("-{}", source.info.page + 1) } else { String::new() };
        kept.overlay = format!("overlays/{}", self.overlays.give(&format!("{stem}{page}.png")));
        self.staging.bag.put(&kept.overlay, &png)?;
        Ok(kept)
    }

    /// Copies the file of a picture, once for all its pages.
    fn archive(&mut self, source: &Source, read: Option<&Read>) -> Result<Kept, Fault> {
        if let Some((place, sha256)) = self.copied.get(&source.path) {
            if let Some(read) = read {
                read.stamp.check(&source.path)?;
            }
            return Ok(Kept { place: place.clone(), sha256: sha256.clone(), overlay: String::new() });
        }
        let place = format!("images/{}", self.images.give(source.file()));
        let sha256 = self.staging.bag.copy(&place, &source.path)?;
        if let Some(read) = read {
            read.stamp.check(&source.path)?;
        }
        self.copied.insert(source.path.clone(), (place.clone(), sha256.clone()));
        Ok(Kept { place, sha256, overlay: String::new() })
    }

    /// Copies blank and dark of an objective.
    fn archive_lamps(&mut self, objective: &Objective, lamp: [Option<&Read>; 2]) -> Result<(), Fault> {
        let start = Instant::now();
        for (source, read) in [&objective.blank, &objective.dark].into_iter().zip(lamp) {
            if let Some(source) = source {
                self.archive(source, read)?;
            }
        }
        self.timing.write_s += start.elapsed().as_secs_f64();
        Ok(())
    }

    /// Copies what else the sheet names: rulings, overviews, labels and evidence of whatever kind of file, and blanks and darks of
    /// microscopes that no field was taken with.
    fn archive_others(&mut self, batch: &Batch) -> Result<(), Fault> {
        let entries = batch.sheet.pictures.iter().filter(|entry| entry.role != Role::Field).map(|entry| &entry.file);
        let sections = [&batch.sheet.microscope].into_iter().chain(batch.sheet.microscopes.values());
        let unused = sections.flat_map(|section| section.blank.iter().chain(&section.dark));
        for (name, must_be_there) in entries.map(|name| (name, true)).chain(unused.map(|name| (name, false))) {
            let (path, page) = file_of(&batch.folder, name);
            if self.copied.contains_key(&path) || !(must_be_there || path.is_file()) {
                continue;
            }
            let file = page.and_then(|_| name.rsplit_once('#')).map_or(name.as_str(), |(file, _)| file);
            let place = format!("images/{}", self.images.give(file));
            let sha256 = self.staging.bag.copy(&place, &path)?;
            self.copied.insert(path, (place, sha256));
        }
        Ok(())
    }
}

/// Relative accuracy of sizes that is wanted where the limits do not say, %.
const WANTED_PCT: f64 = 10.0;

/// What a reader should know of the fields that stay in the numbers, taken together.
fn flags_of_all((batch, objective): (&Batch, &Objective), fields: &[FieldResult], by_hand: &[ByHand]) -> Vec<Flag> {
    let wanted = batch.limits.as_ref().and_then(|limits| limits.wanted_relative_accuracy_pct).unwrap_or(WANTED_PCT);
    let left: Vec<&FieldResult> = fields.iter().zip(by_hand).filter(|(_, hand)| hand.stays).map(|(field, _)| field).collect();
    count::too_few(&left, &objective.recipe, wanted / 100.0).into_iter().collect()
}

/// The share of a field that is done: stages count alike.
fn done(stage: Stage, share: f32) -> f32 {
    let before = match stage {
        Stage::Survey => 0.0,
        Stage::Cut => 1.0,
        Stage::Join => 2.0,
        Stage::Refine => 3.0,
        Stage::Sum => 4.0,
        Stage::Chance => 5.0,
    };
    ((before + share) / 5.0).clamp(0.0, 1.0)
}

/// The middle of some levels; the mean of the two middle ones where their number is even.
fn median(levels: &[u16]) -> Option<u16> {
    let mut sorted = levels.to_vec();
    sorted.sort_unstable();
    let n = sorted.len();
    let (low, high) = (*sorted.get(n.saturating_sub(1) / 2)?, *sorted.get(n / 2)?);
    Some(low.midpoint(high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_level() {
        assert_eq!([&[][..], &[7], &[9, 1, 5], &[65535, 65534, 1, 9]].map(median), [None, Some(7), Some(5), Some(32771)]);
    }

    #[test]
    fn shares_grow_with_the_stages() {
        let shares = [done(Stage::Survey, 0.0), done(Stage::Cut, 0.5), done(Stage::Sum, 1.0)];
        assert!(shares.iter().zip([0.0, 0.3, 1.0]).all(|(share, expected)| (share - expected).abs() < 1e-6), "{shares:?}");
    }
}
