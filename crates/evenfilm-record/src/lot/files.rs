//! What a record holds beside pictures: tables, sheets, metadata, and the lines of `bag-info.txt`.

use std::collections::BTreeSet;
use std::ops::Range;
use std::time::Instant;

use evenfilm_core::batch::LotResult;
use evenfilm_core::field::FieldResult;
use evenfilm_core::quality::Flag;
use evenfilm_core::quantity;
use rayon::prelude::*;

use crate::archive::{Revision, Said};
use crate::bag::Bag;
use crate::corrections::CORRECTIONS;
use crate::csvw;
use crate::fault::Fault;
use crate::folder::{Batch, Objective};
use crate::journal::Journal;
use crate::recipe_file;
use crate::sheet::Purpose;
use crate::tables::{self, DecisionRow, FieldRow, GapRow, ObjectRow, RecordRow, Table, UncertaintyRow};

use super::about;
use super::approved;
use super::correct::STAYS;
use super::past::{self, Pictures, Taken, Told};
use super::{Check, FieldFlag, Job, Judgement, LotOutcome, Measured, ObjectiveOutcome, OfField, Seen, fields_of, values};

pub(super) fn seal(mut measured: Measured<'_>, job: &Job<'_>) -> Result<LotOutcome, Fault> {
    let start = Instant::now();
    job.poll()?;
    put_tables(&mut measured)?;
    for (name, content) in &sheets_of(measured.batch) {
        measured.staging.bag.put(name, content)?;
    }
    approved::keep(measured.batch, job.occasion, &mut measured.staging.bag)?;
    let Measured { batch, staging, pictures, seen } = measured;
    let (digests, times) = (digests_of(batch, &seen), times_of(batch));
    let mut objectives = Vec::new();
    let mut finish = |bag: &mut Bag, revision: &Revision, journal: &Journal| {
        job.poll()?;
        let history = journal.history(&batch.sheet.lot, &digests.values().map(String::as_str).collect())?;
        let back = past::look_back(batch, &digests, (revision, &history), job, &times);
        let flags = flags_of(batch, &seen, &back.flags);
        for (table, rows) in records((batch, &seen), job, &flags, revision) {
            put_table(bag, &table, &rows.iter().collect::<Vec<_>>())?;
        }
        put_table(bag, &tables::pictures(), &pictures.iter().collect::<Vec<_>>())?;
        objectives = batch.objectives.iter().zip(&seen).zip(flags).map(outcome).collect();
        let Told { before, entry } = past::told("record", batch, &digests, &objectives, &history);
        let reason = job.occasion.reason.as_deref().unwrap_or_default();
        let notes = [notes_of(batch, &seen), back.notes].concat();
        let info = about::bag_info(batch, job, &about::Circumstances { revision, changed: back.changed.as_deref(), notes: &notes });
        Ok(Said { info, before, entry: entry.with("reason", reason) })
    };
    let sealed = staging.seal(job.occasion, &mut finish)?;
    if let Some(first) = objectives.first_mut() {
        first.timing.write_s += start.elapsed().as_secs_f64();
    }
    Ok(LotOutcome {
        lot: batch.sheet.lot.clone(),
        is_check: batch.sheet.purpose() == Purpose::Check,
        record_dir: sealed.folder,
        revision: sealed.revision,
        objectives,
    })
}

/// The fields and the digests of their pictures.
fn digests_of(batch: &Batch, seen: &[Seen]) -> Pictures {
    fields_of(batch, seen)
        .into_iter()
        .map(|field| (field.asked.source.name.clone(), past::picture_of(&field.asked.source, &field.kept.sha256)))
        .collect()
}

/// When fields, blanks and darks were taken, where their files say so; each file once.
fn times_of(batch: &Batch) -> Vec<Taken> {
    let lamps = batch.objectives.iter().flat_map(|objective| objective.blank.iter().chain(&objective.dark));
    let sources = batch.fields.iter().map(|field| &field.source).chain(lamps);
    let mut times: Vec<Taken> =
        sources.filter_map(|source| Some(Taken { name: source.file().to_owned(), at: source.info.taken_at? })).collect();
    let mut once = BTreeSet::new();
    times.retain(|taken| once.insert(taken.name.clone()));
    times
}

