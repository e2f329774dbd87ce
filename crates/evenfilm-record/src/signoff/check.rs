//! Sign-offs of a record, looked at again.

use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::statement::VERSION;
use super::{Head, Meaning, SIGNED, Statement, place};
use crate::archive;
use crate::finding::Finding;
use crate::names::printable;
use crate::settings::Settings;
use crate::sign::{self, PublicKey, SIGNOFF};
use crate::toml_file::{LARGEST_FILE, as_text, read_bytes};

/// A sign-off and what was found wrong with it.
#[derive(Clone, Debug)]
pub struct Found {
    /// Its number, from 1; 0 stands for the folder of all, where that cannot be read.
    pub number: u32,
    /// The statement's file.
    pub file: PathBuf,
    /// What it says; `None` where it cannot be read.
    pub statement: Option<Statement>,
    /// The key that signed exactly these bytes; `None` where none did.
    pub key: Option<PublicKey>,
    /// What was found.
    pub findings: Vec<Finding>,
}

impl Found {
    /// Whether nothing speaks against it. A name that is only typed can be in order, too.
    pub fn is_in_order(&self) -> bool {
        self.findings.iter().all(|finding| !finding.is_fault)
    }

    fn new(number: u32, file: &Path) -> Self {
        Self { number, file: file.to_path_buf(), statement: None, key: None, findings: Vec::new() }
    }

    fn add(&mut self, id: &'static str, message: impl Into<String>, remedy: &'static str) {
        let name = self.file.file_name().unwrap_or_default().to_string_lossy();
        let place = if self.number == 0 { name.into_owned() } else { format!("../signoffs/{name}") };
        self.findings.push(Finding::fault(id, message, remedy).at(place));
    }

    /// What is worth knowing and can come about in good faith: clocks differ, and settings change later.
    fn note(&mut self, id: &'static str, message: impl Into<String>, remedy: &'static str) {
        self.add(id, message, remedy);
        self.findings.iter_mut().filter(|finding| finding.id == id).for_each(|finding| finding.is_fault = false);
    }

    fn signed_at(&self) -> Option<Timestamp> {
        self.statement.as_ref()?.signed_at.parse().ok()
    }

    fn says(&self, meaning: Meaning) -> bool {
        self.statement.as_ref().and_then(Statement::meaning) == Some(meaning)
    }
}

const ANEW: &str = "do not rely on it; have the record signed anew";
const ASK: &str = "ask who signed, and have the record signed anew";

/// Every sign-off of a record, `OUT/<lot>/r<N>`, in the order of their numbers. None is an empty list.
pub fn of_record(record: &Path, settings: &Settings) -> Vec<Found> {
    let record = std::path::absolute(record).unwrap_or_else(|_| record.to_path_buf());
    let folder = place::folder_of(&record);
    let revision = record.file_name().and_then(|name| name.to_str()?.strip_prefix('r')?.parse::<u32>().ok());
    let Some(revision) = revision else { return Vec::new() };
    let numbers = match place::numbers(&folder, revision) {
        Ok(numbers) => numbers,
        Err(fault) => {
            let mut found = Found::new(0, &folder);
            found.add("signoff_unreadable", fault.message, "check the rights on the folder");
            return vec![found];
        }
    };
    let head = Head::of_record(&record).ok();
    let digest = archive::tag_digest(&record);
    let mut all: Vec<Found> = Vec::new();
    for number in numbers {
        let mut found = look(&place::statement_file(&folder, revision, number), number, settings);
        if let Some(statement) = found.statement.clone() {
            of_this_record(&mut found, &statement, digest.as_deref(), head.as_ref());
        }
        in_order(&mut found, all.last());
        all.push(found);
    }
    if settings.different_keys {
        different_keys(&mut all);
    }
    all
}

/// The statement and its signature, by themselves.
fn look(file: &Path, number: u32, settings: &Settings) -> Found {
    let mut found = Found::new(number, file);
    let bytes = match read_bytes(file, "sign-off", LARGEST_FILE) {
        Ok(bytes) => bytes,
        Err(fault) => {
            found.add("signoff_unreadable", fault.message, "check the rights on the file");
            return found;
        }
    };
    match Statement::parse(&bytes) {
        Err((what, line)) => {
            found.add("signoff_unreadable", format!("the sign-off cannot be read: {}", printable(&what)), ANEW);
            found.findings.iter_mut().for_each(|finding| finding.line = line);
        }
        Ok(statement) => {
            check_words(&mut found, &statement);
            check_signature(&mut found, &statement, &bytes, settings);
            found.statement = Some(statement);
        }
    }
    found
}

