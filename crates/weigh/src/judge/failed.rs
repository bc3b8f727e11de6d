//! A cell that failed and gives again: what was booked meanwhile is put right by what is known now.
//!
//! While something stands in for a cell, changes are seen through it and are off by its error. When all cells give again, the load is compared with
//! the last one that all cells saw: the patient weighs what was weighed then (but for fluid), and a difference is of the things that came and
//! went. If care was given meanwhile, it is put with what came and went in care; if not, it is asked about.

use signal::{Mass, Open};

use super::care::IN_CARE;
use super::{Judge, Presence};
use crate::setup::{Rest, Step};

/// The accounts when all cells gave.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Whole {
    pub(super) rest: Rest,
    pub(super) remainder_kg: f64,
    pub(super) lean: Mass,
    pub(super) items_u2: f64,
    pub(super) in_care: bool,
}

impl Judge {
    /// Remembers the accounts as of a plateau that all cells saw, when the first that they did not all see follows it.
    pub(super) fn note_failed(&mut self, step: &Step) {
        if self.whole.is_some() || step.after.stand_in_u_kg <= 0.0 && !step.rewired {
            return;
        }
        let in_care = self.hold.is_some();
        // In care hands may lie on the plateau before this one.
        let before = self.hold.as_ref().and_then(|hold| hold.before).or(step.before);
        let Some(rest) = before.filter(|before| before.stand_in_u_kg <= 0.0) else { return };
        let on = self.presence == Presence::On && self.first_s.is_some() && self.ledger.open().is_empty();
        if let Some(remainder_kg) = self.ledger.remainder_kg(rest.level.kg).filter(|_| on) {
            let (lean, items_u2) = (self.ledger.lean(), self.ledger.items_u2());
            self.whole = Some(Whole { rest, remainder_kg, lean, items_u2, in_care });
        }
    }

    /// All cells give again: true where that settled what the change was.
    pub(super) fn put_right(&mut self, step: &Step) -> bool {
        if !step.rewired || step.after.stand_in_u_kg > 0.0 {
            return false;
        }
        let Some(whole) = self.whole.take() else { return false };
        if step.articulated || whole.rest.tilt_deg.iter().zip(&step.after.tilt_deg).any(|(a, b)| (a - b).abs() > 1.0) {
            // The lean is another now: nothing can be compared to the gram.
            return false;
        }
        self.ledger.set_lean(whole.lean);
        let Some(now_kg) = self.ledger.remainder_kg(step.after.level.kg) else { return false };
        let parts = signal::doubt::between(&self.config, &whole.rest, &step.after);
        let apart_s = step.after.level.t_s - whole.rest.level.t_s;
        let fluid = self.fluid(step.after.level.t_s, apart_s);
        let u = parts.total_kg().hypot(fluid.u_kg);
        let off_kg = now_kg - whole.remainder_kg - fluid.kg;
        if off_kg.abs() <= self.least(u) {
            self.ledger.set_items_u2(whole.items_u2);
        } else if whole.in_care && off_kg.abs() <= self.rules.care_kg {
            self.give(IN_CARE, Mass { kg: off_kg, u_kg: 0.0 });
            self.ledger.set_items_u2(whole.items_u2 + u * u);
            self.tell_care(step.after.level.t_s, off_kg, u);
        } else {
            let t_s = step.after.level.t_s;
            let open = Open { t_s, mass: Mass { kg: off_kg, u_kg: u }, place_mm: None };
            self.ask(open, "came or went while a cell was at fault and nobody said so: what was it?");
        }
        true
    }
}
