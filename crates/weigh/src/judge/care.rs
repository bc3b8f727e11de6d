//! What happened between hold and release: whatever the load did is put down to care, not to the patient.
//!
//! In care linen, pads and hands come and go, and none of it is fluid that the patient gained or lost. The patient's mass goes on from
//! where it stood before the hold, at the pace that was learned until then; the difference goes to the items. What is within three times its own uncertainty is no difference, so that
//! many cares do not add up noise. A difference too large for linen, or one that leaves the deck bare, is not put down to care.
//!
//! A dialysis or a bolus moves as much in a quarter of an hour of care as linen weighs, and whether it went on, began or ended meanwhile shows only in
//! the pace after it. For ten minutes after release the verdict follows that pace, and the event is put right. Whatever lies between the flow at the pace before
//! and at the pace after is fluid: the pace was set anew at some time in care, and any such time is likelier than linen of just that mass.
//! A bolus may have ended or begun with a pause in between.

use serde::{Deserialize, Serialize};

use super::pace::Unseen;
use super::{Expected, Judge, Mend, Mendable, Presence};
use crate::report::EventKind;
use crate::setup::Rest;
use signal::{Mass, Open};

/// For so long after its rest a care is judged again by the pace that is learned, s.
const AGAIN_S: f64 = 600.0;

/// A care that was judged, while the pace after it is still being learned.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Care {
    unseen: Unseen,
    /// What the load did in care, less what was stated, kg.
    pub(super) seen_kg: f64,
    /// Standard uncertainty of that, but for fluid, kg.
    #[serde(with = "crate::keep::single")]
    u_kg: f64,
    /// Whether masses were stated that the load confirmed: then the difference goes with them, however small.
    stated: bool,
    pub(super) booked: Option<Booked>,
}

/// What was put down to care.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Booked {
    pub(super) item: u16,
    pub(super) kg: f64,
    u_kg: f64,
    event: Option<usize>,
}

/// Name of what came and went in care.
pub(super) const IN_CARE: &str = "in care";