fn check_words(found: &mut Found, statement: &Statement) {
    if statement.version > VERSION {
        let message =
            format!("the sign-off is of the later version {}; what it says beyond version {VERSION} is not looked at", statement.version);
        found.add("signoff_later_version", message, "look at it with a later version of the program");
        found.findings.iter_mut().for_each(|finding| finding.is_fault = false);
    }
    if statement.meaning().is_none() {
        let message = format!("the sign-off means {}, which is not known", printable(&statement.meaning));
        found.add("signoff_meaning_unknown", message, ASK);
    }
    if statement.signed_at.parse::<Timestamp>().is_err() {
        found.add("signoff_time_unreadable", "the sign-off has no time that can be read", ANEW);
    }
    if (statement.standing == SIGNED) != statement.signature.is_some() {
        found.add("signoff_standing", "the sign-off says in words another thing than by its key", ANEW);
    }
}

fn check_signature(found: &mut Found, statement: &Statement, bytes: &[u8], settings: &Settings) {
    let file = place::signature_file(&found.file);
    let is_there = file.symlink_metadata().is_ok();
    let Some(claimed) = &statement.signature else {
        if is_there {
            found.add("signature_unclaimed", "a signature lies beside a sign-off that says it is not signed", ASK);
        }
        return;
    };
    if !is_there {
        return found.add(
            "signature_missing",
            "the sign-off says it is signed, and its signature is gone",
            "look for the .sig file in a copy",
        );
    }
    let text = read_bytes(&file, "signature", LARGEST_FILE).and_then(|bytes| as_text(&bytes, &file, "signature"));
    let key = match text.map(|text| sign::verify(&text, SIGNOFF, bytes)) {
        Ok(Ok(key)) => key,
        Ok(Err(why)) => return found.add("signature_invalid", why.to_string(), ANEW),
        Err(fault) => return found.add("signature_invalid", fault.message, ANEW),
    };
    if PublicKey::parse(claimed).ok().as_ref() != Some(&key) {
        let message = format!("the signature was made by the key {}, and not by the one that the sign-off names", key.fingerprint());
        return found.add("signature_other_key", message, ASK);
    }
    if let (Some(signers), Ok(at)) = (settings.signers(), statement.signed_at.parse())
        && let Err(refusal) = signers.allows(&key, &statement.name, SIGNOFF, at)
    {
        let message = format!("{} signed with the key {}: {refusal}", printable(&statement.name), key.fingerprint());
        found.add("signer_not_allowed", message, ASK);
    }
    found.key = Some(key);
}

/// Whether it speaks of the record beside it, and of one that was there.
fn of_this_record(found: &mut Found, statement: &Statement, digest: Option<&str>, head: Option<&Head>) {
    let is_other = head.is_some_and(|head| (&head.lot, head.revision) != (&statement.lot, statement.revision));
    if is_other || digest != Some(&statement.tag_manifest_sha256) {
        let message = "the sign-off is of another record, or the record was changed after it";
        return found.add("signoff_other_record", message, "compare the record with a copy that was kept elsewhere");
    }
    let sealed = head.and_then(|head| head.sealed_at.parse::<Timestamp>().ok());
    if let (Some(sealed), Some(signed)) = (sealed, found.signed_at())
        && signed < sealed
    {
        let message = format!("the sign-off is of {}, before the record was there ({sealed})", statement.signed_at);
        found.note("signed_before_sealing", message, "find out which computer's clock was wrong");
    }
}

/// Whether it follows the one before.
fn in_order(found: &mut Found, before: Option<&Found>) {
    let expected = before.map_or(1, |before| before.number + 1);
    if found.number != expected {
        let message = format!("before this sign-off number {expected} is missing");
        found.add("signoff_missing", message, "look for it in a copy");
    }
    if let (Some(now), Some(then)) = (found.signed_at(), before.and_then(Found::signed_at))
        && now < then
    {
        let message = format!("the sign-off is of {now}, and the one before it of {then}, which is later");
        found.note("signed_out_of_order", message, "find out which computer's clock was wrong");
    }
}

/// Measured and approved by one person would be no second pair of eyes.
fn different_keys(all: &mut [Found]) {
    let measured: Vec<PublicKey> = all.iter().filter(|found| found.says(Meaning::Measured)).filter_map(|found| found.key.clone()).collect();
    for found in all.iter_mut().filter(|found| found.statement.is_some()) {
        let of_two = [Meaning::Measured, Meaning::Approved].into_iter().any(|meaning| found.says(meaning));
        if of_two && found.statement.as_ref().is_some_and(|statement| statement.signature.is_none()) {
            let message = "the lab's settings ask for different keys, and this sign-off has none";
            found.note("not_signed", message, "have it signed with a key");
        } else if found.says(Meaning::Approved) && found.key.as_ref().is_some_and(|key| measured.contains(key)) {
            let message = "the lab's settings ask for different keys, and the record is signed as measured and as approved by one";
            found.add("same_key", message, "have it approved by somebody who did not measure it");
        }
    }
}
