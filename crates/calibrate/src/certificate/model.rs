//! Error of indication at a load and its uncertainty, by the model of EURAMET Calibration Guide No. 18.
//!
//! E = I − m_ref, u²(E) = u²(I) + u²(m_ref), with
//! I = I_L + δI_dig,L + δI_rep + δI_ecc − I_0 − δI_dig,0 and m_ref = m + δm_c + δm_B + δm_D.
//!
//! | symbol  | name             | taken as                                                 | unit |
//! |---------|------------------|----------------------------------------------------------|------|
//! | δI_dig  | `step_g`         | rectangular ± d/2, at load and at zero                   | g    |
//! | δI_rep  | `repeatability_g` | standard deviation of a reading, over √n for a mean of n | g    |
//! | δI_ecc  | `eccentricity`   | rectangular, ± ΔI_ecc,max/(2 L_ecc) · I                  | g    |
//! | δm_c    | `u_mass_g`       | normal, from certificate or class                        | g    |
//! | δm_B    | `buoyancy_relative` | rectangular                                           | g    |
//! | δm_D    | `drift_g`        | rectangular ± D                                          | g    |
//!
//! Expanded uncertainty U = k u with k of Student's t at ν_eff (Welch–Satterthwaite, JCGM 100:2008, G.4).
//! Source: EURAMET Calibration Guide No. 18, version 4.0 (2015), clauses 4, 6 and 7. Repeatability and the eccentricity formula were
//! read in works that quote it; the rest is from memory, and the guide's own worked examples were not at hand. Left out,
//! for working standards at room temperature: convection δm_conv.

use deck::buoyancy::{AIR_DENSITY_KG_M3, WEIGHT_DENSITY_KG_M3};
use stats::uncertainty::{Component, combined, coverage_factor, effective_dof};

/// Part of the reference density by which air may differ from that of the adjustment, unless this was just made (from memory).
const AIR_MAY_DIFFER: f64 = 0.1;
/// The same where the instrument was adjusted on the spot right before (from memory).
const AIR_MAY_DIFFER_ADJUSTED: f64 = 0.015;

/// One contribution to the uncertainty of an error.
#[derive(Debug, Clone, PartialEq)]
pub struct Contribution {
    /// What it is, in words.
    pub source: &'static str,
    /// Law that it is taken to follow.
    pub law: Law,
    /// Standard uncertainty, g.
    pub u_g: f64,
    /// Degrees of freedom; infinite where it is not from readings.
    pub dof: f64,
}

/// Law of a contribution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Law {
    /// Normal, or Student's t with its degrees of freedom.
    Normal,
    /// Even between two limits.
    Rectangular,
}

impl Contribution {
    /// Even within ± `half_g`.
    #[must_use]
    pub fn rectangular(source: &'static str, half_g: f64) -> Self {
        Self { source, law: Law::Rectangular, u_g: half_g.abs() / 3f64.sqrt(), dof: f64::INFINITY }
    }

    /// A standard uncertainty with its degrees of freedom.
    #[must_use]
    pub fn normal(source: &'static str, u_g: f64, dof: f64) -> Self {
        Self { source, law: Law::Normal, u_g: u_g.abs(), dof }
    }
}

/// What is known of the indication at a load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Indication {
    /// Mean indication, kg.
    pub kg: f64,
    /// Step of the indication at zero, g.
    pub zero_step_g: f64,
    /// Step at load, g; where the changeover point was found with small masses, their step.
    pub step_g: f64,
    /// Standard deviation of one reading, g, and its degrees of freedom.
    pub repeatability_g: f64,
    /// Degrees of freedom of it.
    pub repeatability_dof: f64,
    /// Readings whose mean it is.
    pub n_readings: usize,
    /// Largest difference of the indication between the middle and off it, g, and the load that showed it, kg.
    pub eccentricity: Option<(f64, f64)>,
}

