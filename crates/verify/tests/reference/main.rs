//! Verification and agreement against published figures.

mod agreement;
mod limits;
