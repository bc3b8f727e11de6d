//! What a deck is: units, materials and laminates, gravity, cells and converter as physical models.
//!
//! Force meets mass in this crate and nowhere else: kilograms become newtons through [`gravity`],
//! and the limits of the recommendations stand once, in [`oiml`].

pub mod air;
pub mod buoyancy;
pub mod gravity;
pub mod oiml;

pub use gravity::gravity_m_s2;
