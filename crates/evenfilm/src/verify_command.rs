//! `evenfilm verify`: whether records are whole.

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use clap::Args;
use evenfilm_record::disk;
use evenfilm_record::fault::{Fault, FaultKind};
use evenfilm_record::finding::Finding;
use evenfilm_record::lot::{self, Again, Difference, Job};
use evenfilm_record::names::printable;
use evenfilm_record::occasion::Occasion;
use evenfilm_record::round::three_digits;
use evenfilm_record::summary::CAUTION;
use evenfilm_record::time::Moment;
use evenfilm_record::verify::{self, Journals, Verified};
use serde_json::{Value, json};

use crate::exit::Exit;
use crate::{complain, interrupt, json};

/// Say whether records are whole: as they were sealed, each naming the one before it
#[derive(Debug, Args)]
pub(crate) struct VerifyArgs {
    /// Records (DIR/<lot>/r<N>), or folders of them
    #[arg(required = true, value_name = "RECORD")]
    records: Vec<PathBuf>,
    /// Measure the pictures in each record again, as it says, and compare every number
    #[arg(long)]
    again: bool,
    /// Print one JSON document on standard output and nothing else there
    #[arg(long)]
    json: bool,
}

/// What was asked for and what came of it.
type Asked<'a> = (&'a Path, Result<Vec<Looked>, Fault>);

/// A record that was looked at, and perhaps measured again.
struct Looked {
    verified: Verified,
    again: Option<Result<Again, Fault>>,
}

impl Looked {
    fn is_good(&self) -> bool {
        self.verified.is_whole() && self.again.as_ref().is_none_or(|again| again.as_ref().is_ok_and(|again| again.differing == 0))
    }
}

pub(crate) fn run(args: &VerifyArgs) -> Exit {
    let (journals, cancel) = (Journals::default(), interrupt::listen());
    let look = |record: &PathBuf| {
        let verified = verify::among(record, &journals);
        let again = args.again.then(|| measure_again(&verified, cancel));
        if let Some(Err(fault)) = &again {
            complain(&verified.folder.display().to_string(), fault);
        }
        Looked { verified, again }
    };
    let asked: Vec<Asked<'_>> = args
        .records
        .iter()
        .map(|path| {
            (
                path.as_path(),
                verify::find(path).map(|records| records.iter().take_while(|_| !cancel.load(Ordering::Relaxed)).map(look).collect()),
            )
        })
        .collect();
    for (_, fault) in failed(&asked) {
        complain("", fault);
    }
    let mut out = io::stdout().lock();
    // Nobody reads a closed pipe; the exit code tells all the same.
    let changed = journals.changed();
    let _ = if args.json { print_json(&mut out, &asked, &changed) } else { print_words(&mut out, &asked, &changed) };
    match exit(&asked) {
        _ if cancel.load(Ordering::Relaxed) => Exit::Interrupted,
        Exit::Done if !changed.is_empty() => Exit::Fault,
        exit => exit,
    }
}

