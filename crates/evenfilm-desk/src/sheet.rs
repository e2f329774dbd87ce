//! The sheet as a form: what is typed, what is wrong with it, and how it goes back to the file.

use std::path::Path;

use evenfilm_record::fault::Fault;

use crate::state::Lot;

/// A sheet that is being written.
#[derive(Clone, Debug)]
pub struct Draft {
    text: String,
    on_disk: String,
}

/// What the form asks for.
#[derive(Clone, Debug)]
pub enum Act {
    /// Reads the sheet of the lot.
    Begin,
}

impl Draft {
    /// A draft that an earlier session left.
    pub(crate) fn taken_up(folder: &Path, text: String) -> Self {
        Self { text, on_disk: std::fs::read_to_string(folder.join("batch.toml")).unwrap_or_default() }
    }

    /// Whether it differs from the file.
    pub fn is_changed(&self) -> bool {
        self.text != self.on_disk
    }

    /// The sheet as it would be written.
    pub fn text(&self) -> String {
        self.text.clone()
    }
}

/// Applies what the form asks for; true where the file was written.
///
/// # Errors
/// The sheet cannot be read or written.
pub(crate) fn apply(_lot: &mut Lot, act: Act) -> Result<bool, Fault> {
    match act {
        Act::Begin => Ok(false),
    }
}

/// Whether the lot of a folder is a check.
pub(crate) fn is_check(folder: &Path) -> bool {
    let sheet = evenfilm_record::sheet::Sheet::read(&folder.join(evenfilm_record::folder::SHEET));
    sheet.is_ok_and(|sheet| sheet.purpose() == evenfilm_record::sheet::Purpose::Check)
}
