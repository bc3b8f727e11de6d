//! Whether the whole bed was moved.
//!
//! A bed that is rolled shakes everything on it; a patient who tosses does so, too, and the loads alone do not tell one from the other. The angle sensors
//! do: a floor that slopes and a bed that is pushed (they weigh a small mass themselves, and show atan(a/g) for an acceleration a) swing all sections together
//! and back, which nothing on the bed can. A section that is raised moves alone, and the whole bed when it is tilted stays tilted.
//!
//! It is told beside what else the change was: most often nothing, and then the hand that pushed is not told as a contact. Without two angle sensors a move
//! is not told apart from unrest; the weight is as little believed meanwhile.

use super::Judge;
use crate::report::EventKind;
use crate::setup::Step;

impl Judge {
    pub(super) fn moved(&self, step: &Step) -> bool {
        step.swung_deg >= self.rules.swung_deg
    }

    /// Tells of a move, with what it did to the load. It has no place: it was everywhere.
    pub(super) fn note_moved(&mut self, step: &Step) {
        let Some(before) = step.before.filter(|_| self.moved(step)) else { return };
        let (t_s, kg) = (before.level.t_s, step.delta_kg);
        let for_s = self.found_s - t_s;
        let u_kg = self.u_step(step.parts.total_kg(), for_s);
        let by_deg = step.swung_deg;
        let text = if kg.abs() <= self.least(u_kg) {
            format!(
                "The bed was moved: for {for_s:.0} s all its sections swung together, by up to {by_deg:.1}°. The load is as before."
            )
        } else {
            format!(
                "The bed was moved: for {for_s:.0} s all its sections swung together, by up to {by_deg:.1}°. The load changed by {kg:+.2} kg."
            )
        };
        self.tell_size(t_s, EventKind::BedMoved, Some(kg), Some(u_kg), &text);
    }
}
