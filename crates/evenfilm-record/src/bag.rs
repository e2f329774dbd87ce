//! BagIt 1.0 (RFC 8493): a folder that can tell whether it is whole.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{self, ErrorKind, Read, Write as _};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::digest::{hex, sha256_hex};
use crate::disk::{fault, ordinary_rights, sync_folder};
use crate::fault::Fault;

pub mod read;

/// Name of the file that lists the digests of the tag files; its own digest stands for the whole bag.
pub const TAG_MANIFEST: &str = "tagmanifest-sha256.txt";

/// The list of the payload with its digests.
pub const PAYLOAD_MANIFEST: &str = "manifest-sha256.txt";
/// What the bag says of itself.
pub const BAG_INFO: &str = "bag-info.txt";
/// That it is a bag.
pub const DECLARATION_FILE: &str = "bagit.txt";
const DECLARATION: &str = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";

/// What a bag knows of one payload file.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Entry {
    sha256: String,
    bytes: u64,
}

/// A bag that is being filled.
#[derive(Debug)]
pub struct Bag {
    root: PathBuf,
    /// By path below the root, `/` between names: the order of a manifest is that of the paths' bytes.
    payload: BTreeMap<String, Entry>,
}

impl Bag {
    /// An empty bag in a new folder.
    ///
    /// # Errors
    /// The folder exists already or cannot be made.
    pub fn begin(root: &Path) -> Result<Self, Fault> {
        fs::create_dir(root).and_then(|()| fs::create_dir(root.join("data"))).map_err(|e| fault("make the folder", root, &e))?;
        Ok(Self { root: root.to_path_buf(), payload: BTreeMap::new() })
    }

    /// Writes a payload file, `path` counted from `data/`; one that is there already is replaced.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn put(&mut self, path: &str, content: &[u8]) -> Result<(), Fault> {
        let to = self.place(path)?;
        write(&to, content)?;
        self.enter(path, Entry { sha256: sha256_hex(content), bytes: content.len() as u64 });
        Ok(())
    }

    /// Writes a payload file piece by piece: `content` is given a function that takes the next one.
    ///
    /// # Errors
    /// It cannot be written, or those of `content`.
    pub fn put_in_pieces(
        &mut self,
        path: &str,
        content: impl FnOnce(&mut dyn FnMut(&[u8]) -> Result<(), Fault>) -> Result<(), Fault>,
    ) -> Result<(), Fault> {
        let to = self.place(path)?;
        let failed = |e: io::Error| fault("write", &to, &e);
        let mut file = File::create(&to).map_err(failed)?;
        let (mut hasher, mut bytes) = (Sha256::new(), 0);
        content(&mut |piece| {
            hasher.update(piece);
            bytes += piece.len() as u64;
            file.write_all(piece).map_err(failed)
        })?;
        file.sync_all().map_err(failed)?;
        self.enter(path, Entry { sha256: hex(&hasher.finalize()), bytes });
        Ok(())
    }

    /// Copies a file into the payload byte for byte and gives its SHA-256.
    ///
    /// # Errors
    /// It cannot be read or the copy cannot be written.
    pub fn copy(&mut self, path: &str, from: &Path) -> Result<String, Fault> {
        let to = self.place(path)?;
        // Told apart from a copy that cannot be written.
        drop(File::open(from).map_err(|e| unreadable_again(from, &e))?);
        let write_fault = |e: io::Error| fault("write", &to, &e);
        // The system shares the blocks where the disk can (Linux: copy_file_range, macOS: fclonefileat, Windows: block cloning).
        fs::copy(from, &to).map_err(write_fault)?;
        let copy = File::options().read(true).write(true).open(&to).or_else(|_| own(&to)).map_err(write_fault)?;
        ordinary_rights(&copy).and_then(|()| copy.sync_all()).map_err(write_fault)?;
        let entry = digest_of(&to).map_err(write_fault)?;
        let sha256 = entry.sha256.clone();
        self.enter(path, entry);
        Ok(sha256)
    }

    /// Writes the tag files and makes everything last; `info` becomes `bag-info.txt`, after `Payload-Oxum`. Gives the SHA-256 of the tag
    /// manifest. May be called again after more payload.
    ///
    /// # Errors
    /// A file cannot be written.
    pub fn close(&self, info: &[(&str, String)]) -> Result<String, Fault> {
        let tags = [(BAG_INFO, self.bag_info(info)), (DECLARATION_FILE, DECLARATION.to_owned()), (PAYLOAD_MANIFEST, self.manifest())];
        let mut tag_manifest = String::new();
        for (name, text) in &tags {
            write(&self.root.join(name), text.as_bytes())?;
            push_line(&mut tag_manifest, &sha256_hex(text.as_bytes()), name);
        }
        write(&self.root.join(TAG_MANIFEST), tag_manifest.as_bytes())?;
        self.folders().iter().rev().try_for_each(|folder| sync_folder(&self.root.join(folder)))?;
        Ok(sha256_hex(tag_manifest.as_bytes()))
    }

    fn manifest(&self) -> String {
        let mut text = String::new();
        self.payload.iter().for_each(|(path, entry)| push_line(&mut text, &entry.sha256, path));
        text
    }

    fn bag_info(&self, info: &[(&str, String)]) -> String {
        let bytes: u64 = self.payload.values().map(|entry| entry.bytes).sum();
        let mut text = format!("Payload-Oxum: {bytes}.{}\n", self.payload.len());
        for (label, value) in info {
            // A value is one line; RFC 8493 has no way to write a line break in it.
            let line: String = value.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
            let _ = writeln!(text, "{label}: {}", line.trim());
        }
        text
    }

    /// Every folder of the bag, outer ones first.
    fn folders(&self) -> BTreeSet<&str> {
        let above = |path: &'_ str| -> Vec<usize> { path.match_indices('/').map(|(i, _)| i).collect() };
        let inner = self.payload.keys().flat_map(|path| above(path).into_iter().map(|i| &path[..i]));
        inner.chain(["", "data"]).collect()
    }

    /// The place of a payload file. Folders are made below the bag's own and never that: where somebody took it away, what was written before
    /// is gone with it.
    fn place(&self, path: &str) -> Result<PathBuf, Fault> {
        let mut to = self.root.join("data");
        let mut names = path.split('/').peekable();
        while let Some(name) = names.next() {
            to.push(name);
            if names.peek().is_some() {
                match fs::create_dir(&to) {
                    Err(e) if e.kind() != ErrorKind::AlreadyExists => return Err(fault("make the folder", &to, &e)),
                    _ => {}
                }
            }
        }
        Ok(to)
    }

    fn enter(&mut self, path: &str, entry: Entry) {
        self.payload.insert(format!("data/{path}"), entry);
    }
}

