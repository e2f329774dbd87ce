//! Sign-offs: files beside a record in which somebody says that they measured, reviewed or approved it.
//!
//! `OUT/<lot>/signoffs/r<N>-<k>.json` is the statement ([`Statement`]), which names the digest of the record's tag manifest, and
//! `r<N>-<k>.json.sig`, where it is signed, an SSHSIG of exactly its bytes in the namespace [`SIGNOFF`]. So this checks it without the
//! program:
//!
//! ```sh
//! ssh-keygen -Y verify -f allowed_signers -I NAME -n signoff@evenfilm -s r1-1.json.sig < r1-1.json
//! ```

use std::path::{Path, PathBuf};

use crate::bag;
use crate::digest::sha256_hex;
use crate::fault::Fault;
use crate::journal::{Entry, Journal};
use crate::names::printable;
use crate::occasion::Occasion;
use crate::origin::Origin;
use crate::settings::Settings;
use crate::sign::{self, Key, SIGNOFF};
use crate::time::Moment;

mod check;
mod place;
mod record;
mod statement;
#[cfg(test)]
mod tests;

pub use check::{Found, of_record};
pub use statement::{Meaning, SIGNED, Statement, TYPED};

use record::Head;

/// What a person asks to have said in their name.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The name, as the file of signers has it.
    pub name: &'a str,
    /// What they say of the record.
    pub meaning: &'a str,
    /// Anything they add.
    pub comment: Option<&'a str>,
    /// Their key; without one the name is only typed.
    pub key: Option<&'a Key>,
}

/// When, where and by which version it is said.
#[derive(Clone, Copy, Debug)]
pub struct Made<'a> {
    /// When.
    pub moment: &'a Moment,
    /// Where.
    pub origin: &'a Origin,
    /// Version of the program.
    pub program_version: &'a str,
}

/// Writes a sign-off of a record and gives the path of the statement. The signature is in its place before the statement is, and both are
/// made to last, so that no statement is ever without its signature.
///
/// # Errors
/// The record is none, lies elsewhere than `OUT/<lot>/r<N>`, or is not as it was sealed; the meaning is unknown; the name is empty or has
/// control characters; the lab's signers do not have the key under that name; the lab takes no time but the clock's; it cannot be written.
pub fn sign_off(record: &Path, asked: &Asked<'_>, made: &Made<'_>, settings: &Settings) -> Result<PathBuf, Fault> {
    let meaning = Meaning::from_word(asked.meaning).ok_or_else(|| {
        let known = Meaning::ALL.iter().map(|meaning| meaning.word()).collect::<Vec<_>>().join(", ");
        Fault::input(format!("unknown meaning {}; known are {known}", printable(asked.meaning)), "give one of these words: --meaning WORD")
    })?;
    check_words(asked)?;
    settings.check_time(made.moment)?;
    check_signer(asked, made, settings)?;
    let record = std::path::absolute(record).map_err(|e| crate::disk::fault("find the record", record, &e))?;
    let head = Head::of_record(&record)?;
    if !bag::is_whole(&record) {
        let remedy = "find out what was changed, and sign only a record that is as it was sealed";
        return Err(Fault::input("the record is not as it was sealed, so that nobody can sign it", remedy).at(&record));
    }
    two_pairs_of_eyes(&record, asked, meaning, settings)?;
    let text = Statement::new(&head, asked, meaning, made).text();
    let signature = asked.key.map(|key| sign::sign(key, SIGNOFF, text.as_bytes())).transpose()?;
    // The journal is held first: who cannot be put down does not sign.
    let occasion = Occasion { origin: made.origin.clone(), ..Occasion::at(made.moment.clone(), made.program_version) };
    let out = record.ancestors().nth(2).unwrap_or(&record);
    let mut journal = Journal::open_existing(out, &occasion)?;
    let file = place::put(&place::folder_of(&record), head.revision, &text, signature.as_deref())?;
    if let Some(journal) = &mut journal {
        journal.append(&entry(&head, &file, (asked, meaning, &text)), &occasion)?;
    }
    Ok(file)
}

/// What the journal says of a sign-off.
fn entry(head: &Head, file: &Path, (asked, meaning, text): (&Asked<'_>, Meaning, &str)) -> Entry {
    Entry::new("signoff")
        .with("lot", head.lot.as_str())
        .with("revision", head.revision)
        .with("file", file.file_name().unwrap_or_default().to_string_lossy().into_owned())
        .with("sha256", sha256_hex(text.as_bytes()))
        .with("name", asked.name)
        .with("meaning", meaning.word())
        .with("key", asked.key.map(|key| key.public().fingerprint()))
}

/// Where the lab asks for it, nobody approves with the key that measured, or the other way round.
fn two_pairs_of_eyes(record: &Path, asked: &Asked<'_>, meaning: Meaning, settings: &Settings) -> Result<(), Fault> {
    let other = match meaning {
        Meaning::Measured => Meaning::Approved,
        Meaning::Approved => Meaning::Measured,
        Meaning::Reviewed => return Ok(()),
    };
    if !settings.different_keys {
        return Ok(());
    }
    let Some(key) = asked.key.map(Key::public) else {
        let message =
            format!("the lab's settings ask for different keys for measured and approved, and this is {} without one", meaning.word());
        return Err(Fault::input(message, "sign with your key: --key FILE"));
    };
    let says_other =
        |found: &Found| found.statement.as_ref().and_then(Statement::meaning) == Some(other) && found.key.as_ref() == Some(&key);
    if of_record(record, settings).iter().any(says_other) {
        let message = format!("this key has signed the record as {} already, and the lab's settings ask for different keys", other.word());
        return Err(Fault::input(message, "have it signed by somebody else"));
    }
    Ok(())
}

fn check_words(asked: &Asked<'_>) -> Result<(), Fault> {
    if asked.name.trim().is_empty() {
        return Err(Fault::input("the name is empty", "say who signs: --as NAME"));
    }
    if asked.name.chars().any(char::is_control) {
        return Err(Fault::input("the name has characters that cannot be seen", "type it anew: --as NAME"));
    }
    let is_hidden = |c: char| c.is_control() && c != '\n' && c != '\t';
    if asked.comment.is_some_and(|comment| comment.chars().any(is_hidden)) {
        return Err(Fault::input("the comment has characters that cannot be seen", "type it anew: --comment TEXT"));
    }
    Ok(())
}

/// A signature that the lab's own list would not let count is better not made.
fn check_signer(asked: &Asked<'_>, made: &Made<'_>, settings: &Settings) -> Result<(), Fault> {
    let (Some((path, signers)), Some(key)) = (&settings.signers, asked.key) else { return Ok(()) };
    let refused = |what: String| Fault::input(what, "sign with your own key under your own name, or have it put into that file").at(path);
    let at = made.moment.measured_at.parse().map_err(|_| refused("the time of signing cannot be read".into()))?;
    let allowed = signers.allows(&key.public(), asked.name, SIGNOFF, at);
    allowed.map(|_| ()).map_err(|refusal| refused(format!("{} cannot sign with this key: {refusal}", asked.name)))
}
