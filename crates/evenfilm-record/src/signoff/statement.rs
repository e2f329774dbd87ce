//! What a sign-off says: a JSON document.

use evenfilm_core::choices;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::{Asked, Head, Made};

/// The version of the document that is written here.
pub(super) const VERSION: u32 = 1;

/// Standing of a statement that a key signed.
pub const SIGNED: &str = "signed";
/// Standing of one without a key.
pub const TYPED: &str = "name typed, not signed";

choices! {
    /// What somebody says of a record.
    Meaning {
        /// They took the pictures and measured.
        Measured = "measured",
        /// They looked it through.
        Reviewed = "reviewed",
        /// They answer for it.
        Approved = "approved",
    }
}

/// The document. Later versions may say more (`others`) and mean other things by words that are not known here.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Statement {
    /// Version of the document.
    pub version: u32,
    /// Name of the lot.
    pub lot: String,
    /// Revision of the record.
    pub revision: u32,
    /// SHA-256 of the record's tag manifest, which stands for all that the record holds.
    pub tag_manifest_sha256: String,
    /// Who says it.
    pub name: String,
    /// What they say: the word of a [`Meaning`].
    pub meaning: String,
    /// What they add.
    #[serde(default)]
    pub comment: Option<String>,
    /// When, in UTC to the second.
    pub signed_at: String,
    /// Where that time comes from: "clock" or "SOURCE_DATE_EPOCH".
    pub time_source: String,
    /// The user of the operating system; this and the next two are empty where unknown.
    pub user: String,
    /// The computer.
    pub computer: String,
    /// Its time zone.
    pub zone: String,
    /// The program that wrote it.
    pub program: String,
    /// Its version.
    pub program_version: String,
    /// In words: [`SIGNED`] or [`TYPED`].
    pub standing: String,
    /// The public key that signs it, one line without a comment; `None` where the name is only typed.
    #[serde(default)]
    pub signature: Option<String>,
    /// What else it says.
    #[serde(flatten)]
    pub others: Map<String, Value>,
}

impl Statement {
    pub(super) fn new(head: &Head, asked: &Asked<'_>, meaning: Meaning, made: &Made<'_>) -> Self {
        let (lot, tag_manifest_sha256) = (head.lot.clone(), head.tag_manifest_sha256.clone());
        Self {
            version: VERSION,
            lot,
            revision: head.revision,
            tag_manifest_sha256,
            name: asked.name.trim().to_owned(),
            meaning: meaning.word().to_owned(),
            comment: asked.comment.map(str::to_owned),
            signed_at: made.moment.measured_at.clone(),
            time_source: made.moment.source.to_owned(),
            user: made.origin.user.clone(),
            computer: made.origin.computer.clone(),
            zone: made.origin.zone.clone(),
            program: "evenfilm".to_owned(),
            program_version: made.program_version.to_owned(),
            standing: if asked.key.is_some() { SIGNED } else { TYPED }.to_owned(),
            signature: asked.key.map(|key| key.public().without_comment().text()),
            others: Map::new(),
        }
    }

    /// Reads a document; no key may stand twice, or two readers could read two things.
    ///
    /// # Errors
    /// What is wrong with it and, where that is known, in which line, from 1.
    pub fn parse(bytes: &[u8]) -> Result<Self, (String, Option<usize>)> {
        serde_json::from_slice(bytes).map_err(|e| (e.to_string(), Some(e.line()).filter(|&line| line > 0)))
    }

    /// The document, which ends with a line end.
    pub fn text(&self) -> String {
        // Texts, whole numbers and values that were JSON can always be written.
        serde_json::to_string_pretty(self).map(|text| text + "\n").unwrap_or_default()
    }

    /// The meaning, where the word is known.
    pub fn meaning(&self) -> Option<Meaning> {
        Meaning::from_word(&self.meaning)
    }
}
