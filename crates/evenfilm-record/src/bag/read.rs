//! Reading BagIt bags (RFC 8493, and the drafts 0.93 to 0.97 before it): all that is wrong with one, not only the first thing.
//!
//! **Nothing is opened by a name that a manifest gives.** The folder is walked without following links; manifests are held against what was
//! found there. So no path, whatever it says, leads to another file, and what is no plain file is never opened.
//!
//! Bounds: a manifest that is parsed holds at most [`LARGEST_MANIFEST`] bytes, any other tag file [`LARGEST_INFO`]; files are digested in
//! pieces of 256 KiB, and at most [`crate::finding::MOST`] faults and as many notes are put in words. A line of a manifest is longer than
//! its digest, so that there are at most a quarter of a million entries of sha256.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use rayon::prelude::*;
use unicode_normalization::UnicodeNormalization;

use crate::finding::{Finding, Findings};

pub mod declaration;
mod digests;
pub mod info;
pub mod manifest;
mod path;
mod text;
mod walk;

use declaration::{Declaration, Version};
pub use digests::{Algorithm, PRODUCTION, Running};
use info::Element;
use manifest::{Entry, Kind};
use walk::Tree;

/// Largest manifest that is parsed, bytes: some hundred and fifty thousand files of sha256.
pub const LARGEST_MANIFEST: u64 = 16 << 20;

/// Largest other tag file that is parsed, bytes.
pub const LARGEST_INFO: u64 = 1 << 20;

/// What to do about a bag that has changed.
pub(crate) const RESTORE: &str = "take the record from a backup, and find out who or what changed it";

/// What a bag holds, as far as it can be read, and all that was found.
#[derive(Debug, Default)]
pub struct Contents {
    /// Version of BagIt, where the declaration gives one.
    pub version: Option<Version>,
    /// The elements of `bag-info.txt` (`package-info.txt` before 0.96), in their order.
    pub info: Vec<Element>,
    /// Every plain file with its length in bytes, by path below the bag.
    pub files: BTreeMap<String, u64>,
    /// Digests as they are on the disk, by algorithm and path; those that some manifest asks for.
    pub digests: BTreeMap<(&'static str, String), String>,
    /// Paths that some manifest lists.
    pub listed: BTreeSet<String>,
    /// What was found.
    pub findings: Findings,
}

impl Contents {
    /// The files of the payload: how many, and their bytes.
    pub fn payload(&self) -> (usize, u64) {
        let payload = self.files.range("data/".to_owned().."data0".to_owned());
        payload.fold((0, 0), |(files, bytes), (_, length)| (files + 1, bytes + length))
    }
}

/// A manifest that was read.
struct Manifest<'a> {
    file: String,
    kind: Kind,
    algorithm: &'a Algorithm,
    entries: Vec<Entry>,
}

/// Looks at the bag in a folder; `algorithms` are the digests that can be checked. Findings come in a fixed order. Whatever cannot be read
/// is a finding too.
pub fn read(root: &Path, algorithms: &[Algorithm]) -> Contents {
    let mut findings = Findings::default();
    let Tree { files, folders, found } = walk::walk(root);
    findings.extend(found);
    if !folders.contains("data") {
        findings.push(Finding::fault("no_payload", "the folder data is missing", RESTORE).at("data"));
    }
    let declaration = declaration::of(root, &files, &mut findings);
    let manifests = manifests(root, &files, algorithms, declaration, &mut findings);
    if !manifests.iter().any(|manifest| manifest.kind == Kind::Payload) {
        findings.push(Finding::fault("no_manifest", "there is no manifest, so that nothing tells whether files have changed", RESTORE));
    }
    let mut contents = Contents { version: declaration.version, files, findings, ..Contents::default() };
    hold_against(root, &manifests, &mut contents);
    contents.listed = manifests.iter().flat_map(|manifest| manifest.entries.iter().map(|entry| entry.path.clone())).collect();
    contents.info = info_of(root, &mut contents, declaration);
    check_oxum(&mut contents);
    fetch(root, &mut contents, declaration);
    contents
}