fn exit(asked: &[Asked<'_>]) -> Exit {
    let not_measured = records(asked).filter_map(|record| record.again.as_ref()?.as_ref().err());
    // What cannot be measured again is a fault of the record, unless the work itself failed or was stopped.
    let not_measured = not_measured.map(|fault| fault.kind).filter(|kind| *kind != FaultKind::Input);
    let kinds: Vec<FaultKind> = failed(asked).map(|(_, fault)| fault.kind).chain(not_measured).collect();
    match Exit::of_all(asked.len(), &kinds) {
        Exit::Done if !records(asked).all(Looked::is_good) => Exit::Fault,
        exit => exit,
    }
}

fn failed<'a>(asked: &'a [Asked<'_>]) -> impl Iterator<Item = (&'a Path, &'a Fault)> {
    asked.iter().filter_map(|(path, outcome)| Some((*path, outcome.as_ref().err()?)))
}

/// Measures in a folder that is thrown away; the record stays as it is.
fn measure_again(verified: &Verified, cancel: &AtomicBool) -> Result<Again, Fault> {
    let scratch = disk::scratch()?;
    let occasion = Occasion::at(Moment::now()?, env!("CARGO_PKG_VERSION"));
    lot::again(&verified.folder, &Job { out: scratch.path(), occasion: &occasion, cancel, tell: &|_| () })
}

fn records<'a>(asked: &'a [Asked<'_>]) -> impl Iterator<Item = &'a Looked> {
    asked.iter().filter_map(|(_, outcome)| outcome.as_ref().ok()).flatten()
}

fn print_json(out: &mut impl Write, asked: &[Asked<'_>], changed: &[PathBuf]) -> io::Result<()> {
    let whole = records(asked).map(|Looked { verified: record, again }| {
        let mut document = json!({
            "record_dir": record.folder.display().to_string(),
            "lot": record.lot,
            "revision": record.revision,
            "tag_manifest_sha256": record.tag_manifest_sha256,
            "files": record.files,
            "bytes": record.bytes,
            "ok": record.is_whole(),
            "faults": record.faults().map(finding).collect::<Vec<_>>(),
            "notes": record.notes().map(finding).collect::<Vec<_>>(),
        });
        if let Some(again) = again {
            document["ok"] = json!(record.is_whole() && again.as_ref().is_ok_and(|again| again.differing == 0));
            document["again"] = again.as_ref().map_or_else(|fault| json!({ "error": json::error(fault) }), again_document);
        }
        document
    });
    let failed = failed(asked).map(|(path, fault)| json!({ "folder": path.display().to_string(), "error": json::error(fault) }));
    let document = json!({
        "records": whole.chain(failed).collect::<Vec<Value>>(),
        "journals_changed": changed.iter().map(|out| out.display().to_string()).collect::<Vec<_>>(),
    });
    serde_json::to_writer_pretty(&mut *out, &document)?;
    writeln!(out)
}

fn again_document(again: &Again) -> Value {
    let difference = |one: &Difference| json!({ "table": one.table, "row": one.row, "quantity": one.quantity, "archived": one.archived, "again": one.again });
    json!({
        "compared": again.compared,
        "differing": again.differing,
        "differences": again.differences.iter().map(difference).collect::<Vec<_>>(),
        "archived_by": again.archived_by,
        "measured_by": again.measured_by,
    })
}

fn finding(finding: &Finding) -> Value {
    json!({ "id": finding.id, "file": finding.file, "line": finding.line, "message": finding.message, "remedy": finding.remedy })
}

fn print_words(out: &mut impl Write, asked: &[Asked<'_>], changed: &[PathBuf]) -> io::Result<()> {
    let mut count = 0;
    let mut faulty = 0;
    for record in records(asked) {
        count += 1;
        faulty += usize::from(!record.is_good());
        print_record(out, &record.verified)?;
        if let Some(Ok(again)) = &record.again {
            print_again(out, again)?;
        }
    }
    if count == 0 {
        return Ok(());
    }
    if count > 1 {
        let good = count - faulty;
        writeln!(out, "\n{count} records: {good} in order, {faulty} with faults or differences")?;
    }
    for folder in changed {
        writeln!(out, "\nThe journal in {} was changed; evenfilm journal says where", folder.display())?;
    }
    writeln!(
        out,
        "\nWhole means as it was sealed. Who can write all files can also make all digests anew: that shows only against what is kept elsewhere."
    )?;
    writeln!(out, "\n{CAUTION}")
}

fn print_record(out: &mut impl Write, record: &Verified) -> io::Result<()> {
    let name = match (&record.lot, record.revision) {
        (Some(lot), Some(revision)) => format!("{} r{revision}", printable(lot)),
        _ => record.folder.display().to_string(),
    };
    let faults = record.faults().count();
    let size = format!("{}, {}", counted(record.files, "file"), size(record.bytes));
    if faults == 0 {
        writeln!(out, "{name}: whole; {size}")?;
    } else {
        writeln!(out, "{name}: NOT WHOLE, {}; {size} ({})", counted(faults, "fault"), record.folder.display())?;
    }
    record.faults().try_for_each(|fault| print_finding(out, "fault", fault))?;
    record.notes().try_for_each(|note| print_finding(out, "note", note))
}

fn print_again(out: &mut impl Write, again: &Again) -> io::Result<()> {
    let Again { compared, differing, differences, archived_by, measured_by } = again;
    let by = format!("archived by version {}, measured again by version {measured_by}", printable(archived_by));
    if *differing == 0 {
        return writeln!(out, "  measured again: all {compared} values are the same ({by})");
    }
    writeln!(
        out,
        "  MEASURED AGAIN: {} of {compared} compared ({by})",
        counted(usize::try_from(*differing).unwrap_or(usize::MAX), "difference")
    )?;
    let shown = |text: &str| if text.is_empty() { "nothing".to_owned() } else { printable(text) };
    for one in differences {
        let row = if one.row.is_empty() { String::new() } else { format!(", {}", printable(&one.row)) };
        let (archived, again) = (shown(&one.archived), shown(&one.again));
        writeln!(out, "    {}{row} {}: archived {archived}, now {again}", printable(&one.table), printable(&one.quantity))?;
    }
    let told = differences.len() as u64;
    if *differing > told { writeln!(out, "    and {} more", differing - told) } else { Ok(()) }
}

fn print_finding(out: &mut impl Write, what: &str, finding: &Finding) -> io::Result<()> {
    let line = finding.line.map_or_else(String::new, |line| format!(", line {line}"));
    let place = finding.file.as_ref().map_or_else(String::new, |file| format!("{}{line}: ", printable(file)));
    writeln!(out, "  {what} {}: {place}{}\n      {}", finding.id, finding.message, finding.remedy)
}

fn counted(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

/// Bytes in a unit that keeps the number short.
fn size(bytes: u64) -> String {
    match bytes {
        0..1000 => format!("{bytes} bytes"),
        1000..1_000_000 => format!("{} kB", three_digits(bytes as f64 / 1e3)),
        1_000_000..1_000_000_000 => format!("{} MB", three_digits(bytes as f64 / 1e6)),
        _ => format!("{} GB", three_digits(bytes as f64 / 1e9)),
    }
}
