//! The signal path from counts to a settled weight, sample by sample, without allocation.
#![no_std]
#![forbid(unsafe_code)]
#![deny(clippy::indexing_slicing, clippy::panic, clippy::unwrap_used, clippy::expect_used)]

pub mod change;
pub mod channel;
pub mod config;
pub mod doubt;
pub mod filter;
pub mod load;
pub mod path;
pub mod plateau;
pub mod still;
pub mod watch;

pub use channel::Channel;
pub use config::{CellConfig, Config, ConfigError, Limits};
pub use doubt::{Parts, Plateau};
pub use path::{Change, Reading, Sample, SignalPath};
pub use plateau::Level;
pub use watch::Motion;
