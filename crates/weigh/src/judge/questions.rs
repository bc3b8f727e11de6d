//! What answers an open question: an item that was entered, or the word that the change was the patient's own.

use formats::actions::Action;
use signal::{Mass, Open};

use super::{Expected, Judge, Mended, Undone};
use crate::report::{EventKind, Question};
use crate::setup::Rest;

impl Judge {
    /// Changes that nothing explains, each with the weight that either answer gives; none without a weight.
    pub(crate) fn questions(&self, patient_kg: Option<f64>) -> Vec<Question> {
        let question = |open: &Open| {
            let [x_mm, y_mm] = open.place_mm.map_or([None; 2], |place| place.map(Some));
            let Mass { kg, u_kg } = open.mass;
            Question { t_s: open.t_s, kg, u_kg, x_mm, y_mm, patient_kg, patient_kg_if_own: patient_kg.map(|p| p + kg) }
        };
        self.ledger.open().iter().map(question).collect()
    }

    /// The change that was asked about was the patient's own: it stays in the weight. The newest one, or the newest of the stated size.
    pub(super) fn own_step(&mut self, action: &Action) {
        let of_size = |open: &Open| {
            action
                .kg
                .is_none_or(|kg| (open.mass.kg.abs() - kg).abs() <= self.least(self.u_stated(kg).hypot(open.mass.u_kg)))
        };
        let Some(open) = self.ledger.open().iter().rposition(of_size).and_then(|index| self.ledger.answer(index))
        else {
            let text = "A change was said to be the patient's own, and none of that size is open: nothing was done.";
            self.tell(action.t_s, EventKind::Step, text);
            return;
        };
        let Mass { kg, u_kg } = open.mass;
        let text = format!("{kg:+.2} kg was the patient's own, as was said{}.", super::tell::in_brackets(&action.note));
        self.tell_at(action.t_s, EventKind::Step, Some(kg), Some(u_kg), open.place_mm, &text);
        // Nothing settled may be older than the answer. What was only entered changed no load: accounts from before it stand.
        let seen = self.asked.iter().all(|asked| asked.seen || asked.t_s.total_cmp(&open.t_s).is_ne());
        let counted = |rest: &Rest| seen || rest.level.t_s > open.t_s;
        if let Some(last) = self.last_settled.as_mut().filter(|_| seen) {
            last.kg += kg;
            last.u_kg = last.u_kg.hypot(u_kg);
        }
        if let Some(whole) = self.whole.as_mut().filter(|whole| counted(&whole.rest)) {
            whole.remainder_kg += kg;
        }
        if let Some(sure) = self.sure.as_mut().filter(|sure| counted(&sure.rest)) {
            sure.remainder_kg += kg;
        }
        self.mendable = None;
    }

    /// An item was entered, while the load `rests` or moves.
    pub(super) fn item(&mut self, action: &Action, sign: f64, rests: bool) {
        let expected = Expected { t_s: action.t_s, sign, kg: action.kg, note: action.note.clone() };
        let young =
            |index: usize| self.ledger.open().get(index).is_some_and(|open| action.t_s - open.t_s <= self.rules.late_s);
        // Of an item without its mass that is entered while the load moves, the move is likelier to be it than an older question: that one waits.
        let of_the_move = action.kg.is_none() && !rests;
        if !of_the_move && self.question_for(&expected).is_some_and(young) {
            self.answer(&expected);
            return;
        }
        if self.name_undone(&expected) || self.name_cleared(&expected) {
            return;
        }
        if let Some(Mended { t_s, kg, u_kg, place_mm }) = self.mended_by(&expected) {
            self.mended = None;
            self.book(t_s, &expected, kg, u_kg, place_mm);
            return;
        }
        self.expected.push(expected);
    }

    /// The change that was put down to the patient's arrival, and that an item explains which is entered now.
    fn mended_by(&self, item: &Expected) -> Option<Mended> {
        let soon = |last: &Mended| item.t_s - last.t_s <= self.rules.mend_s && last.kg * item.sign > 0.0;
        let fits = |last: &Mended| match item.kg {
            Some(kg) => (last.kg - item.sign * kg).abs() <= self.least(self.u_stated(kg).hypot(last.u_kg)),
            None => true,
        };
        self.mended.filter(|last| soon(last) && fits(last))
    }

    /// An item answers its open question.
    pub(super) fn answer(&mut self, item: &Expected) {
        if let Some(open) = self.question_for(item).and_then(|index| self.ledger.answer(index)) {
            self.book(open.t_s, item, open.mass.kg, open.mass.u_kg, open.place_mm);
            // The question stood open for a while: a hand would have let go by now.
            self.mendable = None;
        }
    }

    /// A change was taken for the end of an open question, and now an item is entered that explains it: true where that is so. An item that is known to
    /// lie there was meant, and the question is still open; else the item is what was asked about, and it is dealt with.
    fn name_undone(&mut self, item: &Expected) -> bool {
        let soon = |last: &Undone| item.t_s - last.t_s <= self.rules.mend_s && last.kg * item.sign > 0.0;
        let fits =
            |last: &Undone, kg: f64| (last.kg.abs() - kg.abs()).abs() <= self.least(self.u_stated(kg).hypot(last.u_kg));
        let Some(last) = self.undone.filter(|last| soon(last) && item.kg.is_none_or(|kg| fits(last, kg))) else {
            return false;
        };
        let id = self.names.iter().position(|name| *name == item.note && !name.is_empty());
        let lies = |held: &signal::Item| {
            id == Some(usize::from(held.id)) && held.mass.kg * last.kg < 0.0 && fits(&last, held.mass.kg)
        };
        let lay = self.ledger.items().iter().any(lies);
        self.undone = None;
        if lay {
            let super::Question { t_s, kg, u_kg, place_mm } = last.of;
            self.ask(Open { t_s, mass: Mass { kg, u_kg }, place_mm }, "is still open: what left was something else.");
            self.book(last.t_s, item, last.kg, last.u_kg, last.place_mm);
        }
        true
    }

    /// The open question that an item answers: of those of its mass the nearest, else the newest.
    pub(super) fn question_for(&self, item: &Expected) -> Option<usize> {
        let mut open = self.ledger.open().iter().enumerate();
        match item.kg {
            Some(kg) => {
                let off = |open: &Open| (open.mass.kg - item.sign * kg).abs();
                let fits = |open: &Open| off(open) <= self.least(self.u_stated(kg).hypot(open.mass.u_kg));
                open.filter(|(_, open)| fits(open)).min_by(|(_, a), (_, b)| off(a).total_cmp(&off(b))).map(|(at, _)| at)
            }
            None => {
                let fits = |open: &Open| open.mass.kg * item.sign > 0.0 && item.t_s - open.t_s <= self.rules.late_s;
                open.rfind(|(_, open)| fits(open)).map(|(at, _)| at)
            }
        }
    }
}
