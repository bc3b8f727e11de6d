//! The pace at which the patient's mass goes, learned from plateaus: what fluid does in a time in which nothing can be seen.
//!
//! Over a plateau nothing comes or goes but fluid (and creep dies away), so its end less its beginning, over its length, is the pace; a long
//! plateau is taken in pieces. Pumps and kidneys go on steadily and are set anew now and then, seldom by little: the pace r is a random walk
//! that is found again wherever it went by more than it can walk, a scalar Kalman filter that looks at its innovation.
//!
//! | symbol | name          | unit   |
//! |--------|---------------|--------|
//! | r, P   | `kg_s`, `var` | kg/s, kg²/s² |
//! | σ      | `usual_kg_s`  | kg/s, standard deviation of a pace of which nothing is known |
//! | q      | 2 σ²/`ANEW_S` | kg²/s³ |
//!
//! Ahead over a time T: X = r T, var X = P T² + q T³/3, cov(X, r_T) = C = P T + q T²/2, var r_T = V = P + q T.
//! Once the pace r' (variance V') after that time is known, X is bridged from both ends: X + (C/V)(r' − r), var X − (C/V)² (V − V').
//! Where r' is farther from r than both uncertainties allow, the pace was set anew in between, at a time that nobody saw: q grows to what makes r' likely.
//!
//! σ scales with the root of the patient's mass, as maintenance fluid does (Holliday & Segar 1957: 40 mL/h at 10 kg, 120 mL/h at 80 kg).
//! An adult's σ spans a machine's 1 L/h and a bolus of 500 mL in half an hour (common practice) at one to two σ.
//! Source: Kalman filter and smoother of an integrated random walk (textbook, no page); σ, `ANEW_S` and the bound of innovations are choices of this project.

use serde::{Deserialize, Serialize};
use signal::Level;
use signal::doubt::CREEP_S;

/// In this time a pace is as good as unknown, s.
const ANEW_S: f64 = 57_600.0;
/// Plateaus shorter than this tell nothing of a pace, s.
const LEAST_S: f64 = 20.0;
/// A plateau is taken in pieces of this length, s.
const PIECE_S: f64 = 300.0;
/// For so long the beginning of a plateau is put right as its level becomes known, s.
const BEGIN_S: f64 = 25.0;
/// An innovation beyond so many standard deviations is a pace set anew.
const ANEW_SIGMAS: f64 = 3.0;
/// A gain from this on is a bolus, kg/s: 500 mL/h. Boluses are given in parts of 15 to 30 min (common practice, from memory), with pauses.
const BOLUS_KG_S: f64 = 500.0 / 3.6e6;
/// Mass at which the usual pace is that of the rules, kg.
const ADULT_KG: f64 = 80.0;

/// The pace, and the plateau that it is learned from next.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(crate) struct Pace {
    known: Option<Known>,
    /// Time, load and uncertainty at the beginning of the present piece of plateau, and when the plateau was found.
    begun: Option<([f64; 3], f64)>,
    flowed: Flowed,
}

/// What flowed until a time, by the plateaus, and by the pace between them.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(crate) struct Flowed {
    #[serde(with = "crate::keep::millis")]
    to_s: f64,
    /// Since any fixed time, kg.
    pub kg: f64,
    /// Its variance, kg²: what flows later adds to it.
    #[serde(with = "crate::keep::single")]
    pub var: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Known {
    #[serde(with = "crate::keep::millis")]
    t_s: f64,
    #[serde(with = "crate::keep::single")]
    kg_s: f64,
    #[serde(with = "crate::keep::single")]
    var: f64,
}

/// What flowed in a time that was not seen, as far as it can be known at its end.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Unseen {
    /// When it ended, s.
    #[serde(with = "crate::keep::millis")]
    pub to_s: f64,
    /// What flowed, kg.
    pub kg: f64,
    /// Its variance, kg².
    #[serde(with = "crate::keep::single")]
    pub var: f64,
    #[serde(with = "crate::keep::single")]
    apart_s: f64,
    #[serde(with = "crate::keep::single")]
    kg_s: f64,
    /// C and V of the module's equations.
    #[serde(with = "crate::keep::single")]
    with_pace: f64,
    #[serde(with = "crate::keep::single")]
    pace_var: f64,
    /// What flowed at the least and at the most, if the pace was set anew once and for all at some time in between, kg.
    pub range_kg: [f64; 2],
    /// Standard uncertainty of the ends of that range, kg.
    #[serde(with = "crate::keep::single")]
    pub u_range_kg: f64,
}

/// Standard deviation of the pace of a patient of whom nothing is known, kg/s.
pub(crate) fn usual_kg_s(adult_kg_s: f64, patient_kg: f64) -> f64 {
    adult_kg_s * (patient_kg.max(0.0) / ADULT_KG).sqrt()
}

