//! What a record holds beside pictures: tables, sheets, metadata, and the lines of `bag-info.txt`.

use std::time::Instant;

use evenfilm_core::batch::LotResult;
use evenfilm_core::quantity;
use rayon::prelude::*;

use crate::archive::{Info, Revision};
use crate::bag::Bag;
use crate::corrections::CORRECTIONS;
use crate::csvw;
use crate::fault::Fault;
use crate::folder::{Batch, Objective};
use crate::recipe_file;
use crate::tables::{self, FieldRow, GapRow, ObjectRow, RecordRow, Table};

use super::correct::STAYS;
use super::{FieldFlag, Job, LotOutcome, Measured, ObjectiveOutcome, OfField, Seen, values};

pub(super) fn seal(mut measured: Measured<'_>, job: &Job<'_>) -> Result<LotOutcome, Fault> {
    let start = Instant::now();
    job.poll()?;
    let files = tables_of(&measured);
    let sheets = sheets_of(measured.batch);
    for (name, content) in files.iter().chain(&sheets) {
        measured.staging.bag.put(name, content)?;
    }
    let flags = flags_of(&measured);
    let mut records = records(&measured, job, &flags);
    let Measured { batch, staging, seen } = measured;
    let mut finish = |bag: &mut Bag, revision: &Revision| {
        job.poll()?;
        for (table, rows) in &mut records {
            for row in rows.iter_mut() {
                row.texts.retain(|(id, _)| *id != "revision");
                row.texts.push(("revision", revision.number.to_string()));
            }
            put_table(bag, table, &rows.iter().collect::<Vec<_>>())?;
        }
        Ok(bag_info(batch, job))
    };
    let sealed = staging.seal(&mut finish)?;
    let mut objectives: Vec<ObjectiveOutcome> = batch.objectives.iter().zip(seen).zip(flags).map(outcome).collect();
    if let Some(first) = objectives.first_mut() {
        first.timing.write_s += start.elapsed().as_secs_f64();
    }
    Ok(LotOutcome { lot: batch.sheet.lot.clone(), record_dir: sealed.folder, revision: sealed.revision, objectives })
}

/// `record.csv` and, where somebody corrected, its siblings: each with a row per objective.
fn records(measured: &Measured<'_>, job: &Job<'_>, flags: &[Vec<FieldFlag>]) -> Vec<(Table<RecordRow>, Vec<RecordRow>)> {
    let rows = |result: &dyn Fn(&Seen) -> LotResult, corrected: bool| {
        let all = measured.batch.objectives.iter().zip(&measured.seen).zip(flags);
        let row = |((objective, seen), flags): ((&Objective, &Seen), &Vec<FieldFlag>)| {
            let flags = flags.iter().map(|flag| flag.flag.id).filter(|&id| corrected || id != STAYS);
            record_row(measured.batch, objective, job, (&result(seen), joined(flags)))
        };
        all.map(row).collect::<Vec<_>>()
    };
    let mut records = vec![(tables::record(), rows(&|seen| seen.result.clone(), true))];
    if !measured.batch.corrections.lines.is_empty() {
        let uncorrected = |seen: &Seen| seen.uncorrected.clone().unwrap_or_default();
        records.push((tables::record_uncorrected(), rows(&uncorrected, false)));
    }
    if measured.seen.iter().any(|seen| seen.without_rejected.is_some()) {
        let without = |seen: &Seen| seen.without_rejected.as_ref().unwrap_or(&seen.result).clone();
        records.push((tables::record_without_rejected(), rows(&without, true)));
    }
    records
}

fn outcome(((objective, seen), flags): ((&Objective, Seen), Vec<FieldFlag>)) -> ObjectiveOutcome {
    ObjectiveOutcome {
        microscope: objective.word().to_owned(),
        values: values(&seen.result),
        slides: seen.result.slides,
        fields: seen.result.per_field.len(),
        flags,
        notes: objective.notes.clone(),
        timing: seen.timing,
    }
}

/// The flags of the fields of each objective.
fn flags_of(measured: &Measured<'_>) -> Vec<Vec<FieldFlag>> {
    let fields = measured.fields();
    let of = |objective: &Objective| {
        let own = fields.iter().filter(|field| std::ptr::eq(field.objective, objective));
        own.flat_map(OfField::flags).collect()
    };
    measured.batch.objectives.iter().map(of).collect()
}

type File = (String, Vec<u8>);

