//! Stage weigh: a recording and its actions to weights, events and faults.
//!
//! [`Weigher`] takes samples one by one and gives a row every so often, in constant memory. The numbers come from the
//! signal path (`signal`), which knows no patient; this crate knows who and what lies on the deck:
//!
//! - `judge` gives each change of the load to one of the ledger's accounts — tare, items, lean, open questions — or to the patient, by the actions, its size and what came before and after;
//! - `setup` makes the path's configuration of a deck and its calibration.
//!
//! A change that no action explains never enters the patient's weight: it becomes an open question, and until it is
//! answered by an action, or undone by the opposite change (a hand that leaves the bed), no weight is called settled.
//! Until then both weights are told, with and without the change.
//!
//! [`Weigher::keep`] makes a record of all that must outlive a power cut and [`Weigher::resume`] goes on from it; [`Weigher::news`] hands events on as they
//! come, so that a stream without end is weighed in constant memory.
//! Not here: files, clocks, fluid balance.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

mod error;
mod judge;
mod keep;
mod report;
pub mod setup;
mod warmth;
mod weigher;

pub use error::WeighError;
pub use keep::KeepingError;
pub use report::{Event, EventKind, Fault, FaultKind, Last, Lies, NamedItem, Question, UncertaintyParts, WeighReport};
pub use signal::keep::{KeepError, Keeper, MARK as RECORD_MARK, Slot};
pub use weigher::{News, Options, Weigher};
