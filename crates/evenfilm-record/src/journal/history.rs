//! What a journal knows of lots: their records, their pictures, and what they were measured with.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

/// Parts of what numbers rest on that should be fixed before anyone sees numbers, in the order of [`OfLot::shown_with`].
pub const DECISIVE: [&str; 3] = ["recipe", "limits", "plan"];

/// What was last said of a lot.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OfLot {
    /// Digests of the files that its latest numbers rest on, by name: `sheet`, `plan`, `recipe`, `limits`, `corrections`, `pictures`.
    pub rests_on: BTreeMap<String, String>,
    /// Digests of recipe, limits and plan under which any of its numbers were shown.
    pub shown_with: BTreeSet<[String; 3]>,
    /// The same as `rests_on` of its latest record.
    pub recorded: BTreeMap<String, String>,
    /// Its records in their order: revision, digest of the tag manifest.
    pub records: Vec<(u32, String)>,
    /// Moment of its latest entry; empty where there is none.
    pub at: String,
}

/// The entries of a journal that matter for a lot that is measured now.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct History {
    /// What was last said of the lot.
    pub lot: OfLot,
    /// Other lots that count one of its pictures as a field, by the picture's digest.
    pub elsewhere: BTreeMap<String, BTreeSet<String>>,
}

impl History {
    /// What the text of a journal says of a lot and of pictures by their digests. Lines that cannot be read are passed over: `check` finds them.
    pub(super) fn of(bytes: &[u8], lot: &str, pictures: &BTreeSet<&str>) -> Self {
        let mut history = Self::default();
        entries(bytes).for_each(|entry| history.take(&entry, lot, pictures));
        history
    }

    fn take(&mut self, entry: &Value, lot: &str, pictures: &BTreeSet<&str>) {
        let text = |key: &str| entry.get(key).and_then(Value::as_str);
        let Some(whose) = text("lot") else { return };
        if whose != lot {
            let fields = entry.get("pictures").and_then(Value::as_object).into_iter().flatten();
            for digest in fields.filter_map(|(_, digest)| digest.as_str()).filter(|digest| pictures.contains(digest)) {
                self.elsewhere.entry(digest.to_owned()).or_default().insert(whose.to_owned());
            }
            return;
        }
        text("at").unwrap_or_default().clone_into(&mut self.lot.at);
        if let Some(rests_on) = entry.get("rests_on").and_then(Value::as_object) {
            let digest = |name: &str| rests_on.get(name).and_then(Value::as_str).unwrap_or_default().to_owned();
            self.lot.shown_with.insert(DECISIVE.map(digest));
            let digests: BTreeMap<String, String> =
                rests_on.iter().filter_map(|(name, digest)| Some((name.clone(), digest.as_str()?.to_owned()))).collect();
            if text("event") == Some("record") {
                self.lot.recorded.clone_from(&digests);
            }
            self.lot.rests_on = digests;
        }
        match (text("event"), revision_of(entry)) {
            (Some("record" | "found"), Some(record)) => self.lot.records.push(record),
            (Some("not_sealed"), Some(record)) => self.lot.records.retain(|known| *known != record),
            _ => {}
        }
    }
}

/// Entries that can be read.
fn entries(bytes: &[u8]) -> impl Iterator<Item = Value> {
    bytes.split(|&b| b == b'\n').filter_map(|line| serde_json::from_slice(line).ok())
}

/// Revision and digest that an entry names.
fn revision_of(entry: &Value) -> Option<(u32, String)> {
    let revision = u32::try_from(entry.get("revision")?.as_u64()?).ok()?;
    Some((revision, entry.get("tag_manifest_sha256")?.as_str()?.to_owned()))
}

/// Every record that a journal calls sealed: lot, revision, digest of the tag manifest.
pub(super) fn all_sealed(bytes: &[u8]) -> BTreeMap<(String, u32), String> {
    let mut sealed = BTreeMap::new();
    for entry in entries(bytes) {
        let lot = entry.get("lot").and_then(Value::as_str).map(str::to_owned);
        let (Some(lot), Some((revision, digest))) = (lot, revision_of(&entry)) else { continue };
        match entry.get("event").and_then(Value::as_str) {
            Some("record" | "found") => drop(sealed.insert((lot, revision), digest)),
            Some("not_sealed") => drop(sealed.remove(&(lot, revision))),
            _ => {}
        }
    }
    sealed
}

/// What a journal says of one record of a lot.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OfRecord {
    /// Digests of tag manifests under which its revision was sealed; more than one is a number that was given twice.
    pub sealed: Vec<String>,
    /// Its sign-offs: name of the file and digest of the statement.
    pub signoffs: BTreeMap<String, String>,
}

/// What a journal says of a revision of a lot.
pub(super) fn of_record(bytes: &[u8], lot: &str, revision: u32) -> OfRecord {
    let mut of_record = OfRecord::default();
    let needle = format!("\"revision\":{revision},");
    // Most lines are of other records, and need not be taken apart.
    let lines = bytes.split(|&b| b == b'\n').filter(|line| str::from_utf8(line).is_ok_and(|line| line.contains(&needle)));
    for entry in lines.filter_map(|line| serde_json::from_slice::<Value>(line).ok()) {
        let text = |key: &str| entry.get(key).and_then(Value::as_str);
        if text("lot") != Some(lot) || entry.get("revision").and_then(Value::as_u64) != Some(revision.into()) {
            continue;
        }
        match (text("event"), text("tag_manifest_sha256"), text("file"), text("sha256")) {
            (Some("record" | "found"), Some(digest), ..) => of_record.sealed.push(digest.to_owned()),
            (Some("not_sealed"), Some(digest), ..) => of_record.sealed.retain(|sealed| sealed != digest),
            (Some("signoff"), _, Some(file), Some(digest)) => drop(of_record.signoffs.insert(file.to_owned(), digest.to_owned())),
            _ => {}
        }
    }
    of_record
}

/// Lot and revision of the record with a digest, where it was sealed.
pub(super) fn sealed(bytes: &[u8], tag_manifest_sha256: &str) -> Option<(String, u32)> {
    all_sealed(bytes).into_iter().find(|(_, digest)| digest == tag_manifest_sha256).map(|(record, _)| record)
}
