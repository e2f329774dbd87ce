//! What a record holds beside pictures: tables, sheets, metadata, and the lines of `bag-info.txt`.

use std::ops::Range;
use std::time::Instant;

use evenfilm_core::field::FieldResult;
use evenfilm_core::quantity;
use rayon::prelude::*;

use crate::archive::{Info, Revision};
use crate::bag::Bag;
use crate::csvw;
use crate::fault::Fault;
use crate::folder::Batch;
use crate::recipe_file;
use crate::tables::{self, FieldRow, GapRow, ObjectRow, RecordRow, Table};

use super::{FieldFlag, Job, LotOutcome, Measured, values};

pub(super) fn seal(mut measured: Measured<'_>, job: &Job<'_>) -> Result<LotOutcome, Fault> {
    let start = Instant::now();
    job.poll()?;
    let flags = measured.flags();
    put_tables(&mut measured)?;
    for (name, content) in &sheets_of(measured.batch) {
        measured.staging.bag.put(name, content)?;
    }
    let mut row = record_row(&measured, job, &flags);
    let Measured { batch, staging, fields, result, mut timing, .. } = measured;
    let mut finish = |bag: &mut Bag, revision: &Revision| {
        job.poll()?;
        row.texts.retain(|(id, _)| *id != "revision");
        row.texts.push(("revision", revision.number.to_string()));
        put_table(bag, &tables::record(), &[&row])?;
        Ok(bag_info(batch, job))
    };
    let sealed = staging.seal(&mut finish)?;
    timing.write_s += start.elapsed().as_secs_f64();
    Ok(LotOutcome {
        lot: batch.sheet.lot.clone(),
        record_dir: sealed.folder,
        revision: sealed.revision,
        values: values(&result),
        slides: result.slides,
        fields: fields.len(),
        flags,
        notes: batch.notes.clone(),
        timing,
    })
}

type File = (String, Vec<u8>);

/// Rows of objects or gaps that one thread writes at a time.
const ROWS_AT_ONCE: usize = 4096;
/// Pieces of a table that are held before they are written.
const PIECES_AT_ONCE: usize = 16;

/// Writes the tables and metadata that do not depend on the revision.
fn put_tables(measured: &mut Measured<'_>) -> Result<(), Fault> {
    let (um_per_px, recipe) = (measured.batch.scale.um_per_px, &measured.batch.recipe);
    let Measured { staging, fields: results, .. } = measured;
    let bag = &mut staging.bag;
    put_rows(
        bag,
        &tables::objects(),
        results,
        |r| r.objects.len(),
        |field, result, i| {
            let object = &result.objects[i];
            let (counted, agglomerate) = (quantity::counted(result, object, recipe), quantity::is_agglomerate(result, object, recipe));
            ObjectRow { field, id: i + 1, object, counted, agglomerate, um_per_px }
        },
    )?;
    put_rows(
        bag,
        &tables::gaps(),
        results,
        |r| r.gaps.len(),
        |field, result, i| {
            let gap = &result.gaps[i];
            GapRow { field, id: i + 1, gap, counted: quantity::gap_counted(result, gap), um_per_px }
        },
    )?;
    let fields = fields(measured);
    let files = [("fields.csv".into(), fields), metadata(&tables::objects()), metadata(&tables::gaps()), metadata(&tables::fields())];
    files.iter().try_for_each(|(name, content)| measured.staging.bag.put(name, content))
}

/// Writes a table whose rows come from the fields, one field after another. Pieces of it are made on all threads and written in their
/// order, so that no table is ever held whole.
fn put_rows<'a, R: Send + Sync>(
    bag: &mut Bag,
    table: &Table<R>,
    fields: &'a [FieldResult],
    rows_of: impl Fn(&FieldResult) -> usize,
    row: impl Fn(usize, &'a FieldResult, usize) -> R + Sync,
) -> Result<(), Fault> {
    let mut pieces = Vec::new();
    for (i, field) in fields.iter().enumerate() {
        let rows = rows_of(field);
        pieces.extend((0..rows).step_by(ROWS_AT_ONCE).map(|from| (i + 1, field, from..rows.min(from + ROWS_AT_ONCE))));
    }
    let text = |(number, field, rows): &(usize, &'a FieldResult, Range<usize>)| {
        let mut out = Vec::new();
        rows.clone().for_each(|i| table.push_rows(&mut out, [&row(*number, field, i)]));
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

fn fields(measured: &Measured<'_>) -> Vec<u8> {
    let batch = measured.batch;
    let flags: Vec<String> = measured.fields.iter().map(|f| joined(f.flags.iter().map(|flag| flag.id))).collect();
    let rows: Vec<FieldRow<'_>> = (batch.fields.iter().zip(&measured.fields).enumerate())
        .map(|(i, (asked, field))| FieldRow {
            field: i + 1,
            slide: &asked.slide,
            microscope: batch.microscope_name.as_deref().unwrap_or_default(),
            file: &asked.source.name,
            archived_as: &measured.kept[i].place,
            sha256: &measured.kept[i].sha256,
            rejected: "",
            flags: &flags[i],
            result: field,
            values: measured.result.per_field.get(i).map_or(&[], Vec::as_slice),
        })
        .collect();
    tables::fields().csv(&rows)
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

fn record_row(measured: &Measured<'_>, job: &Job<'_>, flags: &[FieldFlag]) -> RecordRow {
    let batch = measured.batch;
    let (about, recipe, scale) = (&batch.sheet.about, &batch.recipe, &batch.scale);
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
        ("flags", Some(joined(flags.iter().map(|flag| flag.flag.id)))),
    ];
    let texts = stated.into_iter().filter_map(|(id, text)| Some((id, text?))).collect();
    RecordRow { texts, um_per_px: scale.um_per_px, values: measured.result.values.clone(), ci95: measured.result.ci95.clone() }
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
    lines.extend(batch.notes.iter().map(|note| ("Evenfilm-Note", note.clone())));
    lines
}
