//! Fields that a memo knows already.

use evenfilm_core::field::FieldResult;

use super::{Elsewhere, Keeper, Progress, exposed, first_time, median};
use crate::folder::{Batch, Objective};
use crate::lot::memo::{FieldKey, Films, Key};
use crate::lot::{Event, Job, Kept};

/// What is left to do after a memo was asked.
pub(super) struct Recalled {
    /// Fields that it does not know.
    pub(super) new: Vec<usize>,
    /// Those that are known to show too little film, and wait for the others.
    pub(super) waiting: Vec<usize>,
    /// Whether no picture needs to be read.
    pub(super) complete: bool,
}

/// What a memo knows of a field.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Known {
    /// All of it, and it was taken.
    Taken,
    /// That it shows too little film and waits for the others.
    Waits,
    Not,
}

impl Progress<'_> {
    /// Takes from the memo what it knows of an objective's fields.
    pub(super) fn recall(&mut self, batch: &Batch, objective: &Objective, job: &Job<'_>) -> Recalled {
        let (mut new, mut waiting) = (Vec::new(), Vec::new());
        for &index in &objective.fields {
            match self.recall_field((batch, objective), index, first_time((batch, objective), index), job) {
                Known::Taken => {}
                Known::Waits => waiting.push(index),
                Known::Not => new.push(index),
            }
        }
        if new.is_empty() {
            // All films are known now, so those that wait can be asked too.
            waiting.retain(|&index| !self.recall_waiting((batch, objective), index, job));
        }
        let complete = new.is_empty() && waiting.is_empty();
        Recalled { new, waiting, complete }
    }

    /// Takes a field that waited from the memo; false where that knows it with another film, or not at all.
    pub(super) fn recall_waiting(&mut self, of: (&Batch, &Objective), index: usize, job: &Job<'_>) -> bool {
        let film = self.film_of_slide(of.0, index);
        self.recall_field(of, index, Elsewhere::Known(film), job) == Known::Taken
    }

    /// The median film level that the fields of this one's slide showed so far.
    pub(super) fn film_of_slide(&self, batch: &Batch, index: usize) -> Option<u16> {
        self.films.get(&batch.fields[index].slide).and_then(|levels| median(levels))
    }

    fn recall_field(&mut self, (batch, objective): (&Batch, &Objective), index: usize, elsewhere: Elsewhere, job: &Job<'_>) -> Known {
        let source = &batch.fields[index].source;
        let Keeper::Memo(memo) = &mut self.keeper else { return Known::Not };
        let key = Key::now(objective, source);
        let Some(before) = memo.field(&key) else { return Known::Not };
        if before.film.is_none() && elsewhere == Elsewhere::Unasked {
            return Known::Waits;
        }
        if before.elsewhere != elsewhere.level() {
            return Known::Not;
        }
        let mut result = before.result.clone();
        let kept = Kept { place: String::new(), sha256: before.sha256.clone(), overlay: String::new() };
        let film = before.film;
        result.judge_again(&objective.optics(), &objective.recipe);
        self.from.insert(index, (key, elsewhere.level()));
        self.add((batch, objective), index, (result, kept), (film, elsewhere));
        (job.tell)(Event::Done { number: index + 1, name: &source.name });
        Known::Taken
    }

    /// Adds a field that is measured; `film` is the level that it shows itself.
    pub(super) fn add(
        &mut self,
        (batch, objective): (&Batch, &Objective),
        index: usize,
        (mut result, kept): (FieldResult, Kept),
        (film, elsewhere): (Option<u16>, Elsewhere),
    ) {
        let asked = &batch.fields[index];
        result.flags.extend(exposed::flags(&asked.source.info, (batch, objective)));
        if let (Some(film), Elsewhere::Unasked) = (film, elsewhere) {
            self.films.entry(asked.slide.clone()).or_default().push(film);
        }
        self.fields.insert(index, (result, kept));
    }

    /// Chance films of the fields that are measured, remembered where a memo is kept.
    pub(super) fn chance(&mut self) -> Films<'_> {
        let from = || self.from.values().cloned().collect::<Vec<FieldKey>>();
        let memo = match &mut self.keeper {
            Keeper::Memo(memo) => Some((&mut **memo, from())),
            Keeper::Record(_) => None,
        };
        Films { memo, simulate_s: 0.0 }
    }
}
