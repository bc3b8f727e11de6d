//! The pages, one module each, made from results by hand.

pub(crate) mod balance;
mod calibration;
mod design;
mod overview;
mod verification;
mod weight;

pub use balance::balance;
pub use calibration::calibration;
pub use design::design;
pub use overview::{Stage, invented, overview, stages};
pub use verification::{PairPoint, verification};
pub use weight::weight;