impl Pace {
    /// A plateau begins.
    pub(crate) fn begin(&mut self, level: &Level) {
        self.begun = Some(([level.t_s, level.kg, level.u_kg], level.t_s));
    }

    /// What is known of the present plateau's beginning does not count: cells changed, or care is given.
    pub(crate) fn forget_plateau(&mut self) {
        self.begun = None;
    }

    /// The plateau lasts: its beginning is known better, or a piece of it is long enough to be learned. True where one was learned.
    pub(crate) fn follow(&mut self, now: &Level, usual_kg_s: f64, creep_kg: f64, loaded_s: f64) -> bool {
        let Some(([from_s, _, u_kg], found_s)) = self.begun else { return false };
        if now.t_s - found_s <= BEGIN_S {
            if now.u_kg < u_kg {
                self.begun = Some(([now.t_s, now.kg, now.u_kg], found_s));
            }
            return false;
        }
        if now.t_s - from_s < PIECE_S {
            return false;
        }
        let learned = self.learn(now, usual_kg_s, creep_kg, loaded_s);
        self.begun = Some(([now.t_s, now.kg, now.u_kg], found_s));
        learned
    }

    /// The present plateau, or a piece of it, ends: its pace is learned. `creep_kg` is the creep of a load that came at `loaded_s`. True where it was
    /// long enough.
    pub(crate) fn learn(&mut self, end: &Level, usual_kg_s: f64, creep_kg: f64, loaded_s: f64) -> bool {
        let Some(([from_s, from_kg, from_u_kg], _)) = self.begun.take() else { return false };
        let length_s = end.t_s - from_s;
        if length_s < LEAST_S {
            return false;
        }
        let crept = |t_s: f64| (-(t_s - loaded_s).max(0.0) / CREEP_S).exp();
        let creep_u_kg = creep_kg * (crept(from_s) - crept(end.t_s));
        let u_kg = from_u_kg.hypot(end.u_kg).hypot(creep_u_kg);
        let (seen, seen_var) = ((end.kg - from_kg) / length_s, (u_kg / length_s).powi(2));
        let (kg_s, walked) = self.at(from_s, usual_kg_s);
        let before = self.flowed(from_s, usual_kg_s);
        self.flowed = Flowed { to_s: end.t_s, kg: before.kg + seen * length_s, var: before.var + u_kg * u_kg };
        let off = seen - kg_s;
        let var = if off * off > ANEW_SIGMAS * ANEW_SIGMAS * (walked + seen_var) { off * off } else { walked };
        let gain = var / (var + seen_var);
        self.known = Some(Known { t_s: end.t_s, kg_s: kg_s + gain * off, var: var * (1.0 - gain) });
        true
    }

    /// What flowed until a time: the difference of two is what flowed in between, also over hours, as each plateau shows its part.
    pub(crate) fn flowed(&self, t_s: f64, usual_kg_s: f64) -> Flowed {
        if self.known.is_none() {
            return Flowed { to_s: t_s, ..self.flowed };
        }
        let unseen = self.over(self.flowed.to_s, t_s - self.flowed.to_s, usual_kg_s);
        Flowed { to_s: t_s, kg: self.flowed.kg + unseen.kg, var: self.flowed.var + unseen.var }
    }

    /// Pace and its variance at a time.
    fn at(&self, t_s: f64, usual_kg_s: f64) -> (f64, f64) {
        let usual = usual_kg_s * usual_kg_s;
        let Some(Known { t_s: known_s, kg_s, var }) = self.known else { return (0.0, usual) };
        (kg_s, var + walk(usual_kg_s) * (t_s - known_s).max(0.0))
    }

    /// What the patient gains from `from_s` for `apart_s`.
    pub(crate) fn over(&self, from_s: f64, apart_s: f64, usual_kg_s: f64) -> Unseen {
        let apart_s = apart_s.max(0.0);
        let (kg_s, var) = self.at(from_s, usual_kg_s);
        let q = walk(usual_kg_s);
        Unseen {
            to_s: from_s + apart_s,
            kg: kg_s * apart_s,
            var: var * apart_s * apart_s + q * apart_s.powi(3) / 3.0,
            apart_s,
            kg_s,
            with_pace: var * apart_s + q * apart_s * apart_s / 2.0,
            pace_var: var + q * apart_s,
            range_kg: range_kg(&[kg_s], apart_s),
            u_range_kg: var.sqrt() * apart_s,
        }
    }

