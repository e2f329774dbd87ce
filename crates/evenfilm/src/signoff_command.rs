//! `evenfilm signoff`: say of a record that it was measured, reviewed or approved.

use std::io::{self, Write};
use std::path::PathBuf;

use clap::Args;
use evenfilm_record::fault::Fault;
use evenfilm_record::finding::Finding;
use evenfilm_record::names::printable;
use evenfilm_record::origin::Origin;
use evenfilm_record::settings::Settings;
use evenfilm_record::signoff::{self, Asked, Found, Made, Statement};
use evenfilm_record::summary::{CAUTION, PROCEDURE, push};
use evenfilm_record::time::Moment;
use serde_json::{Value, json};

use crate::exit::Exit;
use crate::{complain, json, passphrase};

/// Sign a record off: say that you measured, reviewed or approved it
///
/// The statement is written beside the record, OUT/LOT/signoffs/rN-K.json, with the signature of its bytes in the same name with .sig.
/// The passphrase of the key is asked for, or taken from the environment variable EVENFILM_PASSPHRASE.
#[derive(Debug, Args)]
pub(crate) struct SignoffArgs {
    /// Folder of the record, OUT/LOT/rN
    record: PathBuf,
    /// Who signs, as the lab's file of signers has the name
    #[arg(long = "as", value_name = "NAME")]
    name: String,
    /// What you say of it: measured, reviewed or approved
    #[arg(long, value_name = "WORD")]
    meaning: String,
    /// Your key; without one the sign-off is a name typed, not signed
    #[arg(long, value_name = "FILE")]
    key: Option<PathBuf>,
    /// Anything to add
    #[arg(long, value_name = "TEXT")]
    comment: Option<String>,
    /// Print one JSON document on standard output and nothing else there
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(args: &SignoffArgs) -> Exit {
    let done = sign_off(args);
    let mut out = io::stdout().lock();
    // Nobody reads a closed pipe.
    let _ = match (&done, args.json) {
        (Ok(found), true) => print(&mut out, &json!({ "signoff": document(found) })),
        (Err(fault), true) => print(&mut out, &json!({ "error": json::error(fault) })),
        (Ok(found), false) => write!(out, "{}\n{PROCEDURE}\n\n{CAUTION}\n", words(found)),
        (Err(_), false) => Ok(()),
    };
    match done {
        Ok(_) => Exit::Done,
        Err(fault) => {
            complain("", &fault);
            Exit::of(fault.kind)
        }
    }
}

/// Signs, then looks at the sign-off as anybody will.
fn sign_off(args: &SignoffArgs) -> Result<Found, Fault> {
    let settings = Settings::of_record(&args.record)?;
    let key = args.key.as_ref().map(|file| passphrase::open_key(file)).transpose()?;
    let asked = Asked { name: &args.name, meaning: &args.meaning, comment: args.comment.as_deref(), key: key.as_ref() };
    // The clock is asked when the passphrase is there: it may have been long in coming.
    let (moment, origin) = (Moment::now()?, Origin::of_system());
    let made = Made { moment: &moment, origin: &origin, program_version: env!("CARGO_PKG_VERSION") };
    let file = signoff::sign_off(&args.record, &asked, &made, &settings)?;
    let found = signoff::of_record(&args.record, &settings).into_iter().find(|found| found.file == file);
    found.ok_or_else(|| Fault::work("the sign-off was written and is gone again", "let no other program clean up there").at(file))
}

fn print(out: &mut impl Write, document: &Value) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, document)?;
    writeln!(out)
}

fn document(found: &Found) -> Value {
    let finding = |finding: &Finding| {
        json!({
            "id": finding.id,
            "file": finding.file,
            "line": finding.line,
            "message": finding.message,
            "remedy": finding.remedy,
            "is_fault": finding.is_fault,
        })
    };
    json!({
        "file": found.file.display().to_string(),
        "number": found.number,
        "statement": found.statement,
        "fingerprint": found.key.as_ref().map(evenfilm_record::sign::PublicKey::fingerprint),
        "findings": found.findings.iter().map(finding).collect::<Vec<_>>(),
    })
}

fn words(found: &Found) -> String {
    let said = found.statement.as_ref();
    let mut text = said.map_or_else(String::new, |said| format!("{} r{}\n", printable(&said.lot), said.revision));
    if let Some(said) = said {
        push_statement(&mut text, said);
    }
    if let Some(key) = &found.key {
        push(&mut text, "key", &key.fingerprint());
    }
    push(&mut text, "written to", &printable(&found.file.display().to_string()));
    for finding in &found.findings {
        push(&mut text, "note", &format!("{}; {}", finding.message, finding.remedy));
    }
    text
}

fn push_statement(text: &mut String, said: &Statement) {
    push(text, &said.meaning, &format!("by {}, {}", printable(&said.name), said.standing));
    push(text, "at", &format!("{} ({})", said.signed_at, said.time_source));
    if let Some(comment) = &said.comment {
        push(text, "comment", &printable(comment));
    }
}
