//! The lab's settings, `settings.toml`: what holds for all who measure here, in a file that those who measure should not be able to write.

use std::fs::File;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use crate::digest::sha256_hex;
use crate::fault::Fault;
use crate::sign::Signers;
use crate::time::{Moment, SOURCE_DATE_EPOCH};
use crate::toml_file::{LARGEST_FILE, TomlFile, as_text, read_bytes};

/// Its name in the folder of all records.
pub const SETTINGS_FILE: &str = "settings.toml";

const WHAT: &str = "file of settings";

/// What the lab has settled. [`Settings::default`] is a lab without such a file.
#[expect(clippy::struct_excessive_bools, reason = "each is a key of the file that says yes or no")]
#[derive(Clone, Debug, Default)]
pub struct Settings {
    /// Where it was read from.
    pub path: Option<PathBuf>,
    /// SHA-256 of its bytes; empty without a file.
    pub sha256: String,
    /// Whether whoever runs this could write this file or that of signers, or put others in their places.
    pub could_be_changed: bool,
    /// Whether only approved recipes and limits and the clock of the computer count.
    pub controlled: bool,
    /// The one folder of approved recipes and limits.
    pub approved: Option<PathBuf>,
    /// The file of signers, and who they are.
    pub signers: Option<(PathBuf, Signers)>,
    /// Whether a record must be signed as measured and as approved by different keys.
    pub different_keys: bool,
    /// Whether a new revision needs a reason.
    pub reason_required: bool,
    /// The lab's name.
    pub organization: Option<String>,
    /// Its address.
    pub address: Option<String>,
    /// Whom to ask.
    pub contact: Option<String>,
}

impl Settings {
    /// The settings of this computer, else those in the folder of all records, else none.
    ///
    /// # Errors
    /// A file is there that cannot be used: it cannot be read, is broken, has unknown keys, or names a file of signers that cannot be used.
    /// Settings are never passed over.
    pub fn find(out: &Path) -> Result<Self, Fault> {
        Self::first_of(&[system_file(), out.join(SETTINGS_FILE)])
    }

    /// The settings for a record: those of the folder of all records that it lies in, `OUT/<lot>/r<N>`.
    ///
    /// # Errors
    /// As [`Settings::find`].
    pub fn of_record(record: &Path) -> Result<Self, Fault> {
        let record = std::path::absolute(record).map_err(|e| crate::disk::fault("find the record", record, &e))?;
        Self::find(record.ancestors().nth(2).unwrap_or(&record))
    }

