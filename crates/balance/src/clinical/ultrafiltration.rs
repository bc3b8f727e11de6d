//! Ultrafiltration rate in haemodialysis: volume/(hours × weight after dialysis), mL/h/kg.
//!
//! Source: Assimon, Am J Kidney Dis 2016 (n 118 394): above 13 mL/h/kg adjusted hazard ratio of death 1.31
//! (1.28–1.34), above 10 1.22 (1.20–1.24). By weight: Mermelstein, CJASN 2023: risk +20 % at 3W + 500 mL/h,
//! +40 % at 3W + 630. Shown as a caution, never as an order.

use serde::Serialize;

/// Caution above this, mL/h/kg.
pub const CAUTION_ML_H_KG: f64 = 13.0;
/// A lower published threshold, mL/h/kg.
pub const LOWER_ML_H_KG: f64 = 10.0;

/// A session's rate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rate {
    /// mL/h/kg.
    #[serde(rename = "mL_h_kg")]
    pub ml_h_kg: f64,
    /// Hazard ratio of death published for this range against below it; `None` up to 10.
    pub published_hazard_ratio: Option<f64>,
    /// Volume at the caution's 13 mL/h/kg, mL.
    #[serde(rename = "volume_at_caution_mL")]
    pub volume_at_caution_ml: f64,
    /// Weight-indexed rate of +20 % risk, mL/h.
    #[serde(rename = "indexed_20_pct_mL_h")]
    pub indexed_20_pct_ml_h: f64,
}

/// Rate of a session that removes `volume_ml` in `hours` from a patient of `after_kg` after dialysis.
pub fn rate(volume_ml: f64, hours: f64, after_kg: f64) -> Rate {
    let ml_h_kg = volume_ml / (hours * after_kg);
    Rate {
        ml_h_kg,
        published_hazard_ratio: match ml_h_kg {
            r if r > CAUTION_ML_H_KG => Some(1.31),
            r if r > LOWER_ML_H_KG => Some(1.22),
            _ => None,
        },
        volume_at_caution_ml: CAUTION_ML_H_KG * hours * after_kg,
        indexed_20_pct_ml_h: 3.0 * after_kg + 500.0,
    }
}
