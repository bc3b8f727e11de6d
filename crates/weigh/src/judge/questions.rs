//! What answers an open question: an item that was entered, or the word that the change was the patient's own.

use formats::actions::Action;
use signal::{Mass, Open};

use super::changes::near;
use super::{Expected, Judge, Mended, Undone};
use crate::report::{EventKind, Question};
use crate::setup::Rest;

/// A question is named by its time to this, s: that is kept to a millisecond.
const SAME_TIME_S: f64 = 1e-3;

impl Judge {
    /// Changes that nothing explains, each with the weight that either answer gives; none without a weight.
    pub(crate) fn questions(&self, patient_kg: Option<f64>) -> Vec<Question> {
        let question = |open: &Open| {
            let [x_mm, y_mm] = open.place_mm.map_or([None; 2], |place| place.map(Some));
            let Mass { kg, u_kg } = open.mass;
            let entered = self.entered(open);
            Question {
                t_s: open.t_s,
                kg,
                u_kg,
                x_mm,
                y_mm,
                patient_kg,
                patient_kg_if_own: patient_kg.map(|p| p + kg),
                entered: entered.is_some(),
                note: entered.unwrap_or_default().to_owned(),
            }
        };
        self.ledger.open().iter().map(question).collect()
    }

    /// The note of what was entered and not seen, where a question is about that.
    fn entered(&self, open: &Open) -> Option<&str> {
        let of_it = |asked: &&super::Asked| asked.t_s.total_cmp(&open.t_s).is_eq() && !asked.seen;
        self.asked.iter().rfind(of_it).map(|asked| asked.note.as_str())
    }

    /// The open question that an action names by its time. Of those of one time, which were entered and not seen, the one of its size.
    fn named(&self, action: &Action, asked_s: f64) -> Option<usize> {
        let off_kg = |open: &Open| action.kg.map_or(0.0, |kg| (open.mass.kg.abs() - kg).abs());
        let of_it = |(_, open): &(usize, &Open)| (open.t_s - asked_s).abs() <= SAME_TIME_S;
        let open = self.ledger.open().iter().enumerate().filter(of_it);
        open.min_by(|(_, a), (_, b)| off_kg(a).total_cmp(&off_kg(b))).map(|(at, _)| at)
    }

    /// An answer names a question that is not open, or not of this kind: it must not wait for something that comes.
    fn tell_not_open(&mut self, action: &Action) {
        let text = "An answer named a question that is not open any more: nothing was done.";
        self.tell(action.t_s, EventKind::Step, text);
    }

    /// What a question asks about was entered, and did not come about: the load is right without it.
    pub(super) fn withdraw_entered(&mut self, action: &Action) {
        let named = action.asked_s.and_then(|asked_s| self.named(action, asked_s));
        let entered = |at: &usize| self.ledger.open().get(*at).is_some_and(|open| self.entered(open).is_some());
        match named.filter(entered).and_then(|at| self.ledger.answer(at)) {
            Some(open) => self.tell_not_come(action, open),
            None => self.tell_not_open(action),
        }
    }

    /// The load agrees with what was entered since `from_s` and not seen: it came about, and is on the items' account from now on.
    pub(super) fn confirm_entered(&mut self, from_s: f64) {
        let first = |judge: &Self| {
            let since = |(_, open): &(usize, &Open)| open.t_s >= from_s;
            let mut open = judge.ledger.open().iter().enumerate().filter(since);
            open.find_map(|(at, open)| Some((at, judge.entered(open)?.to_owned())))
        };
        while let Some((at, note)) = first(self) {
            let Some(open) = self.ledger.answer(at) else { return };
            let item = Expected { t_s: open.t_s, sign: open.mass.kg.signum(), kg: Some(open.mass.kg.abs()), note };
            self.book(open.t_s, &item, open.mass.kg, open.mass.u_kg, open.place_mm);
        }
    }

    fn tell_not_come(&mut self, action: &Action, open: Open) {
        let Mass { kg, u_kg } = open.mass;
        let (size, note) = (kg.abs(), super::tell::in_brackets(&action.note));
        let text = if kg > 0.0 {
            format!("{size:.2} kg did not come onto the deck, as was said{note}.")
        } else {
            format!("{size:.2} kg did not leave the deck, as was said{note}.")
        };
        self.tell_at(action.t_s, EventKind::Step, Some(kg), Some(u_kg), open.place_mm, &text);
        self.stays_in_weight(&open, false);
    }

    /// The change that was asked about was the patient's own: it stays in the weight. The one that is named, else the newest one, or the newest of the
    /// stated size.
    pub(super) fn own_step(&mut self, action: &Action) {
        if let Some(asked_s) = action.asked_s
            && self.named(action, asked_s).is_none()
        {
            self.tell_not_open(action);
            return;
        }
        let of_size = |open: &Open| {
            action
                .kg
                .is_none_or(|kg| (open.mass.kg.abs() - kg).abs() <= self.least(self.u_stated(kg).hypot(open.mass.u_kg)))
        };
        let index = match action.asked_s {
            Some(asked_s) => self.named(action, asked_s),
            None => self.ledger.open().iter().rposition(of_size),
        };
        let entered = index.is_some_and(|at| self.ledger.open().get(at).is_some_and(|o| self.entered(o).is_some()));
        let Some(open) = index.and_then(|index| self.ledger.answer(index)) else {
            let text = "A change was said to be the patient's own, and none of that size is open: nothing was done.";
            self.tell(action.t_s, EventKind::Step, text);
            return;
        };
        if entered {
            self.tell_not_come(action, open);
            return;
        }
        let Mass { kg, u_kg } = open.mass;
        let text = format!("{kg:+.2} kg was the patient's own, as was said{}.", super::tell::in_brackets(&action.note));
        self.tell_at(action.t_s, EventKind::Step, Some(kg), Some(u_kg), open.place_mm, &text);
        self.stays_in_weight(&open, true);
    }

    /// What was asked about stays in the patient's weight. Nothing settled may be older than the answer; what was only entered, and not `seen`, changed no
    /// load: accounts from before it stand.
    fn stays_in_weight(&mut self, open: &Open, seen: bool) {
        let Mass { kg, u_kg } = open.mass;
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
        if let Some(asked_s) = action.asked_s {
            self.answer_named(action, asked_s, expected);
            return;
        }
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

    /// An item answers the question that it names, however long that was open.
    fn answer_named(&mut self, action: &Action, asked_s: f64, item: Expected) {
        let fits = |at: &usize| self.ledger.open().get(*at).is_some_and(|open| open.mass.kg * item.sign > 0.0);
        let named = self.named(action, asked_s).filter(fits);
        let known = named.and_then(|at| self.entered(self.ledger.open().get(at)?)).map(str::to_owned);
        let Some(open) = named.and_then(|at| self.ledger.answer(at)) else {
            self.tell_not_open(action);
            return;
        };
        // What was entered before bears the name that it was given then.
        let note = known.filter(|_| item.note.is_empty()).unwrap_or(item.note);
        self.book(open.t_s, &Expected { note, ..item }, open.mass.kg, open.mass.u_kg, open.place_mm);
        self.mendable = None;
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
        // Several of one name are one item: what left is one of them where it left from elsewhere than what was asked about.
        let elsewhere = last.of.place_mm.zip(last.place_mm).is_some_and(|(a, b)| !near(a, b));
        let one_of = |kg: f64| elsewhere && kg.abs() > last.kg.abs();
        let lies = |held: &signal::Item| {
            id == Some(usize::from(held.id))
                && held.mass.kg * last.kg < 0.0
                && (fits(&last, held.mass.kg) || one_of(held.mass.kg))
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