/// Opens a copy that has taken over the rights of an original which nobody may write to.
fn own(copy: &Path) -> io::Result<File> {
    let mut rights = fs::metadata(copy)?.permissions();
    #[expect(clippy::permissions_set_readonly_false, reason = "`ordinary_rights` follows")]
    rights.set_readonly(false);
    fs::set_permissions(copy, rights)?;
    File::options().read(true).write(true).open(copy)
}

/// Whether a record is as it was sealed: a bag without any fault ([`read::read`]) whose tag manifest lists its manifest and `bag-info.txt`.
pub fn is_whole(root: &Path) -> bool {
    let bag = read::read(root, &*read::PRODUCTION);
    let sealed = [PAYLOAD_MANIFEST, BAG_INFO, DECLARATION_FILE].iter().all(|file| bag.listed.contains(*file));
    sealed && bag.files.contains_key(TAG_MANIFEST) && bag.findings.faults() == 0
}

/// A line of a manifest. Only CR, LF and `%` are percent-encoded (RFC 8493, 2.1.3).
fn push_line(text: &mut String, sha256: &str, path: &str) {
    let path = path.replace('%', "%25").replace('\r', "%0D").replace('\n', "%0A");
    let _ = writeln!(text, "{sha256}  {path}");
}

fn write(path: &Path, content: &[u8]) -> Result<(), Fault> {
    let written = File::create(path).and_then(|mut file| file.write_all(content).and_then(|()| file.sync_all()));
    written.map_err(|e| fault("write", path, &e))
}

/// SHA-256 of a picture's file.
///
/// # Errors
/// It cannot be read.
pub(crate) fn sha256_of(path: &Path) -> Result<String, Fault> {
    digest_of(path).map(|entry| entry.sha256).map_err(|e| unreadable_again(path, &e))
}

fn unreadable_again(path: &Path, e: &io::Error) -> Fault {
    Fault::input(format!("cannot read the picture again: {e}"), "leave pictures in place while measuring").at(path)
}