/// All manifests at the top of a bag, payload before tags, each in the order of their names.
fn manifests<'a>(
    root: &Path,
    files: &BTreeMap<String, u64>,
    algorithms: &'a [Algorithm],
    declaration: Declaration,
    findings: &mut Findings,
) -> Vec<Manifest<'a>> {
    let mut read = Vec::new();
    for (kind, start) in [(Kind::Payload, "manifest-"), (Kind::Tag, "tagmanifest-")] {
        for file in files.keys() {
            let name = file.strip_prefix(start).and_then(|rest| rest.strip_suffix(".txt")).filter(|name| !name.contains('/'));
            let Some(name) = name else { continue };
            let plain: String = name.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_lowercase()).collect();
            let Some(algorithm) = algorithms.iter().find(|algorithm| algorithm.name == plain) else {
                let message = format!("its digests ({name}) are none that this program can check");
                findings.push(Finding::fault("digest_unknown", message, "take the record from where it was made").at(file));
                continue;
            };
            let Some(text) = text::of(root, file, LARGEST_MANIFEST, declaration.encoding, findings) else { continue };
            let rules = manifest::Rules { kind, version: declaration.version_or_latest(), digits: algorithm.digits };
            let entries = manifest::parse(&text, file, rules, findings);
            read.push(Manifest { file: file.clone(), kind, algorithm, entries });
        }
    }
    read
}

