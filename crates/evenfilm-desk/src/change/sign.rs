//! Signing records.

use std::path::{Path, PathBuf};

use evenfilm_record::fault::Fault;

use super::{Desk, Notice, Over};
use crate::jobs::ToSign;
use crate::state::{Known, Place, Signing};

impl Desk {
    /// Looks for the latest record of the lot that is shown.
    pub(super) fn sign_latest(&mut self) {
        let Some(lot) = &self.state.lot else { return };
        self.state.looking_back += 1;
        self.jobs.find_latest(self.records_of(&lot.folder), lot.name.clone());
    }

    pub(super) fn latest_found(&mut self, record: Option<PathBuf>) {
        self.state.looking_back = self.state.looking_back.saturating_sub(1);
        match record {
            Some(record) => self.ask_to_sign(record),
            None => self.say(Notice::not_now("Sign the latest record: the lot has no record yet")),
        }
    }

    /// Asks who signs a record, and as what.
    pub(super) fn ask_to_sign(&mut self, record: PathBuf) {
        match &self.state.signing {
            Some(signing) if signing.is_going && signing.record == record => return self.state.over = Some(Over::Sign),
            Some(signing) if signing.is_going => {
                return self.say(Notice::not_now("Another record is being signed; sign this one after it"));
            }
            _ => {}
        }
        self.jobs.look_at_signoffs(record.clone());
        self.state.signing = Some(Signing { record, known: None, is_going: false, fault: None, made: None });
        self.state.over = Some(Over::Sign);
    }

    pub(super) fn sign(&mut self, asked: ToSign) {
        let Some(signing) = self.state.signing.as_mut().filter(|signing| signing.record == asked.record && !signing.is_going) else {
            return;
        };
        (signing.is_going, signing.fault, signing.made) = (true, None, None);
        if let Some((file, _)) = &asked.key {
            self.state.prefs.key = Some(file.clone());
        }
        self.jobs.sign(asked);
    }

    pub(super) fn sign_another(&mut self) {
        if let Some(signing) = &mut self.state.signing {
            signing.made = None;
        }
    }

    /// Takes in what is known of a record's sign-offs, or why there is no new one.
    pub(super) fn signoffs(&mut self, record: &Path, result: Result<(Box<Known>, Option<u32>), (Place, Fault)>) {
        let Some(signing) = self.state.signing.as_mut().filter(|signing| signing.record == record) else { return };
        let was_going = std::mem::take(&mut signing.is_going);
        let (mut done, mut failed) = (None, None);
        match result {
            Ok((known, made)) => {
                done = made.map(|_| format!("{} revision {} is signed off", known.lot, known.revision));
                (signing.known, signing.made, signing.fault) = (Some(*known), made, None);
            }
            Err((place, fault)) => {
                failed = Some(fault.clone());
                signing.fault = Some((place, fault));
            }
        }
        // Whoever did not wait for it is told.
        if was_going && self.state.over != Some(Over::Sign) {
            self.state.signing = None;
            if let Some(text) = done {
                self.say(Notice::good(text));
            }
            if let Some(fault) = failed {
                self.say(Notice::of(&fault));
            }
        }
    }
}