fn digest_of(path: &Path) -> io::Result<Entry> {
    let (mut file, mut hasher, mut bytes) = (File::open(path)?, Sha256::new(), 0);
    let mut buffer = vec![0; 1 << 18];
    loop {
        match file.read(&mut buffer) {
            Ok(0) => return Ok(Entry { sha256: hex(&hasher.finalize()), bytes }),
            Ok(n) => {
                hasher.update(&buffer[..n]);
                bytes += n as u64;
            }
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bag_with(files: &[(&str, &str)]) -> (tempfile::TempDir, Bag) {
        let folder = tempfile::tempdir().unwrap();
        let mut bag = Bag::begin(&folder.path().join("bag")).unwrap();
        for (path, text) in files {
            bag.put(path, text.as_bytes()).unwrap();
        }
        (folder, bag)
    }

    fn read(bag: &Bag, name: &str) -> String {
        fs::read_to_string(bag.root.join(name)).unwrap()
    }

    /// `bagit.sample` of the check values (hashlib; accepted by an independent reader of bags).
    #[test]
    fn manifest_and_oxum_of_the_sample() {
        let (_folder, bag) = bag_with(&[("hello.txt", "hello\n"), ("µm table.csv", "a,b\r\n")]);
        let expected = "5891b5b522d5df086d0ff0b110fbd9d21bb4fc7163af34d08286a2e846f6be03  data/hello.txt\n\
                        fbf6b30113a4b6418c623a96ed6844f17ef5751b908a16abaa919d0bcd6b7784  data/µm table.csv\n";
        assert_eq!(bag.manifest(), expected);
        bag.close(&[]).unwrap();
        assert_eq!(read(&bag, "bag-info.txt"), "Payload-Oxum: 11.2\n");
        assert_eq!(read(&bag, "bagit.txt"), "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n");
    }

    #[test]
    fn a_file_in_pieces_is_the_same_as_one_at_once() {
        let (_folder, mut bag) = bag_with(&[("whole", "a,b\r\n1,2\r\n")]);
        bag.put_in_pieces("pieces", |put| ["a,b", "\r\n", "", "1,2\r\n"].iter().try_for_each(|piece| put(piece.as_bytes()))).unwrap();
        let path = |name: &str| bag.root.join("data").join(name);
        assert_eq!(fs::read(path("whole")).unwrap(), fs::read(path("pieces")).unwrap());
        assert_eq!(bag.payload["data/whole"], bag.payload["data/pieces"]);
    }

    /// `bagit.percent` of the check values (RFC 8493, 2.1.3).
    #[test]
    fn percent_and_line_breaks_are_encoded_and_nothing_else() {
        let mut text = String::new();
        for path in ["data/100% A.txt", "data/a\r\nb ü&#.txt"] {
            push_line(&mut text, "00", path);
        }
        assert_eq!(text, "00  data/100%25 A.txt\n00  data/a%0D%0Ab ü&#.txt\n");
    }

    #[test]
    fn every_file_stands_once_sorted_by_bytes() {
        let (_folder, mut bag) = bag_with(&[("b.csv", "1"), ("a/z.png", "2"), ("Ä.txt", "3"), ("a.csv", "4"), ("B.csv", "5")]);
        bag.put("b.csv", b"again").unwrap();
        let manifest = bag.manifest();
        let paths: Vec<&str> = manifest.lines().map(|l| l.split_once("  ").unwrap().1).collect();
        assert_eq!(paths, ["data/B.csv", "data/a.csv", "data/a/z.png", "data/b.csv", "data/Ä.txt"]);
        assert_eq!(manifest.lines().nth(3).unwrap(), format!("{}  data/b.csv", sha256_hex(b"again")));
        assert_eq!(bag.folders().into_iter().collect::<Vec<_>>(), ["", "data", "data/a"]);
    }

    #[test]
    fn the_tag_manifest_covers_all_tag_files_and_info_stays_on_its_line() {
        let (_folder, bag) = bag_with(&[("x", "y")]);
        let digest = bag.close(&[("External-Identifier", " a\nb: c ".into())]).unwrap();
        let tags = read(&bag, TAG_MANIFEST);
        assert_eq!(digest, sha256_hex(tags.as_bytes()));
        for line in tags.lines() {
            let (sha256, name) = line.split_once("  ").unwrap();
            assert_eq!(sha256, sha256_hex(read(&bag, name).as_bytes()), "{name}");
        }
        assert_eq!(tags.lines().count(), 3);
        assert_eq!(read(&bag, "bag-info.txt"), "Payload-Oxum: 1.1\nExternal-Identifier: a b: c\n");
    }

    #[test]
    fn originals_are_copied_byte_for_byte() {
        let (folder, mut bag) = bag_with(&[]);
        let from = folder.path().join("f.tif");
        let bytes: Vec<u8> = (0..700_000_u32).map(|i| (i * 7 % 251) as u8).collect();
        fs::write(&from, &bytes).unwrap();
        assert_eq!(bag.copy("images/f.tif", &from).unwrap(), sha256_hex(&bytes));
        assert_eq!(fs::read(bag.root.join("data/images/f.tif")).unwrap(), bytes);
        let fault = bag.copy("images/g.tif", &folder.path().join("gone.tif")).unwrap_err();
        assert!(fault.file.unwrap().ends_with("gone.tif"));
    }
}
