//! `evenfilm measure`: lots in, one record each.

use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};

use clap::Args;
use evenfilm_record::fault::{Fault, FaultKind};
use evenfilm_record::folder::{self, Opened, Options};
use evenfilm_record::journal;
use evenfilm_record::lot::{self, Job, LotOutcome, ObjectiveOutcome, Verdict};
use evenfilm_record::names::printable;
use evenfilm_record::occasion::Occasion;
use evenfilm_record::sheet::Purpose;
use evenfilm_record::summary;

use serde_json::json;

use crate::exit::Exit;
use crate::progress::Progress;
use crate::{complain, interrupt, json};

/// Measure lots and write one record each
#[derive(Debug, Args)]
pub(crate) struct MeasureArgs {
    /// Folders with a sheet (batch.toml) and pictures, or folders of such folders
    #[arg(required = true, value_name = "FOLDER")]
    folders: Vec<PathBuf>,
    /// Folder for the records; each becomes DIR/<lot>/r<N>
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Recipe for all lots [default: recipe.toml beside the sheet or one folder up, else the built-in one]
    #[arg(long, value_name = "FILE")]
    recipe: Option<PathBuf>,
    /// Limits for all lots [default: limits.toml beside the sheet or one folder up, else none]
    #[arg(long, value_name = "FILE")]
    limits: Option<PathBuf>,
    /// Why lots that have a record already are measured again; kept in the new record
    #[arg(long, value_name = "TEXT")]
    reason: Option<String>,
    /// Exit with 3 where a lot is not within its limits
    #[arg(long)]
    gate: bool,
    /// Number of threads [default: one for each processor]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    jobs: Option<u16>,
    /// Print one JSON document on standard output and nothing else there
    #[arg(long)]
    json: bool,
}

/// A lot of the call and what became of it.
struct Finished {
    folder: PathBuf,
    lot: Option<String>,
    outcome: Result<LotOutcome, Fault>,
}

pub(crate) fn run(args: &MeasureArgs) -> Exit {
    let cancel = interrupt::listen();
    let started = occasion(args).and_then(|occasion| Ok((occasion, pool(args.jobs)?)));
    let (occasion, pool) = match started {
        Ok(started) => started,
        Err(fault) => {
            complain("", &fault);
            return Exit::of(fault.kind);
        }
    };
    let finished = pool.install(|| measure_all(args, &occasion, cancel));
    report(args, &finished);
    let faults: Vec<FaultKind> = finished.iter().filter_map(|lot| lot.outcome.as_ref().err()).map(|fault| fault.kind).collect();
    match Exit::of_all(finished.len(), &faults) {
        Exit::Done if args.gate && !all_within(&finished) => Exit::Fault,
        exit => exit,
    }
}

fn occasion(args: &MeasureArgs) -> Result<Occasion, Fault> {
    Ok(Occasion { reason: args.reason.clone(), ..Occasion::now(&args.out, env!("CARGO_PKG_VERSION"))? })
}

/// Whether every lot is within its limits; says on standard error which are not. A lot without limits is not.
fn all_within(finished: &[Finished]) -> bool {
    let mut all = true;
    for outcome in finished.iter().filter_map(|lot| lot.outcome.as_ref().ok()) {
        let told = |objective: &ObjectiveOutcome| objective.judgement.verdict;
        // An objective that no limit speaks of does not matter where another has some.
        let any = outcome.objectives.iter().any(|objective| told(objective).is_some());
        let fails = |objective: &&ObjectiveOutcome| told(objective).map_or(!any, |verdict| verdict != Verdict::Within);
        let Some(objective) = outcome.objectives.iter().find(fails) else { continue };
        let what = told(objective).map_or("without limits", Verdict::word);
        let _ = writeln!(io::stderr(), "{}: {what}, so --gate does not pass", printable(&outcome.lot));
        all = false;
    }
    all
}

fn pool(jobs: Option<u16>) -> Result<rayon::ThreadPool, Fault> {
    let builder = rayon::ThreadPoolBuilder::new().num_threads(jobs.map_or(0, usize::from));
    builder.build().map_err(|e| Fault::work(format!("cannot start threads: {e}"), "ask for fewer with --jobs"))
}

/// Measures one lot after another; one that fails does not keep the others from being measured.
fn measure_all(args: &MeasureArgs, occasion: &Occasion, cancel: &AtomicBool) -> Vec<Finished> {
    let mut options = Options::of(&occasion.settings);
    options.recipe.clone_from(&args.recipe);
    options.limits.clone_from(&args.limits);
    let mut finished: Vec<Finished> = Vec::new();
    let mut lots = folder::open_all(&args.folders, &options);
    // Lots rest on checks, so these come first.
    lots.sort_by_key(|opened| opened.batch.as_ref().map_or(true, |batch| batch.sheet.purpose() != Purpose::Check));
    for opened in lots {
        let Opened { folder, lot, batch } = opened;
        if cancel.load(Ordering::Relaxed) {
            finished.push(Finished { folder, lot, outcome: Err(Fault::interrupted()) });
            continue;
        }
        let outcome = batch.and_then(|batch| {
            let progress = Progress::new(&batch.sheet.lot, batch.fields.len());
            let tell = |event: lot::Event<'_>| progress.show(event);
            lot::run(&batch, &Job { out: &args.out, occasion, cancel, tell: &tell })
        });
        if let Err(fault) = &outcome {
            if let (Some(lot), FaultKind::Input) = (&lot, fault.kind)
                && let Err(unwritten) = journal::refused(&args.out, lot, fault, occasion)
            {
                complain(&printable(lot), &unwritten);
            }
            complain(&lot.as_deref().map_or_else(|| folder.display().to_string(), printable), fault);
        }
        finished.push(Finished { folder, lot, outcome });
    }
    finished
}

fn report(args: &MeasureArgs, finished: &[Finished]) {
    let mut out = io::stdout().lock();
    // Nobody reads a closed pipe; the records are written all the same.
    let _ = if args.json { print_json(&mut out, finished) } else { print_words(&mut out, finished) };
}

fn print_json(out: &mut impl Write, finished: &[Finished]) -> io::Result<()> {
    let lot = |lot: &Finished| match &lot.outcome {
        Ok(outcome) => json::measured(outcome),
        Err(fault) => vec![json::failed(lot.lot.as_deref(), &lot.folder, fault)],
    };
    let document = json!({ "lots": finished.iter().flat_map(lot).collect::<Vec<_>>() });
    serde_json::to_writer_pretty(&mut *out, &document)?;
    writeln!(out)
}

fn print_words(out: &mut impl Write, finished: &[Finished]) -> io::Result<()> {
    let mut measured = 0;
    for outcome in finished.iter().filter_map(|lot| lot.outcome.as_ref().ok()) {
        writeln!(out, "{}", summary::of_lot(outcome))?;
        measured += 1;
    }
    if finished.len() > 1 && measured < finished.len() {
        writeln!(out, "{measured} of {} lots measured; standard error says why the others were not\n", finished.len())?;
    }
    if measured > 0 { writeln!(out, "{}", summary::CAUTION) } else { Ok(()) }
}
