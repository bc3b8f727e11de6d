//! From the mass that a deck sees to the water that a physician asks for.
//!
//! Mass: Δm = Σ in − Σ out − evaporated − (CO₂ − O₂). Water: ΔTBW = Σ in + metabolic − Σ out − evaporated.
//! So ΔTBW = Δm + (CO₂ − O₂) + metabolic: what burns goes as gas and stays as water.
//!
//! | term | figure | source |
//! |------|--------|--------|
//! | metabolic water | 250–350 mL/day, an adult of 1.73 m² | National Academies, water intake report, p. 86 |
//! | CO₂ − O₂ | 55–91 g/day at a respiratory quotient of 0.80–0.85, VO₂ 250 mL/min | [`gas_g_day`] |
//!
//! Fluids are taken for water: the solids of feeds and blood stay in the water ledger here.

use serde::Serialize;

use crate::insensible::Insensible;
use crate::report::Estimate;

/// Metabolic water, mL/day for 1.73 m²: middle and half of the published range.
const METABOLIC_ML_D: (f64, f64) = (300.0, 50.0);

/// The two ledgers over one period, and the terms between them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Ledgers {
    /// Length, h.
    pub hours: f64,
    /// Change of body mass, g.
    pub mass_g: Estimate,
    /// Breathed out as carbon dioxide, less oxygen taken in, g.
    pub gas_g: Estimate,
    /// Water made from food and tissue, mL.
    #[serde(rename = "metabolic_mL")]
    pub metabolic_ml: Estimate,
    /// Change of body water, mL.
    #[serde(rename = "water_mL")]
    pub water_ml: Estimate,
    /// Solids burned, g: what the mass lost and the water did not.
    pub burned_g: f64,
}

/// Ledgers for a change of mass over `hours` in a patient of `area_m2`.
pub fn ledgers(mass_g: Estimate, hours: f64, area_m2: f64, prior: &Insensible) -> Ledgers {
    let gas_g = Estimate { value: prior.gas_g_h * hours, u: prior.gas_sd_g_h * hours };
    let scale = area_m2 / 1.73 * hours / 24.0;
    let metabolic_ml = Estimate { value: METABOLIC_ML_D.0 * scale, u: METABOLIC_ML_D.1 * scale };
    let burned_g = gas_g.value + metabolic_ml.value;
    let water_ml = Estimate { value: mass_g.value + burned_g, u: mass_g.u.hypot(gas_g.u).hypot(metabolic_ml.u) };
    Ledgers { hours, mass_g, gas_g, metabolic_ml, water_ml, burned_g }
}

/// Mass of carbon dioxide out less oxygen in, g/day, at an oxygen uptake of `vo2_ml_min` and a respiratory
/// quotient RQ: VO₂ (RQ · 1.977 − 1.429), the densities of the two gases in g/L, dry, 0 °C, 1013 hPa.
pub fn gas_g_day(vo2_ml_min: f64, respiratory_quotient: f64) -> f64 {
    vo2_ml_min * 1.44 * (respiratory_quotient * 1.977 - 1.429)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::insensible::prior;

    /// By hand from the head of the module: over a day an adult of 1.73 m² who breathes off 3 g/h more than he takes in, and makes 300 mL of
    /// water, is 500 g lighter: 72 + 300 = 372 g of that was burned, and 128 mL of water are gone.
    #[test]
    fn what_burns_goes_as_gas_and_stays_as_water() {
        let of_patient = prior(&formats::patient::Patient::default(), 70.0);
        let breathes = Insensible { gas_g_h: 3.0, gas_sd_g_h: 0.5, ..of_patient };
        let both = ledgers(Estimate { value: -500.0, u: 20.0 }, 24.0, 1.73, &breathes);
        assert!((both.burned_g - 372.0).abs() < 1e-9);
        assert!((both.water_ml.value + 128.0).abs() < 1e-9, "{both:?}");
        assert!((both.water_ml.u - (20.0_f64.powi(2) + 12.0_f64.powi(2) + 50.0_f64.powi(2)).sqrt()).abs() < 1e-9);
    }
}
