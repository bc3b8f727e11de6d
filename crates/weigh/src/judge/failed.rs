//! A cell that failed and gives again: what was booked meanwhile is put right by what is known now.
//!
//! While something stands in for a cell, changes are seen through it and are off by its error. When all cells give again, the load is compared with
//! the last one that all cells saw: the patient weighs what was weighed then (but for fluid), and a difference is of the things that came and
//! went, as far as these were seen less surely. If care was given meanwhile, it is put with what came and went in care; if just one thing was entered as coming or going that way and
//! no cell saw it, it is that; if a cell was named as drifting, and may have wandered by as much before it was named, it is told that it did; if not, it is asked about.

use signal::{Mass, Open};

use super::care::IN_CARE;
use super::pace::Flowed;
use super::{Judge, Presence};
use crate::report::EventKind;
use crate::setup::{Rest, Step};

/// The accounts when all cells gave.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Whole {
    pub(super) rest: Rest,
    pub(super) remainder_kg: f64,
    pub(super) lean: Mass,
    pub(super) items_u2: f64,
    pub(super) in_care: bool,
    /// What had flowed until then.
    pub(super) flowed: Flowed,
    /// How fast the cell wandered that was named as drifting, kg/s; 0 where the cells failed otherwise.
    pub(super) wander_kg_s: f64,
}

/// A cell may have wandered for so long before it was named, s: what changes by less than the floor on each plateau stays unseen between two moves. A choice of this project, no source.
const UNNAMED_S: f64 = 10_800.0;
/// Standard uncertainty of what a cell had wandered before it was named, as a part of it: something may have come or gone meanwhile as well.
const UNNAMED_REL: f64 = 0.25;

impl Judge {
    /// Remembers the accounts as of a plateau that all cells saw, when the first that they did not all see follows it.
    pub(super) fn note_failed(&mut self, step: &Step) {
        let wander_kg_s = step.wander_kg_s.unwrap_or(0.0);
        if let Some(whole) = self.whole.as_mut().filter(|_| wander_kg_s.abs() > 0.0) {
            whole.wander_kg_s = wander_kg_s;
        }
        if self.whole.is_some() || step.after.stand_in_u_kg <= 0.0 && !step.rewired {
            return;
        }
        let in_care = self.hold.is_some();
        // In care hands may lie on the plateau before this one.
        let before = self.hold.as_ref().and_then(|hold| hold.before).or(step.before);
        let Some(rest) = before.filter(|before| before.stand_in_u_kg <= 0.0) else { return };
        let on = self.presence == Presence::On && self.first_s.is_some();
        if let Some(remainder_kg) = self.ledger.remainder_kg(rest.level.kg).filter(|_| on) {
            let (lean, items_u2) = (self.ledger.lean(), self.ledger.items_u2());
            let flowed = self.pace.flowed(rest.level.t_s, self.usual_pace());
            self.whole = Some(Whole { rest, remainder_kg, lean, items_u2, in_care, flowed, wander_kg_s });
        }
    }

