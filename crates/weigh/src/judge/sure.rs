//! Questions that were none: what the deck says once nothing is in doubt any more.
//!
//! While a section is raised, a cell fails or load passes the cells by, a lean, a stand-in or a plate on its base may look like something that came or went. So may a rest of a few seconds between
//! two moves of a restless patient: an infant that arches its back rests, to the deck, 50 g too heavy. Such a
//! question is asked and marked as unsure. When the deck lies flat again and gives with all its cells, the load is compared with the last such rest before, on which no unsure
//! question was open: the patient weighs what was weighed then, but for what flowed since. A question that was asked while nothing was in doubt is never closed so.
//!
//! Symbols: off = R − R₀ − flow, with R the remainder (load less tare, items, lean and open questions) now and R₀ then; left = off + Σ of the unsure questions, which is what off
//! would be had they been none; u the standard uncertainty of both: what the two rests leave open, the flow, and the items booked in between.
//!
//! | closed                                | when |
//! |---------------------------------------|------|
//! | all                                   | left is within 3 u: nothing is unexplained without them; and off is not less by u |
//! | all, and left goes to what came in care | care was given while load passed the cells by, and left is less than a tenth of the largest |
//! | those that cancel                     | else, if off is within 3 u: the weight is the same without them |
//! | the set S with the least off + Σ S    | else, if off + Σ S is within 3 u, and is at most half of off |
//!
//! A thing of 3 u and less that came while a section was raised is not explained away by u alone: without it the accounts are off by just its mass, and with it by nothing.
//!
//! These accounts do not outlive a power cut (a record is small): an unsure question that was open then waits for its answer.

use signal::{Mass, Open};

use super::care::IN_CARE;
use super::pace::Flowed;
use super::{Judge, Presence};
use crate::setup::{Rest, Step};

/// No more unsure questions are tried in all their combinations.
const MOST_TRIED: usize = 10;

/// What seemed to come or go before and after a rest that was shorter is unsure, s.
const BRIEF_S: f64 = 15.0;
/// Of the largest unsure question, what may be left as linen.
const LEFT_REL: f64 = 0.1;

/// The accounts when nothing was in doubt.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Sure {
    pub(super) rest: Rest,
    pub(super) remainder_kg: f64,
    items_u2: f64,
    flowed: Flowed,
    /// Whether linen may have come or gone in care since, and is part of an unsure question.
    in_care: bool,
}

impl Judge {
    /// Remembers the accounts as of the plateau that a step has ended, where nothing was in doubt on it; and whether the step itself is.
    pub(super) fn note_sure(&mut self, step: &Step) {
        // Called while `found_s` is still that of the plateau before.
        let brief = step.before.as_ref().is_some_and(|before| before.level.t_s - self.found_s < BRIEF_S);
        if let Some(from_s) = self.sure.as_ref().map(|sure| sure.rest.level.t_s).filter(|_| brief) {
            // Nor is what was asked about it, that or an earlier one since the last sure rest.
            self.asked.iter_mut().filter(|asked| asked.t_s >= from_s).for_each(|asked| asked.unsure = true);
        }
        let sound = |rest: &Rest| self.flat(rest).is_some();
        let before = step.before.as_ref().filter(|before| sound(before) && !brief);
        self.unsure = step.rewired || before.is_none() || !sound(&step.after) || self.is_shunted();
        let calm = self.presence == Presence::On && self.first_s.is_some() && self.hold.is_none();
        let Some(rest) = before.filter(|_| calm && !self.is_unsure()) else { return };
        if let Some(remainder_kg) = self.ledger.remainder_kg(rest.level.kg) {
            let flowed = self.pace.flowed(rest.level.t_s, self.usual_pace());
            self.sure =
                Some(Sure { rest: *rest, remainder_kg, items_u2: self.ledger.items_u2(), flowed, in_care: false });
        }
    }

