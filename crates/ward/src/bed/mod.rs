//! One bed: samples of its deck to live weights, and to what is kept.
//!
//! [`Engine`] is a function of what it is given: samples with the time at which they arrived, and actions. It says what is
//! to be kept as one [`store::writer::Job`], and goes on only from what was kept: after a kill at any instant it begins
//! again from the bed's state and the actions on record, and neither tare nor hold is lost.

mod engine;
mod live;

pub use engine::{BedError, Engine, Setup};
pub use live::{LinkLive, Live, Question, SILENT_US};
