//! Percent fluid overload. The denominator is a weight at admission, never the present one.

/// By intake less output, %: (Σ in − Σ out)/admission weight × 100, in litres and kilograms.
///
/// Source: Sutherland, Am J Kidney Dis 2010;55:316, after Goldstein. Trap: one page of medical formulas
/// prints (out − in).
pub fn intake_output_pct(intake_less_output_l: f64, admission_kg: f64) -> f64 {
    100.0 * intake_less_output_l / admission_kg
}

/// By weight, %: (present − reference)/reference × 100, the reference being an admission weight.
///
/// Source: Selewski, Intensive Care Med 2011;37:1166 (wording from memory).
pub fn weight_pct(present_kg: f64, reference_kg: f64) -> f64 {
    100.0 * (present_kg - reference_kg) / reference_kg
}

/// Bands in which overload is shown, %: 5 is in use as the start of harm (Acute Crit Care 2023;38:209),
/// 10 and 20 divide the published outcomes (Sutherland 2010). Associations, not causes.
pub const BANDS_PCT: [f64; 3] = [5.0, 10.0, 20.0];

/// The highest band that a value has reached, %.
pub fn band_pct(overload_pct: f64) -> Option<f64> {
    BANDS_PCT.into_iter().rev().find(|band| overload_pct >= *band)
}
