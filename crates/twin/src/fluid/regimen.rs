//! What is ordered and what the body does, as plain data. Times in seconds from the start, volumes in millilitres.

use serde::{Deserialize, Serialize};

/// A way into or out of the body, by the words of the chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Way {
    /// Into a vein.
    Iv,
    /// By mouth.
    Oral,
    /// By a feeding tube.
    Enteral,
    /// Blood and its products.
    Blood,
    /// Urine.
    Urine,
    /// A drain.
    Drain,
    /// Stool.
    Stool,
    /// From the stomach.
    Gastric,
    /// Removed by a machine.
    Ultrafiltrate,
    /// Any other.
    Other,
}

impl Way {
    /// Grams a millilitre.
    ///
    /// Densities: 0.9 % saline ≈ 1.005 and packed cells ≈ 1.07–1.09 (memory), plasma 1.0205 (Trudnowski
    /// & Rico 1974, read), urine 1.005–1.030 (read; the middle is taken). Feeds, drains and gastric fluid: plain guesses.
    #[must_use]
    pub fn density_g_ml(self) -> f64 {
        match self {
            Self::Iv | Self::Ultrafiltrate => 1.005,
            Self::Blood => 1.07,
            Self::Enteral => 1.05,
            Self::Urine => 1.015,
            Self::Drain => 1.02,
            Self::Stool | Self::Gastric => 1.01,
            Self::Oral | Self::Other => 1.0,
        }
    }

    /// Grams of water a millilitre (plain guesses from usual compositions).
    #[must_use]
    pub fn water_g_ml(self) -> f64 {
        match self {
            Self::Blood => 0.72,
            Self::Enteral => 0.82,
            Self::Stool => 0.80,
            Self::Drain => 0.96,
            _ => 0.99,
        }
    }
}

/// A pump that runs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Infusion {
    /// By which way.
    pub way: Way,
    /// From, s.
    pub from_s: f64,
    /// To, s.
    pub to_s: f64,
    /// Set rate, mL/h.
    pub ml_h: f64,
}

/// A portion: a bolus, a cup, a bag of blood.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Dose {
    /// By which way.
    pub way: Way,
    /// Begin, s.
    pub at_s: f64,
    /// Time it takes, s.
    pub over_s: f64,
    /// Volume, mL.
    pub ml: f64,
}

/// A steady or fading loss other than urine.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Loss {
    /// By which way.
    pub way: Way,
    /// From, s.
    pub from_s: f64,
    /// To, s.
    pub to_s: f64,
    /// Rate at the beginning, mL/h.
    pub ml_h: f64,
    /// Time in which the rate halves, s; absent: it does not.
    pub halves_in_s: Option<f64>,
    /// Whether it leaves the deck at once (a bag hangs beside the bed), or lies in pads until these are changed.
    pub leaves_deck: bool,
    /// Whether anyone charts it.
    pub charted: bool,
}

/// A loss at one moment: stool, vomit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Spill {
    /// By which way.
    pub way: Way,
    /// When, s.
    pub at_s: f64,
    /// Volume, mL.
    pub ml: f64,
}

/// A dose of a diuretic, as what it does to urine: a rise and fall t/τ · exp(1 − t/τ).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Diuretic {
    /// When, s.
    pub at_s: f64,
    /// Extra urine at the peak in a healthy kidney, mL/h.
    pub peak_ml_h: f64,
    /// Time to the peak, s.
    pub tau_s: f64,
}

/// How urine is made and caught.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Kidney {
    /// Urine of a person in balance, mL/kg/h.
    pub base_ml_kg_h: f64,
    /// Share of healthy function over time: corners (s, share), straight between them.
    pub function: Vec<(f64, f64)>,
    /// Caught by a catheter and gone at once; else it lies in nappies or pads until these are changed.
    pub catheter: bool,
}

/// Everything that happens to a patient's fluids.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Regimen {
    /// Pumps.
    #[serde(default)]
    pub infusions: Vec<Infusion>,
    /// Portions.
    #[serde(default)]
    pub doses: Vec<Dose>,
    /// Losses other than urine; a dialysis session is one of them.
    #[serde(default)]
    pub losses: Vec<Loss>,
    /// Losses at one moment, into pads.
    #[serde(default)]
    pub spills: Vec<Spill>,
    /// Urine.
    pub kidney: Kidney,
    /// Diuretics.
    #[serde(default)]
    pub diuretics: Vec<Diuretic>,
    /// Burned share of the body's surface, 0 to 1.
    #[serde(default)]
    pub burned_share: f64,
    /// Surplus of water in the tissues at the start, mL (fluid between dialysis sessions, oedema).
    #[serde(default)]
    pub surplus_ml: f64,
}

impl Kidney {
    /// Share of healthy function at a time.
    #[must_use]
    pub fn function_at(&self, t_s: f64) -> f64 {
        let corners = &self.function;
        let after = corners.partition_point(|c| c.0 <= t_s);
        match (after.checked_sub(1).map(|i| corners[i]), corners.get(after)) {
            (Some((t0, f0)), Some(&(t1, f1))) => f0 + (f1 - f0) * (t_s - t0) / (t1 - t0),
            (Some((_, f)), None) | (None, Some(&(_, f))) => f,
            (None, None) => 1.0,
        }
    }
}

impl Diuretic {
    /// Extra urine at a time, mL/h.
    #[must_use]
    pub fn ml_h(&self, t_s: f64) -> f64 {
        let x = (t_s - self.at_s) / self.tau_s;
        if x <= 0.0 { 0.0 } else { self.peak_ml_h * x * (1.0 - x).exp() }
    }
}

impl Loss {
    /// Rate at a time, mL/h.
    #[must_use]
    pub fn ml_h_at(&self, t_s: f64) -> f64 {
        if t_s < self.from_s || t_s >= self.to_s {
            return 0.0;
        }
        self.halves_in_s.map_or(self.ml_h, |half| self.ml_h * (-(t_s - self.from_s) / half).exp2())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kidney_function_is_straight_between_corners_and_level_outside() {
        let kidney = Kidney { base_ml_kg_h: 1.0, function: vec![(100.0, 0.2), (200.0, 1.0)], catheter: true };
        for (t, share) in [(0.0, 0.2), (100.0, 0.2), (150.0, 0.6), (200.0, 1.0), (900.0, 1.0)] {
            assert!((kidney.function_at(t) - share).abs() < 1e-12, "{t}");
        }
    }

    #[test]
    fn a_diuretic_peaks_after_its_time_and_gives_e_tau_in_all() {
        let dose = Diuretic { at_s: 0.0, peak_ml_h: 300.0, tau_s: 3600.0 };
        assert!((dose.ml_h(3600.0) - 300.0).abs() < 1e-9);
        // ∫ (t/τ) e^(1−t/τ) dt = e τ.
        let whole: f64 = (0..86_400).map(|s| dose.ml_h(f64::from(s)) / 3600.0).sum();
        assert!((whole - 300.0 * std::f64::consts::E).abs() < 0.05, "{whole}");
    }

    #[test]
    fn a_fading_loss_halves() {
        let loss = Loss {
            way: Way::Drain,
            from_s: 0.0,
            to_s: 1e6,
            ml_h: 80.0,
            halves_in_s: Some(3600.0),
            leaves_deck: true,
            charted: true,
        };
        assert!((loss.ml_h_at(7200.0) - 20.0).abs() < 1e-12);
        assert!(loss.ml_h_at(1e6).abs() < 1e-12);
    }
}
