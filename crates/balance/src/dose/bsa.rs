//! Body surface area, m², from height in cm and weight in kg.
//!
//! | symbol | name        | unit |
//! |--------|-------------|------|
//! | H      | `height_cm` | cm   |
//! | W      | `weight_kg` | kg   |
//!
//! The formulas differ by up to 0.5 m² for one adult (Redlarski 2016, Sci Rep, 25 formulas): a value
//! is never given without the name of its formula.

use super::{DoseError, Within};

/// A published formula for body surface area.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bsa {
    /// √(H·W/3600). Mosteller, N Engl J Med 1987;317:1098.
    Mosteller,
    /// 0.007184·H^0.725·W^0.425. Du Bois & Du Bois, Arch Intern Med 1916;17:863; nine subjects.
    DuBois,
    /// 0.024265·H^0.3964·W^0.5378. Haycock, J Pediatr 1978;93:62.
    Haycock,
    /// 0.0235·H^0.42246·W^0.51456. Gehan & George, Cancer Chemother Rep 1970;54:225; 401 people.
    GehanGeorge,
    /// 0.0003207·H^0.3·g^(0.7285 − 0.0188·log₁₀ g), g the weight in grams. Boyd 1935.
    Boyd,
}

impl Bsa {
    /// Every formula, the default first.
    pub const ALL: [Self; 5] = [Self::Mosteller, Self::DuBois, Self::Haycock, Self::GehanGeorge, Self::Boyd];

    /// Name and year.
    pub fn name(self) -> &'static str {
        match self {
            Self::Mosteller => "Mosteller 1987",
            Self::DuBois => "Du Bois 1916",
            Self::Haycock => "Haycock 1978",
            Self::GehanGeorge => "Gehan-George 1970",
            Self::Boyd => "Boyd 1935",
        }
    }

    /// Formula as text.
    pub fn formula(self) -> &'static str {
        match self {
            Self::Mosteller => "sqrt(H·W/3600)",
            Self::DuBois => "0.007184·H^0.725·W^0.425",
            Self::Haycock => "0.024265·H^0.3964·W^0.5378",
            Self::GehanGeorge => "0.0235·H^0.42246·W^0.51456",
            Self::Boyd => "0.0003207·H^0.3·g^(0.7285−0.0188·log g)",
        }
    }

    /// Body surface area, m².
    ///
    /// # Errors
    /// Outside 30–230 cm or 0.5–300 kg (the span of the published populations, rounded out), and for
    /// Du Bois below 1 m or 15 kg: nine subjects, none an infant.
    pub fn m2(self, height_cm: f64, weight_kg: f64) -> Result<f64, DoseError> {
        let (h_min, w_min) = if self == Self::DuBois { (100.0, 15.0) } else { (30.0, 0.5) };
        Within::new(self.name()).of("height_cm", height_cm, h_min, 230.0)?.of("weight_kg", weight_kg, w_min, 300.0)?;
        Ok(self.raw_m2(height_cm, weight_kg))
    }

    /// The bare formula, without its range.
    pub(crate) fn raw_m2(self, height_cm: f64, weight_kg: f64) -> f64 {
        let (h, w) = (height_cm, weight_kg);
        match self {
            Self::Mosteller => (h * w / 3600.0).sqrt(),
            Self::DuBois => 0.007_184 * h.powf(0.725) * w.powf(0.425),
            Self::Haycock => 0.024_265 * h.powf(0.3964) * w.powf(0.5378),
            Self::GehanGeorge => 0.0235 * h.powf(0.422_46) * w.powf(0.514_56),
            Self::Boyd => {
                let g = w * 1000.0;
                0.000_320_7 * h.powf(0.3) * g.powf(0.7285 - 0.0188 * g.log10())
            }
        }
    }
}

/// Body surface area from weight alone, m²: 0.1173·W^0.6466 from 10 kg, 0.1037·W^0.6724 below.
///
/// For when no height is known. Source: Livingston & Lee, Am J Physiol 2001;281:E586; derived on
/// 51–249 kg and published data.
///
/// # Errors
/// Outside 0.5–300 kg.
pub fn livingston_lee_m2(weight_kg: f64) -> Result<f64, DoseError> {
    Within::new("Livingston-Lee 2001").of("weight_kg", weight_kg, 0.5, 300.0)?;
    Ok(if weight_kg >= 10.0 { 0.1173 * weight_kg.powf(0.6466) } else { 0.1037 * weight_kg.powf(0.6724) })
}
