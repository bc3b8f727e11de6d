//! A virtual deck, bed and patient that writes the same files as the real ones.

pub mod cell;
pub mod chance;
pub mod fluid;
