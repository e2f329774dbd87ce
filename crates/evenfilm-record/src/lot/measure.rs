//! All fields of a lot, one objective after another.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Instant;

use evenfilm_core::batch::LotResult;
use evenfilm_core::dust;
use evenfilm_core::field::{self, FieldResult, Setting};
use evenfilm_core::light::{Lamp, Optics};
use evenfilm_core::plane::{Stage, Stop, Watch};
use evenfilm_core::quality::{Flag, count, siblings};
use evenfilm_core::recipe::Film;

use crate::fault::Fault;
use crate::folder::{Batch, Objective, Source};
use crate::pictures::Picture;

use super::correct::{self, Numbers};
use super::exposed;
use super::judge;
use super::keep::{Keeper, Shown};
use super::lit;
use super::memo::{FieldKey, Key};
use super::overlapping::{self, Again};
use super::pictures::{Read, Scratch, for_each};
use super::{ByHand, Event, Job, Kept, Seen, Timing, stopped};

mod recall;

use recall::Recalled;

/// What all fields of an objective share.
struct Bench<'a> {
    batch: &'a Batch,
    objective: &'a Objective,
    lamp: Lamp<'a>,
    /// The pictures that the lamp reads.
    lit: [Option<&'a Read>; 2],
    optics: Optics,
    job: &'a Job<'a>,
    scratch: Scratch<'a>,
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
struct Progress<'k> {
    keeper: Keeper<'k>,
    timing: Timing,
    /// Fields of the objective that is being measured.
    fields: BTreeMap<usize, (FieldResult, Kept)>,
    /// Film levels seen on each slide through that objective.
    films: BTreeMap<String, Vec<u16>>,
    /// What each of those fields was measured from, where a memo is kept.
    from: BTreeMap<usize, FieldKey>,
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

/// Measures all fields of a lot: what was seen through each objective.
pub(super) fn all_fields(batch: &Batch, keeper: Keeper<'_>, job: &Job<'_>) -> Result<Vec<Seen>, Fault> {
    let (timing, fields, films, from) = (Timing::default(), BTreeMap::new(), BTreeMap::new(), BTreeMap::new());
    let mut progress = Progress { keeper, timing, fields, films, from };
    let mut seen = batch.objectives.iter().map(|objective| progress.objective(batch, objective, job)).collect::<Result<Vec<_>, _>>()?;
    let start = Instant::now();
    progress.keeper.others(batch)?;
    if let Some(first) = seen.first_mut() {
        first.timing.write_s += start.elapsed().as_secs_f64();
    }
    Ok(seen)
}

impl Bench<'_> {
    const fn of(&self) -> (&Batch, &Objective) {
        (self.batch, self.objective)
    }

    const fn read(&self) -> (&Job<'_>, Scratch<'_>) {
        (self.job, self.scratch)
    }

    /// What a field is measured from: the pictures as they were when they were opened.
    fn key(&self, source: &Source, read: &Read) -> Key {
        let lamps = self.lit.map(|lamp| lamp.map(|lamp| lamp.stamp));
        Key::of(self.objective, (source, read.stamp), lamps)
    }
}

/// What is known of the film elsewhere when a field is first looked at. Where no other field could say more, it need not wait.
fn first_time((batch, objective): (&Batch, &Objective), index: usize) -> Elsewhere {
    let (fields, film) = (&batch.fields, objective.recipe.light.film);
    let alone = objective.fields.iter().filter(|&&i| fields[i].slide == fields[index].slide).count() == 1;
    if alone || film == Film::Clear { Elsewhere::Known(None) } else { Elsewhere::Unasked }
}

