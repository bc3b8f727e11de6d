//! A virtual deck, bed and patient that writes the same files as the real ones.

pub mod bench;
pub mod built;
pub mod cell;
pub mod chance;
pub mod demo;
pub mod error;
pub mod fluid;
pub mod night;
pub mod scenario;
pub mod sharing;
pub mod trial;

pub use bench::acceptance::{pairs, tests_run};
pub use bench::run::{BenchFault, BenchOptions, BenchRun, bench_run};
pub use built::BuiltDeck;
pub use error::TwinError;
pub use night::{Night, NightTruth};
pub use scenario::Scenario;
