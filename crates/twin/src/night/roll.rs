//! A bed that is rolled: what wheels, doorsteps and sloping floors do to everything that lies on it.
//!
//! | what              | size                                                                      | source     |
//! |-------------------|---------------------------------------------------------------------------|------------|
//! | vibration         | 1 % of all weights, rms                                                   | own choice |
//! | doorsteps, joints | every 6 s on average: ± 5 % of all weights, gone within half a second     | own choice |
//! | setting off       | 0.35 m/s² along the bed for 2 s; the same backwards when it stops         | own choice |
//! | steering          | 0.15 m/s² along and 0.08 m/s² across, rms, memory 0.8 s                   | own choice |
//! | floor             | slopes of 0.7°, rms, memory 4 s; at the end that of the new place         | own choice |
//!
//! A floor that is pushed by the acceleration a tilts the apparent vertical by atan(a/g): angle sensors show it (they weigh a small mass themselves), and a
//! load whose middle lies h above the cells presses as if it lay h a/g farther back. Source: statics in an accelerated frame (textbook).
//!
//! All draws come from a stream of its own, so that a night without a move is not changed by one that could have been.

use super::signal::Wander;
use crate::cell::STANDARD_GRAVITY;
use crate::chance::Chance;

/// Height of a patient's middle over the cells: mattress and half a chest, mm (own choice).
const MIDDLE_MM: f64 = 200.0;
/// Vibration, share of all weights.
const VIBRATION: f64 = 0.01;
/// Doorsteps: mean time between, s; share of all weights; fade, s.
const STEP: (f64, f64, f64) = (6.0, 0.05, 0.15);
/// Setting off and stopping, m/s² and s.
const OFF: (f64, f64) = (0.35, 2.0);
/// Steering, along and across, m/s².
const STEER: [f64; 2] = [0.15, 0.08];
/// Slope of the floor on the way, °.
const FLOOR_DEG: f64 = 0.7;

/// What the move does at one sample.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Jolt {
    /// Share by which all weights are larger.
    pub(crate) share: f64,
    /// Way of the patient's apparent middle, mm: along and across.
    pub(crate) sway_mm: [f64; 2],
    /// Slope of the floor along the bed, °.
    pub(crate) floor_deg: f64,
    /// What angle sensors show beside angles, °.
    pub(crate) apparent_deg: f64,
}

/// A bed on its way.
pub(crate) struct Roll {
    chance: Chance,
    rough: Wander,
    steer: [Wander; 2],
    floor: Wander,
    step: f64,
    dt_s: f64,
    from_s: f64,
    to_s: f64,
    from_deg: f64,
    slope_deg: f64,
}

impl Roll {
    /// From a floor of `from_deg` to a place of `slope_deg`.
    pub(crate) fn new(seed: u64, [from_s, to_s]: [f64; 2], [from_deg, slope_deg]: [f64; 2], dt_s: f64) -> Self {
        let mut chance = Chance::stream(seed, "roll");
        let mut noise = |tau_s| Wander::new(tau_s, dt_s, &mut chance);
        let (rough, steer, floor) = (noise(0.05), [noise(0.8), noise(0.8)], noise(4.0));
        Self { chance, rough, steer, floor, step: 0.0, dt_s, from_s, to_s, from_deg, slope_deg }
    }

    pub(crate) fn is_over(&self, t_s: f64) -> bool {
        t_s >= self.to_s
    }

    /// At a sample; once it is over, the place where it stands.
    pub(crate) fn next(&mut self, t_s: f64) -> Jolt {
        if self.is_over(t_s) {
            return Jolt { floor_deg: self.slope_deg, ..Jolt::default() };
        }
        let (since_s, left_s) = (t_s - self.from_s, self.to_s - t_s);
        let moving = (since_s / OFF.1).min(left_s / OFF.1).clamp(0.0, 1.0);
        let push = if since_s < OFF.1 { OFF.0 } else { 0.0 } - if left_s < OFF.1 { OFF.0 } else { 0.0 };
        self.step *= (-self.dt_s / STEP.2).exp();
        if self.chance.happens(self.dt_s / STEP.0) {
            self.step = if self.chance.happens(0.5) { STEP.1 } else { -STEP.1 };
        }
        let along = push + moving * STEER[0] * self.steer[0].next(&mut self.chance);
        let across = moving * STEER[1] * self.steer[1].next(&mut self.chance);
        let part = since_s / (self.to_s - self.from_s);
        let floor_deg = self.from_deg
            + part * (self.slope_deg - self.from_deg)
            + moving * FLOOR_DEG * self.floor.next(&mut self.chance);
        Jolt {
            share: moving * (VIBRATION * self.rough.next(&mut self.chance) + self.step),
            sway_mm: [along, across].map(|a| MIDDLE_MM * a / STANDARD_GRAVITY),
            floor_deg,
            apparent_deg: (along / STANDARD_GRAVITY).atan().to_degrees(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: atan(0.35 / 9.80665) = 2.04°, and 200 mm of height press as if 7.1 mm farther.
    #[test]
    fn setting_off_tilts_the_apparent_vertical_and_at_the_end_all_is_at_rest_on_the_new_floor() {
        let dt_s = 0.1;
        let mut roll = Roll::new(3, [10.0, 70.0], [0.1, 0.4], dt_s);
        let jolts: Vec<Jolt> = (100..=700).map(|i| roll.next(f64::from(i) * dt_s)).collect();
        let mean = |of: &dyn Fn(&Jolt) -> f64, jolts: &[Jolt]| jolts.iter().map(of).sum::<f64>() / jolts.len() as f64;
        // Half the steering comes in over these two seconds: 0.15 m/s² at 2.5 draws a mean leave some 0.3°.
        assert!((mean(&|j| j.apparent_deg, &jolts[..20]) - 2.04).abs() < 0.8);
        assert!((mean(&|j| j.sway_mm[0], &jolts[..20]) - 7.1).abs() < 2.8);
        let shares = jolts.iter().map(|j| j.share * j.share).sum::<f64>() / jolts.len() as f64;
        assert!((0.008..0.03).contains(&shares.sqrt()), "{}", shares.sqrt());
        assert!(jolts.iter().any(|j| j.share > 0.03) && jolts.iter().any(|j| j.share < -0.03));
        assert_eq!(jolts[600], Jolt { floor_deg: 0.4, ..Jolt::default() });
    }
}
