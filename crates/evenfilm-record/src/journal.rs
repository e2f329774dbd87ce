//! The journal of a folder of records: `journal.jsonl`, to which lines are only ever added.
//!
//! A line is a JSON object. It has its running number `n`, from 1, and in `previous` the SHA-256 of the bytes of the line before (without
//! its line feed), so that whoever keeps the number and digest of a line elsewhere ([`Head`]) can tell later whether anything up to it was
//! changed or taken out. Then come moment, program and who ran it where, the `event`, and what belongs to that.
//!
//! Who writes holds the file's lock. A line that a stop cut short was never relied upon: whoever writes next takes it off and says so in a
//! line of its own (`mended`). An entry `record` is what makes a record sealed: it is written and made to last just before the record gets
//! its name, and where a stop falls between the two, the next run finishes that ([`crate::archive`]).

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde_json::{Map, Value, json};

use crate::archive;
use crate::digest::sha256_hex;
use crate::disk::{fault, sync_folder};
use crate::fault::Fault;
use crate::occasion::Occasion;
use crate::verify;

pub mod check;
mod history;
#[cfg(test)]
mod tests;

pub use check::{Checked, Head};
pub use history::{DECISIVE, History, OfLot, OfRecord};

/// Name of the journal in the folder of all records.
pub const JOURNAL: &str = "journal.jsonl";

/// Longest line that is read, bytes: a lot of some ten thousand pictures.
const LONGEST_LINE: u64 = 8 << 20;

/// An event and what belongs to it, in the order in which it is written.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    event: &'static str,
    about: Map<String, Value>,
}

impl Entry {
    /// An event of which nothing is said yet.
    pub fn new(event: &'static str) -> Self {
        Self { event, about: Map::new() }
    }

    /// The same, saying one thing more.
    #[must_use]
    pub fn with(mut self, key: &str, value: impl Into<Value>) -> Self {
        self.about.insert(key.to_owned(), value.into());
        self
    }
}

/// The journal, opened for writing: others wait until it is dropped.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    file: File,
    /// Bytes of the whole lines.
    length: u64,
    /// The last line.
    last: Option<Head>,
    /// Whether it was begun here.
    new: bool,
}

impl Drop for Journal {
    /// Takes away a journal that was begun in vain.
    fn drop(&mut self) {
        if self.new && self.last.is_none() && self.file.metadata().is_ok_and(|about| about.len() == 0) {
            let _ = fs::remove_file(&self.path);
        }
    }
}

impl Journal {
    /// Opens the journal of a folder of records, which begins it where there is none, and waits for others to finish with it.
    ///
    /// # Errors
    /// It cannot be read or written, or its last line is none of a journal.
    pub fn open(out: &Path, occasion: &Occasion) -> Result<Self, Fault> {
        let path = out.join(JOURNAL);
        let failed = |e: io::Error| fault("write the journal", &path, &e);
        let (mut file, new) = loop {
            let new = path.symlink_metadata().is_err();
            // On Windows a file that is opened for appending cannot be cut.
            let file =
                File::options().read(true).write(true).append(cfg!(unix)).create(true).truncate(false).open(&path).map_err(failed)?;
            // Where the file system knows no locks, two programs at one moment would be seen by `check`.
            let _ = file.lock();
            // Whoever began it and wrote nothing has taken it away again while we waited.
            if is_at(&file, &path) {
                break (file, new);
            }
        };
        if new {
            sync_folder(out)?;
        }
        let bytes = file.metadata().map_err(failed)?.len();
        let (line, torn) = tail(&mut file, bytes).map_err(failed)?;
        let last = line.as_deref().map(|line| Head::of_line(line).ok_or_else(|| broken(&path))).transpose()?;
        let mut journal = Self { path, file, length: bytes - torn.len() as u64, last, new };
        // Told by its lines, not by who made the file: of two that begin it at one moment only one may put older records down.
        let begins = journal.last.is_none();
        if !torn.is_empty() {
            journal.mend(&torn, occasion)?;
        }
        if begins {
            journal.put_down_older(out, occasion)?;
        }
        Ok(journal)
    }

    /// Opens the journal where there is one.
    ///
    /// # Errors
    /// As [`Journal::open`].
    pub fn open_existing(out: &Path, occasion: &Occasion) -> Result<Option<Self>, Fault> {
        if out.join(JOURNAL).is_file() { Self::open(out, occasion).map(Some) } else { Ok(None) }
    }

