//! Sign-offs: looking at those of a record, and adding one. Opening a key takes about a second, checking a large record longer.

use std::path::{Path, PathBuf};
use std::thread;

use evenfilm_record::archive;
use evenfilm_record::fault::Fault;
use evenfilm_record::origin::Origin;
use evenfilm_record::settings::Settings;
use evenfilm_record::sign::{Key, LockedKey, SIGNOFF};
use evenfilm_record::signoff::{self, Asked, Made, Meaning};
use evenfilm_record::time::Moment;

use super::{Report, Tell, guarded, past};
use crate::secret::Secret;
use crate::state::{Known, Place};

/// What somebody wants said of a record.
pub(crate) struct ToSign {
    pub(crate) record: PathBuf,
    pub(crate) name: String,
    pub(crate) meaning: Meaning,
    pub(crate) comment: String,
    /// The key's file and its passphrase; `None` where the name is only typed.
    pub(crate) key: Option<(PathBuf, Secret)>,
}

/// Looks at a record and its sign-offs.
pub(super) fn look(tell: Tell, record: PathBuf) {
    let run = move || {
        let known = guarded("looking at the record", || known(&record)).map_err(|fault| (Place::Whole, fault));
        tell.tell(Report::Signoffs(record, known.map(|known| (Box::new(known), None))));
    };
    let _ = thread::Builder::new().name("sign-offs".into()).spawn(run);
}

/// Finds the latest record of a lot.
pub(super) fn find(tell: Tell, out: PathBuf, lot: String) {
    let run = move || {
        tell.tell(Report::Latest(archive::latest(&out, &lot).map(|(_, record)| record)));
    };
    let _ = thread::Builder::new().name("latest record".into()).spawn(run);
}

/// Signs a record; tells all its sign-offs, and the number of the new one.
pub(super) fn sign(tell: Tell, asked: ToSign) {
    let run = move || {
        let record = asked.record.clone();
        let mut place = Place::Whole;
        let signed = guarded("signing", || {
            let file = add(asked, &mut place)?;
            let known = known(&record)?;
            let made = known.found.iter().find(|found| found.file == file).map(|found| found.number);
            Ok((Box::new(known), made))
        });
        tell.tell(Report::Signoffs(record, signed.map_err(|fault| (place, fault))));
    };
    let _ = thread::Builder::new().name("sign".into()).spawn(run);
}

fn known(record: &Path) -> Result<Known, Fault> {
    let info = std::fs::read_to_string(record.join("bag-info.txt"))
        .map_err(|e| Fault::input(format!("this is no record that can be read: {e}"), "choose the folder of a sealed record").at(record))?;
    let said = |label: &str| info.lines().find_map(|line| line.strip_prefix(label)?.strip_prefix(": ")).unwrap_or_default();
    let (settings, fault) = match Settings::of_record(record) {
        Ok(settings) => (settings, None),
        // What was signed is looked at all the same; nothing new can be signed.
        Err(fault) => (Settings::default(), Some(fault)),
    };
    Ok(Known {
        lot: said("External-Identifier").to_owned(),
        revision: said("Evenfilm-Revision").parse().unwrap_or_default(),
        at: past::made_at(record),
        found: signoff::of_record(record, &settings),
        fault,
    })
}

/// Adds the sign-off; `place` is what a fault is about.
fn add(asked: ToSign, place: &mut Place) -> Result<PathBuf, Fault> {
    let settings = Settings::of_record(&asked.record)?;
    let key = asked.key.map(|(file, passphrase)| open(&file, &passphrase, place)).transpose()?;
    // The clock is asked when the key is open.
    let (moment, origin) = (Moment::now()?, Origin::of_system());
    if let (Some(key), Some((signers_file, signers)), Ok(at)) = (&key, &settings.signers, moment.measured_at.parse()) {
        *place = Place::Name;
        signers.allows(&key.public(), &asked.name, SIGNOFF, at).map_err(|refusal| {
            let remedy = "sign with your own key under your own name, or have it put into that file";
            Fault::input(format!("{} cannot sign with this key: {refusal}", asked.name), remedy).at(signers_file)
        })?;
    }
    *place = Place::Whole;
    let comment = Some(asked.comment.as_str()).filter(|comment| !comment.is_empty());
    let said = Asked { name: &asked.name, meaning: asked.meaning.word(), comment, key: key.as_ref() };
    let made = Made { moment: &moment, origin: &origin, program_version: env!("CARGO_PKG_VERSION") };
    signoff::sign_off(&asked.record, &said, &made, &settings)
}

/// Opens a key; the passphrase goes with it.
fn open(file: &Path, passphrase: &Secret, place: &mut Place) -> Result<Key, Fault> {
    *place = Place::KeyFile;
    let locked = LockedKey::read(file)?;
    *place = Place::Passphrase;
    let key = locked.open(passphrase.typed())?;
    *place = Place::Whole;
    Ok(key)
}
