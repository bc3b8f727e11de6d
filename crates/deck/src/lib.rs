//! What a deck is: units, materials and laminates, gravity, cells and converter as physical models.
//!
//! Force meets mass in this crate and nowhere else: kilograms become newtons in [`loads`] and through [`gravity`],
//! air acts in [`buoyancy`], and the limits of the recommendations stand once, in [`oiml`].
//!
//! [`geometry`] places sections, plates and cells; [`stack`] makes laminates of materials; [`model`] makes the solver's
//! plate; [`chain`] follows a force to counts. Nothing here solves, fits or judges.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod air;
pub mod buoyancy;
pub mod chain;
pub mod error;
pub mod geometry;
pub mod gravity;
pub mod loads;
pub mod model;
pub mod oiml;
pub mod stack;
pub mod units;

pub use error::DeckError;
pub use gravity::gravity_m_s2;