    /// All cells give again: true where that settled what the change was.
    pub(super) fn put_right(&mut self, step: &Step) -> bool {
        if !step.rewired || step.after.stand_in_u_kg > 0.0 {
            return false;
        }
        let Some(whole) = self.whole.take() else { return false };
        let never_seen = std::mem::take(&mut self.never_seen);
        let parts = signal::doubt::between(&self.config, &whole.rest, &step.after);
        let flowed = self.pace.flowed(step.after.level.t_s, self.usual_pace());
        let fluid = Mass { kg: flowed.kg - whole.flowed.kg, u_kg: (flowed.var - whole.flowed.var).max(0.0).sqrt() };
        let otherwise = whole.rest.tilt_deg.iter().zip(&step.after.tilt_deg).any(|(a, b)| (a - b).abs() > 1.0);
        let mut u = parts.without_lean_kg().hypot(fluid.u_kg);
        if otherwise {
            let Some(tare) = self.ledger.tare() else { return false };
            let absolute = signal::doubt::between(&self.config, tare, &step.after);
            let u_absolute = absolute.lean_kg.hypot(absolute.angle_kg);
            if 3.0 * u_absolute >= self.rules.least_kg {
                self.lean_after_failure(step, &whole, fluid, u);
                return true;
            }
            // It lies flat now: the load itself says what lies there.
            self.ledger.set_lean(Mass { kg: 0.0, u_kg: u_absolute });
            u = u.hypot(whole.lean.u_kg);
        } else {
            self.ledger.set_lean(whole.lean);
            u = u.hypot(parts.lean_kg);
        }
        self.care = None;
        let Some(now_kg) = self.ledger.remainder_kg(step.after.level.kg) else { return false };
        let mut off_kg = now_kg - whole.remainder_kg - fluid.kg;
        // What came and went meanwhile was seen through the stand-in.
        let items_var = (self.ledger.items_u2() - whole.items_u2).max(0.0);
        let least_kg = self.least(u.hypot(items_var.sqrt()));
        let since = |open: &&Open| open.t_s >= whole.rest.level.t_s;
        let asked_kg: f64 = self.ledger.open().iter().filter(since).map(|open| open.mass.kg).sum();
        let n_asked = self.ledger.open().iter().filter(since).count();
        let unasked_kg = off_kg + asked_kg;
        // A thing as light as all is uncertain may have come: then the accounts agree with it, and not without.
        let better = unasked_kg.abs() <= off_kg.abs() + u.hypot(items_var.sqrt());
        if n_asked > 0 && unasked_kg.abs() <= least_kg && better {
            // Nothing is unexplained without what was asked about: it was the stand-in's error, also where care or an item took up the opposite.
            self.ledger.drop_newest(n_asked);
            off_kg = unasked_kg;
            let text = "All cells give again: what was asked about since one failed was its stand-in's error.";
            self.tell(step.after.level.t_s, EventKind::Step, text);
        }
        if off_kg.abs() <= least_kg {
            self.confirm_entered(whole.rest.level.t_s);
            let of_items = if items_var > 0.0 { items_var / (items_var + u * u) } else { 0.0 };
            self.ledger.correct_items(of_items * off_kg, whole.items_u2 + of_items * u * u);
        } else if whole.in_care && off_kg.abs() <= self.rules.care_kg {
            self.give(IN_CARE, Mass { kg: off_kg, u_kg: 0.0 });
            // As likely the cell had wandered before it failed, and the patient was off by as much: half of its square is what two such guesses leave open.
            self.ledger.set_items_u2(whole.items_u2 + u * u + 0.5 * off_kg * off_kg);
            self.tell_care(step.after.level.t_s, off_kg, u);
        } else if let [item] = never_seen.as_slice()
            && item.sign * off_kg > 0.0
            && off_kg.abs() <= self.rules.care_kg
        {
            self.book(step.after.level.t_s, item, off_kg, u, None);
        } else if off_kg * whole.wander_kg_s < 0.0 && off_kg.abs() <= whole.wander_kg_s.abs() * UNNAMED_S {
            let u_kg = UNNAMED_REL * off_kg;
            self.ledger.set_items_u2(self.ledger.items_u2() + u_kg * u_kg);
            let text = format!(
                "All cells give again: one had wandered by {:.2} kg before it was named, and the weight is put right by as much.",
                off_kg.abs()
            );
            self.tell(step.after.level.t_s, EventKind::Step, &text);
        } else {
            let t_s = step.after.level.t_s;
            let open = Open { t_s, mass: Mass { kg: off_kg, u_kg: u }, place_mm: None };
            self.ask(open, "came or went while a cell was at fault and nobody said so: what was it?");
        }
        true
    }

    /// A section stands otherwise than when all cells gave, and not flat: no total tells the patient from the lean. The weight goes on either from then,
    /// with what may have flowed since, or as it was followed through the stand-in: by whichever is known better.
    fn lean_after_failure(&mut self, step: &Step, whole: &Whole, fluid: Mass, u: f64) {
        let lean = self.ledger.lean();
        let u_followed = lean.u_kg.hypot(step.before.map_or(0.0, |before| before.stand_in_u_kg));
        let u_whole = u.hypot(whole.lean.u_kg);
        let Some(now_kg) = self.ledger.remainder_kg(step.after.level.kg) else { return };
        let (off_kg, u_kg) = if u_followed <= u_whole {
            (step.delta_kg, u_followed)
        } else {
            (now_kg - whole.remainder_kg - fluid.kg, u_whole)
        };
        self.ledger.set_lean(Mass { kg: lean.kg + off_kg, u_kg });
    }
}
