//! The sheet as a form: what is typed, what is wrong with it, and how it goes back to the file with its comments and its order.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use evenfilm_record::fault::Fault;
use evenfilm_record::folder::SHEET;
use evenfilm_record::keep::Edited;
use evenfilm_record::sheet::form::{self, ENTRIES, Entry};
use evenfilm_record::sheet::{Purpose, Sheet};

use crate::state::Lot;

/// Section and key of an entry.
pub(crate) type Key = (&'static str, &'static str);

/// A sheet that is being written.
pub struct Draft {
    path: PathBuf,
    edited: Edited,
    /// What stands in the boxes; entries that are not there are empty.
    typed: BTreeMap<Key, String>,
    /// What is wrong with what was typed, in words.
    wrong: BTreeMap<Key, String>,
}

/// What the form asks for.
#[derive(Clone, Debug)]
pub(crate) enum Act {
    /// Reads the sheet of the lot.
    Begin,
    /// Something was typed into a box.
    Type(&'static Entry, String),
    /// Writes the sheet.
    Save,
    /// Forgets what was typed.
    Discard,
}

impl Draft {
    fn read(folder: &Path) -> Result<Self, Fault> {
        let path = folder.join(SHEET);
        let edited = Edited::open(&path, "sheet")?;
        let typed = form::current(edited.text());
        Ok(Self { path, edited, typed, wrong: BTreeMap::new() })
    }

    /// The sheet of a folder with what an earlier session had typed; `None` where the sheet cannot be read.
    pub(crate) fn taken_up(folder: &Path, text: &str) -> Option<Self> {
        let mut draft = Self::read(folder).ok()?;
        let left = form::current(text);
        for entry in ENTRIES {
            let key = (entry.section, entry.key);
            if left.get(&key) != draft.typed.get(&key) {
                draft.type_into(entry, left.get(&key).cloned().unwrap_or_default());
            }
        }
        Some(draft)
    }

    /// Takes in what a box holds now.
    fn type_into(&mut self, entry: &'static Entry, text: String) {
        let key = (entry.section, entry.key);
        let set = form::check(entry, &text).and_then(|value| entry.set(&mut self.edited, value).map_err(|fault| fault.message));
        match set {
            Ok(()) => drop(self.wrong.remove(&key)),
            Err(why) => drop(self.wrong.insert(key, why)),
        }
        self.typed.insert(key, text);
    }

    /// What stands in a box.
    pub(crate) fn typed(&self, entry: &Entry) -> &str {
        self.typed.get(&(entry.section, entry.key)).map_or("", String::as_str)
    }

    /// What is wrong with it, in words.
    pub(crate) fn wrong(&self, entry: &Entry) -> Option<&str> {
        self.wrong.get(&(entry.section, entry.key)).map(String::as_str)
    }

    /// Whether something that was typed cannot be taken.
    pub(crate) fn is_wrong(&self) -> bool {
        !self.wrong.is_empty()
    }

    /// Whether it differs from the file.
    pub fn is_changed(&self) -> bool {
        self.edited.is_changed() || self.is_wrong()
    }

    /// The sheet as it would be written.
    pub fn text(&self) -> String {
        self.edited.text().to_owned()
    }

    /// Writes it, where the whole of it makes sense.
    fn save(&mut self) -> Result<(), Fault> {
        if let Some(((section, key), why)) = self.wrong.first_key_value() {
            let place = if section.is_empty() { (*key).to_owned() } else { format!("{key} in [{section}]") };
            return Err(Fault::input(format!("{place} {why}"), "correct it, or empty the box").at(&self.path));
        }
        form::check_text(self.edited.text(), self.path.parent().unwrap_or(&self.path))?;
        self.edited.save(&self.path)?;
        self.typed = form::current(self.edited.text());
        Ok(())
    }
}

/// Applies what the form asks for; true where the file was written.
///
/// # Errors
/// The sheet cannot be read or written, or makes no sense.
pub(crate) fn apply(lot: &mut Lot, act: Act) -> Result<bool, Fault> {
    match (act, &mut lot.sheet) {
        (Act::Begin | Act::Discard, _) => {
            lot.sheet = None;
            let draft = Draft::read(&lot.folder);
            lot.sheet_fault = draft.as_ref().err().cloned();
            lot.sheet = draft.ok();
            Ok(false)
        }
        (Act::Type(entry, text), Some(draft)) => {
            draft.type_into(entry, text);
            Ok(false)
        }
        (Act::Save, Some(draft)) => draft.save().map(|()| true),
        (Act::Type(..) | Act::Save, None) => Ok(false),
    }
}

/// Whether the lot of a folder is a check.
pub(crate) fn is_check(folder: &Path) -> bool {
    Sheet::read(&folder.join(SHEET)).is_ok_and(|sheet| sheet.purpose() == Purpose::Check)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    const SHEET_TEXT: &str = "# our sheet\nlot = \"A\" # the lot\n\n[microscope]\num_per_px = 0.25\ntone = \"linear\"\n";

    fn draft() -> (tempfile::TempDir, Draft) {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join(SHEET), SHEET_TEXT).unwrap();
        let draft = Draft::read(folder.path()).unwrap();
        (folder, draft)
    }

    fn entry(section: &str, key: &str) -> &'static Entry {
        form::entry(section, key).unwrap()
    }

    #[test]
    fn what_is_typed_goes_to_the_file_and_the_rest_stays() {
        let (folder, mut draft) = draft();
        assert!(!draft.is_changed());
        draft.type_into(entry("microscope", "um_per_px"), "0,2".into());
        draft.type_into(entry("", "operator"), "R4".into());
        draft.save().unwrap();
        let text = fs::read_to_string(folder.path().join(SHEET)).unwrap();
        assert!(text.contains("# our sheet") && text.contains("lot = \"A\" # the lot") && text.contains("um_per_px = 0.2\n"), "{text}");
        assert!(text.contains("operator = \"R4\"") && !draft.is_changed());
    }

    #[test]
    fn what_is_wrong_is_told_and_not_written() {
        let (folder, mut draft) = draft();
        draft.type_into(entry("microscope", "um_per_px"), "-1".into());
        assert_eq!(draft.wrong(entry("microscope", "um_per_px")), Some("must be above 0 and at most 1000"));
        let fault = draft.save().unwrap_err();
        assert!(fault.message.contains("um_per_px in [microscope] must be above 0"), "{fault}");
        draft.type_into(entry("microscope", "um_per_px"), "0.25".into());
        assert!(!draft.is_changed(), "the value is as it was");
        assert_eq!(fs::read_to_string(folder.path().join(SHEET)).unwrap(), SHEET_TEXT);
    }

    #[test]
    fn an_earlier_session_is_taken_up() {
        let (folder, mut draft) = draft();
        draft.type_into(entry("powder", "grade"), "ZnO-B".into());
        draft.type_into(entry("microscope", "tone"), String::new());
        let text = draft.text();
        let again = Draft::taken_up(folder.path(), &text).unwrap();
        assert_eq!((again.typed(entry("powder", "grade")), again.typed(entry("microscope", "tone"))), ("ZnO-B", ""));
        assert!(again.is_changed());
    }
}