/// Tables and metadata that do not depend on the revision.
fn tables_of(measured: &Measured<'_>) -> Vec<File> {
    let fields = measured.fields();
    let objects = per_field(&tables::objects(), &fields, |table, out, field| {
        let (result, recipe) = (field.result, &field.objective.recipe);
        let row = |(i, object)| {
            let (counted, agglomerate) = (quantity::counted(result, object, recipe), quantity::is_agglomerate(result, object, recipe));
            let (um_per_px, microscope) = (field.objective.scale.um_per_px, field.objective.word());
            let by_hand = field.by_hand.objects.contains(&i);
            ObjectRow { field: field.number, id: i + 1, object, counted, agglomerate, um_per_px, microscope, by_hand }
        };
        table.push_rows(out, &result.objects.iter().enumerate().map(row).collect::<Vec<_>>());
    });
    let gaps = per_field(&tables::gaps(), &fields, |table, out, field| {
        let row = |(i, gap)| {
            let (um_per_px, microscope) = (field.objective.scale.um_per_px, field.objective.word());
            let (counted, by_hand) = (quantity::gap_counted(field.result, gap), field.by_hand.gaps.contains(&i));
            GapRow { field: field.number, id: i + 1, gap, counted, um_per_px, microscope, by_hand }
        };
        table.push_rows(out, &field.result.gaps.iter().enumerate().map(row).collect::<Vec<_>>());
    });
    let mut files = vec![("objects.csv".into(), objects), ("gaps.csv".into(), gaps), ("fields.csv".into(), fields_csv(&fields))];
    files.push(metadata(&tables::objects()));
    files.push(metadata(&tables::gaps()));
    files.push(metadata(&tables::fields()));
    if !measured.batch.corrections.lines.is_empty() {
        files.push((CORRECTIONS.into(), measured.batch.corrections.csv()));
        files.push(metadata(&tables::corrections()));
    }
    files
}

/// A table whose rows come from the fields, one field after another; each is written on a thread of its own.
fn per_field<'a, R: Send + Sync>(
    table: &Table<R>,
    fields: &[OfField<'a>],
    push: impl Fn(&Table<R>, &mut Vec<u8>, OfField<'a>) + Sync,
) -> Vec<u8> {
    let part = |field: &OfField<'a>| {
        let mut out = Vec::new();
        push(table, &mut out, *field);
        out
    };
    let parts: Vec<Vec<u8>> = fields.par_iter().map(part).collect();
    let mut out = table.header();
    out.extend(parts.into_iter().flatten());
    out
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

fn record_row(batch: &Batch, objective: &Objective, job: &Job<'_>, (result, flags): (&LotResult, String)) -> RecordRow {
    let (about, recipe, scale) = (&batch.sheet.about, &batch.recipe, &objective.scale);
    let day = |date: Option<jiff::civil::Date>| date.map(|date| date.to_string());
    let stated = [
        ("lot", Some(batch.sheet.lot.clone())),
        ("product", about.product.clone()),
        ("purpose", Some(batch.sheet.purpose().word().to_owned())),
        ("sampled_on", day(about.sampled_on)),
        ("measured_at", Some(job.moment.measured_at.clone())),
        ("operator", about.operator.clone()),
        ("bench", about.bench.clone()),
        ("setting", batch.sheet.mixing.setting.clone()),
        ("recipe", Some(format!("{} {}", recipe.name, recipe.version))),
        ("recipe_sha256", Some(recipe_file::sha256(recipe))),
        ("scale_source", scale.source.clone()),
        ("scale_date", day(scale.date)),
        ("program_version", Some(job.program_version.to_owned())),
        ("flags", Some(flags)),
        ("microscope", objective.name.clone()),
    ];
    let texts = stated.into_iter().filter_map(|(id, text)| Some((id, text?))).collect();
    RecordRow { texts, um_per_px: scale.um_per_px, values: result.values.clone(), ci95: result.ci95.clone() }
}

fn bag_info(batch: &Batch, job: &Job<'_>) -> Info {
    let mut lines = vec![
        ("Bag-Software-Agent", format!("evenfilm {}", job.program_version)),
        ("Bagging-Date", job.moment.date.clone()),
        ("External-Identifier", batch.sheet.lot.clone()),
        ("External-Description", "How evenly a powder is dispersed in a dried film, from micrographs".to_owned()),
        ("Evenfilm-Program-Version", job.program_version.to_owned()),
        ("Time-Source", job.moment.source.to_owned()),
    ];
    lines.extend(batch.notes().into_iter().map(|note| ("Evenfilm-Note", note)));
    lines
}
