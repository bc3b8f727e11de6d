//! A change that belongs to what came just before, or takes back what was asked about.

use signal::{Mass, Open};

use super::changes::{began, near};
use super::{Judge, Mend, Mendable, Mended, Undone};
use crate::report::EventKind;
use crate::setup::Step;

impl Judge {
    /// A change soon after an arrival or a measured item belongs to it.
    pub(super) fn mend(&mut self, step: &Step, u: f64, which: &[Mend]) -> bool {
        let (t_s, delta) = (step.after.level.t_s, step.delta_kg);
        let live = |last: &Mendable| t_s <= last.until_s && which.contains(&last.what);
        let Some(last) = self.mendable.filter(live) else { return false };
        let kg = last.kg + delta;
        match last.what {
            Mend::Arrival => self.mended = Some(Mended { t_s, kg: delta, u_kg: u, place_mm: step.place_mm }),
            // A hand that let go: the item shrinks, but does not vanish or turn into its opposite.
            Mend::Item if delta * last.kg < 0.0 && kg * last.kg > 0.0 && kg.abs() > self.least(u) => {
                self.ledger.add_item(last.item, Mass { kg: delta, u_kg: u });
            }
            // In care things come and go: a hand that let go may leave the opposite behind.
            Mend::Care if kg.abs() < last.kg.abs() => {
                self.ledger.add_item(last.item, Mass { kg: delta, u_kg: u });
                if let Some(care) = &mut self.care {
                    care.seen_kg += delta;
                    if let Some(booked) = &mut care.booked {
                        booked.kg += delta;
                    }
                }
            }
            Mend::Item | Mend::Care => return false,
        }
        self.retell(last.event, kg, last.what == Mend::Care);
        self.mendable = Some(Mendable { kg, until_s: t_s + self.rules.mend_s, ..last });
        if last.what == Mend::Arrival {
            self.first_s = Some(t_s);
        }
        true
    }

    /// A change that takes back open questions.
    pub(super) fn undo(&mut self, step: &Step, u: f64) -> bool {
        self.undo_newest(step, u) || self.undo_older(step, u)
    }

    /// What lay there before others came goes first: one question of the same mass at the same place.
    pub(super) fn undo_older(&mut self, step: &Step, u: f64) -> bool {
        let fits = |open: &Open| {
            let at_it = open.place_mm.zip(step.place_mm).is_some_and(|(a, b)| near(a, b));
            at_it && (open.mass.kg + step.delta_kg).abs() <= self.least(u.hypot(open.mass.u_kg))
        };
        let seen = |open: &Open| self.asked.iter().all(|asked| asked.seen || asked.t_s.total_cmp(&open.t_s).is_ne());
        let Some(open) =
            self.ledger.open().iter().rposition(|open| seen(open) && fits(open)).and_then(|at| self.ledger.answer(at))
        else {
            return false;
        };
        self.tell_undone(step, u, open.t_s, &[open.t_s]);
        let (t_s, kg) = (step.after.level.t_s, step.delta_kg);
        self.undone = Some(Undone { t_s, kg, u_kg: u, place_mm: step.place_mm, of: open.into() });
        true
    }

    /// A change that takes back the newest open questions: a hand that let go, a visitor who rose, or a thing that left again.
    pub(super) fn undo_newest(&mut self, step: &Step, u: f64) -> bool {
        let (mut sum, mut u2) = (step.delta_kg, u * u);
        for (i, open) in self.ledger.open().iter().rev().enumerate() {
            // What was entered and never seen did not come: it cannot leave.
            if self.asked.iter().any(|asked| asked.t_s.total_cmp(&open.t_s).is_eq() && !asked.seen) {
                return false;
            }
            sum += open.mass.kg;
            u2 += open.mass.u_kg * open.mass.u_kg;
            if sum.abs() <= self.least(u2.sqrt()) {
                let opened_s = open.t_s;
                let (one, whole) = (i == 0, *open);
                let newest: Vec<f64> = self.ledger.open().iter().rev().take(i + 1).map(|open| open.t_s).collect();
                self.ledger.drop_newest(i + 1);
                self.tell_undone(step, u, opened_s, &newest);
                let (t_s, kg) = (step.after.level.t_s, step.delta_kg);
                self.undone = one.then_some(Undone { t_s, kg, u_kg: u, place_mm: step.place_mm, of: whole.into() });
                return true;
            }
        }
        false
    }

    /// What was asked about is as before. Briefly there, or heavier than anything that is laid on a bed: someone leaned or sat there, and the
    /// question is put right. Else it was a thing, and it left.
    pub(super) fn tell_undone(&mut self, step: &Step, u: f64, opened_s: f64, asked_s: &[f64]) {
        let (t_s, kg) = (began(step), step.delta_kg);
        let stayed_s = t_s - opened_s;
        let brief = stayed_s <= self.rules.contact_s;
        if !brief && self.tell_shunt_over(asked_s, stayed_s) {
            return;
        }
        if brief || kg.abs() > self.rules.care_kg {
            for &asked_s in asked_s {
                self.retell_contact(asked_s, stayed_s);
            }
            return;
        }
        let (kind, what) = if kg < 0.0 {
            (EventKind::Removed, "left the deck again: what had come and was asked about")
        } else {
            (EventKind::Added, "came onto the deck again: what had left and was asked about")
        };
        let text = format!("{:.2} kg {what}. The load is as before.", kg.abs());
        self.tell_at(t_s, kind, Some(kg), Some(u), step.place_mm, &text);
    }
}
