//! The gains of all filters for a step of time, worked out anew only when the step changes.

use crate::config::Limits;
use crate::filter::gain;

/// Time constant over which a cell's share of a plateau is averaged, s: after the four seconds in which a plateau is found, 2 % is left of what was before.
const SHARE_TAU_S: f64 = 1.0;
/// Steps of time are told apart to this, s: the difference of two times in seconds carries the rounding of both.
const STEP_S: f64 = 1e-9;

/// Gains, see [`gain`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Gains {
    steps: f64,
    pub(super) tilt: f64,
    pub(super) share: f64,
    pub(super) creep: f64,
    pub(super) warmth: f64,
    pub(super) low_pass: f64,
}

impl Gains {
    /// Before the second sample: what is followed is taken over.
    pub(super) const fn first() -> Self {
        Self { steps: 0.0, tilt: 1.0, share: 1.0, creep: 0.0, warmth: 1.0, low_pass: 0.0 }
    }

    /// For a sample that comes `dt_s` after the last.
    pub(super) fn follow(&mut self, dt_s: f64, limits: &Limits) {
        let steps = libm::rint(dt_s / STEP_S);
        if steps > 0.0 && steps.to_bits() != self.steps.to_bits() {
            let dt_s = steps * STEP_S;
            *self = Self {
                steps,
                tilt: gain(dt_s, limits.tilt_tau_s),
                share: gain(dt_s, SHARE_TAU_S),
                creep: gain(dt_s, limits.creep_tau_s),
                warmth: gain(dt_s, limits.warmth_tau_s),
                low_pass: gain(dt_s, limits.tau_s),
            };
        }
    }
}
