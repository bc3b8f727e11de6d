//! The pace at which the patient's mass goes, learned from plateaus: what fluid does in a time in which nothing can be seen.
//!
//! Over a plateau nothing comes or goes but fluid (and creep dies away), so its end less its beginning, over its length, is the pace. The pace r
//! wanders about 0 as pumps are set and kidneys work: dr = −r dt/τ + noise, r ~ N(0, σ²), a scalar Kalman filter.
//!
//! | symbol | name        | unit |
//! |--------|-------------|------|
//! | r      | `kg_s`      | kg/s |
//! | σ      | `usual_kg_s`| kg/s |
//! | τ      | `TAU_S`     | s    |
//!
//! σ scales with the root of the patient's mass, as maintenance fluid does (Holliday & Segar 1957: 40 mL/h at 10 kg, 120 mL/h at 80 kg; clinical
//! reference 1.4). Drugs come on top as short infusions that no pace foretells: six of 100 mL a day in an adult (common practice, no source), which is
//! q = 6 · (0.1 kg)² a day. Over a time T ahead: r T ± √(T² (var e^(−2T/τ) + σ² (1 − e^(−2T/τ))) + q T).
//! Source: Kalman filter of an Ornstein-Uhlenbeck process (textbook, no page); σ and τ are choices of this project.

use serde::{Deserialize, Serialize};
use signal::Level;

/// Time over which a pace is kept, s: infusions are set every hour or few.
const TAU_S: f64 = 7200.0;
/// Plateaus shorter than this tell nothing of a pace, s.
const LEAST_S: f64 = 60.0;
/// Mass at which the usual pace is that of the rules, kg.
const ADULT_KG: f64 = 80.0;
/// q over σ², s: short infusions beside the pace.
const DOSES_S: f64 = 6.0 * 0.1 * 0.1 / 86_400.0 / (5e-5 * 5e-5);
/// Time constant of creep, s, as in the uncertainty of the signal path.
const CREEP_S: f64 = 600.0;

/// The pace, and the plateau that it is learned from next.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(crate) struct Pace {
    kg_s: f64,
    /// Part of the usual variance that is still open, 0 to 1; `None` before anything was learned.
    known: Option<Known>,
    /// Time, load and uncertainty at the beginning of the present plateau.
    begun: Option<[f64; 3]>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Known {
    t_s: f64,
    var: f64,
}

/// Standard deviation of the pace of a patient of whom nothing is known, kg/s.
pub(crate) fn usual_kg_s(adult_kg_s: f64, patient_kg: f64) -> f64 {
    adult_kg_s * (patient_kg.max(0.0) / ADULT_KG).sqrt()
}

impl Pace {
    /// A plateau begins.
    pub(crate) fn begin(&mut self, level: &Level) {
        self.begun = Some([level.t_s, level.kg, level.u_kg]);
    }

    /// What is known of the present plateau's beginning does not count: cells changed, or care is given.
    pub(crate) fn forget_plateau(&mut self) {
        self.begun = None;
    }

    /// The present plateau ends: its pace is learned. `creep_kg` is the creep of a load that came at `loaded_s`.
    pub(crate) fn learn(&mut self, end: &Level, usual_kg_s: f64, creep_kg: f64, loaded_s: f64) {
        let Some([from_s, from_kg, from_u_kg]) = self.begun.take() else { return };
        let length_s = end.t_s - from_s;
        if length_s < LEAST_S {
            return;
        }
        let crept = |t_s: f64| (-(t_s - loaded_s).max(0.0) / CREEP_S).exp();
        let creep_u_kg = creep_kg * (crept(from_s) - crept(end.t_s));
        let u_kg = from_u_kg.hypot(end.u_kg).hypot(creep_u_kg);
        let doses = DOSES_S * usual_kg_s * usual_kg_s / length_s;
        let (seen, seen_var) = ((end.kg - from_kg) / length_s, (u_kg / length_s).powi(2) + doses);
        let (kg_s, var) = self.at(from_s, usual_kg_s);
        let gain = var / (var + seen_var);
        self.kg_s = kg_s + gain * (seen - kg_s);
        self.known = Some(Known { t_s: end.t_s, var: var * (1.0 - gain) });
    }

    /// Pace and its variance at a time.
    fn at(&self, t_s: f64, usual_kg_s: f64) -> (f64, f64) {
        let usual = usual_kg_s * usual_kg_s;
        let Some(Known { t_s: known_s, var }) = self.known else { return (0.0, usual) };
        let fade = (-(t_s - known_s).max(0.0) / TAU_S).exp();
        (self.kg_s * fade, var * fade * fade + usual * (1.0 - fade * fade))
    }

    /// What the patient gains from `from_s` for `apart_s`, with its standard uncertainty, kg.
    pub(crate) fn over(&self, from_s: f64, apart_s: f64, usual_kg_s: f64) -> (f64, f64) {
        let apart_s = apart_s.max(0.0);
        let (kg_s, _) = self.at(from_s + apart_s / 2.0, usual_kg_s);
        let (_, var) = self.at(from_s + apart_s, usual_kg_s);
        (kg_s * apart_s, (var * apart_s * apart_s + DOSES_S * usual_kg_s * usual_kg_s * apart_s).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(t_s: f64, kg: f64) -> Level {
        Level { t_s, kg, u_kg: 0.003, ..Level::default() }
    }

    #[test]
    fn a_steady_infusion_is_learned_within_an_hour_and_forgotten_in_a_day() {
        let (usual, pace_kg_s) = (usual_kg_s(5e-5, 80.0), 0.4 / 3600.0);
        let mut pace = Pace::default();
        // 30 g of pace and √(6 · 0.01/144) kg = 20 g of doses.
        let (kg, u_kg) = pace.over(0.0, 600.0, usual);
        assert!(kg.abs() < 1e-12 && (u_kg - 0.03f64.hypot(0.02041)).abs() < 1e-5, "{u_kg}");
        for i in 0..8 {
            let t_s = 450.0 * f64::from(i);
            pace.begin(&level(t_s, 80.0 + pace_kg_s * t_s));
            pace.learn(&level(t_s + 400.0, 80.0 + pace_kg_s * (t_s + 400.0)), usual, 0.0, 0.0);
        }
        let (kg, u_kg) = pace.over(3600.0, 600.0, usual);
        assert!((kg - 600.0 * pace_kg_s).abs() < 2.0 * u_kg && u_kg < 0.028, "{kg} ± {u_kg}");
        let (kg, u_kg) = pace.over(90_000.0, 600.0, usual);
        assert!(kg.abs() < 1e-4 && (u_kg - 0.03f64.hypot(0.02041)).abs() < 1e-4);
    }

    #[test]
    fn what_creeps_after_an_arrival_is_not_taken_for_fluid() {
        let usual = usual_kg_s(5e-5, 80.0);
        let learned = |creep_kg: f64| {
            let mut pace = Pace::default();
            pace.begin(&level(10.0, 80.0));
            pace.learn(&level(410.0, 80.02), usual, creep_kg, 0.0);
            pace.over(410.0, 3600.0, usual).0
        };
        // Half of 30 g creeps in these 400 s: what was seen is as likely that.
        assert!(learned(0.03) < 0.8 * learned(0.0), "{} {}", learned(0.03), learned(0.0));
    }

    #[test]
    fn a_small_patient_has_a_small_pace() {
        assert!((usual_kg_s(5e-5, 10.0) / 5e-5 - 0.125f64.sqrt()).abs() < 1e-12);
    }
}
