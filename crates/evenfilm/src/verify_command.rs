//! `evenfilm verify`: whether records are whole.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use evenfilm_record::fault::{Fault, FaultKind};
use evenfilm_record::finding::Finding;
use evenfilm_record::names::printable;
use evenfilm_record::round::three_digits;
use evenfilm_record::summary::CAUTION;
use evenfilm_record::verify::{self, Verified};
use serde_json::{Value, json};

use crate::exit::Exit;
use crate::{complain, json};

/// Say whether records are whole: as they were sealed, each naming the one before it
#[derive(Debug, Args)]
pub(crate) struct VerifyArgs {
    /// Records (DIR/<lot>/r<N>), or folders of them
    #[arg(required = true, value_name = "RECORD")]
    records: Vec<PathBuf>,
    /// Print one JSON document on standard output and nothing else there
    #[arg(long)]
    json: bool,
}

/// What was asked for and what came of it.
type Asked<'a> = (&'a Path, Result<Vec<Verified>, Fault>);

pub(crate) fn run(args: &VerifyArgs) -> Exit {
    let look = |path: &PathBuf| verify::find(path).map(|records| records.iter().map(|record| verify::record(record)).collect());
    let asked: Vec<Asked<'_>> = args.records.iter().map(|path| (path.as_path(), look(path))).collect();
    for (_, fault) in failed(&asked) {
        complain("", fault);
    }
    let mut out = io::stdout().lock();
    // Nobody reads a closed pipe; the exit code tells all the same.
    let _ = if args.json { print_json(&mut out, &asked) } else { print_words(&mut out, &asked) };
    exit(&asked)
}

fn exit(asked: &[Asked<'_>]) -> Exit {
    let kinds: Vec<FaultKind> = failed(asked).map(|(_, fault)| fault.kind).collect();
    match Exit::of_all(asked.len(), &kinds) {
        Exit::Done if !records(asked).all(Verified::is_whole) => Exit::Fault,
        exit => exit,
    }
}

fn failed<'a>(asked: &'a [Asked<'_>]) -> impl Iterator<Item = (&'a Path, &'a Fault)> {
    asked.iter().filter_map(|(path, outcome)| Some((*path, outcome.as_ref().err()?)))
}

fn records<'a>(asked: &'a [Asked<'_>]) -> impl Iterator<Item = &'a Verified> {
    asked.iter().filter_map(|(_, outcome)| outcome.as_ref().ok()).flatten()
}

fn print_json(out: &mut impl Write, asked: &[Asked<'_>]) -> io::Result<()> {
    let whole = records(asked).map(|record| {
        json!({
            "record_dir": record.folder.display().to_string(),
            "lot": record.lot,
            "revision": record.revision,
            "tag_manifest_sha256": record.tag_manifest_sha256,
            "files": record.files,
            "bytes": record.bytes,
            "ok": record.is_whole(),
            "faults": record.faults().map(finding).collect::<Vec<_>>(),
            "notes": record.notes().map(finding).collect::<Vec<_>>(),
        })
    });
    let failed = failed(asked).map(|(path, fault)| json!({ "folder": path.display().to_string(), "error": json::error(fault) }));
    let document = json!({ "records": whole.chain(failed).collect::<Vec<Value>>() });
    serde_json::to_writer_pretty(&mut *out, &document)?;
    writeln!(out)
}

fn finding(finding: &Finding) -> Value {
    json!({ "id": finding.id, "file": finding.file, "line": finding.line, "message": finding.message, "remedy": finding.remedy })
}

fn print_words(out: &mut impl Write, asked: &[Asked<'_>]) -> io::Result<()> {
    let mut count = 0;
    let mut faulty = 0;
    for record in records(asked) {
        count += 1;
        faulty += usize::from(!record.is_whole());
        print_record(out, record)?;
    }
    if count == 0 {
        return Ok(());
    }
    if count > 1 {
        let whole = count - faulty;
        writeln!(out, "\n{count} records: {whole} whole, {faulty} with faults")?;
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
