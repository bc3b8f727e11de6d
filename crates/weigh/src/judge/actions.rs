//! What people did: tare, patient, items, hold and release.

use formats::actions::{Action, ActionKind};
use signal::Motion;

use super::{Hold, Judge, Presence, Weighed};
use crate::report::{EventKind, Lies};
use crate::setup::{Path, Rest};
use signal::Mass;

impl Judge {
    /// Takes an action that was entered at or before the path's last sample.
    pub(crate) fn act(&mut self, action: &Action, path: &Path, temperature_c: Option<f64>) {
        let rest = (path.reading().motion == Motion::Settled).then(|| path.now(temperature_c));
        match action.kind {
            // A cell that drifted is believed again from this tare on, and its zero is taken with the others': the load rests anew first.
            ActionKind::Tare => self.want_tare(action.t_s, rest.filter(|_| !path.has_drifting())),
            ActionKind::PatientOn => self.patient_on(action.t_s, rest),
            ActionKind::PatientOff => self.patient_off(),
            ActionKind::Add => self.item(action, 1.0, rest.is_some()),
            ActionKind::Remove => self.item(action, -1.0, rest.is_some()),
            ActionKind::Hold => self.begin_care(action.t_s),
            ActionKind::Release => self.release(action.t_s, rest),
            ActionKind::PatientStep => self.own_step(action),
            ActionKind::Withdraw => self.withdraw(action),
        }
        self.happened += 1;
    }

    fn want_tare(&mut self, t_s: f64, rest: Option<Rest>) {
        if self.lies() == Lies::Patient {
            self.tell(t_s, EventKind::Step, "Tare was asked for with the patient on the deck: not taken.");
            return;
        }
        // Whoever was presumed is not there: the one who tares has looked.
        self.presence = Presence::Empty;
        self.first_s = None;
        self.last_settled = None;
        self.hold = None;
        match rest {
            Some(rest) => self.take_tare(rest),
            None => self.tare_wanted_s = Some(t_s),
        }
    }

    /// Whether somebody lies on the deck, as far as it knows.
    pub(crate) fn lies(&self) -> Lies {
        match self.presence {
            Presence::Empty => Lies::Nobody,
            Presence::Presumed | Presence::Leaving => Lies::Somebody,
            Presence::Arriving | Presence::On => Lies::Patient,
        }
    }

    /// Ends the wait for a tare that found no rest in time.
    pub(super) fn end_tare_wait(&mut self, now_s: f64) {
        if self.tare_wanted_s.is_some_and(|asked_s| now_s - asked_s > self.rules.tare_s) {
            self.tare_wanted_s = None;
            self.happened += 1;
            let text =
                format!("Tare was asked for, and the load did not rest within {:.0} s: not taken.", self.rules.tare_s);
            self.tell(now_s, EventKind::Step, &text);
        }
    }

    /// What was entered and has not come about does not count.
    fn withdraw(&mut self, action: &Action) {
        if action.asked_s.is_some() {
            self.withdraw_entered(action);
        } else if self.tare_wanted_s.take().is_some() {
            self.tell(action.t_s, EventKind::Step, "The tare was taken back before the load rested: not taken.");
        }
    }

    pub(super) fn take_tare(&mut self, rest: Rest) {
        self.tare_wanted_s = None;
        self.mendable = None;
        self.whole = None;
        self.never_seen.clear();
        self.sure = None;
        self.jam = None;
        self.care = None;
        self.found.clear();
        self.cleared = None;
        self.expected.clear();
        self.ledger.take_tare(rest);
    }

    fn patient_on(&mut self, t_s: f64, rest: Option<Rest>) {
        if self.tare_wanted_s.take().is_some() {
            let text = if self.ledger.tare().is_some() {
                "The patient came before the load rested for the tare: it was not taken, and the weight rests on the tare before it. Weigh anew on an empty deck if mattress or linen were changed."
            } else {
                "The patient came before the load rested for the tare: there is no tare, and no weight until one is taken."
            };
            self.tell(t_s, EventKind::Step, text);
        }
        match self.presence {
            Presence::On | Presence::Arriving => {}
            Presence::Leaving => match rest.filter(|rest| self.is_loaded(rest)) {
                // Said to leave, and lies there still: the word is taken back.
                Some(rest) => {
                    self.presence = Presence::On;
                    self.first_s = Some(rest.level.t_s);
                }
                None => self.presence = Presence::Arriving,
            },
            Presence::Empty => {
                self.presence = Presence::Arriving;
                let lately = self.bared_lately(t_s);
                if let Some(rest) = rest.filter(|_| lately && self.take_back_bared()) {
                    self.arrive(t_s, &rest);
                }
            }
            Presence::Presumed => {
                // The load came before the word. At rest it is judged now, else at the next rest.
                self.presence = Presence::Arriving;
                if let Some(rest) = rest {
                    self.arrive(t_s, &rest);
                }
            }
        }
    }

    /// Whether more lies there than things are.
    fn is_loaded(&self, rest: &Rest) -> bool {
        self.ledger.net_kg(rest.level.kg).is_some_and(|net| net >= self.rules.told_kg)
    }

    fn patient_off(&mut self) {
        match self.presence {
            Presence::Empty | Presence::Leaving => {}
            Presence::Presumed | Presence::Arriving | Presence::On => {
                self.presence = Presence::Leaving;
                self.first_s = None;
                // A weight that is held is that of who leaves.
                self.hold = None;
                self.ledger.release();
                if self.ledger.tare().is_none() {
                    self.depart();
                }
            }
        }
    }

    fn begin_care(&mut self, t_s: f64) {
        match &mut self.hold {
            // Care goes on before the load has rested after it: that is one care, with one verdict.
            Some(hold) => {
                if hold.released_s.take().is_none() {
                    return;
                }
            }
            None => {
                self.mendable = None;
                self.hold = Some(Hold { before: None, released_s: None, t_s });
            }
        }
        if let Some(Weighed { kg, u_kg }) = self.last_settled {
            self.ledger.hold(Mass { kg, u_kg });
        }
    }

    fn release(&mut self, t_s: f64, rest: Option<Rest>) {
        let Some(hold) = &mut self.hold else { return };
        hold.released_s = Some(t_s);
        self.ledger.release();
        if let Some(rest) = rest {
            self.judge_care(t_s, &rest);
        }
    }
}