impl Judge {
    /// The verdict, at rest after release.
    pub(super) fn judge_care(&mut self, t_s: f64, after: &Rest) {
        let Some(hold) = self.hold.take() else { return };
        self.care = None;
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
        // What went on flowing meanwhile is the patient's.
        let unseen = self.pace.over(before.level.t_s, apart_s, self.usual_pace());
        self.pace.begin(&after.level);
        // Who lies otherwise on a raised section leans otherwise.
        let lean = self.lean_change(&before, after, parts.lean_kg);
        let delta = after.level.kg - before.level.kg - lean.kg;
        let u_parts = signal::Parts { lean_kg: lean.u_kg, ..parts }.total_kg();
        let u = u_parts.hypot(unseen.var.sqrt());
        if self.ledger.net_kg(after.level.kg).is_some_and(|net| self.is_nobody(net)) {
            self.tell(t_s, EventKind::PatientOff, "The deck is bare after care: the patient has left it.");
            self.leave_bare(t_s, after);
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
        if self.is_shunted() && (rest - unseen.kg).abs() > self.least(u) {
            self.ask_shunted_care(Open { t_s, mass: Mass { kg: rest - unseen.kg, u_kg: u }, place_mm: None });
            return;
        }
        if (rest - unseen.kg).abs() > self.rules.care_kg {
            let open = Open { t_s, mass: Mass { kg: rest - unseen.kg, u_kg: u }, place_mm: None };
            self.ask(open, "is more than linen: who or what came or went in care?");
            return;
        }
        let stated = !stated.is_empty();
        let was = self.ledger.lean();
        self.ledger.set_lean(Mass { kg: was.kg + lean.kg, u_kg: was.u_kg });
        let mut care = Care { unseen, seen_kg: rest, u_kg: u_parts, stated, booked: None };
        self.settle_care(t_s, &mut care);
        if let Some(Booked { item, kg, event: Some(event), .. }) = care.booked {
            let until_s = after.level.t_s + 2.0 * self.rules.mend_s;
            self.mendable = Some(Mendable { what: Mend::Care, until_s, kg, event, item });
        }
        // What was let stand as the patient's stays the patient's: a weight that was settled is not taken back.
        self.care = care.booked.is_some().then_some(care);
    }

    /// The pace after a care was learned: what flowed in it is known better.
    pub(super) fn judge_care_again(&mut self, t_s: f64) {
        let Some(mut care) = self.care.take() else { return };
        if t_s - care.unseen.to_s > AGAIN_S {
            return;
        }
        let first = care.unseen;
        care.unseen = self.pace.bridge(&first);
        self.settle_care(t_s, &mut care);
        // What was found to be fluid is not called linen again.
        let closed = !care.stated && care.booked.is_none_or(|booked| booked.kg.abs() <= 0.0);
        self.care = (!closed).then_some(Care { unseen: first, ..care });
    }

    /// Puts on the items what fluid does not explain.
    fn settle_care(&mut self, t_s: f64, care: &mut Care) {
        let rest = care.seen_kg - care.unseen.kg;
        let u = care.u_kg.hypot(care.unseen.var.sqrt());
        let [least_kg, most_kg] = care.unseen.range_kg;
        let unexplained_kg = (care.seen_kg - most_kg).max(least_kg - care.seen_kg);
        // What was called linen stays so while it is likelier: a verdict that flaps helps nobody.
        let sigmas = if care.booked.is_some_and(|booked| booked.kg.abs() > 0.0) { 2.0 } else { 3.0 };
        let floor_kg = sigmas / 3.0 * 0.5 * self.rules.least_kg;
        let beyond = |kg: f64, u: f64| kg > floor_kg.max(sigmas * u);
        let is_linen = beyond(rest.abs(), u) && beyond(unexplained_kg, care.u_kg.hypot(care.unseen.u_range_kg));
        // Stated and seen agree: what is left is noise of the stated masses and goes with them.
        let kg = if is_linen || care.stated { rest } else { 0.0 };
        let u_kg = if is_linen || care.stated { u } else { 0.0 };
        if care.booked.is_none() && !is_linen && !care.stated {
            return;
        }
        let was = care.booked.unwrap_or(Booked { item: 0, kg: 0.0, u_kg: 0.0, event: None });
        let item = self.give(IN_CARE, Mass { kg: kg - was.kg, u_kg: 0.0 });
        self.ledger.set_items_u2(self.ledger.items_u2() - was.u_kg * was.u_kg + u_kg * u_kg);
        let event = match was.event {
            Some(event) => {
                self.retell_care(event, kg, u_kg);
                Some(event)
            }
            None => is_linen.then(|| self.tell_care(t_s, kg, u)),
        };
        if let Some(last) = self.mendable.as_mut().filter(|last| last.what == Mend::Care && Some(last.event) == event) {
            last.kg = kg;
        }
        self.happened += 1;
        care.booked = Some(Booked { item, kg, u_kg, event });
    }
}

#[cfg(test)]
mod tests {
    use signal::config::{CellConfig, Limits};

    use super::*;
    use crate::judge::{Pace, Rules};
    use crate::setup::PathConfig;

    /// Linen of 25.3 g, just beyond half of the 50 g that are a change with e = 100 g; the pace that is learned after care says that 0.6 g of it flowed.
    #[test]
    fn linen_at_the_edge_of_what_counts_is_not_taken_back_for_less_than_a_gram() {
        let cells = [CellConfig::straight(0, [0.0; 2], 0.0, 1e-5, 60.0)];
        let config = PathConfig::new(&cells, &[0], 1, 1.0, Limits::default()).unwrap();
        let mut judge = Judge::new(Rules::new(200.0, 100.0), config, Vec::new());
        let unseen = Pace::default().over(0.0, 300.0, 0.0);
        let mut care = Care { unseen, seen_kg: -0.0253, u_kg: 0.003, stated: false, booked: None };
        judge.settle_care(300.0, &mut care);
        assert!((judge.ledger.items_kg() + 0.0253).abs() < 1e-9, "{:?}", judge.ledger.items());
        (care.unseen.kg, care.unseen.range_kg) = (-0.0006, [-0.0006; 2]);
        judge.settle_care(420.0, &mut care);
        assert!((judge.ledger.items_kg() + 0.0247).abs() < 1e-9, "{:?}", judge.ledger.items());
        // Half of it flowed: now it is likelier that all did.
        (care.unseen.kg, care.unseen.range_kg) = (-0.0126, [-0.0126; 2]);
        judge.settle_care(500.0, &mut care);
        assert!(judge.ledger.items_kg().abs() < 1e-9, "{:?}", judge.ledger.items());
    }
}
