//! Predicted, ideal and adjusted weight, and body mass index.
//!
//! H in cm, weights in kg, one inch 2.54 cm. Adults only: there is no agreed predicted weight for
//! children (Martin & Richards, BMC Pulm Med 2017). Below 152 cm the formulas extrapolate.

use formats::deck::Sex;

use super::formula::{Formula, Status};
use super::{DoseError, Within};

/// 60 inches, where the formulas start.
const H0_CM: f64 = 152.4;
const INCH_CM: f64 = 2.54;

/// A weight predicted from height and sex.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Predicted {
    /// Predicted body weight of the ARDS network trial.
    ArdsNet,
    /// Devine 1974.
    Devine,
    /// Robinson 1983.
    Robinson,
}

impl Predicted {
    /// Every formula, the default first.
    pub const ALL: [Self; 3] = [Self::ArdsNet, Self::Devine, Self::Robinson];

    /// Facts.
    pub fn facts(self) -> Formula {
        let range = "adults; below 152.4 cm an extrapolation";
        match self {
            Self::ArdsNet => Formula {
                name: "predicted body weight (ARDSNet)",
                formula: "50 (women 45.5) + 0.91·(H_cm − 152.4)",
                source: "ARDS Network, N Engl J Med 2000;342:1301",
                status: Status::ReadSecondary,
                range,
                caution: "not the same as Devine: up to 0.2 kg apart",
            },
            Self::Devine => Formula {
                name: "ideal body weight (Devine 1974)",
                formula: "50 (women 45.5) + 2.3·(H_in − 60)",
                source: "Devine, Drug Intell Clin Pharm 1974;8:650",
                status: Status::ReadSecondary,
                range,
                caution: "the women's formula is at times credited to Robinson: it is Devine's",
            },
            Self::Robinson => Formula {
                name: "ideal body weight (Robinson 1983)",
                formula: "52 + 1.9·(H_in − 60); women 49 + 1.7·(H_in − 60)",
                source: "Robinson, Am J Hosp Pharm 1983;40:1016",
                status: Status::Memory,
                range,
                caution: "coefficients from memory",
            },
        }
    }

    /// Weight, kg.
    ///
    /// # Errors
    /// Height outside 120–220 cm, age known and below 18.
    pub fn kg(self, sex: Sex, height_cm: f64, age_y: Option<f64>) -> Result<f64, DoseError> {
        let check = Within::new(self.facts().name).of("height_cm", height_cm, 120.0, 220.0)?;
        if let Some(age) = age_y {
            check.of("age_y", age, 18.0, 120.0)?;
        }
        let over_cm = height_cm - H0_CM;
        let over_in = over_cm / INCH_CM;
        Ok(match (self, sex) {
            (Self::ArdsNet, Sex::Male) => 50.0 + 0.91 * over_cm,
            (Self::ArdsNet, Sex::Female) => 45.5 + 0.91 * over_cm,
            (Self::Devine, Sex::Male) => 50.0 + 2.3 * over_in,
            (Self::Devine, Sex::Female) => 45.5 + 2.3 * over_in,
            (Self::Robinson, Sex::Male) => 52.0 + 1.9 * over_in,
            (Self::Robinson, Sex::Female) => 49.0 + 1.7 * over_in,
        })
    }
}

/// Adjusted weight, kg: ideal + 0.4·(actual − ideal) where the actual weight is above the ideal, else
/// the actual weight. Common practice, read on secondary pages.
///
/// # Errors
/// A weight outside 20–300 kg.
pub fn adjusted_kg(ideal_kg: f64, actual_kg: f64) -> Result<f64, DoseError> {
    Within::new("adjusted body weight").of("ideal_kg", ideal_kg, 20.0, 150.0)?.of(
        "actual_kg",
        actual_kg,
        20.0,
        300.0,
    )?;
    Ok(if actual_kg > ideal_kg { ideal_kg + 0.4 * (actual_kg - ideal_kg) } else { actual_kg })
}

/// The oncology variant of one regional handbook, kg: the middle of actual and ideal weight where the
/// actual is above 130 % of the ideal, else the actual weight.
///
/// # Errors
/// A weight outside 20–300 kg.
pub fn oncology_kg(ideal_kg: f64, actual_kg: f64) -> Result<f64, DoseError> {
    Within::new("oncology weight variant").of("ideal_kg", ideal_kg, 20.0, 150.0)?.of(
        "actual_kg",
        actual_kg,
        20.0,
        300.0,
    )?;
    Ok(if actual_kg > 1.3 * ideal_kg { 0.5 * (ideal_kg + actual_kg) } else { actual_kg })
}

/// Body mass index, kg/m²: W/(H/100)². A definition.
///
/// # Errors
/// Outside 30–230 cm or 0.5–400 kg.
pub fn bmi_kg_m2(height_cm: f64, weight_kg: f64) -> Result<f64, DoseError> {
    Within::new("body mass index").of("height_cm", height_cm, 30.0, 230.0)?.of("weight_kg", weight_kg, 0.5, 400.0)?;
    Ok(weight_kg / (height_cm / 100.0).powi(2))
}
