//! What people enter, as entries of the journal and back: actions at a bed, patients, admissions, charted volumes, answers.
//!
//! | chain           | what stands there |
//! |-----------------|-------------------|
//! | a bed's label   | deck, calibration, actions, events, weights, admissions of that bed |
//! | `patient/LABEL` | the patient, charted volumes, alerts and answers |
//! | `ward`          | accounts and settings |
//!
//! A chain is written by one bed or one patient's carers, so that no two beds wait for each other and a ward's tables can
//! be shared out by chain.

mod action;
mod chart;
mod patient;

use store::StoreError;
use store::entry::Entry;

pub use action::{ActionBody, NOTE_MOST, action_entry, action_on_record, actions};
pub use chart::{ChartBody, Charted, chart, chart_entry, entries as chart_entries};
pub use patient::{Stay, patient_chain, patient_entry, patient_file, patients, stay, stay_entry, stays, stays_in};

/// Characters of a refused text that a message repeats.
const BEGINNING: usize = 40;

/// Why an entry cannot be kept as it was given.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RecordError {
    /// A value does not fit.
    #[error("{field}: found {found}, expected {expected}")]
    Value {
        /// Which.
        field: &'static str,
        /// What was given.
        found: String,
        /// What it should be.
        expected: String,
    },
    /// A patient's file has problems.
    #[error("{0}")]
    File(String),
    /// There is no such bed, patient or entry.
    #[error("there is no {what} {name:?}")]
    Missing {
        /// Bed, patient, entry.
        what: &'static str,
        /// Its name.
        name: String,
    },
    /// It stands against what is on record.
    #[error("{0}")]
    Against(String),
    /// The memory refuses.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Whether a text is one line of `1..=most` characters, each of which is one to be seen or a space: what marks or names something is looked
/// up and told by its text, where a line feed or an escape sequence would pass for something else.
pub(crate) fn is_one_line(text: &str, most: usize) -> bool {
    (1..=most).contains(&text.chars().count()) && !text.chars().any(char::is_control)
}

/// The beginning of a text that was refused, with whatever cannot be seen written out.
pub(crate) fn beginning_of(text: &str, most: usize) -> String {
    let cut = text.char_indices().nth(most).map_or(text.len(), |(at, _)| at);
    format!("{:?}{}", &text[..cut], if cut < text.len() { " …" } else { "" })
}

/// Refuses a text of a person with what cannot be seen: it is told in logs, tables and on pages, where a line feed or an escape sequence
/// would pass for something else. For what is entered, never for what is on record, where an old one is to keep nothing from being read.
pub(crate) fn is_seen(field: &'static str, text: &str) -> Result<(), RecordError> {
    if text.chars().any(char::is_control) {
        return Err(RecordError::value(field, beginning_of(text, BEGINNING), "text without control characters"));
    }
    Ok(())
}

/// What an entry holds, where it has that form. One that has not was written from outside, or by a later version.
fn body_of<T: serde::de::DeserializeOwned>(entry: &Entry, expected: &'static str) -> Result<T, RecordError> {
    serde_json::from_str(&entry.new.body).map_err(|error| {
        let Entry { number, new, .. } = entry;
        let what = format!("entry {number} of {:?} with {} ({error})", new.chain, beginning_of(&new.body, BEGINNING));
        RecordError::Store(StoreError::Form { what, expected })
    })
}

impl RecordError {
    pub(crate) fn value(field: &'static str, found: impl Into<String>, expected: impl Into<String>) -> Self {
        Self::Value { field, found: found.into(), expected: expected.into() }
    }
}
