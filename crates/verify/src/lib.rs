//! Stage verify: metrological tests against their limits, and agreement of two methods.
//!
//! [`verify`] judges the rows of a test file by OIML R 76-1; [`agree`] compares two methods on the same subjects;
//! [`mod@plan`] says which loads to put where for the tests, [`indication`] what counts show; [`mod@noise`] says what a recording at rest shows of noise, drift and the smallest change.
//! What comes out is evidence for an assessor, not an approval.
//!
//! Not here: the limits themselves (`deck::oiml`), statistics (`stats`), pages and plots.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

mod agree;
mod changeover;
mod error;
pub mod indication;
mod kinds;
pub mod noise;
pub mod plan;
mod report;
mod rules;
mod verdict;

pub use agree::{
    AgreeError, AgreeOptions, AgreeReport, GaugeStudy, Line, PairsNeeded, Part, Proportional, RankLine, Repeatability,
    WeightedBy, agree,
};
pub use error::VerifyError;
pub use report::{Deviation, Permissible, Phase, Row, Standing, TestReport, VerifyReport};
pub use rules::{EDITION, Mark, Rule};
pub use verdict::verify;
