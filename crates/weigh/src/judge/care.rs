//! What happened between hold and release: whatever the load did is put down to care, not to the patient.
//!
//! In care linen, pads and hands come and go, and none of it is fluid that the patient gained or lost. The patient's mass goes on from
//! where it stood before the hold, at the pace that was learned until then; the difference goes to the items. What is within twice its own uncertainty is no difference, so that
//! many cares do not add up noise; the limit is lower than for other changes, for in care a difference is likelier linen than not. A difference too large for linen, or one that leaves the deck bare, is not put down to care.

use super::{Expected, Judge, Mend, Mendable, Presence};
use crate::report::EventKind;
use crate::setup::Rest;
use signal::{Mass, Open};

/// Name of what came and went in care.
pub(super) const IN_CARE: &str = "in care";

impl Judge {
    /// The verdict, at rest after release.
    pub(super) fn judge_care(&mut self, t_s: f64, after: &Rest) {
        let Some(hold) = self.hold.take() else { return };
        // Whoever gave the care may still stand there: the rest is to be believed from now.
        self.found_s = t_s;
        let Some(before) = hold.before else { return };
        if let Some(whole) = &mut self.whole {
            whole.in_care = true;
        }
        if self.presence != Presence::On || self.first_s.is_none() {
            self.judge_presence(t_s, after);
            return;
        }
        let parts = signal::doubt::between(&self.config, &before, after);
        let apart_s = after.level.t_s - before.level.t_s;
        let fluid = self.fluid(after.level.t_s, apart_s);
        // What went on flowing meanwhile is the patient's.
        let delta = after.level.kg - before.level.kg - fluid.kg;
        let u = parts.total_kg().hypot(fluid.u_kg);
        if self.ledger.net_kg(after.level.kg).is_some_and(|net| self.is_nobody(net)) {
            self.tell(t_s, EventKind::PatientOff, "The deck is bare after care: the patient has left it.");
            self.depart();
            return;
        }
        let (stated, others): (Vec<Expected>, Vec<Expected>) =
            self.expected.drain(..).partition(|item| item.t_s >= hold.t_s - self.rules.early_s && item.kg.is_some());
        self.expected = others;
        // An item entered without its mass is part of the difference.
        self.expected.retain(|item| item.t_s < hold.t_s - self.rules.early_s);
        let mut rest = delta;
        for item in &stated {
            let kg = item.sign * item.kg.unwrap_or(0.0);
            rest -= kg;
            self.give(&item.note, Mass { kg, u_kg: 0.0 });
            self.tell_item(t_s, item, kg, self.u_stated(kg), None);
        }
        if rest.abs() <= (0.5 * self.rules.least_kg).max(2.0 * u) {
            // Stated and seen agree: what is left is noise of the stated masses and goes with them.
            if !stated.is_empty() {
                self.give(IN_CARE, Mass { kg: rest, u_kg: u });
            }
            return;
        }
        if rest.abs() > self.rules.care_kg {
            let open = Open { t_s, mass: Mass { kg: rest, u_kg: u }, place_mm: None };
            self.ask(open, "is more than linen: who or what came or went in care?");
            return;
        }
        let item = self.give(IN_CARE, Mass { kg: rest, u_kg: u });
        let event = self.tell_care(t_s, rest, u);
        self.mendable =
            Some(Mendable { what: Mend::Care, until_s: t_s + 2.0 * self.rules.mend_s, kg: rest, event, item });
    }
}