    /// Adds a line and makes it last.
    ///
    /// # Errors
    /// It cannot be written; the journal is as before then.
    pub fn append(&mut self, entry: &Entry, occasion: &Occasion) -> Result<Head, Fault> {
        let number = self.last.as_ref().map_or(1, |last| last.number.saturating_add(1));
        let moment = occasion.moment.again();
        let mut line = Map::new();
        line.insert("n".into(), json!(number));
        line.insert("previous".into(), json!(self.last.as_ref().map(|last| &last.sha256)));
        line.insert("at".into(), json!(moment.measured_at));
        line.insert("time_source".into(), json!(moment.source));
        line.insert("program".into(), json!(format!("evenfilm {}", occasion.program_version)));
        for (key, text) in [("user", &occasion.origin.user), ("computer", &occasion.origin.computer), ("zone", &occasion.origin.zone)] {
            line.insert(key.into(), json!(text));
        }
        line.insert("event".into(), json!(entry.event));
        line.extend(entry.about.clone());
        let text = Value::Object(line).to_string();
        let to_end = self.file.seek(SeekFrom::End(0));
        let written = to_end.and_then(|_| self.file.write_all(format!("{text}\n").as_bytes())).and_then(|()| self.file.sync_all());
        if let Err(e) = written {
            // What was written of the line goes; where even that fails, the next run takes it off.
            let _ = self.file.set_len(self.length).and_then(|()| self.file.sync_all());
            return Err(fault("write the journal", &self.path, &e));
        }
        self.length += text.len() as u64 + 1;
        let head = Head { number, sha256: sha256_hex(text.as_bytes()), at: moment.measured_at };
        self.last = Some(head.clone());
        Ok(head)
    }

    /// The revision of a lot that was sealed last, and the digest of its tag manifest.
    ///
    /// # Errors
    /// The journal cannot be read.
    pub fn latest(&self, lot: &str) -> Result<Option<(u32, String)>, Fault> {
        Ok(self.history(lot, &BTreeSet::new())?.lot.records.pop())
    }

    /// The lot and revision of the record whose tag manifest has a digest, where it was sealed.
    ///
    /// # Errors
    /// The journal cannot be read.
    pub fn sealed(&self, tag_manifest_sha256: &str) -> Result<Option<(String, u32)>, Fault> {
        Ok(history::sealed(&self.bytes()?, tag_manifest_sha256))
    }

    /// What is known of a lot, and which other lots have pictures of these digests.
    ///
    /// # Errors
    /// The journal cannot be read.
    pub fn history(&self, lot: &str, pictures: &BTreeSet<&str>) -> Result<History, Fault> {
        Ok(History::of(&self.bytes()?, lot, pictures))
    }

    /// All of it, through the handle that has the lock: some systems let no other one read.
    fn bytes(&self) -> Result<Vec<u8>, Fault> {
        let (mut file, mut bytes) = (&self.file, Vec::new());
        let read = file.seek(SeekFrom::Start(0)).and_then(|_| file.read_to_end(&mut bytes));
        read.map(|_| bytes).map_err(|e| fault("read the journal", &self.path, &e))
    }

    /// Puts down the records that lay there before there was a journal.
    fn put_down_older(&mut self, out: &Path, occasion: &Occasion) -> Result<(), Fault> {
        for record in verify::find(out).unwrap_or_default() {
            let Some((lot, revision, digest)) = verify::identity(&record) else { continue };
            let entry = Entry::new("found").with("lot", lot).with("revision", revision).with("tag_manifest_sha256", digest);
            self.append(&entry, occasion)?;
        }
        Ok(())
    }

    /// The last line; `None` where there is none yet.
    pub const fn head(&self) -> Option<&Head> {
        self.last.as_ref()
    }

    /// Takes off a line that a stop cut short, and says so.
    fn mend(&mut self, torn: &[u8], occasion: &Occasion) -> Result<(), Fault> {
        self.file.set_len(self.length).and_then(|()| self.file.sync_all()).map_err(|e| fault("mend the journal", &self.path, &e))?;
        let text = String::from_utf8_lossy(torn);
        let entry = Entry::new("mended").with("bytes", torn.len()).with("sha256", sha256_hex(torn)).with("text", text.as_ref());
        self.append(&entry, occasion).map(drop)
    }
}

/// Whether a file that is open is still the one at its place.
#[cfg(unix)]
fn is_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let (Ok(open), Ok(there)) = (file.metadata(), fs::metadata(path)) else { return false };
    (open.dev(), open.ino()) == (there.dev(), there.ino())
}

#[cfg(not(unix))]
fn is_at(_: &File, path: &Path) -> bool {
    path.exists()
}

