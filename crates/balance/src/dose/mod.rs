//! Weight-dependent quantities, each with its formula, source and range of validity.
//!
//! Every function refuses, by name, what lies outside the range of its formula. Nothing here names
//! or computes a drug dose. Heights in cm, weights in kg, ages in years, as the papers have them.

mod age_weight;
pub mod blood;
mod body_weight;
mod bsa;
mod estimates;
mod formula;
pub mod growth;
pub mod height;
pub mod kidney;
pub mod limb_weight;
mod maintenance;
mod report;
mod water;
mod within;

pub use age_weight::AgeRule;
pub use body_weight::{Predicted, adjusted_kg, bmi_kg_m2, oncology_kg};
pub use bsa::{Bsa, livingston_lee_m2};
pub use estimates::{Kind, KnownHeight, KnownWeight, Refusal};
pub use formula::{Formula, Status};
pub(crate) use maintenance::holliday_segar_ml_day;
pub use maintenance::{maintenance_4_2_1_ml_h, maintenance_ml_day};
pub use report::{DoseReport, Effect, Quantity, Value, dose};
pub use water::BodyWater;
pub use within::DoseError;
pub(crate) use within::Within;

use crate::insensible::NEWBORN_Y;
