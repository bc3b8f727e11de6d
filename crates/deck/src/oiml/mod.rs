//! Limits of the OIML recommendations, in one place.
//!
//! [`r76`]: non-automatic weighing instruments. [`r60`]: load cells. [`r111`]: weights.
//! The originals were not at hand for R 76-1: its figures come from restatements that agree with each other,
//! and where a figure is from memory its line says so.

pub mod r111;
pub mod r60;
pub mod r76;

pub use r76::{is_valid_interval, mpe_g};
