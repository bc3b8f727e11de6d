//! Statistics that know no word of the field: least squares, distributions, agreement, uncertainty, state space.
//!
//! Every function is a function of its arguments: no file, clock, network, thread or randomness of its own.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod agreement;
pub mod allan;
pub mod anova;
pub mod control_chart;
pub mod distribution;
pub mod moments;
pub mod optimize;
pub mod regression;
pub mod resolvable;
pub mod robust;
pub mod spectrum;
pub mod state_space;
pub mod uncertainty;

mod root;
