//! A virtual deck, bed, patient and ward that write the same files as real ones, with the truth beside them.
//!
//! The physics here is not the engine's: plates share loads by the plate solver, cells bow, lag, creep, warm and hum, a
//! patient breathes and is turned, hands lean, fluids run and are charted as people chart. The crate knows none of the
//! stages that calibrate, weigh or balance, and has no door of its own: what it makes are the public files' plain data.
//!
//! | to make                        | call                                                        |
//! |--------------------------------|-------------------------------------------------------------|
//! | a built deck                   | [`BuiltDeck::build`] (deck, spread of its cells, number)    |
//! | run.csv                        | [`bench_run`], or [`bench::run::bench_run_of`] a built deck |
//! | run.csv by a plan                | [`planned_run`]                                             |
//! | recording.csv of a touch check   | [`touch_recording`]                                         |
//! | tests.csv, pairs.csv           | [`tests_run`], [`pairs`], through a calibration             |
//! | recording.csv                  | [`Night::new`], then [`Night::next_sample`]                 |
//! | actions.csv, chart.csv, patient.toml | [`Night::actions`], [`Night::chart`], [`Night::patient_file`] |
//! | truth.json                     | [`Night::truth`], [`BenchRun::truth`], serialized           |
//! | a report card of an engine     | [`trial::score`], [`trial::ReportCard`]                     |
//!
//! One number decides every draw: the same deck, scenario and number give the same bytes. A deck that is built from the number
//! of its bench run has the cells of that run, so the calibration of the one holds for nights on the other.
//!
//! How it fits together: [`cell`] is one cell from force to count, [`sharing`] one plate from place to cells, `contact` its touch of the base, [`built`] the
//! deck from both; [`mod@bench`] puts masses on it, [`night`] a bed with everything that happens there; [`fluid`] runs the
//! patient's fluids and the chart; [`scenario`] is what a file may say; [`chance`] deals all draws; [`demo`] is the example.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod bench;
pub mod built;
pub mod cell;
pub mod chance;
mod contact;
pub mod demo;
pub mod error;
pub mod fluid;
pub mod night;
pub mod reference;
pub mod scenario;
pub mod sharing;
pub mod trial;

pub use bench::acceptance::{pairs, tests_run};
pub use bench::live::LiveBench;
pub use bench::planned::planned_run;
pub use bench::run::{BenchFault, BenchOptions, BenchRun, bench_run};
pub use bench::touch::{Press, touch_recording};
pub use built::BuiltDeck;
pub use error::TwinError;
pub use night::{Night, NightTruth};
pub use scenario::Scenario;
