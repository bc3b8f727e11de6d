//! `patient.toml`: a patient and the plan.

use crate::deck::Sex;

/// A patient file.
#[derive(Debug, Clone, PartialEq)]
pub struct PatientFile {
    /// The patient.
    pub patient: Patient,
    /// Rates to come.
    pub plan: Option<Plan>,
}

/// What is known of a patient. Missing is `None`, never a guess.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Patient {
    /// A local label, never a name.
    pub label: String,
    /// Sex.
    pub sex: Option<Sex>,
    /// Age, years.
    pub age_y: Option<f64>,
    /// Age, months, under two years.
    pub age_mo: Option<f64>,
    /// Height, mm.
    pub height_mm: Option<f64>,
    /// Knee height, mm.
    pub knee_height_mm: Option<f64>,
    /// Ulna length, mm.
    pub ulna_mm: Option<f64>,
    /// Demispan, mm.
    pub demispan_mm: Option<f64>,
    /// Mid upper arm circumference, mm.
    pub arm_circumference_mm: Option<f64>,
    /// Calf circumference, mm.
    pub calf_circumference_mm: Option<f64>,
    /// Waist circumference, mm.
    pub waist_mm: Option<f64>,
    /// Hip circumference, mm.
    pub hip_mm: Option<f64>,
    /// Weight at admission, kg.
    pub admission_kg: Option<f64>,
    /// Dry weight, kg.
    pub dry_kg: Option<f64>,
    /// How breathed.
    pub ventilated: Option<Ventilation>,
    /// Body temperature, °C.
    pub temperature_c: Option<f64>,
    /// Serum creatinine, µmol/L.
    pub creatinine_umol_l: Option<f64>,
}

/// Breathing gas.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ventilation {
    /// Ventilated with humidified gas.
    Humidified,
    /// Ventilated with dry gas.
    Dry,
    /// Breathing room air.
    No,
}

/// Rates to come.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Plan {
    /// All intake, mL/h.
    pub intake_ml_h: f64,
    /// All charted output but ultrafiltrate, mL/h.
    pub output_ml_h: f64,
    /// Ultrafiltrate, mL/h.
    pub ultrafiltration_ml_h: f64,
}
