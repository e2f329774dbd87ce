//! `evenfilm` and `evenfilm FOLDER`: the desk.

use std::path::PathBuf;

use evenfilm_record::fault::Fault;

use crate::exit::Exit;
use crate::{command_names, complain};

/// Opens the desk and stays until it is closed.
pub(crate) fn run(folder: Option<PathBuf>) -> Exit {
    // A misspelt command arrives here too.
    if let Some(missing) = folder.as_ref().filter(|folder| !folder.exists()) {
        let message = format!("there is no folder {}", missing.display());
        let remedy = format!("give the folder of a lot, or a command: {}", command_names().join(", "));
        complain("", &Fault::input(message, remedy));
        return Exit::Unusable;
    }
    open(folder)
}

#[cfg(feature = "desk")]
fn open(folder: Option<PathBuf>) -> Exit {
    match evenfilm_desk::run(folder) {
        Ok(()) => Exit::Done,
        Err(fault) => {
            complain(
                "",
                &Fault::work(
                    fault.to_string(),
                    "run it where there is a screen, or measure without one: evenfilm measure FOLDER --out DIR",
                ),
            );
            Exit::Failed
        }
    }
}

#[cfg(not(feature = "desk"))]
fn open(_: Option<PathBuf>) -> Exit {
    complain("", &Fault::input("this build has no desk", "measure without it: evenfilm measure FOLDER --out DIR"));
    Exit::Unusable
}
