//! Changes that what people entered explains, and what was entered on the accounts.

use signal::{Mass, Open};

use super::changes::{began, near};
use super::{Expected, Judge, Mend, Mendable};
use crate::report::EventKind;
use crate::setup::Step;

/// Standard uncertainty of an item that nobody weighed, kg: linen, a pillow, a pump.
const UNWEIGHED_KG: f64 = 1.0;

impl Judge {
    /// A change that items with a stated mass explain, before anything else is thought of: also right after an arrival.
    pub(super) fn match_stated(&mut self, step: &Step, u: f64) -> bool {
        self.expected.iter().all(|item| item.kg.is_some()) && self.match_expected(step, u)
    }

    /// What lies there under a name is entered as leaving (or what is missing as coming), and just its mass leaves: that it is, rather than the end of a
    /// question about something of like mass.
    pub(super) fn match_named(&mut self, step: &Step, u: f64) -> bool {
        // Several of one name are one item: one of them left, where no question of its mass was asked about its place.
        let asked = |place_mm: [f64; 2]| {
            let like = |open: &Open| (open.mass.kg + step.delta_kg).abs() <= self.least(u.hypot(open.mass.u_kg));
            self.ledger.open().iter().any(|open| like(open) && open.place_mm.is_none_or(|of| near(of, place_mm)))
        };
        let one_of = step.place_mm.is_some_and(|place_mm| !asked(place_mm));
        let lies = |item: &Expected| {
            let id = self.names.iter().position(|name| *name == item.note && !name.is_empty());
            let of_it = |held: &signal::Item| {
                let left_kg = held.mass.kg + step.delta_kg;
                id == Some(usize::from(held.id))
                    && (left_kg.abs() <= self.least(u.hypot(held.mass.u_kg)) || one_of && left_kg * held.mass.kg > 0.0)
            };
            item.kg.is_none() && item.sign * step.delta_kg > 0.0 && self.ledger.items().iter().any(of_it)
        };
        let Some(at) = self.expected.iter().position(lies) else { return false };
        let item = self.expected.remove(at);
        self.book(began(step), &item, step.delta_kg, u, step.place_mm);
        true
    }

    /// A change that entered items explain.
    pub(super) fn match_expected(&mut self, step: &Step, u: f64) -> bool {
        let delta = step.delta_kg;
        let known: f64 = self.expected.iter().map(|item| item.sign * item.kg.unwrap_or(0.0)).sum();
        let unknown: Vec<f64> = self.expected.iter().filter(|item| item.kg.is_none()).map(|item| item.sign).collect();
        if let Some(sign) = unknown.first() {
            let left = delta - known;
            let one_way = unknown.iter().all(|other| other * sign > 0.0);
            if one_way && left * sign > 0.0 {
                let share = left / unknown.len() as f64;
                for item in std::mem::take(&mut self.expected) {
                    let kg = item.kg.map_or(share, |kg| item.sign * kg);
                    self.book(began(step), &item, kg, u, step.place_mm);
                }
                return true;
            }
        }
        if !self.expected.is_empty() && unknown.is_empty() && self.agrees(delta, known, u) {
            let items = std::mem::take(&mut self.expected);
            let rest = (delta - known) / items.len() as f64;
            for item in items {
                let kg = item.sign * item.kg.unwrap_or(0.0) + rest;
                self.book(began(step), &item, kg, u, step.place_mm);
            }
            return true;
        }
        let one = self.expected.iter().position(|item| item.kg.is_some_and(|kg| self.agrees(delta, item.sign * kg, u)));
        if let Some(index) = one {
            let item = self.expected.remove(index);
            self.book(began(step), &item, delta, u, step.place_mm);
            return true;
        }
        false
    }

    pub(super) fn agrees(&self, seen_kg: f64, stated_kg: f64, u: f64) -> bool {
        (seen_kg - stated_kg).abs() <= self.least(u.hypot(self.u_stated(stated_kg)))
    }

    /// Puts an entered item on the account, as it was measured.
    pub(super) fn book(&mut self, t_s: f64, item: &Expected, kg: f64, u: f64, place_mm: Option<[f64; 2]>) {
        // A part of it may bear on what is jammed.
        let u = if self.is_jammed() && item.kg.is_none() { u.hypot(UNWEIGHED_KG) } else { u };
        let id = self.id_of(&item.note);
        if !self.ledger.items().iter().any(|held| held.id == id && held.mass.kg * kg < 0.0) {
            self.named_found(Mass { kg, u_kg: u }, place_mm);
        }
        let unweighed = self.ledger.items().iter().find(|held| held.id == id && held.mass.u_kg >= UNWEIGHED_KG);
        if unweighed.is_some() && item.sign < 0.0 {
            // It lay in the patient's weight until now.
            self.ledger.forget(id);
            self.tell_item(t_s, item, kg, u, place_mm);
            return;
        }
        self.ledger.add_item(id, Mass { kg, u_kg: u });
        let event = self.tell_item(t_s, item, kg, u, place_mm);
        if item.kg.is_none() {
            let until_s = self.found_s + self.rules.mend_s;
            self.mendable = Some(Mendable { what: Mend::Item, until_s, kg, event, item: id });
        }
    }

    /// An item of unknown mass came with the patient: nobody can tell them apart.
    pub(super) fn book_unweighed(&mut self, t_s: f64, item: &Expected) {
        self.give(&item.note, Mass { kg: 0.0, u_kg: UNWEIGHED_KG });
        let text = format!(
            "Came with the patient and was not weighed{}: the weight is uncertain by it.",
            super::tell::noted(item)
        );
        self.tell_at(t_s, EventKind::Added, None, Some(UNWEIGHED_KG), None, &text);
    }
}
