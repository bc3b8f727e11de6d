//! Body surface area, m², from height in cm and weight in kg.
//!
//! | symbol | name        | unit |
//! |--------|-------------|------|
//! | H      | `height_cm` | cm   |
//! | W      | `weight_kg` | kg   |
//!
//! The formulas differ by up to 0.5 m² for one adult (Redlarski 2016, Sci Rep, 25 formulas): a value
//! is never given without the name of its formula.

use super::formula::{Formula, Status};
use super::{DoseError, Within};

/// Facts of the surface from weight alone.
pub(super) const LIVINGSTON_LEE: Formula = Formula {
    name: "Livingston-Lee 2001",
    formula: "0.1173·W^0.6466 from 10 kg; 0.1037·W^0.6724 below",
    source: "Livingston & Lee, Am J Physiol 2001;281:E586",
    status: Status::Read,
    range: "when the height is unknown; derived on 51 to 249 kg and published data",
    caution: "its two pieces do not meet: 6 % apart at 10 kg",
};

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
        self.facts().name
    }

    /// Facts. The sources were read on pages that quote the papers.
    pub fn facts(self) -> Formula {
        let formula = |name, formula, source, range, caution| Formula {
            name,
            formula,
            source,
            status: Status::Read,
            range,
            caution,
        };
        match self {
            Self::Mosteller => formula(
                "Mosteller 1987",
                "sqrt(H·W/3600)",
                "Mosteller, N Engl J Med 1987;317:1098",
                "30 to 230 cm, 0.5 to 300 kg; adults and children",
                "25 published formulas differ by up to 0.5 m² for one adult: name the formula with the value",
            ),
            Self::DuBois => formula(
                "Du Bois 1916",
                "0.007184·H^0.725·W^0.425",
                "Du Bois & Du Bois, Arch Intern Med 1916;17:863",
                "from 100 cm and 15 kg to 230 cm and 300 kg; not for infants",
                "from nine subjects; up to 20 % too low in obesity",
            ),
            Self::Haycock => formula(
                "Haycock 1978",
                "0.024265·H^0.3964·W^0.5378",
                "Haycock, J Pediatr 1978;93:62",
                "30 to 230 cm, 0.5 to 300 kg; infants to adults",
                "",
            ),
            Self::GehanGeorge => formula(
                "Gehan-George 1970",
                "0.0235·H^0.42246·W^0.51456",
                "Gehan & George, Cancer Chemother Rep 1970;54:225",
                "30 to 230 cm, 0.5 to 300 kg; from 401 people, children and adults",
                "",
            ),
            Self::Boyd => formula(
                "Boyd 1935",
                "0.0003207·H^0.3·g^(0.7285−0.0188·log g), g the weight in grams",
                "Boyd, The Growth of the Surface Area of the Human Body, 1935",
                "30 to 230 cm, 0.5 to 300 kg; newborns to adults",
                "weight in grams here, in kilograms in all the others",
            ),
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
    Within::new(LIVINGSTON_LEE.name).of("weight_kg", weight_kg, 0.5, 300.0)?;
    Ok(if weight_kg >= 10.0 { 0.1173 * weight_kg.powf(0.6466) } else { 0.1037 * weight_kg.powf(0.6724) })
}
