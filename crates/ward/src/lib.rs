//! One ward: who may do what, which deck lies in which bed, live weights, and what is kept of it all.
//!
//! | module      | what it does |
//! |-------------|--------------|
//! | [`access`]  | accounts, roles, sessions, limits |
//! | [`bed`]     | samples of a deck to live weights, and to what is kept |
//! | [`memory`]  | the ward's memory for many callers: one writer, readers beside it |
//! | [`records`] | what people enter, as entries and back |
//! | [`service`] | a running ward: beds, links, care, balance, upkeep |
//! | [`clock`]   | the one clock of the records |

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod access;
pub mod bed;
pub mod clock;
pub mod memory;
pub mod records;
pub mod service;
#[cfg(test)]
mod testing;

/// The chain of what belongs to no bed: accounts, settings, patients.
pub const WARD: &str = "ward";