impl Progress<'_> {
    /// Measures all fields of an objective, and nothing of another: light, film levels, dust and numbers are its own.
    fn objective(&mut self, batch: &Batch, objective: &Objective, job: &Job<'_>) -> Result<Seen, Fault> {
        let Recalled { new, waiting, complete } = self.recall(batch, objective, job);
        let start = Instant::now();
        // What does not fit into memory goes where the record goes: there must be room anyway.
        let scratch = self.keeper.is_record().then_some(job.out);
        // Where a memo knows all, nobody asks for the light.
        let [blank, dark] = if complete { [None, None] } else { lit::open(batch, objective, scratch)? };
        self.timing.read_s += start.elapsed().as_secs_f64();
        if let (Some(read), Some(source)) = (&blank, &objective.blank) {
            lit::check_blank(&read.picture, source, objective.full_scale)?;
        }

        let bench = self.bench((batch, objective), (job, scratch), [blank.as_ref(), dark.as_ref()])?;
        let waiting = [waiting, self.fields_with_film(&bench, &new)?].concat();
        self.fields_by_others(&bench, &waiting)?;
        let start = Instant::now();
        self.keeper.lamps(objective, [blank.as_ref(), dark.as_ref()])?;
        self.timing.write_s += start.elapsed().as_secs_f64();

        let Told { mut by_hand, again, uncorrected } = self.name_by_others(&bench)?;
        self.films.clear();
        let (mut fields, kept): (Vec<FieldResult>, Vec<Kept>) = std::mem::take(&mut self.fields).into_values().unzip();
        let start = Instant::now();
        let parts = (batch, objective, job);
        let mut chance = self.chance();
        let numbers = correct::pool(parts, &mut fields, &mut by_hand, (&again, uncorrected), &mut chance)?;
        let simulate_s = chance.simulate_s;
        let flags = flags_of_all((batch, objective), &fields, &by_hand);
        self.timing.measure_s += start.elapsed().as_secs_f64() - simulate_s;
        self.timing.simulate_s += simulate_s;
        self.from.clear();
        let Numbers { result, per_field, uncorrected, without_rejected, notes } = numbers;
        let judgement = judge::judge(batch, objective, (&result, &fields), job);
        let timing = std::mem::take(&mut self.timing);
        Ok(Seen { fields, kept, by_hand, result, per_field, judgement, uncorrected, flags, without_rejected, notes, timing })
    }

    fn bench<'a>(
        &mut self,
        (batch, objective): (&'a Batch, &'a Objective),
        (job, scratch): (&'a Job<'a>, Scratch<'a>),
        lit: [Option<&'a Read>; 2],
    ) -> Result<Bench<'a>, Fault> {
        let clock = Clock::start(lit, None);
        let silent = |_: Stage, _: f32| {};
        let lamp = lit::lamp(batch, objective, lit, Watch { cancel: job.cancel, tell: &silent })?;
        clock.stop(&mut self.timing.measure_s, &mut self.timing.read_s);
        Ok(Bench { batch, objective, lamp, lit, optics: objective.optics(), job, scratch })
    }

    /// Measures those of the fields `new` that show enough film; gives the others.
    fn fields_with_film(&mut self, bench: &Bench<'_>, new: &[usize]) -> Result<Vec<usize>, Fault> {
        let mut waiting = Vec::new();
        let waited_s = for_each(bench.of(), new, bench.read(), &mut |index, read| {
            if !self.field(bench, index, read, first_time(bench.of(), index))? {
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
        let new: Vec<usize> = waiting.iter().copied().filter(|&index| !self.recall_waiting(bench.of(), index, bench.job)).collect();
        let waited_s = for_each(bench.of(), &new, bench.read(), &mut |index, read| {
            let film = self.film_of_slide(bench.batch, index);
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
        // Only who looks draws the lines between constituents.
        let setting = Setting { optics: &bench.optics, recipe: &bench.objective.recipe, necks: !self.keeper.is_record(), watch };
        let (seen, light) = field::survey(picture, &bench.lamp, &setting).map_err(stopped)?;
        if seen.film.is_none() && elsewhere == Elsewhere::Unasked {
            clock.stop(&mut self.timing.measure_s, &mut self.timing.read_s);
            return Ok(false);
        }
        let result = field::measure(picture, (&seen, &light), elsewhere.level(), &setting).map_err(stopped)?;
        clock.stop(&mut self.timing.measure_s, &mut self.timing.read_s);
        let clock = Clock::start(bench.lit, Some(&read.picture));
        let kept =
            self.keeper.field(Shown { source: &asked.source, read, result: &result, light: &light, recipe: &bench.objective.recipe })?;
        clock.stop(&mut self.timing.write_s, &mut self.timing.read_s);
        let film = seen.film.map(|film| film.level);
        if let Keeper::Memo(memo) = &mut self.keeper {
            let key = bench.key(&asked.source, read);
            memo.keep(key.clone(), [film, elsewhere.level()], &kept.sha256, result.clone());
            self.from.insert(index, (key, elsewhere.level()));
        }
        self.add(bench.of(), index, (result, kept), (film, elsewhere));
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
        let parts = (bench.batch, bench.objective, bench.job);
        let mut chance = self.chance();
        let uncorrected = if corrected { Some(correct::plain(parts, &fields, &again, &mut chance)?) } else { None };
        let simulate_s = chance.simulate_s;
        let by_hand = correct::kinds(bench.batch, bench.objective, &mut fields)?;
        changed.extend(indices.iter().zip(&by_hand).filter(|(_, hand)| hand.changes_kinds()).map(|(i, _)| *i));
        let changed: Vec<usize> = changed.into_iter().collect();
        self.fields = indices.into_iter().zip(fields.into_iter().zip(kept)).collect();
        self.timing.measure_s += start.elapsed().as_secs_f64() - simulate_s;
        self.timing.simulate_s += simulate_s;
        self.draw_again(bench, &changed)?;
        Ok(Told { by_hand, again, uncorrected })
    }

    /// Draws the overlays of some fields again, where there are any.
    fn draw_again(&mut self, bench: &Bench<'_>, changed: &[usize]) -> Result<(), Fault> {
        let Keeper::Record(archive) = &mut self.keeper else { return Ok(()) };
        let (fields, timing) = (&self.fields, &mut self.timing);
        let silent = |_: Stage, _: f32| {};
        let watch = Watch { cancel: bench.job.cancel, tell: &silent };
        let waited_s = for_each(bench.of(), changed, bench.read(), &mut |index, read| {
            let clock = Clock::start(bench.lit, Some(&read.picture));
            let source = &bench.batch.fields[index].source;
            let Some((result, kept)) = fields.get(&index) else { return Ok(()) };
            let recipe = &bench.objective.recipe;
            let setting = Setting { optics: &bench.optics, recipe, necks: false, watch };
            let (_, light) = field::survey(&read.picture, &bench.lamp, &setting).map_err(|stop| stopped(&stop, &source.path))?;
            archive.draw_again(kept, Shown { source, read, result, light: &light, recipe })?;
            clock.stop(&mut timing.write_s, &mut timing.read_s);
            Ok(())
        })?;
        self.timing.read_s += waited_s;
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
