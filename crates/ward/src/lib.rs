//! One ward: who may do what, which deck lies in which bed, live weights, and what is kept of it all.
//!
//! | module     | what it does |
//! |------------|--------------|
//! | [`access`] | accounts, roles, sessions, limits |
//! | [`bed`]    | samples of a deck to live weights, and to what is kept |
//! | [`memory`] | the ward's memory for many callers: one writer, readers beside it |

pub mod access;
pub mod bed;
pub mod memory;

/// The chain of what belongs to no bed: accounts, settings, patients.
pub const WARD: &str = "ward";