    /// Closes the unsure questions that a rest without doubt refutes.
    pub(super) fn judge_sure(&mut self, after: &Rest) {
        if self.presence != Presence::On || self.first_s.is_none() || self.hold.is_some() || !self.is_unsure() {
            return;
        }
        let Some((sure, u_lean_kg)) = self.sure.clone().zip(self.flat(after)) else { return };
        let Some(now_kg) = self.ledger.remainder_kg(after.level.kg) else { return };
        let flowed = self.pace.flowed(after.level.t_s, self.usual_pace());
        let items_var = (self.ledger.items_u2() - sure.items_u2).max(0.0);
        let var = (flowed.var - sure.flowed.var).max(0.0) + items_var;
        let u_kg =
            signal::doubt::between(&self.config, &sure.rest, after).total_kg().hypot(var.sqrt()).hypot(u_lean_kg);
        let off_kg = now_kg - sure.remainder_kg - (flowed.kg - sure.flowed.kg);
        let least_kg = self.least(u_kg);
        let unsure = self.unsure_questions();
        let left_kg = off_kg + unsure.iter().map(|open| open.mass.kg).sum::<f64>();
        let all = || unsure.iter().map(|open| open.t_s).collect::<Vec<f64>>();
        let most_kg = unsure.iter().map(|open| open.mass.kg.abs()).fold(0.0, f64::max);
        let as_good = left_kg.abs() <= off_kg.abs() + u_kg;
        let none = if left_kg.abs() <= least_kg && as_good {
            // Nothing is left to ask. What was booked in between was seen less surely than the rests: the difference is its, as far as it is less sure.
            let of_items = if items_var > 0.0 { items_var / (u_kg * u_kg) } else { 0.0 };
            self.ledger.correct_items(of_items * left_kg, self.ledger.items_u2());
            all()
        } else if sure.in_care && left_kg.abs() <= (LEFT_REL * most_kg).min(self.rules.care_kg) {
            self.give(IN_CARE, Mass { kg: left_kg, u_kg });
            self.tell_care(after.level.t_s, left_kg, u_kg);
            all()
        } else if off_kg.abs() <= least_kg {
            // The load is the same with them and without: of what seemed to go and to come back nothing is left to ask.
            self.cancelling(self.rules.least_kg)
        } else {
            // The accounts agree best without these, and not with them.
            let best = best_set(&unsure, off_kg);
            let refuted = (off_kg + sum_kg(&unsure, best)).abs() <= least_kg.min(0.5 * off_kg.abs());
            chosen(&unsure, if refuted { best } else { 0 }).map(|open| open.t_s).collect()
        };
        let why = format!(
            " It was none: flat, with all cells and no load past them, the deck bore at {:.0} s what it bore before.",
            after.level.t_s
        );
        self.close(&none, &why);
    }

    /// Closes questions, by their times, that asked about nothing; `why` is the sentence that says how that is known.
    pub(super) fn close(&mut self, none: &[f64], why: &str) {
        for asked_s in none {
            let Some(at) = self.ledger.open().iter().position(|open| open.t_s.total_cmp(asked_s).is_eq()) else {
                continue;
            };
            self.ledger.answer(at);
            self.retell_none(*asked_s, why);
            self.mendable = None;
        }
    }

    /// The most unsure questions, by their times, that cancel to `within_kg`.
    fn cancelling(&self, within_kg: f64) -> Vec<f64> {
        let asked = self.unsure_questions();
        let sets = (1..1_usize << asked.len()).filter(|set| set.count_ones() > 1);
        let most = sets.filter(|set| sum_kg(&asked, *set).abs() <= within_kg).max_by_key(|set| set.count_ones());
        most.map_or_else(Vec::new, |set| chosen(&asked, set).map(|open| open.t_s).collect())
    }

    fn unsure_questions(&self) -> Vec<Open> {
        let unsure = |open: &&Open| {
            self.asked.iter().any(|asked| asked.unsure && asked.seen && asked.t_s.total_cmp(&open.t_s).is_eq())
        };
        self.ledger.open().iter().filter(unsure).take(MOST_TRIED).copied().collect()
    }

    /// Asks about what came or went in care while load passes the cells by: who is laid otherwise presses otherwise on what is jammed, and that is no linen.
    pub(super) fn ask_shunted_care(&mut self, open: Open) {
        self.ask(open, "came or went in care, while load may pass the cells by: how much of it was linen?");
        if let Some(asked) = self.asked.last_mut() {
            asked.unsure = true;
        }
        if let Some(sure) = &mut self.sure {
            sure.in_care = true;
        }
    }

    fn is_unsure(&self) -> bool {
        self.asked.iter().any(|asked| asked.unsure && self.is_open(asked.t_s))
    }

    /// Whether the question of a time is open.
    pub(super) fn is_open(&self, asked_s: f64) -> bool {
        self.ledger.open().iter().any(|open| open.t_s.total_cmp(&asked_s).is_eq())
    }
}

/// The set of questions, by its bits, without which the accounts agree best.
pub(super) fn best_set(asked: &[Open], off_kg: f64) -> usize {
    let left_kg = |set: usize| (off_kg + sum_kg(asked, set)).abs();
    (0..1_usize << asked.len()).min_by(|a, b| left_kg(*a).total_cmp(&left_kg(*b))).unwrap_or(0)
}

/// The questions of a set, by its bits.
pub(super) fn chosen(asked: &[Open], set: usize) -> impl Iterator<Item = &Open> {
    asked.iter().enumerate().filter(move |(i, _)| set >> i & 1 == 1).map(|(_, open)| open)
}

pub(super) fn sum_kg(asked: &[Open], set: usize) -> f64 {
    chosen(asked, set).map(|open| open.mass.kg).sum()
}
