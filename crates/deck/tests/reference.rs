//! Published figures that this crate must reproduce; each test names its source.

#[path = "reference/air.rs"]
mod air;
#[path = "reference/chain.rs"]
mod chain;
#[path = "reference/gravity.rs"]
mod gravity;
#[path = "reference/model.rs"]
mod model;
#[path = "reference/oiml.rs"]
mod oiml;
#[path = "reference/stack.rs"]
mod stack;
