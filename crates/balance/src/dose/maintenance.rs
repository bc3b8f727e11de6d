//! Maintenance fluid by weight. Source: Holliday & Segar, Pediatrics 1957;19:823.
//!
//! Not for newborns, and many sick children need less (a ventilated child about 80 %).

use super::{DoseError, NEWBORN_Y, Within};

/// Maintenance need, mL/day: 100/kg to 10 kg, 50/kg from 10 to 20, 20/kg above 20.
pub(crate) fn holliday_segar_ml_day(weight_kg: f64) -> f64 {
    100.0 * weight_kg.min(10.0) + 50.0 * (weight_kg - 10.0).clamp(0.0, 10.0) + 20.0 * (weight_kg - 20.0).max(0.0)
}

fn check(formula: &'static str, age_y: Option<f64>, weight_kg: f64) -> Result<(), DoseError> {
    let within = Within::new(formula);
    if let Some(age_y) = age_y {
        within.of("age_y", age_y, NEWBORN_Y, 120.0)?;
    }
    within.of("weight_kg", weight_kg, 3.0, 100.0)?;
    Ok(())
}

/// Maintenance need by the daily form, mL/day.
///
/// # Errors
/// Outside 3–100 kg; a newborn, where the age is known.
pub fn maintenance_ml_day(age_y: Option<f64>, weight_kg: f64) -> Result<f64, DoseError> {
    check("Holliday-Segar 1957", age_y, weight_kg)?;
    Ok(holliday_segar_ml_day(weight_kg))
}

/// Maintenance need by the hourly 4-2-1 form, mL/h; it is not the daily form divided by 24.
///
/// # Errors
/// Outside 3–100 kg; a newborn, where the age is known.
pub fn maintenance_4_2_1_ml_h(age_y: Option<f64>, weight_kg: f64) -> Result<f64, DoseError> {
    check("4-2-1 rule", age_y, weight_kg)?;
    Ok(4.0 * weight_kg.min(10.0) + 2.0 * (weight_kg - 10.0).clamp(0.0, 10.0) + (weight_kg - 20.0).max(0.0))
}