    /// What flowed in a time that ended a while ago, by the pace before and after it. To be asked once something was learned since.
    pub(crate) fn bridge(&self, unseen: &Unseen) -> Unseen {
        let (Some(Known { kg_s, var, .. }), true) = (self.known, unseen.pace_var > 0.0) else { return *unseen };
        let off = kg_s - unseen.kg_s;
        let (mut prior_var, mut with_pace, mut pace_var) = (unseen.var, unseen.with_pace, unseen.pace_var);
        let unlikely = off * off - ANEW_SIGMAS * ANEW_SIGMAS * (pace_var + var);
        if unlikely > 0.0 {
            let more = off * off;
            prior_var += more * unseen.apart_s * unseen.apart_s / 3.0;
            with_pace += more * unseen.apart_s / 2.0;
            pace_var += more;
        }
        let share = with_pace / pace_var;
        let known = (pace_var - var.min(pace_var)) * share * share;
        let range_kg = range_kg(&[unseen.kg_s, kg_s], unseen.apart_s);
        let u_range_kg = unseen.u_range_kg.max(var.sqrt() * unseen.apart_s);
        Unseen { kg: unseen.kg + share * off, var: (prior_var - known).max(0.0), range_kg, u_range_kg, ..*unseen }
    }
}

/// What flows at the least and at the most at one of these paces or, where one is a bolus, which may have ended, at none.
fn range_kg(paces_kg_s: &[f64], apart_s: f64) -> [f64; 2] {
    let none = paces_kg_s.iter().any(|pace| *pace > BOLUS_KG_S).then_some(0.0);
    let paces = || paces_kg_s.iter().copied().chain(none);
    [paces().fold(f64::INFINITY, f64::min) * apart_s, paces().fold(f64::NEG_INFINITY, f64::max) * apart_s]
}

