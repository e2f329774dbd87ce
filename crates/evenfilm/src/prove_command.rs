//! `evenfilm prove`: films of known truth, measured.

use std::io::{self, Write};

use clap::Args;
use evenfilm_record::numbers;
use evenfilm_record::prove::{self, Check};
use evenfilm_record::round::three_digits;
use evenfilm_record::summary::CAUTION;
use serde_json::{Value, json};

use crate::exit::Exit;
use crate::{complain, interrupt};

/// Render films of known truth, measure them, and say how near the numbers come
#[derive(Debug, Args)]
pub(crate) struct ProveArgs {
    /// Print one JSON document on standard output and nothing else there
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(args: &ProveArgs) -> Exit {
    let tell = |case: &str, number: usize, of: usize| {
        let _ = writeln!(io::stderr(), "{number} of {of}: {case}");
    };
    let checks = match prove::run(env!("CARGO_PKG_VERSION"), interrupt::listen(), &tell) {
        Ok(checks) => checks,
        Err(fault) => {
            complain("", &fault);
            return Exit::of(fault.kind);
        }
    };
    let mut out = io::stdout().lock();
    // Nobody reads a closed pipe; the exit code tells all the same.
    let _ = if args.json { print_json(&mut out, &checks) } else { print_words(&mut out, &checks) };
    if checks.iter().all(Check::ok) { Exit::Done } else { Exit::Fault }
}

fn print_json(out: &mut impl Write, checks: &[Check]) -> io::Result<()> {
    let number = |value: Option<f64>| serde_json::from_str::<Value>(&numbers::text(value)).unwrap_or(Value::Null);
    let check = |check: &Check| {
        json!({
            "id": check.id,
            "expected": number(Some(check.expected)),
            "found": number(check.found),
            "allowed": number(Some(check.allowed)),
            "unit": check.unit,
            "known": check.known,
            "ok": check.ok(),
        })
    };
    let document = json!({ "checks": checks.iter().map(check).collect::<Vec<_>>(), "ok": checks.iter().all(Check::ok) });
    serde_json::to_writer_pretty(&mut *out, &document)?;
    writeln!(out)
}

fn print_words(out: &mut impl Write, checks: &[Check]) -> io::Result<()> {
    writeln!(out, "  {:<44}{:>12}{:>12}{:>12}", "rendered film and number", "expected", "found", "allowed ±")?;
    for check in checks {
        let found = check.found.map_or_else(|| "none".into(), three_digits);
        let verdict = if check.ok() { "ok" } else { "FAILED" };
        let allowed = three_digits(check.allowed);
        // A scale is known to more than three digits.
        let exact = |value: f64| if check.allowed < 2e-3 * check.expected { format!("{value:.6}") } else { three_digits(value) };
        let (expected, found) = (exact(check.expected), check.found.map_or(found, exact));
        writeln!(out, "  {:<44}{expected:>12}{found:>12}{allowed:>12} {:<5} {verdict}", check.id, check.unit)?;
        if !check.known.is_empty() {
            writeln!(out, "      expected with its known bias: {}", check.known)?;
        }
    }
    let failed = checks.iter().filter(|check| !check.ok()).count();
    if failed == 0 {
        writeln!(out, "\nall {} numbers lie as near to the truth as they must", checks.len())?;
    } else {
        writeln!(
            out,
            "\n{failed} of {} numbers lie too far from the truth: this installation must not be used before that is understood",
            checks.len()
        )?;
    }
    writeln!(
        out,
        "Rendered films are no micrographs: they show that the program measures what it is shown, not that a microscope shows what is there.\n\n{CAUTION}"
    )
}
