//! The program: the command line, and the desk where it is built with it.

use std::ffi::OsString;
use std::io::{self, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::error::ErrorKind;
use clap::{CommandFactory, Parser, Subcommand};
use evenfilm_record::fault::Fault;
use evenfilm_record::summary;

mod approve_command;
mod desk_command;
mod exit;
mod interrupt;
mod journal_command;
mod json;
mod key_command;
mod measure_command;
mod passphrase;
pub mod phantom_command;
mod progress;
mod prove_command;
mod scale_command;
mod signoff_command;
mod verify_command;

use exit::Exit;

/// Measures how evenly a powder is dispersed in a dried film, from micrographs.
#[derive(Debug, Parser)]
#[command(name = "evenfilm", version, about, after_help = summary::CAUTION, args_conflicts_with_subcommands = true)]
struct Arguments {
    /// Folder of a lot, or of several, to open on the desk; without one, the desk offers the choice
    #[arg(value_name = "FOLDER")]
    folder: Option<PathBuf>,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    Measure(measure_command::MeasureArgs),
    Scale(scale_command::ScaleArgs),
    Verify(verify_command::VerifyArgs),
    Phantom(phantom_command::PhantomArgs),
    Journal(journal_command::JournalArgs),
    Prove(prove_command::ProveArgs),
    Signoff(signoff_command::SignoffArgs),
    Approve(approve_command::ApproveArgs),
    Key(key_command::KeyArgs),
}

/// Runs the program with the arguments of a command line, the name of the program first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    match Arguments::try_parse_from(arguments) {
        Ok(Arguments { command: Some(command), .. }) => command.run().into(),
        Ok(Arguments { command: None, folder }) => desk_command::run(folder).into(),
        Err(asked) if matches!(asked.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) => {
            let _ = asked.print();
            Exit::Done.into()
        }
        Err(usage) => {
            let _ = usage.print();
            Exit::Unusable.into()
        }
    }
}

/// Names of the commands.
fn command_names() -> Vec<String> {
    Arguments::command().get_subcommands().map(|command| command.get_name().to_owned()).collect()
}

impl Command {
    fn run(&self) -> Exit {
        match self {
            Self::Measure(args) => measure_command::run(args),
            Self::Scale(args) => scale_command::run(args),
            Self::Journal(args) => journal_command::run(args),
            Self::Verify(args) => verify_command::run(args),
            Self::Prove(args) => prove_command::run(args),
            Self::Signoff(args) => signoff_command::run(args),
            Self::Approve(args) => approve_command::run(args),
            Self::Key(args) => key_command::run(args),
            Self::Phantom(args) => match phantom_command::run(args) {
                Ok(()) => Exit::Done,
                Err(fault) => {
                    complain("", &fault);
                    Exit::of(fault.kind)
                }
            },
        }
    }
}

/// Says on standard error what went wrong with `what`, and what to do.
fn complain(what: &str, fault: &Fault) {
    let what = if what.is_empty() { String::new() } else { format!("{what}: ") };
    let _ = writeln!(io::stderr(), "evenfilm: {what}{fault}");
}