/// q, kg²/s³.
fn walk(usual_kg_s: f64) -> f64 {
    2.0 * usual_kg_s * usual_kg_s / ANEW_S
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level(t_s: f64, kg: f64) -> Level {
        Level { t_s, kg, u_kg: 0.003, ..Level::default() }
    }

    /// A pace that is learned from plateaus of 400 s from `from_s` on.
    fn taught(pace: &mut Pace, from_s: f64, n: i32, kg_s: f64) {
        for i in 0..n {
            let t_s = from_s + 450.0 * f64::from(i);
            pace.begin(&level(t_s, 80.0 + kg_s * t_s));
            assert!(pace.learn(&level(t_s + 400.0, 80.0 + kg_s * (t_s + 400.0)), 2e-4, 0.0, 0.0));
        }
    }

    #[test]
    fn a_steady_infusion_is_known_after_one_plateau_and_less_so_hours_later() {
        let pace_kg_s = 0.4 / 3600.0;
        let mut pace = Pace::default();
        let ahead = pace.over(0.0, 600.0, 2e-4);
        assert!(ahead.kg.abs() < 1e-12 && (ahead.var.sqrt() - 0.12).abs() < 1e-3, "{ahead:?}");
        taught(&mut pace, 0.0, 1, pace_kg_s);
        let ahead = pace.over(400.0, 600.0, 2e-4);
        // Two levels of 3 g at 400 s give 1.1e-5 kg/s, which is 6 g here; the walk adds √(q T³/3) = 10 g.
        assert!((ahead.kg - 600.0 * pace_kg_s).abs() < 2e-4 && ahead.var.sqrt() < 0.013, "{ahead:?}");
        assert!(pace.over(18_000.0, 600.0, 2e-4).var.sqrt() > 0.08);
    }

    /// A machine that is switched on takes 1 L/h: ten times what the walk allows.
    #[test]
    fn a_pace_that_was_set_anew_is_found_at_once() {
        let mut pace = Pace::default();
        taught(&mut pace, 0.0, 3, 0.0);
        taught(&mut pace, 1350.0, 1, -2.8e-4);
        let ahead = pace.over(1750.0, 100.0, 2e-4);
        assert!((ahead.kg + 0.028).abs() < 1e-3, "{ahead:?}");
    }

    /// The same time by both ends: variance of an integrated random walk pinned at its ends is q T³/12 (a Brownian bridge's integral).
    #[test]
    fn a_time_unseen_is_bridged_from_both_ends() {
        let mut pace = Pace::default();
        for i in 0..40 {
            pace.begin(&Level { t_s: f64::from(i) * 100.0, kg: 80.0, u_kg: 1e-6, ..Level::default() });
            pace.learn(
                &Level { t_s: f64::from(i + 1) * 100.0, kg: 80.0, u_kg: 1e-6, ..Level::default() },
                2e-4,
                0.0,
                0.0,
            );
        }
        let unseen = pace.over(4000.0, 900.0, 2e-4);
        let mut after = pace;
        // A tenth of a gram a second more from somewhere in between: likely, so half of it is the best guess.
        let start = Level { t_s: 4900.0, kg: 80.0, u_kg: 1e-6, ..Level::default() };
        after.begin(&start);
        after.learn(&Level { t_s: 5000.0, kg: 80.0 + 100.0 * 3e-5, ..start }, 2e-4, 0.0, 0.0);
        let bridged = after.bridge(&unseen);
        assert!((bridged.kg - 900.0 * 1.5e-5).abs() < 2e-4, "{bridged:?}");
        let pinned = 2.0 * 4e-8 / ANEW_S * 900f64.powi(3) / 12.0;
        assert!((bridged.var / pinned - 1.0).abs() < 0.01, "{bridged:?} {pinned}");
        // Far more: it was set anew, at a time nobody knows, evenly in between: mean T/2, standard deviation T/√12.
        let mut after = pace;
        after.begin(&start);
        after.learn(&Level { t_s: 5000.0, kg: 80.0 + 100.0 * 5e-4, ..start }, 2e-4, 0.0, 0.0);
        let bridged = after.bridge(&unseen);
        assert!(bridged.range_kg[0].abs() < 1e-3 && (bridged.range_kg[1] - 0.45).abs() < 1e-3, "{bridged:?}");
        assert!((bridged.kg - 900.0 * 2.5e-4).abs() < 2e-3, "{bridged:?}");
        assert!((bridged.var.sqrt() / (900.0 * 5e-4 / 12f64.sqrt()) - 1.0).abs() < 0.02, "{bridged:?}");
    }

    /// 900 mL/h before: it may have ended just then. A machine that takes 900 mL/h goes on for hours.
    #[test]
    fn a_bolus_may_have_ended_at_any_time() {
        for (kg_s, least_kg, most_kg) in [(2.5e-4, 0.0, 0.225), (-2.5e-4, -0.225, -0.225), (5e-5, 0.045, 0.045)] {
            let mut pace = Pace::default();
            taught(&mut pace, 0.0, 3, kg_s);
            let [least, most] = pace.over(1350.0, 900.0, 2e-4).range_kg;
            assert!((least - least_kg).abs() < 1e-3 && (most - most_kg).abs() < 1e-3, "{kg_s}: {least} {most}");
        }
    }

    #[test]
    fn what_creeps_after_an_arrival_is_not_taken_for_fluid() {
        let learned = |creep_kg: f64| {
            let mut pace = Pace::default();
            pace.begin(&level(10.0, 80.0));
            pace.learn(&level(410.0, 80.02), 2e-5, creep_kg, 0.0);
            pace.over(410.0, 3600.0, 2e-5).kg
        };
        // Half of 30 g creeps in these 400 s: what was seen is as likely that.
        assert!(learned(0.03) < 0.8 * learned(0.0), "{} {}", learned(0.03), learned(0.0));
    }

    #[test]
    fn a_long_plateau_is_learned_in_pieces_and_its_beginning_when_it_is_known() {
        let mut pace = Pace::default();
        pace.begin(&Level { t_s: 0.0, kg: 80.05, u_kg: 0.02, ..Level::default() });
        let mut learned = 0;
        for i in 1..=700 {
            let now = Level { t_s: f64::from(i), kg: 80.0, u_kg: 0.002, ..Level::default() };
            learned += i32::from(pace.follow(&now, 2e-4, 0.0, 0.0));
        }
        // The first reading, off by 50 g, is forgotten; two pieces of 300 s from the first second on.
        assert_eq!(learned, 2);
        assert!(pace.over(700.0, 1000.0, 2e-4).kg.abs() < 1e-9);
    }

    /// Plateaus of 90 s with gaps of 10 s in between, for three hours: each is weighed to 4.2 g, so the sum to 4.2 g · √108 = 44 g, and the gaps add little.
    #[test]
    fn what_flows_for_hours_is_summed_from_the_plateaus() {
        let mut pace = Pace::default();
        let mut at_start = Flowed::default();
        for i in 0..110 {
            let (t_s, kg_s) = (100.0 * f64::from(i), 1e-4);
            let shifted = f64::from(i % 7);
            pace.begin(&level(t_s, 80.0 + shifted + kg_s * t_s));
            pace.learn(&level(t_s + 90.0, 80.0 + shifted + kg_s * (t_s + 90.0)), 2e-4, 0.0, 0.0);
            if i == 1 {
                at_start = pace.flowed(190.0, 2e-4);
            }
        }
        let now = pace.flowed(10_990.0, 2e-4);
        assert!((now.kg - at_start.kg - 1.08).abs() < 0.01, "{now:?}");
        let u_kg = (now.var - at_start.var).sqrt();
        assert!((0.044..0.05).contains(&u_kg), "{u_kg}");
    }

    #[test]
    fn a_small_patient_has_a_small_pace() {
        assert!((usual_kg_s(5e-5, 10.0) / 5e-5 - 0.125f64.sqrt()).abs() < 1e-12);
    }
}
