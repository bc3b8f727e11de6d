//! What answers an open question: an item that was entered, or the word that the change was the patient's own.

use formats::actions::Action;
use signal::{Mass, Open};

use super::{Expected, Judge, Mended};
use crate::report::{EventKind, Question};

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
        // Nothing settled may be older than the answer.
        if let Some(last) = &mut self.last_settled {
            last.kg += kg;
            last.u_kg = last.u_kg.hypot(u_kg);
        }
        self.mendable = None;
    }

    pub(super) fn item(&mut self, action: &Action, sign: f64) {
        let expected = Expected { t_s: action.t_s, sign, kg: action.kg, note: action.note.clone() };
        if let Some(index) = self.question_for(&expected)
            && let Some(open) = self.ledger.answer(index)
        {
            self.book(open.t_s, &expected, open.mass.kg, open.mass.u_kg, open.place_mm);
            // The question stood open for a while: a hand would have let go by now.
            self.mendable = None;
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

    /// The open question that an item answers.
    fn question_for(&self, item: &Expected) -> Option<usize> {
        let fits = |open: &Open| match item.kg {
            Some(kg) => {
                let u = self.u_stated(kg).hypot(open.mass.u_kg);
                (open.mass.kg - item.sign * kg).abs() <= self.least(u)
            }
            None => open.mass.kg * item.sign > 0.0 && item.t_s - open.t_s <= self.rules.late_s,
        };
        self.ledger.open().iter().rposition(fits)
    }
}