/// `record.csv` and, where somebody corrected, its siblings: each with a row per objective.
fn records(
    (batch, seen): (&Batch, &[Seen]),
    job: &Job<'_>,
    flags: &[Vec<FieldFlag>],
    revision: &Revision,
) -> Vec<(Table<RecordRow>, Vec<RecordRow>)> {
    // A verdict rests on the numbers of record.csv alone.
    let rows = |result: &dyn Fn(&Seen) -> LotResult, [corrected, decides]: [bool; 2]| {
        let all = batch.objectives.iter().zip(seen).zip(flags);
        let row = |((objective, seen), flags): ((&Objective, &Seen), &Vec<FieldFlag>)| {
            let flags = flags.iter().map(|flag| flag.flag.id).filter(|&id| corrected || id != STAYS.word());
            let told = (&result(seen), decides.then_some(&seen.judgement), joined(flags));
            record_row((batch, objective), job, revision, told)
        };
        all.map(row).collect::<Vec<_>>()
    };
    let mut records = vec![(tables::record(), rows(&|seen| seen.result.clone(), [true, true]))];
    if !batch.corrections.lines.is_empty() {
        let uncorrected = |seen: &Seen| seen.uncorrected.clone().unwrap_or_default();
        records.push((tables::record_uncorrected(), rows(&uncorrected, [false, false])));
    }
    if seen.iter().any(|seen| seen.without_rejected.is_some()) {
        let without = |seen: &Seen| seen.without_rejected.as_ref().unwrap_or(&seen.result).clone();
        records.push((tables::record_without_rejected(), rows(&without, [true, false])));
    }
    records
}

/// What each objective gave, before anything is sealed.
pub(super) fn objectives(batch: &Batch, seen: &[Seen]) -> Vec<ObjectiveOutcome> {
    batch.objectives.iter().zip(seen).zip(flags_of(batch, seen, &[])).map(outcome).collect()
}

fn outcome(((objective, seen), flags): ((&Objective, &Seen), Vec<FieldFlag>)) -> ObjectiveOutcome {
    ObjectiveOutcome {
        microscope: objective.word().to_owned(),
        values: values(&seen.result),
        slides: seen.result.slides,
        fields: seen.result.per_field.len(),
        judgement: seen.judgement.clone(),
        flags,
        notes: objective.notes.iter().chain(&seen.notes).cloned().collect(),
        timing: seen.timing,
    }
}

/// The flags of each objective: those of the record, those of all it showed, then those of its fields.
fn flags_of(batch: &Batch, seen: &[Seen], of_record: &[Flag]) -> Vec<Vec<FieldFlag>> {
    let fields = fields_of(batch, seen);
    let of = |(objective, seen): (&Objective, &Seen)| {
        let own = fields.iter().filter(|field| std::ptr::eq(field.objective, objective));
        let of_all = of_record.iter().chain(&seen.judgement.flags).chain(&seen.flags);
        let of_all = of_all.map(|flag| FieldFlag { field: None, file: String::new(), flag: flag.clone() });
        of_all.chain(own.flat_map(OfField::flags)).collect()
    };
    batch.objectives.iter().zip(seen).map(of).collect()
}

type File = (String, Vec<u8>);

/// Rows of objects or gaps that one thread writes at a time.
const ROWS_AT_ONCE: usize = 4096;
/// Pieces of a table that are held before they are written.
const PIECES_AT_ONCE: usize = 16;

