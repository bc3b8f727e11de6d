//! Published figures that this crate must reproduce; each test names its source.

#[path = "reference/air.rs"]
mod air;
#[path = "reference/gravity.rs"]
mod gravity;
#[path = "reference/oiml.rs"]
mod oiml;
