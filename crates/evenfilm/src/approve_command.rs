//! `evenfilm approve`: sign recipes and limits as approved.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use evenfilm_record::approval;
use evenfilm_record::fault::{Fault, FaultKind};
use evenfilm_record::names::printable;
use evenfilm_record::sign::Key;
use evenfilm_record::summary::push;

use crate::exit::Exit;
use crate::{complain, passphrase};

/// Sign recipes or limits as approved
///
/// The signature of each FILE's exact bytes is written to FILE.sig. It counts where both lie in the lab's folder of approved files and the
/// lab's file of signers lets the key approve. The passphrase is asked for, or taken from the environment variable EVENFILM_PASSPHRASE.
#[derive(Debug, Args)]
pub(crate) struct ApproveArgs {
    /// Recipes or limits
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The key of whoever approves
    #[arg(long, value_name = "FILE")]
    key: PathBuf,
}

pub(crate) fn run(args: &ApproveArgs) -> Exit {
    let key = match passphrase::open_key(&args.key) {
        Ok(key) => key,
        Err(fault) => {
            complain("", &fault);
            return Exit::of(fault.kind);
        }
    };
    let faults: Vec<FaultKind> = args.files.iter().filter_map(|file| approve(file, &key).err()).collect();
    Exit::of_all(args.files.len(), &faults)
}

fn approve(file: &Path, key: &Key) -> Result<(), FaultKind> {
    let said = |fault: &Fault| {
        complain("", fault);
        fault.kind
    };
    let signature = approval::approve(file, key).map_err(|fault| said(&fault))?;
    let show = |path: &Path| printable(&path.display().to_string());
    let mut text = format!("{}\n", show(file));
    push(&mut text, "approved with the key", &key.public().fingerprint());
    push(&mut text, "written to", &show(&signature));
    // Nobody reads a closed pipe.
    let _ = write!(io::stdout(), "{text}");
    Ok(())
}
