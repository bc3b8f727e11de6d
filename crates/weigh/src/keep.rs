//! What outlives a power cut: `signal::keep` keeps ledger and plateaus with its checksum; this is what the stage keeps beside.
//!
//! Packed with `postcard`. Masses come back to the bit; times that are only compared to seconds come back to a millisecond, uncertainties and paces to
//! single precision, a deck at rest as [`signal::keep::rounded`] says. Of the path's filters nothing is kept: they fill anew within seconds, and a restart is to
//! the path what a pause of the samples is.
//!
//! With a tare, a patient and three named items a record of 24 cells has some 500 bytes and one of 48 cells 620; an open question adds some 180, its
//! sentence being most of it, a care that is being given some 130. What no later change can mend any more is left out.

use formats::weights::State;
use serde::{Deserialize, Serialize};
use signal::keep::KeepError;

use crate::judge::JudgeState;
use crate::report::{FaultKind, Last};

/// Goes up when what is packed changes.
const VERSION: u8 = 5;

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
    pub(crate) last: Option<KeptLast>,
    /// Bad channels by the number of their cell.
    pub(crate) bad: Vec<(u8, FaultKind)>,
    pub(crate) judge: JudgeState,
}

/// The last row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct KeptLast {
    #[serde(with = "millis")]
    t_s: f64,
    patient_kg: Option<f64>,
    u_kg: Option<f32>,
    state: State,
}

impl From<Last> for KeptLast {
    #[expect(clippy::cast_possible_truncation, reason = "an uncertainty to single precision")]
    fn from(Last { t_s, patient_kg, u_kg, state }: Last) -> Self {
        Self { t_s, patient_kg, u_kg: u_kg.map(|u_kg| u_kg as f32), state }
    }
}

impl From<KeptLast> for Last {
    fn from(KeptLast { t_s, patient_kg, u_kg, state }: KeptLast) -> Self {
        Self { t_s, patient_kg, u_kg: u_kg.map(f64::from), state }
    }
}

/// A number that single precision is enough for.
pub(crate) mod single {
    use serde::{Deserialize, Deserializer, Serializer};

    #[expect(clippy::cast_possible_truncation, reason = "rounding is what this does")]
    pub(crate) fn serialize<S: Serializer>(number: &f64, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_f32(*number as f32)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
        f32::deserialize(from).map(f64::from)
    }
}

/// A time to a millisecond: four bytes for a day's where a number has eight.
pub(crate) mod millis {
    use serde::{Deserialize, Deserializer, Serializer};

    #[expect(clippy::cast_possible_truncation, reason = "rounding is what this does, and no time is beyond 64 bits")]
    pub(crate) fn of(t_s: f64) -> i64 {
        (1e3 * t_s).round() as i64
    }

    #[expect(clippy::cast_precision_loss, reason = "whole up to 285 000 years")]
    pub(crate) fn seconds(ms: i64) -> f64 {
        ms as f64 / 1e3
    }

    pub(crate) fn serialize<S: Serializer>(t_s: &f64, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_i64(of(*t_s))
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
        i64::deserialize(from).map(seconds)
    }
}

/// [`millis`] of a time that may be none.
pub(crate) mod millis_or_none {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(crate) fn serialize<S: Serializer>(t_s: &Option<f64>, to: S) -> Result<S::Ok, S::Error> {
        t_s.map(super::millis::of).serialize(to)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Option<f64>, D::Error> {
        Option::<i64>::deserialize(from).map(|ms| ms.map(super::millis::seconds))
    }
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
