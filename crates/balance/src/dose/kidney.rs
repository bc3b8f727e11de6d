//! Kidney function from creatinine. 1 mg/dL is 88.4 µmol/L.
//!
//! A weight raised by fluid overstates the clearance: keep the dry weight apart.

use formats::deck::Sex;

use super::formula::{Formula, Status};
use super::{DoseError, Within};

/// µmol/L in one mg/dL of creatinine (molar mass 113.12 g/mol).
pub const UMOL_L_PER_MG_DL: f64 = 88.4;

/// Facts of Cockcroft-Gault 1976.
pub const COCKCROFT_GAULT: Formula = Formula {
    name: "creatinine clearance (Cockcroft-Gault 1976)",
    formula: "(140 − age)·W/(72·Scr mg/dL), women × 0.85; mL/min",
    source: "Cockcroft & Gault, Nephron 1976;16:31",
    status: Status::Read,
    range: "18 to 92 years, stable kidney function, 249 men",
    caution: "weight raised by fluid overstates it; void while creatinine changes",
};
/// Facts of the bedside Schwartz formula.
pub const SCHWARTZ_BEDSIDE: Formula = Formula {
    name: "filtration rate (bedside Schwartz 2009)",
    formula: "0.413·H_cm/Scr mg/dL; mL/min/1.73 m²",
    source: "Schwartz, J Am Soc Nephrol 2009;20:629",
    status: Status::Read,
    range: "1 to 18 years, creatinine traceable to isotope dilution",
    caution: "void while creatinine changes",
};
/// Facts of the original Schwartz formula.
pub const SCHWARTZ_ORIGINAL: Formula = Formula {
    name: "filtration rate (original Schwartz)",
    formula: "k·H_cm/Scr mg/dL; k 0.33 preterm, 0.45 term below 1 y, 0.55 child and adolescent girl, 0.7 boy from 13 y",
    source: "secondary page quoting Schwartz 1976–1987",
    status: Status::ReadSecondary,
    range: "below 18 years, older creatinine methods",
    caution: "reads 20–40 % high with creatinine traceable to isotope dilution",
};

/// Cockcroft-Gault, mL/min.
///
/// # Errors
/// Age outside 18–92.99 years, weight outside 30–250 kg, creatinine outside 0.2–20 mg/dL.
pub fn cockcroft_gault_ml_min(sex: Sex, age_y: f64, weight_kg: f64, creatinine_mg_dl: f64) -> Result<f64, DoseError> {
    Within::new(COCKCROFT_GAULT.name).of("age_y", age_y, 18.0, 92.99)?.of("weight_kg", weight_kg, 30.0, 250.0)?.of(
        "creatinine_mg_dL",
        creatinine_mg_dl,
        0.2,
        20.0,
    )?;
    let men = (140.0 - age_y) * weight_kg / (72.0 * creatinine_mg_dl);
    Ok(if sex == Sex::Female { 0.85 * men } else { men })
}

/// Cockcroft-Gault in its printed form for µmol/L, mL/min: k 1.23 men, 1.04 women.
///
/// # Errors
/// Age outside 18–92.99 years, weight outside 30–250 kg, creatinine outside 18–1768 µmol/L.
pub fn cockcroft_gault_umol_ml_min(
    sex: Sex,
    age_y: f64,
    weight_kg: f64,
    creatinine_umol_l: f64,
) -> Result<f64, DoseError> {
    Within::new(COCKCROFT_GAULT.name).of("age_y", age_y, 18.0, 92.99)?.of("weight_kg", weight_kg, 30.0, 250.0)?.of(
        "creatinine_umol_L",
        creatinine_umol_l,
        0.2 * UMOL_L_PER_MG_DL,
        20.0 * UMOL_L_PER_MG_DL,
    )?;
    let k = if sex == Sex::Female { 1.04 } else { 1.23 };
    Ok((140.0 - age_y) * weight_kg * k / creatinine_umol_l)
}

/// Bedside Schwartz, mL/min/1.73 m².
///
/// # Errors
/// Age outside 1–18.99 years, height outside 60–200 cm, creatinine outside 0.1–20 mg/dL.
pub fn schwartz_bedside(age_y: f64, height_cm: f64, creatinine_mg_dl: f64) -> Result<f64, DoseError> {
    Within::new(SCHWARTZ_BEDSIDE.name).of("age_y", age_y, 1.0, 18.99)?.of("height_cm", height_cm, 60.0, 200.0)?.of(
        "creatinine_mg_dL",
        creatinine_mg_dl,
        0.1,
        20.0,
    )?;
    Ok(0.413 * height_cm / creatinine_mg_dl)
}

/// Facts of the printed form of Cockcroft-Gault for µmol/L.
pub const COCKCROFT_GAULT_UMOL: Formula = Formula {
    name: "creatinine clearance (Cockcroft-Gault, µmol/L form)",
    formula: "(140 − age)·W·k/Scr µmol/L, k 1.23 men, 1.04 women; mL/min",
    source: "secondary page quoting Cockcroft & Gault 1976",
    status: Status::ReadSecondary,
    ..COCKCROFT_GAULT
};

/// The child's group in the original Schwartz formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SchwartzGroup {
    /// Born preterm, below one year.
    Preterm,
    /// Born at term, below one year.
    Term,
    /// A child, or an adolescent girl.
    Child,
    /// An adolescent boy.
    AdolescentBoy,
}

impl SchwartzGroup {
    /// Age from which a boy counts as adolescent, years (from memory).
    const ADOLESCENT_Y: f64 = 13.0;

    /// The group of a child; under one year the gestation decides.
    ///
    /// # Errors
    /// Age outside 0–17.99 years; gestation not known under one year.
    pub fn of(sex: Sex, age_y: f64, gestation_weeks: Option<f64>) -> Result<Self, DoseError> {
        let formula = SCHWARTZ_ORIGINAL.name;
        Within::new(formula).of("age_y", age_y, 0.0, 17.99)?;
        if age_y >= 1.0 {
            let adolescent = sex == Sex::Male && age_y >= Self::ADOLESCENT_Y;
            return Ok(if adolescent { Self::AdolescentBoy } else { Self::Child });
        }
        let weeks = gestation_weeks.ok_or(DoseError::Missing { formula, quantity: "gestation_weeks" })?;
        Ok(if weeks < 37.0 { Self::Preterm } else { Self::Term })
    }
}

/// Original Schwartz, mL/min/1.73 m².
///
/// # Errors
/// Height outside 25–200 cm, creatinine outside 0.1–20 mg/dL.
pub fn schwartz_original(group: SchwartzGroup, height_cm: f64, creatinine_mg_dl: f64) -> Result<f64, DoseError> {
    Within::new(SCHWARTZ_ORIGINAL.name).of("height_cm", height_cm, 25.0, 200.0)?.of(
        "creatinine_mg_dL",
        creatinine_mg_dl,
        0.1,
        20.0,
    )?;
    let k = match group {
        SchwartzGroup::Preterm => 0.33,
        SchwartzGroup::Term => 0.45,
        SchwartzGroup::Child => 0.55,
        SchwartzGroup::AdolescentBoy => 0.7,
    };
    Ok(k * height_cm / creatinine_mg_dl)
}