/// Holds the manifests against the files.
fn hold_against(root: &Path, manifests: &[Manifest<'_>], contents: &mut Contents) {
    let resolved = resolve(manifests, contents);
    let digests = digest_all(root, manifests, &resolved, &mut contents.findings);
    for (manifest, places) in manifests.iter().zip(&resolved) {
        for (entry, place) in manifest.entries.iter().zip(places) {
            let Some(place) = place else {
                let message = format!("is missing; {} lists it in line {}", manifest.file, entry.line);
                contents.findings.push(Finding::fault("missing", message, RESTORE).at(&entry.path));
                continue;
            };
            let found = digests.get(&(manifest.algorithm.name, place.clone()));
            if found.is_some_and(|found| *found != entry.digest) {
                let message = format!("has changed: its digest is not the one in line {} of {}", entry.line, manifest.file);
                contents.findings.push(Finding::fault("changed", message, RESTORE).at(place));
            }
        }
    }
    contents.digests = digests;
    unlisted(manifests, &resolved, contents);
}

/// Of each entry of each manifest the file that it means: the one of its name, else one whose name is the same letters otherwise composed,
/// since some disks keep names in a form of their own.
fn resolve(manifests: &[Manifest<'_>], contents: &mut Contents) -> Vec<Vec<Option<String>>> {
    let Contents { files, findings, .. } = contents;
    let mut composed: Option<BTreeMap<String, &String>> = None;
    let mut of = |manifest: &Manifest<'_>, entry: &Entry| {
        if files.contains_key(&entry.path) {
            return Some(entry.path.clone());
        }
        let composed = composed.get_or_insert_with(|| files.keys().map(|path| (path.nfc().collect(), path)).collect());
        let place = *composed.get(&entry.path.nfc().collect::<String>())?;
        let message = format!("its name is spelled with other code points in line {} of {}", entry.line, manifest.file);
        findings.push(Finding::note("other_spelling", message, "nothing need be done: some disks change names so").at(place));
        Some(place.clone())
    };
    manifests.iter().map(|manifest| manifest.entries.iter().map(|entry| of(manifest, entry)).collect()).collect()
}

type Digests = BTreeMap<(&'static str, String), String>;

/// Digests every file that a manifest lists, each read once; files side by side, findings in their order.
fn digest_all(root: &Path, manifests: &[Manifest<'_>], resolved: &[Vec<Option<String>>], findings: &mut Findings) -> Digests {
    let mut wanted: BTreeMap<&String, BTreeMap<&'static str, &Algorithm>> = BTreeMap::new();
    for (manifest, places) in manifests.iter().zip(resolved) {
        for place in places.iter().flatten() {
            wanted.entry(place).or_default().insert(manifest.algorithm.name, manifest.algorithm);
        }
    }
    let wanted: Vec<_> = wanted.into_iter().collect();
    let digest = |(place, algorithms): &(&String, BTreeMap<_, &Algorithm>)| {
        digests::of_file(&walk::place(root, place), algorithms.values().copied())
    };
    let found: Vec<_> = wanted.par_iter().map(digest).collect();
    let mut digests = Digests::new();
    for ((place, _), found) in wanted.iter().zip(found) {
        match found {
            Ok(found) => digests.extend(found.into_iter().map(|(name, digest)| ((name, (*place).clone()), digest))),
            Err(e) => findings.push(walk::unreadable(&e).at(*place)),
        }
    }
    digests
}

/// What lies in the bag and on no list, or not on every list.
fn unlisted(manifests: &[Manifest<'_>], resolved: &[Vec<Option<String>>], contents: &mut Contents) {
    let sets: Vec<BTreeSet<&String>> = resolved.iter().map(|places| places.iter().flatten().collect()).collect();
    let strict = contents.version.is_none_or(Version::is_final);
    for file in contents.files.keys() {
        let kind = if file.starts_with("data/") { Kind::Payload } else { Kind::Tag };
        // A list of tag files does not list itself, and nothing need list the other one.
        if kind == Kind::Tag && (file.starts_with("tagmanifest-") && !file.contains('/')) {
            continue;
        }
        let lists: Vec<_> = manifests.iter().zip(&sets).filter(|(manifest, _)| manifest.kind == kind).collect();
        let holding = lists.iter().filter(|(_, set)| set.contains(file)).count();
        if lists.is_empty() || holding == lists.len() {
            continue;
        }
        let missing_in = lists.iter().find(|(_, set)| !set.contains(file)).map_or("", |(manifest, _)| manifest.file.as_str());
        contents.findings.push(match (kind, holding) {
            (Kind::Payload, 0) => Finding::fault("unlisted", "was added: no manifest lists it", RESTORE).at(file),
            (Kind::Tag, 0) => Finding::note("tag_file_unlisted", format!("{missing_in} does not list it"), "ask who put it there").at(file),
            _ => Finding::fault("not_in_every_manifest", format!("{missing_in} does not list it, though another does"), RESTORE)
                .as_fault(strict)
                .at(file),
        });
    }
}

/// `bag-info.txt`, or its name before version 0.96.
fn info_of(root: &Path, contents: &mut Contents, declaration: Declaration) -> Vec<Element> {
    let Some(file) = ["bag-info.txt", "package-info.txt"].into_iter().find(|file| contents.files.contains_key(*file)) else {
        return Vec::new();
    };
    let Some(text) = text::of(root, file, LARGEST_INFO, declaration.encoding, &mut contents.findings) else { return Vec::new() };
    info::parse(&text, file, declaration.version_or_latest(), &mut contents.findings)
}

/// Holds `Payload-Oxum` (bytes, a dot, files) against the payload.
fn check_oxum(contents: &mut Contents) {
    let (files, bytes) = contents.payload();
    let lines = contents.info.iter().filter(|element| element.label.eq_ignore_ascii_case("Payload-Oxum"));
    for (i, element) in lines.enumerate() {
        let stated = element.value.split_once('.').and_then(|(bytes, files)| Some((files.parse().ok()?, bytes.parse().ok()?)));
        let message = match stated {
            None => format!("Payload-Oxum is \"{}\", which is no number of bytes, a dot and a number of files", element.shown()),
            Some(_) if i > 0 => "Payload-Oxum stands here a second time".into(),
            Some(stated) if stated != (files, bytes) => {
                format!("Payload-Oxum says {} bytes in {} files, but there are {bytes} bytes in {files}", stated.1, stated.0)
            }
            Some(_) => continue,
        };
        contents.findings.push(Finding::fault("oxum", message, RESTORE).at("bag-info.txt").on_line(element.line));
    }
}

/// A bag that says where missing files could be fetched is refused: a record is whole where it lies, and nothing is ever fetched. Its lines
/// are looked at all the same.
fn fetch(root: &Path, contents: &mut Contents, declaration: Declaration) {
    const FILE: &str = "fetch.txt";
    if !contents.files.contains_key(FILE) {
        return;
    }
    let message = "names files to be fetched from elsewhere; nothing is fetched, and a record holds no such list";
    contents.findings.push(Finding::fault("fetch_list", message, "take the record from where it was made, or from a backup").at(FILE));
    let Some(text) = text::of(root, FILE, LARGEST_INFO, declaration.encoding, &mut contents.findings) else { return };
    for (line, text) in text::lines(&text) {
        // Address, length, path.
        let mut parts = text.splitn(3, [' ', '\t']);
        let Some(path) = parts.nth(2) else { continue };
        if let Err(finding) = path::checked(path.trim_start(), Kind::Payload, declaration.version_or_latest()) {
            contents.findings.push(finding.at(FILE).on_line(line));
        }
    }
}

#[cfg(test)]
mod tests;
