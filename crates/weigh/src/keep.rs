//! What outlives a power cut: `signal::keep` keeps ledger and plateaus with its checksum; this is what the stage keeps beside.
//!
//! Packed with `postcard`, which gives every number back to the bit. Of the path's filters nothing is kept: they fill anew within seconds, and a restart
//! is to the path what a pause of the samples is.

use serde::{Deserialize, Serialize};
use signal::keep::KeepError;

use crate::judge::JudgeState;
use crate::report::{FaultKind, Last};

/// Goes up when what is packed changes.
const VERSION: u8 = 2;

/// Why a weigher cannot be kept or resumed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum KeepingError {
    /// The record.
    #[error(transparent)]
    Record(#[from] KeepError),
    /// A whole record that this version cannot read.
    #[error("what is kept was written by another version of this program")]
    Version,
    /// More than a record holds.
    #[error("there is more to keep than a record holds")]
    TooMuch,
    /// Kept of something else.
    #[error("what is kept is of {what} \"{found}\", expected \"{expected}\"")]
    Other {
        /// Of what.
        what: &'static str,
        /// Name in the record.
        found: String,
        /// Name here.
        expected: String,
    },
}

/// The stage's part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Weigh {
    pub(crate) deck: String,
    pub(crate) calibrated_at: String,
    pub(crate) t_s: f64,
    pub(crate) n_taken: usize,
    pub(crate) rows: usize,
    pub(crate) settled: usize,
    pub(crate) next_row_s: Option<f64>,
    pub(crate) last: Option<Last>,
    pub(crate) bad: Vec<Option<FaultKind>>,
    pub(crate) judge: JudgeState,
}

pub(crate) fn pack(state: &Weigh) -> Result<Vec<u8>, KeepingError> {
    postcard::to_extend(state, vec![VERSION]).map_err(|_| KeepingError::TooMuch)
}

pub(crate) fn unpack(bytes: &[u8], deck: &str, calibrated_at: &str) -> Result<Weigh, KeepingError> {
    let Some((&VERSION, packed)) = bytes.split_first() else { return Err(KeepingError::Version) };
    let state: Weigh = postcard::from_bytes(packed).map_err(|_| KeepingError::Version)?;
    let other = |what, found: &str, expected: &str| {
        let (found, expected) = (found.to_owned(), expected.to_owned());
        Err(KeepingError::Other { what, found, expected })
    };
    if state.deck != deck {
        return other("deck", &state.deck, deck);
    }
    if state.calibrated_at != calibrated_at {
        return other("the calibration made at", &state.calibrated_at, calibrated_at);
    }
    Ok(state)
}
