//! Approved recipes and limits: files in the lab's one folder of such files, each with the signature of somebody who may approve.
//!
//! `recipe.toml.sig` is an SSHSIG of the file's exact bytes in the namespace [`APPROVAL`], as `evenfilm approve` writes it and
//! `ssh-keygen -Y sign -n approval@evenfilm -f KEY recipe.toml` does. What counts are the bytes: a copy beside a lot is approved as long as
//! it is one.

use std::fs;
use std::path::{Path, PathBuf};

use jiff::Timestamp;

use crate::disk;
use crate::fault::Fault;
use crate::limits_file::{Limits, known_quantities};
use crate::names::printable;
use crate::recipe_file;
use crate::settings::Settings;
use crate::sign::{self, APPROVAL, Key, PublicKey, Signers};
use crate::time::Moment;
use crate::toml_file::{LARGEST_FILE, as_text, read_bytes};

/// Whether a recipe or limits are approved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Standing {
    /// They are.
    Approved(Approval),
    /// They are not: why, one sentence without a full stop.
    NotApproved(String),
}

/// Who approved what.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Approval {
    /// The names that the file of signers gives the key.
    pub by: String,
    /// Fingerprint of the key, `SHA256:…`.
    pub fingerprint: String,
    /// The approved file, whose bytes are those that were asked about.
    pub file: PathBuf,
    /// The text of its signature.
    pub signature: String,
}

/// Whether these bytes of a recipe or of limits are approved at a moment: a file of the same bytes lies in the approved folder or below it,
/// and the signature beside it was made by a key that may approve then.
pub fn standing(bytes: &[u8], settings: &Settings, moment: &Moment) -> Standing {
    match approval(bytes, settings, moment) {
        Ok(approval) => Standing::Approved(approval),
        Err(why) => Standing::NotApproved(why),
    }
}

fn approval(bytes: &[u8], settings: &Settings, moment: &Moment) -> Result<Approval, String> {
    let folder = settings.approved.as_ref().ok_or("the lab's settings name no folder of approved files")?;
    let signers = settings.signers().ok_or("the lab's settings name no file of signers")?;
    let at = moment.measured_at.parse::<Timestamp>().map_err(|_| "the time of measuring cannot be read")?;
    let mut files = Vec::new();
    files_below(folder, &mut files).map_err(|e| format!("the folder of approved files cannot be read: {e}"))?;
    let mut why = "no file in the folder of approved files has the same bytes".to_owned();
    for file in files {
        if !is_same(&file, bytes) {
            continue;
        }
        match signed(&file, bytes, signers, at) {
            Ok(approval) => return Ok(approval),
            Err(lacks) => why = format!("{}: {lacks}", printable(&file.display().to_string())),
        }
    }
    Err(why)
}

fn is_same(file: &Path, bytes: &[u8]) -> bool {
    file.metadata().is_ok_and(|found| found.len() == bytes.len() as u64) && fs::read(file).is_ok_and(|found| found == bytes)
}

/// Every file below a folder, by name. Links to folders are not followed, so that none leads round in a circle.
fn files_below(folder: &Path, found: &mut Vec<PathBuf>) -> std::io::Result<()> {
    let mut entries: Vec<_> = fs::read_dir(folder)?.collect::<Result<_, _>>()?;
    entries.sort_by_key(fs::DirEntry::file_name);
    for entry in entries {
        if entry.file_type()?.is_dir() {
            files_below(&entry.path(), found)?;
        } else {
            found.push(entry.path());
        }
    }
    Ok(())
}

fn signed(file: &Path, bytes: &[u8], signers: &Signers, at: Timestamp) -> Result<Approval, String> {
    let path = signature_file(file);
    if path.symlink_metadata().is_err() {
        return Err("nobody has signed it as approved".into());
    }
    let signature = read_signature(&path).map_err(|fault| fault.message)?;
    let key = sign::verify(&signature, APPROVAL, bytes).map_err(|why| why.to_string())?;
    let signer = signers.find(&key, APPROVAL, at).map_err(|refusal| refusal.to_string())?;
    Ok(Approval { by: signer.names().to_owned(), fingerprint: key.fingerprint(), file: file.to_path_buf(), signature })
}

fn read_signature(path: &Path) -> Result<String, Fault> {
    as_text(&read_bytes(path, "signature", LARGEST_FILE)?, path, "signature")
}

/// The file of this name (`recipe.toml`, `limits.toml`) in the approved folder itself: what a lot without one of its own is measured with.
pub fn candidate(settings: &Settings, name: &str) -> Option<PathBuf> {
    let file = settings.approved.as_ref()?.join(name);
    file.is_file().then_some(file)
}

/// The place of a file's signature: its name with `.sig`, as ssh-keygen has it.
pub fn signature_file(file: &Path) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(".sig");
    PathBuf::from(name)
}

/// Signs a recipe or limits as approved; gives the path of the signature, which lies beside the file. One that no longer fits the file, or
/// of the same key, gives way.
///
/// # Errors
/// The file cannot be read as either of them, another key's signature of these bytes lies there, or it cannot be written.
pub fn approve(file: &Path, key: &Key) -> Result<PathBuf, Fault> {
    let bytes = read_bytes(file, "file", LARGEST_FILE)?;
    check_readable(&bytes, file)?;
    let path = signature_file(file);
    let earlier: Option<PublicKey> = read_signature(&path).ok().and_then(|text| sign::verify(&text, APPROVAL, &bytes).ok());
    if let Some(earlier) = earlier.filter(|earlier| *earlier != key.public()) {
        let message = format!("the key {} has approved this file already, and a file has room for one signature", earlier.fingerprint());
        return Err(Fault::input(message, "move that signature away first, if yours is to stand in its place").at(path));
    }
    disk::replace(&path, sign::sign(key, APPROVAL, &bytes)?.as_bytes())?;
    Ok(path)
}

/// Makes sure that bytes are a recipe or limits: nobody should approve what cannot be measured with.
fn check_readable(bytes: &[u8], file: &Path) -> Result<(), Fault> {
    let text = as_text(bytes, file, "file")?;
    let recipe = recipe_file::parse(&text, file).map(|_| ());
    let limits = Limits::parse(&text, file, &known_quantities()).map(|_| ());
    let is_limits = text.contains("[[limit]]");
    recipe.or_else(|fault| limits.map_err(|limits| if is_limits { limits } else { fault }))
}

#[cfg(test)]
mod tests;
