//! What stops a balance, and what to change.

use thiserror::Error;

/// Why no balance could be made.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum BalanceError {
    /// No settled weight carries a value.
    #[error("found no settled weight in {n_rows} rows, expected at least {needed}")]
    TooFewWeights {
        /// Rows given.
        n_rows: usize,
        /// Settled weights needed.
        needed: usize,
    },
    /// A weight has no wall time, and none was given for `t_s` = 0.
    #[error("weight at t_s = {t_s} has no time, expected a time column or the wall time of t_s = 0")]
    NoWallTime {
        /// Time since the start of the recording, s.
        t_s: f64,
    },
    /// Weights run backwards.
    #[error("weight {index} stands at {found}, expected a time after {previous}")]
    WeightsNotAscending {
        /// Row, from 0.
        index: usize,
        /// Time found.
        found: String,
        /// Time of the row before.
        previous: String,
    },
    /// The record is longer than any stay.
    #[error("the record runs from {first} to {last}, expected 5 years at most: look for a mistyped year")]
    TooLong {
        /// Where it begins.
        first: String,
        /// Where it ends.
        last: String,
    },
    /// A settled weight is not a positive finite number with a positive uncertainty.
    #[error("settled weight at {time}: {what} is {found}, expected {expected}")]
    BadWeight {
        /// When.
        time: String,
        /// Which column.
        what: &'static str,
        /// Value found.
        found: String,
        /// What should stand there.
        expected: &'static str,
    },
    /// A charted volume is negative, not finite or more than a body can have to do with.
    #[error(
        "chart line {line}: volume_mL is {found}, expected 0 to 1000000; what came out is an output, not a negative intake"
    )]
    BadVolume {
        /// Line of the file.
        line: usize,
        /// Value found.
        found: f64,
    },
    /// The same entry stands twice.
    #[error(
        "chart lines {first} and {second} are the same entry, expected each once: remove one, or tell them apart by a note"
    )]
    DuplicateEntry {
        /// Line of the first.
        first: usize,
        /// Line of the second.
        second: usize,
    },
    /// A correction names a line that the chart does not have, or that stands corrected already.
    #[error("chart line {line} corrects line {corrected}: {why}")]
    BadCorrection {
        /// Line of the correction.
        line: usize,
        /// Line it names.
        corrected: usize,
        /// What is wrong with it.
        why: &'static str,
    },
    /// A value of the patient file or of the options is outside what can be meant.
    #[error("{what} is {found}, expected {expected}")]
    OutOfRange {
        /// Which value.
        what: &'static str,
        /// Value found.
        found: f64,
        /// What should stand there.
        expected: &'static str,
    },
    /// The estimator failed on these numbers.
    #[error("the estimator failed: {0}")]
    Estimator(String),
}

/// Which input an error lies in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Blame {
    /// The patient file.
    Patient,
    /// The weights.
    Weights,
    /// The chart.
    Chart,
    /// The options.
    Options,
}

impl BalanceError {
    /// The input that has to be mended.
    #[must_use]
    pub fn file(&self) -> Blame {
        match self {
            Self::TooFewWeights { .. }
            | Self::NoWallTime { .. }
            | Self::WeightsNotAscending { .. }
            | Self::BadWeight { .. }
            | Self::TooLong { .. }
            | Self::Estimator(_) => Blame::Weights,
            Self::BadVolume { .. } | Self::DuplicateEntry { .. } | Self::BadCorrection { .. } => Blame::Chart,
            Self::OutOfRange { what, .. } if Self::OF_PATIENT.contains(what) => Blame::Patient,
            Self::OutOfRange { .. } => Blame::Options,
        }
    }

    /// Keys of the patient file that [`Self::OutOfRange`] names.
    const OF_PATIENT: [&'static str; 15] = [
        "age_y",
        "age_mo",
        "admission_kg",
        "dry_kg",
        "height_mm",
        "temperature_C",
        "burned_pct",
        "minute_volume_L_min",
        "oxygen_uptake_mL_min",
        "respiratory_quotient",
        "creatinine_umol_L",
        "baseline_creatinine_umol_L",
        "plan.intake_mL_h",
        "plan.output_mL_h",
        "plan.ultrafiltration_mL_h",
    ];
}