/// The last whole line of a file, without its line feed, and what stands behind it.
fn tail(file: &mut File, bytes: u64) -> io::Result<(Option<Vec<u8>>, Vec<u8>)> {
    let mut from = bytes;
    let mut end = Vec::new();
    loop {
        // All of it, or two line feeds: the one that ends the last whole line and the one before it.
        if let Some(close) = end.iter().rposition(|&b| b == b'\n') {
            let open = end[..close].iter().rposition(|&b| b == b'\n').map(|open| open + 1);
            if open.is_some() || from == 0 {
                let torn = end.split_off(close + 1);
                return Ok((Some(end[open.unwrap_or(0)..close].to_vec()), torn));
            }
        } else if from == 0 {
            return Ok((None, end));
        }
        if bytes - from > 2 * LONGEST_LINE {
            return Err(io::Error::new(ErrorKind::InvalidData, "a line is too long for a journal"));
        }
        let piece = (bytes - from).clamp(1 << 16, 1 << 22).min(from);
        from -= piece;
        file.seek(SeekFrom::Start(from))?;
        let mut more = vec![0; usize::try_from(piece).unwrap_or(usize::MAX)];
        file.read_exact(&mut more)?;
        more.append(&mut end);
        end = more;
    }
}

fn broken(path: &Path) -> Fault {
    let remedy = "nothing is added to a journal that is broken: keep it, find out what happened (evenfilm journal says where), and put the last \
                  good copy in its place or begin a new folder of records";
    Fault::work("the last line of the journal is no entry", remedy).at(path)
}

/// Puts down that a lot was refused, where there is a journal already.
///
/// # Errors
/// The journal cannot be written.
pub fn refused(out: &Path, lot: &str, why: &Fault, occasion: &Occasion) -> Result<(), Fault> {
    let Some(mut journal) = Journal::open_existing(out, occasion)? else { return Ok(()) };
    let entry = Entry::new("refused").with("lot", lot).with("message", why.message.as_str());
    let entry = entry.with("file", why.file.as_ref().map(|file| file.display().to_string())).with("line", why.line);
    journal.append(&entry, occasion).map(drop)
}

/// Checks the journal of a folder of records; `kept` is a head from elsewhere that must still be in it. `None` where there is no journal.
///
/// # Errors
/// It cannot be read.
pub fn check_folder(out: &Path, kept: Option<&Head>) -> Result<Option<Checked>, Fault> {
    let Some(bytes) = read(out)? else { return Ok(None) };
    let mut checked = check::check(&bytes, kept);
    for ((lot, revision), digest) in history::all_sealed(&bytes) {
        checked.findings.extend(archive::gone(out, &lot, revision, &digest));
    }
    Ok(Some(checked))
}

/// A journal that was read once, for looking at many records.
#[derive(Clone, Debug)]
pub struct Known {
    bytes: Vec<u8>,
    /// What it says of itself.
    pub checked: Checked,
}

impl Known {
    /// Reads the journal of a folder of records; `None` where there is none.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn read(out: &Path) -> Result<Option<Self>, Fault> {
        Ok(read(out)?.map(|bytes| Self { checked: check::check(&bytes, None), bytes }))
    }

    /// What it says of a record.
    pub fn of_record(&self, lot: &str, revision: u32) -> OfRecord {
        history::of_record(&self.bytes, lot, revision)
    }
}

/// Reads the journal of a folder of records, while nobody writes; `None` where there is none.
fn read(out: &Path) -> Result<Option<Vec<u8>>, Fault> {
    let path = out.join(JOURNAL);
    let mut file = match File::open(&path) {
        Ok(file) => file,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(fault("read the journal", &path, &e)),
    };
    let _ = file.lock_shared();
    let mut bytes = Vec::new();
    file.read_to_end(&mut bytes).map_err(|e| fault("read the journal", &path, &e))?;
    Ok(Some(bytes))
}

/// Writes a head into a file that is to be kept elsewhere.
///
/// # Errors
/// The file exists already or cannot be written.
pub fn export(head: &Head, to: &Path) -> Result<(), Fault> {
    let failed = |e: io::Error| match e.kind() {
        ErrorKind::AlreadyExists => {
            Fault::input("this file exists already", "give a name that is free: a head that was kept is not replaced").at(to)
        }
        _ => fault("write the journal's head", to, &e),
    };
    let mut file = File::create_new(to).map_err(failed)?;
    file.write_all(head.text().as_bytes()).and_then(|()| file.sync_all()).map_err(failed)
}

/// Reads a head that was kept.
///
/// # Errors
/// The file cannot be read or is none.
pub fn import(from: &Path) -> Result<Head, Fault> {
    let text = fs::read_to_string(from).map_err(|e| fault("read the journal's head", from, &e))?;
    Head::parse(&text)
        .ok_or_else(|| Fault::input("this is no head of a journal", "give a file that evenfilm journal --export wrote").at(from))
}