impl Indication {
    /// Its contributions.
    #[must_use]
    pub fn contributions(&self) -> Vec<Contribution> {
        let mut all = vec![
            Contribution::rectangular("resolution at zero", self.zero_step_g / 2.0),
            Contribution::rectangular("resolution at load", self.step_g / 2.0),
            Contribution::normal(
                "repeatability",
                self.repeatability_g / (self.n_readings.max(1) as f64).sqrt(),
                self.repeatability_dof,
            ),
        ];
        if let Some((difference_g, at_kg)) = self.eccentricity.filter(|(_, kg)| *kg > 0.0) {
            all.push(Contribution::rectangular("eccentricity", difference_g / (2.0 * at_kg) * self.kg));
        }
        all
    }
}

/// What is known of the reference mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reference {
    /// Conventional mass, kg.
    pub kg: f64,
    /// Its standard uncertainty, g.
    pub u_mass_g: f64,
    /// Permissible error of its class, g: bounds its density, and so its buoyancy.
    pub mpe_g: f64,
    /// Whether the instrument was adjusted on the spot right before.
    pub is_adjusted_here: bool,
    /// Largest change since its calibration, g.
    pub drift_g: f64,
}

impl Reference {
    /// Half width of the relative buoyancy effect where air density is not measured:
    /// 0.1 ρ₀/ρ_c + MPE/(4 m), with 0.015 in the place of 0.1 after adjustment on the spot (from memory).
    #[must_use]
    pub fn buoyancy_relative(&self) -> f64 {
        let differ = if self.is_adjusted_here { AIR_MAY_DIFFER_ADJUSTED } else { AIR_MAY_DIFFER };
        differ * AIR_DENSITY_KG_M3 / WEIGHT_DENSITY_KG_M3 + self.mpe_g / (4e3 * self.kg)
    }

    /// Its contributions.
    #[must_use]
    pub fn contributions(&self) -> Vec<Contribution> {
        vec![
            Contribution::normal("reference mass", self.u_mass_g, f64::INFINITY),
            Contribution::rectangular("air buoyancy of the mass", 1e3 * self.kg * self.buoyancy_relative()),
            Contribution::rectangular("drift of the mass", self.drift_g),
        ]
    }
}

/// Contributions added up.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// What adds to it.
    pub contributions: Vec<Contribution>,
    /// Combined standard uncertainty, g.
    pub u_g: f64,
    /// Effective degrees of freedom.
    pub dof: f64,
    /// Coverage factor.
    pub k: f64,
    /// Expanded uncertainty, g.
    pub expanded_g: f64,
}

impl Budget {
    /// Adds up independent contributions for a coverage probability.
    #[must_use]
    pub fn of(contributions: Vec<Contribution>, coverage: f64) -> Self {
        let parts: Vec<Component> = contributions.iter().map(|c| Component { u: c.u_g, dof: c.dof }).collect();
        let u_g = combined(&parts);
        // Fewer than one effective degree of freedom would leave no factor at all: one is the most that t can say.
        let dof = effective_dof(&parts).max(1.0);
        let k = coverage_factor(coverage, dof);
        Self { contributions, u_g, dof, k, expanded_g: k * u_g }
    }
}

#[cfg(test)]
mod tests {
    use published::{within, within_share};

    use super::*;

    fn u(budget: &Budget, source: &str) -> f64 {
        budget.contributions.iter().find(|c| c.source == source).map_or(f64::NAN, |c| c.u_g)
    }

