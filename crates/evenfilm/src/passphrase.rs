//! Passphrases of keys: asked for on the terminal without showing them, or from the environment for scripts.

use std::path::Path;

use evenfilm_record::fault::Fault;
use evenfilm_record::names::printable;
use evenfilm_record::sign::{Key, LockedKey};

/// Environment variable that holds the passphrase where nobody sits at a terminal.
pub(crate) const VARIABLE: &str = "EVENFILM_PASSPHRASE";

/// The passphrase of a new key, typed twice.
pub(crate) fn for_new_key() -> Result<String, Fault> {
    if let Some(passphrase) = from_environment()? {
        return Ok(passphrase);
    }
    let first = ask("Passphrase of the new key: ")?;
    if ask("The same once more: ")? != first {
        return Err(Fault::input("the two passphrases differ", "begin again and type the same twice"));
    }
    Ok(first)
}

/// Opens a key. Its file is looked at before anybody types.
pub(crate) fn open_key(path: &Path) -> Result<Key, Fault> {
    let locked = LockedKey::read(path)?;
    let passphrase = match from_environment()? {
        Some(passphrase) => passphrase,
        None => ask(&format!("Passphrase of {}: ", printable(&path.display().to_string())))?,
    };
    locked.open(&passphrase)
}

fn from_environment() -> Result<Option<String>, Fault> {
    match std::env::var(VARIABLE) {
        Ok(passphrase) => Ok(Some(passphrase)),
        Err(std::env::VarError::NotPresent) => Ok(None),
        Err(std::env::VarError::NotUnicode(_)) => {
            Err(Fault::input(format!("{VARIABLE} holds characters that are no text"), "set it to the passphrase in UTF-8"))
        }
    }
}

fn ask(prompt: &str) -> Result<String, Fault> {
    rpassword::prompt_password(prompt).map_err(|e| {
        let remedy = format!("run it in a terminal, or put the passphrase into the environment variable {VARIABLE}");
        Fault::input(format!("cannot ask for the passphrase: {e}"), remedy)
    })
}
