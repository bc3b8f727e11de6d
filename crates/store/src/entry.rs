//! An entry of the journal, and its hash.
//!
//! The hash is SHA-256 (FIPS 180-4) over the hash before it and every field, each led by its length in 8 bytes, so that
//! no two different entries have the same bytes. The first entry of a chain follows 32 zero bytes.

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

/// Bytes of a hash.
pub const HASH_BYTES: usize = 32;
/// A hash.
pub type Hash = [u8; HASH_BYTES];
/// What stands before the first entry of a chain.
pub const START: Hash = [0; HASH_BYTES];
/// The body that withdraws the entry it corrects.
pub const WITHDRAWN: &str = "null";

/// What an entry is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Kind {
    /// A bed of the ward.
    Bed,
    /// A deck, and the bed that it lies in.
    Deck,
    /// A calibration that came into force.
    Calibration,
    /// A patient, under a label of the ward.
    Patient,
    /// A patient came to a bed.
    Admission,
    /// A patient left a bed.
    Discharge,
    /// A settled weight.
    Weight,
    /// Something that the deck noticed.
    Event,
    /// Something that a person did at the bed.
    Action,
    /// A charted volume.
    Chart,
    /// A check with a known mass.
    Check,
    /// An alert that was raised.
    Alert,
    /// What a person answered to an alert or to a question.
    Answer,
    /// An account, its role, its lock.
    Account,
    /// A setting of the ward.
    Setting,
}

const WORDS: [(Kind, &str); 15] = [
    (Kind::Bed, "bed"),
    (Kind::Deck, "deck"),
    (Kind::Calibration, "calibration"),
    (Kind::Patient, "patient"),
    (Kind::Admission, "admission"),
    (Kind::Discharge, "discharge"),
    (Kind::Weight, "weight"),
    (Kind::Event, "event"),
    (Kind::Action, "action"),
    (Kind::Chart, "chart"),
    (Kind::Check, "check"),
    (Kind::Alert, "alert"),
    (Kind::Answer, "answer"),
    (Kind::Account, "account"),
    (Kind::Setting, "setting"),
];

impl Kind {
    /// Its word in the tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        WORDS.iter().find(|(kind, _)| *kind == self).map_or("", |(_, word)| word)
    }

    /// The kind of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        WORDS.iter().find(|(_, known)| *known == word).map(|(kind, _)| *kind)
    }

    /// Every kind.
    pub fn all() -> impl Iterator<Item = Self> {
        WORDS.iter().map(|(kind, _)| *kind)
    }
}

/// What is to be kept. Times are microseconds of UTC since 1970.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NewEntry {
    /// The chain: the label of a bed, or the ward's own.
    pub chain: String,
    /// When it happened.
    pub at_us: i64,
    /// What it is about.
    pub kind: Kind,
    /// Whom or what: a patient's label, a deck's, an account's; may be empty.
    pub subject: String,
    /// Who says so.
    pub author: String,
    /// Number of the entry of this chain that it replaces.
    pub corrects: Option<i64>,
    /// A word that marks one act: given again in this chain, nothing new is kept. For a sender that had no answer.
    pub once: Option<String>,
    /// Its content, in JSON; [`WITHDRAWN`] takes back what it corrects.
    pub body: String,
}

/// What was kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its number in the chain, from 1.
    pub number: i64,
    /// When it was kept.
    pub kept_us: i64,
    /// What was kept.
    pub new: NewEntry,
    /// Its hash.
    pub hash: Hash,
}

/// The hash of an entry after the one whose hash is `before`.
#[must_use]
pub fn hash(before: &Hash, number: i64, kept_us: i64, new: &NewEntry) -> Hash {
    let mut hasher = Sha256::new();
    let mut field = |bytes: &[u8]| {
        hasher.update((bytes.len() as u64).to_le_bytes());
        hasher.update(bytes);
    };
    field(before);
    field(new.chain.as_bytes());
    field(&number.to_le_bytes());
    field(&new.at_us.to_le_bytes());
    field(&kept_us.to_le_bytes());
    field(new.kind.word().as_bytes());
    field(new.subject.as_bytes());
    field(new.author.as_bytes());
    field(&optional(new.corrects.map(i64::to_le_bytes).as_ref().map(<[u8; 8]>::as_slice)));
    field(&optional(new.once.as_deref().map(str::as_bytes)));
    field(new.body.as_bytes());
    hasher.finalize().into()
}

/// A field that may be missing: nothing, or a 1 and its bytes, so that empty and missing differ.
fn optional(bytes: Option<&[u8]>) -> Vec<u8> {
    bytes.map_or_else(Vec::new, |bytes| [&[1], bytes].concat())
}
