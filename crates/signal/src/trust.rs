//! When a cell that drifted is believed again.
//!
//! Moisture dries, a plug is pushed home, a jammed cell comes free: then the cell says again what its neighbours foretell, and keeps saying it. So a drifting cell
//! is followed beside what stands in for it, and is believed again when, over [`CALM_S`] of rest in all,
//!
//! - it wandered against its stand-in by at most half of the floor from which a cell drifts: 0.15 kg/h at a floor of 0.1 kg, and
//! - it agrees with its stand-in within the floor and twice the stand-in's standard uncertainty.
//!
//! Only what happens on one plateau counts as wandering: between two the stand-in is off by what moved. A cell that came to rest at another zero is not
//! believed by this; a new tare takes that zero and all cells with it.
//! What was followed does not outlive a power cut: the rest is counted anew after it.
//! The figures are choices of this project, no source.

/// Rest after which a cell is believed again, s.
pub const CALM_S: f64 = 1200.0;
/// Most wandering, as a part of the floor from which a cell drifts.
const WANDER: f64 = 0.5;
/// Most disagreement, in standard uncertainties of the stand-in.
const SIGMAS: f64 = 2.0;

/// A drifting cell under watch.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Trust {
    /// What the cell says, low-passed, kg; `None` before it said anything.
    pub own_kg: Option<f64>,
    off_kg: f64,
    at_s: f64,
    wander_kg: f64,
    calm_s: f64,
}

impl Trust {
    /// Takes what the cell says.
    pub fn hear(&mut self, kg: f64, step: f64) {
        let own_kg = self.own_kg.unwrap_or(kg);
        self.own_kg = Some(own_kg + step * (kg - own_kg));
    }

    /// A plateau begins, with the cell off its stand-in by `off_kg`.
    pub const fn begin(&mut self, t_s: f64, off_kg: f64) {
        self.off_kg = off_kg;
        self.at_s = t_s;
    }

    /// The plateau went on until `t_s`: true where the cell is to be believed again.
    pub fn follow(&mut self, t_s: f64, off_kg: f64, u_stand_in_kg: f64, floor_kg: f64) -> bool {
        self.wander_kg += off_kg - self.off_kg;
        self.calm_s += (t_s - self.at_s).max(0.0);
        self.begin(t_s, off_kg);
        if self.wander_kg.abs() > floor_kg {
            self.wander_kg = 0.0;
            self.calm_s = 0.0;
        }
        self.calm_s >= CALM_S
            && self.wander_kg.abs() <= WANDER * floor_kg
            && off_kg.abs() <= floor_kg + SIGMAS * u_stand_in_kg
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Follows a cell for an hour in plateaus of ten minutes, a note every 6 s; gives when it was believed.
    fn believed(off_kg: impl Fn(f64) -> f64) -> Option<f64> {
        let mut trust = Trust::default();
        (0..600).map(|i| 6.0 * f64::from(i)).find(|&t_s| {
            if t_s % 600.0 < 1.0 {
                trust.begin(t_s, off_kg(t_s));
                return false;
            }
            trust.follow(t_s, off_kg(t_s), 0.2, 0.1)
        })
    }

    #[test]
    fn a_cell_that_says_what_its_neighbours_foretell_is_believed_after_twenty_minutes_of_rest() {
        // Two minutes of noise do no harm, nor does what the stand-in is off by between plateaus.
        let noisy = |t_s: f64| 0.02 * libm::sin(t_s) + 0.1 * libm::floor(t_s / 600.0);
        let t_s = believed(noisy).unwrap();
        assert!((1200.0..1300.0).contains(&t_s), "{t_s}");
    }

    #[test]
    fn a_cell_that_still_wanders_or_stays_away_is_not() {
        // 0.3 kg/h, the slowest that the twin draws; half a kilogram off where 0.1 kg + 2 · 0.2 kg would pass.
        assert_eq!(believed(|t_s| 0.3 * t_s / 3600.0), None);
        assert_eq!(believed(|_| 0.51), None);
        assert!(believed(|_| 0.49).is_some());
    }
}