    fn first_of(places: &[PathBuf]) -> Result<Self, Fault> {
        for path in places {
            match path.symlink_metadata() {
                Err(e) if matches!(e.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => {}
                // What is there but cannot be looked at is a fault of reading.
                _ => return Self::read(path),
            }
        }
        Ok(Self::default())
    }

    /// Reads a file.
    ///
    /// # Errors
    /// As [`Settings::find`].
    pub fn read(path: &Path) -> Result<Self, Fault> {
        let bytes = read_bytes(path, WHAT, LARGEST_FILE)?;
        let file = TomlFile::parse(as_text(&bytes, path, WHAT)?, path)?;
        let top = file.top();
        let folder = path.parent().unwrap_or_else(|| Path::new("."));
        let place = |key| Ok::<_, Fault>(top.name(key)?.map(|name| folder.join(name)));
        let flag = |key| Ok::<_, Fault>(top.flag(key)?.unwrap_or(false));
        let signers = place("signers")?;
        let settings = Self {
            path: Some(path.to_path_buf()),
            sha256: sha256_hex(&bytes),
            could_be_changed: false,
            controlled: flag("controlled")?,
            approved: place("approved")?,
            signers: None,
            different_keys: flag("different_keys")?,
            reason_required: flag("reason_required")?,
            organization: top.name("organization")?,
            address: top.name("address")?,
            contact: top.name("contact")?,
        };
        top.finish()?;
        let signers = signers.map(|path| Signers::read(&path).map(|signers| (path, signers))).transpose()?;
        let mut files = vec![path];
        files.extend(signers.iter().map(|(path, _)| path.as_path()));
        let could_be_changed = files.iter().any(|file| could_be_changed(file) || file.parent().is_some_and(could_be_replaced));
        Ok(Self { could_be_changed, signers, ..settings })
    }

    /// The signers, where the lab names any.
    pub fn signers(&self) -> Option<&Signers> {
        self.signers.as_ref().map(|(_, signers)| signers)
    }

    /// The lab in lines of `bag-info.txt` (RFC 8493, 2.2.2): label and value.
    pub fn bag_info(&self) -> Vec<(&'static str, String)> {
        let lines = [("Source-Organization", &self.organization), ("Organization-Address", &self.address), ("Contact-Name", &self.contact)];
        lines.into_iter().filter_map(|(label, value)| value.clone().map(|value| (label, value))).collect()
    }

    /// Makes sure that a moment comes from the clock where the lab's settings control what is done.
    ///
    /// # Errors
    /// It comes from the environment.
    pub fn check_time(&self, moment: &Moment) -> Result<(), Fault> {
        if !self.controlled || moment.source != SOURCE_DATE_EPOCH {
            return Ok(());
        }
        let message = format!("the lab's settings (controlled = true) take the time from the clock alone, and {SOURCE_DATE_EPOCH} is set");
        let fault = Fault::input(message, format!("unset {SOURCE_DATE_EPOCH}"));
        Err(self.path.iter().fold(fault, Fault::at))
    }
}

/// The file that holds for the whole computer.
pub fn system_file() -> PathBuf {
    let folder = if cfg!(windows) {
        std::env::var_os("ProgramData").map_or_else(|| PathBuf::from(r"C:\ProgramData"), PathBuf::from)
    } else if cfg!(target_os = "macos") {
        PathBuf::from("/Library/Application Support")
    } else {
        PathBuf::from("/etc")
    };
    folder.join("evenfilm").join(SETTINGS_FILE)
}

/// Whether whoever runs this could write the file. The superuser can write whatever they like, so that for them the file's rights tell.
#[cfg(unix)]
fn could_be_changed(path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let Ok(file) = path.metadata() else { return false };
    let me = tempfile::tempfile().and_then(|made| made.metadata()).map(|made| made.uid()).ok();
    match me {
        Some(0) => file.mode() & 0o222 != 0,
        // An owner can always give themselves the right.
        Some(me) if me == file.uid() => true,
        _ => opens_for_writing(path),
    }
}

/// Whether whoever runs this could write the file.
#[cfg(not(unix))]
fn could_be_changed(path: &Path) -> bool {
    path.metadata().is_ok_and(|file| !file.permissions().readonly()) && opens_for_writing(path)
}

/// Whether whoever runs this could put another file in the place of one in a folder. For the superuser the rights of others tell.
#[cfg(unix)]
fn could_be_replaced(folder: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let Ok(about) = folder.metadata() else { return false };
    let me = tempfile::tempfile().and_then(|made| made.metadata()).map(|made| made.uid()).ok();
    // In a folder with the sticky bit only owners replace files.
    let sticky = about.mode() & 0o1000 != 0;
    match me {
        Some(0) => about.mode() & 0o022 != 0 && !sticky,
        Some(me) if me == about.uid() => true,
        _ => !sticky && tempfile::tempfile_in(folder).is_ok(),
    }
}

/// Whether whoever runs this could put another file in the place of one in a folder.
#[cfg(not(unix))]
fn could_be_replaced(folder: &Path) -> bool {
    tempfile::tempfile_in(folder).is_ok()
}

/// Opening changes nothing, not even the time of the last change.
fn opens_for_writing(path: &Path) -> bool {
    File::options().write(true).open(path).is_ok()
}

#[cfg(test)]
mod tests;
