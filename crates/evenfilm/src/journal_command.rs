//! `evenfilm journal`: is the journal of a folder of records whole, and does it still go on from a head that was kept elsewhere.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use evenfilm_record::fault::Fault;
use evenfilm_record::finding::Finding;
use evenfilm_record::journal::{self, Checked, Head, JOURNAL};
use evenfilm_record::names::printable;
use serde_json::{Value, json};

use crate::complain;
use crate::exit::Exit;

/// Check the journal of a folder of records; keep its head elsewhere, and hold it against one that was kept
#[derive(Debug, Args)]
pub(crate) struct JournalArgs {
    /// Folder of all records, which holds journal.jsonl
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Write the head (number and digest of the last entry) to a new file, to be kept where nobody of the bench can write
    #[arg(long, value_name = "FILE")]
    export: Option<PathBuf>,
    /// A head that was kept: whatever was changed or taken out up to it is found
    #[arg(long, value_name = "FILE")]
    since: Option<PathBuf>,
    /// Print one JSON document on standard output and nothing else there
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(args: &JournalArgs) -> Exit {
    match check(args) {
        Ok(checked) => {
            let mut out = io::stdout().lock();
            // Nobody reads a closed pipe; the exit code tells all the same.
            let _ = if args.json { print_json(&mut out, &checked) } else { print_words(&mut out, args, &checked) };
            if checked.is_whole() { Exit::Done } else { Exit::Fault }
        }
        Err(fault) => {
            complain("", &fault);
            Exit::of(fault.kind)
        }
    }
}

fn check(args: &JournalArgs) -> Result<Checked, Fault> {
    let kept = args.since.as_deref().map(journal::import).transpose()?;
    let checked = journal::check_folder(&args.folder, kept.as_ref())?.ok_or_else(|| none(&args.folder))?;
    if args.export.is_some() && checked.head.is_none() {
        return Err(Fault::input("the journal has no entry, so that there is no head to keep", "measure a lot first").at(&args.folder));
    }
    // The head of a journal that is broken proves nothing.
    if let (Some(to), Some(head), true) = (&args.export, &checked.head, checked.is_whole()) {
        journal::export(head, to)?;
    }
    Ok(checked)
}

fn none(folder: &Path) -> Fault {
    let message = format!("there is no {JOURNAL} in this folder");
    Fault::input(message, "give the folder that was named with --out when lots were measured").at(folder)
}

fn print_words(out: &mut impl Write, args: &JournalArgs, checked: &Checked) -> io::Result<()> {
    for Finding { file, line, message, is_fault, .. } in &checked.findings {
        let place = match (line, file) {
            (Some(line), _) => format!(" line {line}"),
            (None, Some(file)) => format!(" {}", printable(file)),
            (None, None) => String::new(),
        };
        writeln!(out, "{}{place}: {message}", if *is_fault { "FAULT" } else { "note" })?;
    }
    let entries = checked.entries;
    let Some(Head { number, sha256, at }) = &checked.head else {
        return writeln!(out, "no entry of a journal can be read");
    };
    if checked.is_whole() {
        writeln!(out, "{entries} entries follow each other without a gap; the last one is number {number} of {at}")?;
        writeln!(out, "head: {sha256}")?;
        match (&args.since, &args.export) {
            (Some(_), _) => writeln!(out, "nothing up to the head that was kept has changed"),
            (None, Some(file)) => writeln!(out, "the head was written to {}; keep it where nobody of the bench can write", file.display()),
            (None, None) => writeln!(
                out,
                "whoever can write here can also write all of it anew: only a head kept elsewhere tells (--export, later --since)"
            ),
        }
    } else {
        if let Some(file) = &args.export {
            writeln!(out, "no head was written to {}: that of a broken journal proves nothing", file.display())?;
        }
        writeln!(out, "the journal was changed, or records that it names; keep all as it is, and compare it with a copy")
    }
}

fn print_json(out: &mut impl Write, checked: &Checked) -> io::Result<()> {
    let finding =
        |finding: &Finding| json!({ "id": finding.id, "line": finding.line, "message": finding.message, "remedy": finding.remedy });
    let of = |is_fault: bool| checked.findings.iter().filter(|f| f.is_fault == is_fault).map(finding).collect::<Vec<Value>>();
    let head = checked.head.as_ref().map(|head| json!({ "n": head.number, "sha256": head.sha256, "at": head.at }));
    let document = json!({ "entries": checked.entries, "head": head, "ok": checked.is_whole(), "faults": of(true), "notes": of(false) });
    serde_json::to_writer_pretty(&mut *out, &document)?;
    writeln!(out)
}