/// Writes the tables and metadata that do not depend on the revision.
fn put_tables(measured: &mut Measured<'_>) -> Result<(), Fault> {
    let fields = fields_of(measured.batch, &measured.seen);
    let bag = &mut measured.staging.bag;
    put_rows(
        bag,
        &tables::objects(),
        &fields,
        |result| result.objects.len(),
        |field, i| {
            let (result, object, recipe) = (field.result, &field.result.objects[i], &field.objective.recipe);
            let (counted, agglomerate) = (quantity::counted(result, object, recipe), quantity::is_agglomerate(result, object, recipe));
            let (um_per_px, microscope) = (field.objective.scale.um_per_px, field.objective.word());
            let by_hand = field.by_hand.objects.contains(&i);
            let edge = field.edges.width_px(object).zip(field.edges.is_unsharp(result, object));
            ObjectRow { field: field.number, id: i + 1, object, counted, agglomerate, um_per_px, microscope, by_hand, edge }
        },
    )?;
    put_rows(
        bag,
        &tables::gaps(),
        &fields,
        |result| result.gaps.len(),
        |field, i| {
            let gap = &field.result.gaps[i];
            let (um_per_px, microscope) = (field.objective.scale.um_per_px, field.objective.word());
            let (counted, by_hand) = (quantity::gap_counted(field.result, gap), field.by_hand.gaps.contains(&i));
            GapRow { field: field.number, id: i + 1, gap, counted, um_per_px, microscope, by_hand }
        },
    )?;
    let mut files: Vec<File> =
        vec![("fields.csv".into(), fields_csv(&fields)), ("uncertainty.csv".into(), uncertainty_csv(measured.batch, &measured.seen))];
    files.push(metadata(&tables::uncertainty()));
    if measured.batch.limits.is_some() {
        files.extend([("decisions.csv".into(), decisions_csv(measured.batch, &measured.seen)), metadata(&tables::decisions())]);
    }
    files.extend([metadata(&tables::objects()), metadata(&tables::gaps()), metadata(&tables::fields())]);
    if !measured.batch.corrections.lines.is_empty() {
        files.push((CORRECTIONS.into(), measured.batch.corrections.csv()));
        files.push(metadata(&tables::corrections()));
    }
    files.iter().try_for_each(|(name, content)| bag.put(name, content))
}