    /// A deck of d = 100 g under 5 × 20 kg of class M1: s = 29 g, ΔI_ecc = 40 g at 70 kg.
    ///
    /// Source: constructed by hand on the guide's formulas, since its own examples were not at hand; computed apart from
    /// this code to the digits that stand here.
    #[test]
    fn a_deck_under_a_hundred_kilograms() {
        let indication = Indication {
            kg: 100.0,
            zero_step_g: 100.0,
            step_g: 100.0,
            repeatability_g: 29.0,
            repeatability_dof: f64::INFINITY,
            n_readings: 1,
            eccentricity: Some((40.0, 70.0)),
        };
        let reference = Reference {
            kg: 100.0,
            // Five M1 masses of 20 kg, their errors taken as common: 5 × 1 g/√3.
            u_mass_g: 5.0 / 3f64.sqrt(),
            mpe_g: 5.0,
            is_adjusted_here: false,
            // A third of the permissible error, the expanded uncertainty of such masses.
            drift_g: 5.0 / 3.0,
        };
        let mut all = indication.contributions();
        let of_indication = Budget::of(all.clone(), 0.9545);
        all.extend(reference.contributions());
        let budget = Budget::of(all, 0.9545);
        for (source, expected) in [
            ("resolution at zero", 28.87),
            ("resolution at load", 28.87),
            ("eccentricity", 16.50),
            ("reference mass", 2.89),
            ("air buoyancy of the mass", 1.59),
            ("drift of the mass", 0.96),
        ] {
            within(u(&budget, source), expected, 0.005);
        }
        within(of_indication.u_g, 52.72, 0.005);
        within(budget.u_g, 52.84, 0.005);
        // k is 2 at 95.45 %: to half the last place of 105.7.
        within(budget.expanded_g, 105.7, 0.05);
        within(budget.k, 2.0, 1e-4);
    }

    /// Source: T. Lammi, Calibration of weighing instruments and uncertainty of calibration, OIML Bulletin, example 1 (read): Max
    /// 20 t, d = 10 kg, a range of 10 kg in six readings, masses of u = 1.3 kg; U printed as about 10 kg (10.33 to the
    /// digits). That procedure takes 0.3 d once, for the zero is set apart; ours with the zero's step left out gives the
    /// same: d/√12 = 0.289 d in the place of 0.3 d makes up the difference.
    #[test]
    fn a_published_weighbridge() {
        // The standard deviation of the mean range of six: printed 4 kg, R/d₂ = 3.946 kg.
        let indication = Indication {
            kg: 20e3,
            zero_step_g: 0.0,
            step_g: 10e3,
            repeatability_g: 3.946e3,
            repeatability_dof: f64::INFINITY,
            n_readings: 1,
            eccentricity: None,
        };
        let mut all = indication.contributions();
        all.push(Contribution::normal("reference mass", 1.3e3, f64::INFINITY));
        let u_kg = Budget::of(all, 0.9545).expanded_g / 1e3;
        within(u_kg, 10.0, 0.5);
        // And with 0.3 d as printed there, to the digits computed from it.
        let exact = 2.0 * (3.946f64.powi(2) + 3.0f64.powi(2) + 1.3f64.powi(2)).sqrt();
        within_share(u_kg, exact, 0.02);
    }

    /// Source: JCGM 100:2008, table G.2: t₉₅.₄₅ of 4 degrees of freedom is 2.87, of 10 is 2.28, of 50 is 2.05 (from memory).
    #[test]
    fn few_readings_widen_the_interval() {
        for (dof, k) in [(4.0, 2.87), (10.0, 2.28), (50.0, 2.05)] {
            let budget = Budget::of(vec![Contribution::normal("repeatability", 1.0, dof)], 0.9545);
            within(budget.k, k, 0.005);
            assert!((budget.dof - dof).abs() < 1e-9);
        }
    }

    #[test]
    fn adjustment_on_the_spot_leaves_less_buoyancy() {
        let mass = Reference { kg: 20.0, u_mass_g: 0.5, mpe_g: 1.0, is_adjusted_here: true, drift_g: 0.0 };
        // By hand: 0.015·1.2/8000 + 1/(4·20000) = 2.25e-6 + 12.5e-6.
        assert!((mass.buoyancy_relative() - 14.75e-6).abs() < 1e-12);
        let later = Reference { is_adjusted_here: false, ..mass };
        assert!((later.buoyancy_relative() - 27.5e-6).abs() < 1e-12);
    }
}
