//! A cable or tube between a plate and what does not move with it: it takes part of the load, and not the same on the way down as on the way up.
//!
//! Two springs side by side: one of the cable's upright stiffness k, which pushes back as the plate goes down, and one whose end slides where it is drawn with
//! more than friction holds (a Jenkins element). Upward on the plate, N:
//!
//! F = k (w − w₀) + h,   h ← clamp(h + k (Δw + Δs), ± F_c),   s = R sin θ
//!
//! | symbol | name              | unit |
//! |--------|-------------------|------|
//! | w      | `down_mm`         | mm, the plate at the cable, at the sample before |
//! | w₀     | `begun_mm`        | mm, when it was laid there |
//! | k      | `stiffness_newton_mm` | N/mm |
//! | h, F_c | `held_newton`, `friction_newton` | N |
//! | s, R   | `drawn_mm`, `reach_mm` | mm, R from the joint of the section |
//! | θ      | `angle_deg`       | degrees |
//!
//! What h keeps when the section is back where it was is the hysteresis: up to F_c either way. A cable that is let go of the way it lay pulls, too:
//! F may be negative, and then the deck shows too much.
//! Source: Iwan, J. Appl. Mech. 33 (1966) 893–900 (from memory), of which this is one element; sizes are the scenario's.

/// A cable on its plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Cable {
    stiffness_newton_mm: f64,
    friction_newton: f64,
    reach_mm: f64,
    /// Where plate and section stood when it was laid, and at the sample before.
    begun_mm: Option<f64>,
    down_mm: f64,
    drawn_mm: f64,
    held_newton: f64,
}

impl Cable {
    pub(crate) fn new(stiffness_newton_mm: f64, friction_newton: f64, reach_mm: f64) -> Self {
        let (begun_mm, down_mm, drawn_mm, held_newton) = (None, 0.0, 0.0, 0.0);
        Self { stiffness_newton_mm, friction_newton, reach_mm, begun_mm, down_mm, drawn_mm, held_newton }
    }

    /// What it takes off the plate, N.
    pub(crate) fn takes(&mut self, down_mm: f64, angle_deg: f64) -> f64 {
        let drawn_mm = self.reach_mm * angle_deg.to_radians().sin();
        let Some(begun_mm) = self.begun_mm else {
            (self.begun_mm, self.down_mm, self.drawn_mm) = (Some(down_mm), down_mm, drawn_mm);
            return 0.0;
        };
        let by_mm = down_mm - self.down_mm + drawn_mm - self.drawn_mm;
        (self.down_mm, self.drawn_mm) = (down_mm, drawn_mm);
        let held = self.held_newton + self.stiffness_newton_mm * by_mm;
        self.held_newton = held.clamp(-self.friction_newton, self.friction_newton);
        self.stiffness_newton_mm * (down_mm - begun_mm) + self.held_newton
    }

    /// It is taken away.
    pub(crate) fn lift(&mut self) {
        (self.begun_mm, self.held_newton) = (None, 0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: k = 4 N/mm, F_c = 3 N. Down by 0.5 mm it takes 2 N and friction holds 2 N more; raised by 30° with R = 100 mm it is drawn by 50 mm, and
    /// friction slides at 3 N; down again by the same way it slides at −3 N: 6 N of hysteresis.
    #[test]
    fn friction_holds_up_to_its_most_and_leaves_it_behind() {
        let mut cable = Cable::new(4.0, 3.0, 100.0);
        let mut takes = |down_mm: f64, deg: f64| cable.takes(down_mm, deg);
        let found = [takes(0.2, 0.0), takes(0.7, 0.0), takes(0.7, 30.0), takes(0.7, 0.0), takes(0.7, 0.0)];
        for (found, expected) in found.iter().zip([0.0, 4.0, 5.0, -1.0, -1.0]) {
            assert!((found - expected).abs() < 1e-12, "{found} {expected}");
        }
        cable.lift();
        assert!(cable.takes(0.7, 10.0).abs() < 1e-12, "laid anew it takes nothing");
    }
}