/// Writes a table whose rows come from the fields, one field after another. Pieces of it are made on all threads and written in their
/// order, so that no table is ever held whole.
fn put_rows<'a, R: Send + Sync>(
    bag: &mut Bag,
    table: &Table<R>,
    fields: &[OfField<'a>],
    rows_of: impl Fn(&FieldResult) -> usize,
    row: impl Fn(OfField<'a>, usize) -> R + Sync,
) -> Result<(), Fault> {
    let mut pieces = Vec::new();
    for field in fields {
        let rows = rows_of(field.result);
        pieces.extend((0..rows).step_by(ROWS_AT_ONCE).map(|from| (*field, from..rows.min(from + ROWS_AT_ONCE))));
    }
    let text = |(field, rows): &(OfField<'a>, Range<usize>)| {
        let mut out = Vec::new();
        rows.clone().for_each(|i| table.push_rows(&mut out, [&row(*field, i)]));
        out
    };
    bag.put_in_pieces(&format!("{}.csv", table.name), |put| {
        put(&table.header())?;
        for some in pieces.chunks(PIECES_AT_ONCE) {
            some.par_iter().map(text).collect::<Vec<Vec<u8>>>().iter().try_for_each(|piece| put(piece))?;
        }
        Ok(())
    })
}

fn fields_csv(fields: &[OfField<'_>]) -> Vec<u8> {
    let flags: Vec<String> = fields.iter().map(|f| joined(f.result.flags.iter().map(|flag| flag.id))).collect();
    let row = |i: usize| FieldRow {
        field: fields[i].number,
        slide: &fields[i].asked.slide,
        microscope: fields[i].objective.word(),
        file: &fields[i].asked.source.name,
        archived_as: &fields[i].kept.place,
        sha256: &fields[i].kept.sha256,
        rejected: &fields[i].by_hand.rejected,
        flags: &flags[i],
        result: fields[i].result,
        values: fields[i].values,
    };
    tables::fields().csv(&(0..fields.len()).map(row).collect::<Vec<_>>())
}

/// The budget of every quantity that has one.
fn uncertainty_csv(batch: &Batch, seen: &[Seen]) -> Vec<u8> {
    let mut rows = Vec::new();
    for (objective, seen) in batch.objectives.iter().zip(seen) {
        for (quantity, budget) in quantity::QUANTITIES.iter().zip(&seen.result.budgets) {
            let Some(budget) = budget else { continue };
            let microscope = objective.word();
            let row = |component, u, dof, share_pct| UncertaintyRow { microscope, quantity, component, u, dof, share_pct };
            rows.extend(
                budget.components.iter().map(|&(component, u)| row(component.word(), u, budget.dof(component), budget.share_pct(u))),
            );
            rows.push(row(
                "combined",
                budget.combined.u,
                Some(budget.combined.dof).filter(|dof| dof.is_finite()),
                budget.share_pct(budget.combined.u),
            ));
            if !quantity.interval.has_ends() {
                rows.push(row("expanded", budget.u95(), None, None));
            }
        }
    }
    tables::uncertainty().csv(&rows)
}

fn decisions_csv(batch: &Batch, seen: &[Seen]) -> Vec<u8> {
    let of = |(objective, seen): (&'_ Objective, &'_ Seen)| {
        let microscope = objective.word().to_owned();
        seen.judgement
            .decisions
            .iter()
            .map(|judged| DecisionRow { microscope: microscope.clone(), judged: judged.clone() })
            .collect::<Vec<_>>()
    };
    tables::decisions().csv(&batch.objectives.iter().zip(seen).flat_map(of).collect::<Vec<_>>())
}

/// The words of a list, each once, in the order of their first place.
fn joined<'a>(words: impl Iterator<Item = &'a str>) -> String {
    let mut once: Vec<&str> = Vec::new();
    for word in words {
        if !once.contains(&word) {
            once.push(word);
        }
    }
    once.join(" ")
}

fn metadata<R>(table: &Table<R>) -> File {
    (format!("{}.csv-metadata.json", table.name), csvw::metadata(table))
}

fn put_table<R>(bag: &mut Bag, table: &Table<R>, rows: &[&R]) -> Result<(), Fault> {
    bag.put(&format!("{}.csv", table.name), &table.csv(rows.iter().copied()))?;
    let (name, content) = metadata(table);
    bag.put(&name, &content)
}

/// Sheet, recipe and limits as they were used, every choice written out.
fn sheets_of(batch: &Batch) -> Vec<File> {
    let sheet = batch.sheet_as_used().canonical();
    let recipe = recipe_file::canonical(&batch.recipe);
    let limits = batch.limits.as_ref().map(|limits| ("limits.toml", limits.canonical()));
    let files = [("batch.toml", sheet), ("recipe.toml", recipe)].into_iter().chain(limits);
    files.map(|(name, text)| (name.to_owned(), text.into_bytes())).collect()
}

fn record_row(
    (batch, objective): (&Batch, &Objective),
    job: &Job<'_>,
    revision: &Revision,
    (result, judgement, flags): (&LotResult, Option<&Judgement>, String),
) -> RecordRow {
    let verdict = judgement.and_then(|judgement| judgement.verdict).map(|verdict| verdict.word().to_owned());
    let check = judgement.and_then(|judgement| judgement.check.as_ref());
    let (about, recipe, scale) = (&batch.sheet.about, &batch.recipe, &objective.scale);
    let day = |date: Option<jiff::civil::Date>| date.map(|date| date.to_string());
    let stated = [
        ("lot", Some(batch.sheet.lot.clone())),
        ("product", about.product.clone()),
        ("purpose", Some(batch.sheet.purpose().word().to_owned())),
        ("revision", Some(revision.number.to_string())),
        ("sampled_on", day(about.sampled_on)),
        ("measured_at", Some(job.occasion.moment.measured_at.clone())),
        ("operator", about.operator.clone()),
        ("bench", about.bench.clone()),
        ("setting", batch.sheet.mixing.setting.clone()),
        ("recipe", Some(format!("{} {}", recipe.name, recipe.version))),
        ("recipe_sha256", Some(recipe_file::sha256(recipe))),
        ("scale_source", scale.source.clone()),
        ("scale_date", day(scale.date)),
        ("program_version", Some(job.occasion.program_version.clone())),
        ("verdict_scope", verdict.is_some().then(|| scope(result).to_owned())),
        ("verdict", verdict),
        ("flags", Some(flags)),
        ("check", check.map(Check::word)),
        ("check_sha256", check.map(|check| check.sha256.clone())),
        ("microscope", objective.name.clone()),
    ];
    let texts = stated.into_iter().filter_map(|(id, text)| Some((id, text?))).collect();
    let end = |end: usize| result.ends95.iter().map(|ends| ends.map(|ends| ends[end])).collect();
    RecordRow {
        texts,
        um_per_px: scale.um_per_px,
        values: result.values.clone(),
        ci95: result.ci95.clone(),
        u95: result.u95.clone(),
        low95: end(0),
        high95: end(1),
    }
}

/// What the numbers speak of.
pub(super) const fn scope(result: &LotResult) -> &'static str {
    if result.slides > 1 { "lot" } else { "slide" }
}

/// What a reader should know of the whole record: of its pictures, and of what could not be told.
fn notes_of(batch: &Batch, seen: &[Seen]) -> Vec<String> {
    let own = batch.objectives.iter().zip(seen).flat_map(|(objective, seen)| seen.notes.iter().map(|note| batch.named(objective, note)));
    batch.notes().into_iter().chain(own).collect()
}
