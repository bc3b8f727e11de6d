//! Who lies there.

use serde::{Deserialize, Serialize};

/// A patient.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Patient {
    /// Local label, never a name.
    pub label: String,
    /// `female` or `male`.
    pub sex: Sex,
    /// Age, years.
    pub age_y: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// Mass at the start, kg (conventional mass: what a perfect scale shows).
    pub mass_kg: f64,
    /// Weight at admission as the ward believes it, kg; absent: the true one to half a kilogram.
    pub admission_kg: Option<f64>,
    /// `humidified`, `dry` or `no`.
    pub ventilated: Gas,
    /// Body temperature, °C.
    #[serde(rename = "temperature_C")]
    pub temperature_c: f64,
    /// Breaths a minute.
    pub breaths_min: f64,
    /// Heart beats a minute.
    pub pulse_min: f64,
    /// Bouts of moving by himself, an hour.
    pub restless_per_h: f64,
    /// Coughs, an hour.
    pub coughs_per_h: f64,
}

/// Sex, for the tables of body segments.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Sex {
    /// Female.
    Female,
    /// Male.
    Male,
}

/// Breathing gas.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Gas {
    /// Ventilated, humidified.
    Humidified,
    /// Ventilated, dry.
    Dry,
    /// Room air.
    No,
}

impl Default for Patient {
    fn default() -> Self {
        Self {
            label: "bed 1".into(),
            sex: Sex::Female,
            age_y: 60.0,
            height_mm: 1680.0,
            mass_kg: 72.0,
            admission_kg: None,
            ventilated: Gas::Humidified,
            temperature_c: 37.5,
            breaths_min: 16.0,
            pulse_min: 84.0,
            restless_per_h: 2.0,
            coughs_per_h: 2.0,
        }
    }
}
