//! Body segments of a patient laid on the sections of a bed: where a person's mass presses, and how much.
//!
//! Pure geometry in metres and kilograms; nothing here knows plates, newtons or files.
//!
//! 1. [`anthropometry`]: how mass and length are shared among segments (published tables, scaled by stature);
//! 2. [`lying`]: the segments laid supine on the flat bed, each as an even box that keeps its centre of mass;
//! 3. [`spread`]: the mattress blurs each box, and the hinges of the bed cut it.
//!
//! Coordinates are those of the bed lying flat: x from the head end to the foot along the mattress, y from the
//! patient's right to left. A bed that articulates carries its mattress along, so x is measured along the sections and
//! the same pieces hold for every posture; what a tilted section feels of them is a question of forces, asked elsewhere.
//! Left out: the patient's slide towards the foot as the back rises, and the shift of what lies high above a tilted section.

#![cfg_attr(not(test), deny(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod anthropometry;
pub mod lying;
pub mod spread;

pub use anthropometry::{BodyError, Part, Person, Segment, Sex, segments};
pub use lying::{Bed, Place, lay};
pub use spread::{Laid, Pressure};
