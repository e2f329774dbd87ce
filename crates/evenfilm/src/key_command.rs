//! `evenfilm key`: keys to sign with.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use evenfilm_record::fault::Fault;
use evenfilm_record::names::printable;
use evenfilm_record::origin::Origin;
use evenfilm_record::sign::{Key, line_for};
use evenfilm_record::summary::push;

use crate::exit::Exit;
use crate::{complain, passphrase};

/// Make a key to sign records, recipes and limits with
#[derive(Debug, Args)]
pub(crate) struct KeyArgs {
    #[command(subcommand)]
    command: KeyCommand,
}

#[derive(Debug, Subcommand)]
enum KeyCommand {
    New(NewArgs),
}

/// Make a new key: an Ed25519 key in OpenSSH's form, protected by a passphrase of at least 8 characters, and FILE.pub beside it
///
/// The passphrase is asked for twice, or taken from the environment variable EVENFILM_PASSPHRASE. It cannot be had again.
#[derive(Debug, Args)]
struct NewArgs {
    /// Where the key is written; a file that is there is never replaced
    file: PathBuf,
    /// The name under which its owner signs; without it the name of the system's user
    #[arg(long)]
    name: Option<String>,
}

pub(crate) fn run(args: &KeyArgs) -> Exit {
    let KeyCommand::New(args) = &args.command;
    match new(args) {
        Ok(text) => {
            // Nobody reads a closed pipe.
            let _ = write!(io::stdout(), "{text}");
            Exit::Done
        }
        Err(fault) => {
            complain("", &fault);
            Exit::of(fault.kind)
        }
    }
}

fn new(args: &NewArgs) -> Result<String, Fault> {
    let name = args.name.clone().unwrap_or_else(|| Origin::of_system().user);
    let key = Key::new(&name)?;
    let line = line_for(&name, &key.public())?;
    refuse_early(&args.file)?;
    let public_file = key.write(&args.file, &passphrase::for_new_key()?)?;
    let show = |path: &Path| printable(&path.display().to_string());
    let mut text = format!("{}\n", show(&args.file));
    push(&mut text, "public key", &show(&public_file));
    push(&mut text, "", &key.public().text());
    push(&mut text, "fingerprint", &key.public().fingerprint());
    push(&mut text, "line for the file of signers", &line);
    push(&mut text, "note", "whoever approves recipes and limits needs namespaces=\"signoff@evenfilm,approval@evenfilm\"");
    Ok(text)
}

/// Nobody should choose a passphrase for a file that cannot be written.
fn refuse_early(file: &Path) -> Result<(), Fault> {
    if file.symlink_metadata().is_err() {
        return Ok(());
    }
    Err(Fault::input("the file is there already, and a key that is lost cannot be had again", "name another file").at(file))
}
