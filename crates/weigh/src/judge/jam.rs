//! A jam that outlives the patient's stay on the deck.
//!
//! Load was thought to pass the cells by, and the patient left before it came back: what is jammed may still be there, and bears part of whoever is laid down next. On the bare deck little of
//! it shows, or nothing. So the question goes on: no weight is settled until
//!
//! - a tare is taken, or the question is answered: somebody has looked beneath the plate;
//! - the bare deck, which bore less than at the tare, bears that again;
//! - or the load comes back under a patient: a rise of at least what was missing brings the weight nearer to the last one before the jam, and to within a twentieth of it.
//!
//! What is weighed meanwhile as it is laid down may bear on the jam too: it counts as not weighed, until the load comes back. The figures are choices of this project, no source.

use serde::{Deserialize, Serialize};
use signal::{Mass, Open};

use super::{Judge, Weighed};
use crate::report::EventKind;
use crate::setup::{Rest, Step};

/// The weight after the load came back is off the one before the jam by no more than this part, which leaves room for things and fluid.
const NEAR_REL: f64 = 0.05;

/// Standard uncertainty of what a patient gains or loses off the deck and before the load came back, kg.
const AWAY_KG: f64 = 0.5;

/// What is known of the jam.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Jam {
    asked_s: f64,
    /// The patient before it, kg.
    patient_kg: f64,
    /// What the bare deck missed, kg.
    missing_kg: f64,
    /// Variance of the things that lay there then, kg².
    items_u2: f64,
}

impl Judge {
    /// Whether a jam is open that outlived a patient's stay.
    pub(super) fn is_jammed(&self) -> bool {
        self.jam.is_some_and(|jam| self.is_open(jam.asked_s))
    }

    /// The jam, before the patient's leaving closes all questions.
    pub(super) fn jam_to_keep(&self) -> Option<Jam> {
        let of_this_stay = || {
            let Weighed { kg, .. } = self.last_settled.filter(|_| self.is_shunted())?;
            Some(Jam { asked_s: 0.0, patient_kg: kg, missing_kg: 0.0, items_u2: 0.0 })
        };
        self.jam.filter(|_| self.is_jammed()).or_else(of_this_stay)
    }

    /// The deck is bare, and the jam is asked about anew.
    pub(super) fn keep_jam(&mut self, jam: Jam, t_s: f64, after: &Rest, bare: Mass) {
        // The plate that bears least of what it bore at the tare; where all bear that, nobody knows which.
        let lost = self.ledger.tare().and_then(|tare| self.most_lost(tare, after));
        let lost = lost.filter(|_| bare.kg < -self.least(bare.u_kg));
        let which = lost.map_or_else(String::new, |sheet| format!(" of plate {}", sheet.name));
        let text = format!(
            "Load may still pass the cells{which} by: look beneath it, and tare the empty deck. Until then no weight is settled."
        );
        let at = lost.map(|sheet| sheet.middle_mm);
        let event = self.tell_at(t_s, EventKind::Shunt, Some(bare.kg), Some(bare.u_kg), at, &text);
        self.asked_by(Open { t_s, mass: bare, place_mm: None }, event);
        let items_u2 = self.ledger.items_u2();
        self.jam = Some(Jam { asked_s: t_s, missing_kg: -bare.kg, items_u2, ..jam });
    }

    /// The bare deck bears what it bore at the tare, and bore less before: the jam is gone. True where that is so.
    pub(super) fn jam_ends_bare(&mut self, t_s: f64, net_kg: f64, u_kg: f64) -> bool {
        let least_kg = self.least(u_kg);
        let Some(jam) = self.jam.filter(|jam| jam.missing_kg > least_kg && net_kg.abs() <= least_kg) else {
            return false;
        };
        self.end_jam(jam, t_s);
        true
    }

    /// The load comes back under a patient: true where that is what the change was.
    pub(super) fn jam_ends(&mut self, step: &Step) -> bool {
        let Some((jam, before)) = self.jam.filter(|_| self.is_jammed()).zip(step.before) else { return false };
        let Some((was, is)) =
            self.ledger.remainder_kg(before.level.kg).zip(self.ledger.remainder_kg(step.after.level.kg))
        else {
            return false;
        };
        // The remainder is without the question, which is over then.
        let is = is - jam.missing_kg;
        let off = |kg: f64| (kg - jam.patient_kg).abs();
        let back = step.delta_kg >= jam.missing_kg.max(self.rules.least_kg);
        if !back || off(is) >= off(was) || off(is) > NEAR_REL * jam.patient_kg {
            return false;
        }
        self.end_jam(jam, step.after.level.t_s);
        // What was laid down meanwhile is known by what the patient weighed before, as far as that is known better.
        let items_var = (self.ledger.items_u2() - jam.items_u2).max(0.0);
        if items_var > 0.0 {
            let of_items = items_var / (items_var + AWAY_KG * AWAY_KG);
            let u2 = jam.items_u2 + of_items * AWAY_KG * AWAY_KG;
            self.ledger.correct_items(of_items * (is - jam.patient_kg), u2);
        }
        true
    }

    fn end_jam(&mut self, jam: Jam, t_s: f64) {
        self.jam = None;
        if let Some(at) = self.ledger.open().iter().position(|open| open.t_s.total_cmp(&jam.asked_s).is_eq()) {
            self.ledger.answer(at);
        }
        self.tell_shunt_over(&[jam.asked_s], t_s - jam.asked_s);
        self.mendable = None;
    }
}
