//! Maintenance fluid by weight. Source: Holliday & Segar, Pediatrics 1957;19:823.
//!
//! Not for newborns, and many sick children need less (a ventilated child about 80 %).

use super::formula::{Formula, Status};
use super::{DoseError, NEWBORN_Y, Within};

/// Facts of the daily form.
pub(super) const DAILY: Formula = Formula {
    name: "maintenance fluid, daily form (Holliday-Segar 1957)",
    formula: "100 mL/kg to 10 kg, 50 from 10 to 20, 20 above 20, a day",
    source: "Holliday & Segar, Pediatrics 1957;19:823",
    status: Status::Read,
    range: "3 to 100 kg, not for newborns",
    caution: "many sick children need less, a ventilated child about 80 %; not the hourly form times 24",
};
/// Facts of the hourly form.
pub(super) const HOURLY: Formula = Formula {
    name: "maintenance fluid, hourly form (4-2-1)",
    formula: "4 mL/kg to 10 kg, 2 from 10 to 20, 1 above 20, an hour",
    source: "derived from Holliday & Segar 1957",
    status: Status::Read,
    range: "3 to 100 kg, not for newborns",
    caution: "many sick children need less, a ventilated child about 80 %; not the daily form over 24",
};

/// A newborn is not heavier than this, kg: from there on the age need not be known (own choice).
const NEWBORN_KG_MAX: f64 = 6.0;

/// Maintenance need, mL/day: 100/kg to 10 kg, 50/kg from 10 to 20, 20/kg above 20.
pub(crate) fn holliday_segar_ml_day(weight_kg: f64) -> f64 {
    100.0 * weight_kg.min(10.0) + 50.0 * (weight_kg - 10.0).clamp(0.0, 10.0) + 20.0 * (weight_kg - 20.0).max(0.0)
}

fn check(formula: &'static str, age_y: Option<f64>, weight_kg: f64) -> Result<(), DoseError> {
    let within = Within::new(formula);
    within.of("weight_kg", weight_kg, 3.0, 100.0)?;
    match age_y {
        Some(age_y) => within.of("age_y", age_y, NEWBORN_Y, 120.0).map(|_| ()),
        None if weight_kg < NEWBORN_KG_MAX => Err(DoseError::Missing { formula, quantity: "age_y" }),
        None => Ok(()),
    }
}

/// Maintenance need by the daily form, mL/day.
///
/// # Errors
/// Outside 3–100 kg; a newborn; below 6 kg an age that is not known.
pub fn maintenance_ml_day(age_y: Option<f64>, weight_kg: f64) -> Result<f64, DoseError> {
    check(DAILY.name, age_y, weight_kg)?;
    Ok(holliday_segar_ml_day(weight_kg))
}

/// Maintenance need by the hourly 4-2-1 form, mL/h; it is not the daily form divided by 24.
///
/// # Errors
/// Outside 3–100 kg; a newborn; below 6 kg an age that is not known.
pub fn maintenance_4_2_1_ml_h(age_y: Option<f64>, weight_kg: f64) -> Result<f64, DoseError> {
    check(HOURLY.name, age_y, weight_kg)?;
    Ok(4.0 * weight_kg.min(10.0) + 2.0 * (weight_kg - 10.0).clamp(0.0, 10.0) + (weight_kg - 20.0).max(0.0))
}
