//! The ward's memory.
//!
//! What happened is kept in a **journal**: one append-only table of entries, in **chains** that are each numbered from 1
//! without a gap. An entry carries the hash of the one before it, so that a change, a removal or an insertion shows
//! ([`audit`]). Nothing is overwritten: a correction is a new entry that names the one it replaces, and both stay.
//!
//! What decks tell many times a second is kept beside it as **readings** ([`readings`]): raw for a stated time, then
//! reduced to the least, mean and greatest of each minute.
//!
//! | module       | what it does |
//! |--------------|--------------|
//! | [`sql`]      | one small door to SQLite and PostgreSQL: the same statements on both |
//! | [`schema`]   | tables, and their migration forward from every released version |
//! | [`entry`]    | an entry, its words and its hash |
//! | [`journal`]  | keeps entries and gives them back |
//! | [`readings`] | keeps readings, and reduces old ones |
//! | [`sessions`] | who is signed in |
//! | [`states`] | what a bed must remember through a power cut |
//! | [`audit`]    | walks the chains and says where one is broken |
//! | [`copy`]     | a whole memory into another: backup and restore |
//! | [`writer`]   | one thread that writes for all beds: many readings, one commit |
//!
//! An entry's body is text in JSON that the caller understands; this crate knows neither what a weight means nor who a
//! patient is, and has no clock: times come in. It opens files and connections, and one thread of its own.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod aside;
pub mod audit;
pub mod copy;
pub mod entry;
mod error;
pub mod journal;
pub mod readings;
pub mod schema;
pub mod sessions;
pub mod sql;
pub mod states;
pub mod writer;

pub use error::StoreError;
