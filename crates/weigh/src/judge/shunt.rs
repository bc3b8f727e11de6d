//! Load that passes the cells by: a plate on its base, or on something that jams the gap.
//!
//! What jams a gap takes load off the cells of one plate and gives it to the base: the sum falls, and nothing left the deck. A deck alone cannot
//! see the gap, so it needs evidence that the fall is not of something taken away. Each of these is some; without any the fall is asked
//! about as every other:
//!
//! | evidence | why |
//! |----------|-----|
//! | more is missing than lies there loose | items that came (booked or asked about) and `loose_kg` of the first linen are all that can be taken off beside the patient, who is not taken off in part |
//! | the plate bends near its clearance    | more came onto it, and an even load of its reading on its own springs (the plate solver) bends it by 0.8 of the clearance and more |
//!
//! and in both the fall must be one plate's: its cells lose at least half of the fall, or the plate gained from a move of the load (others lost) and less
//! than they lost. A fall that adds up with earlier ones of the same plate counts as one.
//!
//! A shunt is an open question as any other step: the weight is not settled, both weights are told, and it is over when the load comes back.
//! Source: statics of unilateral contact with the base (sum and centre of load); the figures are choices of this project.

use signal::Open;

use super::Judge;
use crate::report::EventKind;
use crate::setup::{PLATES, Rest, Sheet, Step};

/// Part of the clearance from which a plate may touch its base: the load is not spread evenly.
const NEAR: f64 = 0.8;
/// Part of a fall that must be the plate's own.
const OWN: f64 = 0.5;

/// Evidence of a shunt.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shunted {
    plate: usize,
    text: String,
}

impl Judge {
    /// Whether a fall that nothing explains is load that passes the cells of a plate by.
    pub(super) fn shunted(&self, step: &Step) -> Option<Shunted> {
        let before = step.before.as_ref().filter(|_| step.delta_kg < 0.0 && !step.rewired)?;
        let (was, is) = (self.plates_kg(before), self.plates_kg(&step.after));
        let change = |plate: usize| is.get(plate).zip(was.get(plate)).map_or(0.0, |(is, was)| is - was);
        // The plate that lost most, if the fall is its own; else the one that gained least of what the others lost.
        let lost = (0..self.sheets.len()).min_by(|a, b| change(*a).total_cmp(&change(*b)))?;
        let gained = (0..self.sheets.len()).max_by(|a, b| change(*a).total_cmp(&change(*b)))?;
        let missing_kg = -(step.delta_kg + self.earlier_kg());
        let own_fall = change(lost) <= OWN * step.delta_kg && step.shift_mm.is_none_or(|mm| mm < self.rules.turn_mm);
        let plate = if own_fall { lost } else { gained };
        let sheet = self.sheets.get(plate)?;
        let near_mm = sheet.bend_mm(was.get(plate).copied().unwrap_or(0.0).max(is.get(plate).copied().unwrap_or(0.0)));
        let loose_kg = self.loose_kg();
        // A plate comes down onto its base when more comes onto it.
        let down_mm = near_mm.filter(|bend_mm| change(plate) > 0.0 && *bend_mm >= NEAR * sheet.clearance_mm);
        let text = if let Some(bend_mm) = down_mm {
            format!(
                "{:.2} kg are missing at plate {}, which bends by about {bend_mm:.1} of its {:.1} mm: it may touch its base.",
                missing_kg, sheet.name, sheet.clearance_mm
            )
        } else if missing_kg > loose_kg && (own_fall || change(gained) > 0.0) {
            format!(
                "{missing_kg:.2} kg are missing at plate {}, more than the {loose_kg:.1} kg that lie there loose: load may pass its cells by. Is \
                 something jammed beneath it, or someone partly off the bed?",
                sheet.name
            )
        } else {
            return None;
        };
        Some(Shunted { plate, text })
    }

    /// Asks about a shunt.
    pub(super) fn ask_shunt(&mut self, open: Open, shunted: &Shunted) {
        let at = self.sheets.get(shunted.plate).map(|sheet| sheet.middle_mm);
        let event =
            self.tell_at(open.t_s, EventKind::Shunt, Some(open.mass.kg), Some(open.mass.u_kg), at, &shunted.text);
        self.asked_by(open, event);
        if let Some(asked) = self.asked.last_mut() {
            asked.unsure = true;
        }
    }

    /// Whether load is thought to pass the cells by: a question of it is open.
    pub(super) fn is_shunted(&self) -> bool {
        let is_shunt = |asked: &super::Asked| self.log.get(asked.event).is_some_and(|e| e.kind == EventKind::Shunt);
        self.asked.iter().any(|asked| is_shunt(asked) && self.is_open(asked.t_s))
    }

    /// The plate that bears least of what it bore before.
    pub(super) fn most_lost(&self, before: &Rest, after: &Rest) -> Option<&Sheet> {
        let (was, is) = (self.plates_kg(before), self.plates_kg(after));
        let gain = |plate: usize| is.get(plate).zip(was.get(plate)).map_or(0.0, |(is, was)| is - was);
        let lost = (0..self.sheets.len()).min_by(|a, b| gain(*a).total_cmp(&gain(*b)))?;
        self.sheets.get(lost)
    }

    /// The load that passed the cells by is back: true where it was a shunt that was asked about.
    pub(super) fn tell_shunt_over(&mut self, asked_s: &[f64], stayed_s: f64) -> bool {
        let mut over = false;
        for &t_s in asked_s {
            let is_shunt = |number: usize| self.log.get(number).is_some_and(|e| e.kind == EventKind::Shunt);
            if !self.asked.iter().any(|asked| asked.t_s.total_cmp(&t_s).is_eq() && is_shunt(asked.event)) {
                continue;
            }
            if let Some(event) = self.asking(t_s) {
                event.text.push_str(&format!(" The load was back after {stayed_s:.0} s."));
                over = true;
            }
        }
        over
    }

    /// What earlier open questions took off, kg (not above 0).
    fn earlier_kg(&self) -> f64 {
        self.ledger.open().iter().map(|open| open.mass.kg.min(0.0)).sum()
    }

    /// What may be taken off the deck beside the patient, kg.
    fn loose_kg(&self) -> f64 {
        let items: f64 = self.ledger.items().iter().map(|item| item.mass.kg.max(0.0)).sum();
        let asked: f64 = self.ledger.open().iter().map(|open| open.mass.kg.max(0.0)).sum();
        self.rules.loose_kg + items + asked
    }

    fn plates_kg(&self, rest: &Rest) -> [f64; PLATES] {
        let mut plates = [0.0; PLATES];
        for (cell, kg) in self.config.cells().zip(&rest.cells_kg) {
            if let Some(plate) = plates.get_mut(cell.plate) {
                *plate += kg;
            }
        }
        plates
    }
}

impl Sheet {
    /// How far the plate bends under an even load, mm; `None` where its solver could not say.
    fn bend_mm(&self, kg: f64) -> Option<f64> {
        self.bend_mm_per_kg.map(|per_kg| per_kg * kg.max(0.0))
    }
}
