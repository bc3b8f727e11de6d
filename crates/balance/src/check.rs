//! What a patient file and options may hold: beyond it nothing can be meant, and no figure would be one.

use formats::patient::{PatientFile, Plan};

use crate::error::BalanceError;
use crate::options::Options;

/// Refuses the first value outside its range.
///
/// # Errors
/// [`BalanceError::OutOfRange`].
pub(crate) fn check(file: &PatientFile, options: &Options) -> Result<(), BalanceError> {
    let patient = &file.patient;
    range("age_y", patient.age_y, 0.0, 125.0, "0 to 125")?;
    range("age_mo", patient.age_mo, 0.0, 24.0, "0 to 24")?;
    range("admission_kg", patient.admission_kg, 0.3, 400.0, "0.3 to 400")?;
    range("dry_kg", patient.dry_kg, 0.3, 400.0, "0.3 to 400")?;
    range("height_mm", patient.height_mm, 250.0, 2500.0, "250 to 2500")?;
    range("temperature_C", patient.temperature_c, 25.0, 45.0, "25 to 45")?;
    range("burned_pct", patient.burned_pct, 0.0, 100.0, "0 to 100")?;
    range("minute_volume_L_min", patient.minute_volume_l_min, 0.05, 100.0, "0.05 to 100")?;
    range("oxygen_uptake_mL_min", patient.oxygen_uptake_ml_min, 1.0, 5000.0, "1 to 5000")?;
    range("respiratory_quotient", patient.respiratory_quotient, 0.5, 1.5, "0.5 to 1.5")?;
    range("creatinine_umol_L", patient.creatinine_umol_l, 1.0, 1e4, "1 to 10000")?;
    range("baseline_creatinine_umol_L", patient.baseline_creatinine_umol_l, 1.0, 1e4, "1 to 10000")?;
    if let Some(plan) = &file.plan {
        rates(["plan.intake_mL_h", "plan.output_mL_h", "plan.ultrafiltration_mL_h"], plan)?;
    }
    range("block_s", Some(options.block_s), 1.0, 3600.0, "1 to 3600")?;
    range("correlation_s", Some(options.correlation_s), 0.1, 3600.0, "0.1 to 3600")?;
    range("posture_h", Some(options.posture_h), 0.05, 48.0, "0.05 to 48")?;
    range("drift_g_sqrt_h", options.drift_g_sqrt_h, 0.0, 1e4, "0 to 10000")?;
    range("false_alerts_per_day", Some(options.false_alerts_per_day), 1e-4, 1.0, "0.0001 to 1")?;
    range("forecast_h", Some(f64::from(options.forecast_h)), 0.0, 240.0, "0 to 240")?;
    for (_, plan) in &options.alternatives {
        rates(["intake_mL_h of a plan", "output_mL_h of a plan", "ultrafiltration_mL_h of a plan"], plan)?;
    }
    for &h in &options.windows_h {
        range("a window", Some(h), 0.01, 1e5, "0.01 to 100000 h")?;
    }
    for removal in &options.removals {
        range("fluid of a removal", removal.fluid_g, 0.0, 1e5, "0 to 100000 g")?;
    }
    for item in &options.items {
        range("mass of an item", Some(item.kg), -500.0, 500.0, "-500 to 500 kg")?;
        range("uncertainty of an item", Some(item.u_kg), 0.0, 500.0, "0 to 500 kg")?;
    }
    options.densities.map_or(Ok(()), |densities| {
        let all = [
            densities.iv_g_ml,
            densities.blood_g_ml,
            densities.urine_g_ml,
            densities.enteral_g_ml,
            densities.other_g_ml,
        ];
        all.into_iter().try_for_each(|g_ml| range("a density", Some(g_ml), 0.5, 2.0, "0.5 to 2 g/mL"))
    })
}

/// Rates that a body or a machine can bear: ten times the fastest resuscitation.
fn rates(names: [&'static str; 3], plan: &Plan) -> Result<(), BalanceError> {
    let rates = [plan.intake_ml_h, plan.output_ml_h, plan.ultrafiltration_ml_h];
    names.into_iter().zip(rates).try_for_each(|(what, ml_h)| range(what, Some(ml_h), 0.0, 1e5, "0 to 100000 mL/h"))
}

fn range(
    what: &'static str,
    value: Option<f64>,
    low: f64,
    high: f64,
    expected: &'static str,
) -> Result<(), BalanceError> {
    match value {
        Some(found) if !(low..=high).contains(&found) => Err(BalanceError::OutOfRange { what, found, expected }),
        _ => Ok(()),
    }
}
