//! The signal path from counts to a settled weight, sample by sample, without allocation.
//!
//! No input or output, no clock, no allocation, no panic, no patient: the same samples and configuration give the same bits on a
//! controller, in the service and in a replay. The cost of a sample is bounded: some 0.42 µs for 24 cells on a server core of a busy machine
//! (`benches/README.md`). The whole state of 24 cells, 6 plates and 4 sections is some 11 kB, of which [`keep`] saves what must outlive a power cut.
//!
//! ```text
//! counts → channel check, spikes → kg a cell → ÷ cos θ of its section → sum ─→ low-pass ───────────→ live figure
//!          (channel)               (load)                               └──→ blocks → watch ──────→ plateaus, changes
//!                                                                            (still)  (change, plateau)
//! ```
//!
//! - [`Config::new`] checks cells, plates, sections and [`Limits`] once; capacities are const generics.
//! - [`SignalPath::push`] takes a [`Sample`] and gives a [`Reading`]: total, low-passed total, centre of load, plates, the
//!   [`Channel`]s' states, [`Motion`], the [`Level`] while settled, and a [`Change`] whenever a new plateau is found.
//! - A [`Plateau`] is the deck at rest; [`doubt::between`] gives the uncertainty of the difference of two.
//!
//! - [`Ledger`] shares the load out: tare, items, lean, open questions, and the remainder.
//! - [`keep`] brings ledger and [`Memory`] through a power cut.
//!
//! Who the remainder is, and what an open question was, is for the caller to say.
#![no_std]
#![forbid(unsafe_code)]
#![cfg_attr(not(test), deny(clippy::indexing_slicing, clippy::panic, clippy::unwrap_used, clippy::expect_used))]

pub mod change;
pub mod channel;
pub mod config;
pub mod creep;
pub mod doubt;
pub mod filter;
pub mod keep;
pub mod ledger;
pub mod load;
pub mod path;
pub mod plateau;
pub mod stand_in;
pub mod still;
pub mod trust;
pub mod watch;

pub use channel::Channel;
pub use config::{CellConfig, Config, ConfigError, Limits};
pub use doubt::{Parts, Plateau};
pub use ledger::{Doubt, Item, Ledger, Mass, Open};
pub use path::{Change, Memory, Reading, Sample, SignalPath};
pub use plateau::Level;
pub use watch::Motion;
