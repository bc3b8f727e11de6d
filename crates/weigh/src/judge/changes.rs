//! What the load did: each change, once the load rests again.

use signal::Motion;

use super::{Expected, Judge, Mend, Mendable, Presence};
use crate::report::EventKind;
use crate::setup::{Path, Rest, Step};
use signal::{Mass, Open};

/// A lean is told as a part of what may lean only where that much does, kg.
const LEANING_LEAST_KG: f64 = 1.0;
/// Larger than a slip can be: part of the push along a section that friction there does not take up.
const SLIP_MOST: f64 = 0.5;
/// Standard uncertainty of a slip that was seen, as a part of it and by itself: who turns lies on other cloth. A choice of this project, no source.
const SLIP_VARIES: f64 = 0.3;
/// See `SLIP_VARIES`.
const SLIP_U: f64 = 0.01;
/// An entry answers an old question only after this, s: it is likelier about what just came, if something did.
const ANSWER_S: f64 = 20.0;
/// What leaves left from where it came, mm: no thing of a bed is placed worse (150 mm is asked of a deck), and two of the same mass lie apart.
pub(super) const SAME_PLACE_MM: f64 = 200.0;
impl Judge {
    /// Takes a change that the path has found.
    pub(crate) fn change(&mut self, step: &Step) {
        self.happened += 1;
        self.note_sure(step);
        self.note_failed(step);
        self.learn_pace(step);
        self.found_s = step.after.level.t_s;
        self.judge_change(step);
        self.unsure = false;
        self.judge_sure(&step.after);
    }

    fn judge_change(&mut self, step: &Step) {
        let t_s = began(step);
        if self.tare_wanted_s.is_some() {
            self.take_tare(step.after);
            return;
        }
        self.note_moved(step);
        if let Some(hold) = &mut self.hold {
            hold.before.get_or_insert(step.before.unwrap_or(step.after));
            if hold.released_s.is_some() {
                self.judge_care(self.found_s, &step.after);
            }
            return;
        }
        if self.ledger.tare().is_none() {
            return;
        }
        match self.presence {
            Presence::On if self.first_s.is_some() => self.change_with_patient(step),
            _ => self.judge_presence(t_s, &step.after),
        }
    }

    /// Forgets what was entered and never seen; called with every sample.
    pub(crate) fn expire(&mut self, path: &Path, temperature_c: Option<f64>) {
        let now_s = path.reading().t_s;
        self.await_patient(path, temperature_c);
        self.end_tare_wait(now_s);
        self.try_fresh(path, temperature_c);
        if self.expected.is_empty() || path.reading().motion != Motion::Settled || self.hold.is_some() {
            return;
        }
        while let Some(at) =
            self.expected.iter().position(|item| now_s - item.t_s > ANSWER_S && self.question_for(item).is_some())
        {
            let item = self.expected.remove(at);
            self.happened += 1;
            self.answer(&item);
        }
        let early_s = self.rules.early_s;
        let (late, live): (Vec<Expected>, Vec<Expected>) =
            self.expected.drain(..).partition(|item| now_s - item.t_s > early_s);
        self.expected = live;
        for item in late {
            self.happened += 1;
            self.never_seen(now_s, &item);
        }
    }

    /// The patient was said to be there, and for minutes nothing came: what lay on the bare deck by then, and weighs as much as a small
    /// patient, was the patient.
    fn await_patient(&mut self, path: &Path, temperature_c: Option<f64>) {
        if self.presence != Presence::Arriving || self.hold.is_some() {
            self.awaited_s = None;
            return;
        }
        let now_s = path.reading().t_s;
        let awaited_s = *self.awaited_s.get_or_insert(now_s);
        if now_s - awaited_s > self.rules.early_s && path.reading().motion == Motion::Settled && self.take_back_bared()
        {
            self.happened += 1;
            self.arrive(now_s, &path.now(temperature_c));
        }
    }

    fn never_seen(&mut self, t_s: f64, item: &Expected) {
        match item.kg {
            // It came with the patient: the patient is lighter by it. Said later, a weight may have been given with it in.
            Some(kg)
                if self.first_s.is_some_and(|first| item.t_s - first <= self.rules.believe_first_s)
                    && item.sign > 0.0 =>
            {
                self.book(t_s, item, item.sign * kg, self.u_stated(kg), None);
            }
            Some(kg) if self.presence == Presence::On => {
                self.ask_entered(
                    t_s,
                    item,
                    item.sign * kg,
                    "was entered, and the load did not change: is it on the bed?",
                );
            }
            _ => {
                if self.whole.is_some() {
                    self.never_seen.push(item.clone());
                }
                self.tell(t_s, EventKind::Step, "An item was entered without its mass, and the load did not change.");
            }
        }
    }

    /// Whether what is entered with its mass would leave less of the load than any patient: a slip of the point, or of the bed.
    fn leaves_nobody(&self, kg: f64, after: &Rest) -> bool {
        self.ledger.remainder_kg(after.level.kg).is_some_and(|left_kg| left_kg - kg < self.rules.told_kg)
    }

    /// Asks about what was entered and has not shown in the load.
    fn ask_entered(&mut self, t_s: f64, item: &Expected, kg: f64, question: &str) {
        let open = Open { t_s, mass: Mass { kg, u_kg: self.u_stated(kg) }, place_mm: None };
        self.ask(open, question);
        if let Some(asked) = self.asked.last_mut() {
            asked.seen = false;
            asked.note.clone_from(&item.note);
        }
    }

    /// Without a patient: does one come, or go?
    pub(super) fn judge_presence(&mut self, t_s: f64, after: &Rest) {
        let Some(net) = self.ledger.net_kg(after.level.kg) else { return };
        match self.presence {
            Presence::Arriving | Presence::On => self.arrive(t_s, after),
            Presence::Leaving => {
                // What was asked about may stay there.
                if self.is_nobody(net) || self.is_nobody(net - self.ledger.open_kg().max(0.0)) {
                    let left = self.last_settled.map(|last| -last.kg);
                    self.tell_size(t_s, EventKind::PatientOff, left, None, "The patient has left the deck.");
                    self.leave_bare(t_s, after);
                }
            }
            Presence::Presumed => {
                if net < self.rules.someone_kg {
                    self.presence = Presence::Empty;
                    self.tell(t_s, EventKind::Contact, "Whoever was on the bed has left it.");
                    self.bare(t_s, after, &[]);
                }
            }
            Presence::Empty => {
                if net >= self.rules.someone_kg {
                    self.presence = Presence::Presumed;
                    let text = "Someone seems to be on the bed, and nobody said so: no weight until it is said.";
                    self.tell_size(t_s, EventKind::Step, Some(net), None, text);
                } else {
                    self.bare(t_s, after, &[]);
                }
            }
        }
    }

    pub(super) fn depart(&mut self) {
        self.presence = Presence::Empty;
        self.first_s = None;
        self.mendable = None;
        self.whole = None;
        self.never_seen.clear();
        self.sure = None;
        self.care = None;
        self.undone = None;
        self.ledger.drop_newest(usize::MAX);
        self.ledger.release();
        self.ledger.set_lean(Mass { kg: 0.0, u_kg: 0.0 });
        self.last_settled = None;
    }

    /// The patient is said to be there: is a load?
    pub(super) fn arrive(&mut self, t_s: f64, after: &Rest) {
        let Some((tare, net)) = self.ledger.tare().copied().zip(self.ledger.net_kg(after.level.kg)) else { return };
        if net < self.rules.told_kg {
            return;
        }
        let parts = signal::doubt::between(&self.config, &tare, after);
        // A leaning reaction that was never seen without the lean stays in the weight, and in its uncertainty.
        self.ledger.set_lean(Mass { kg: 0.0, u_kg: parts.lean_kg.hypot(parts.angle_kg) });
        for item in std::mem::take(&mut self.expected) {
            match item.kg {
                Some(kg) if self.leaves_nobody(item.sign * kg, after) => {
                    self.ask_entered(
                        t_s,
                        &item,
                        item.sign * kg,
                        "was entered, and beside a patient the deck does not bear it: is it on the bed?",
                    );
                }
                Some(kg) => self.book(t_s, &item, item.sign * kg, self.u_stated(kg), None),
                None => self.book_unweighed(t_s, &item),
            }
        }
        self.presence = Presence::On;
        self.first_s = Some(after.level.t_s);
        let kg = self.ledger.remainder_kg(after.level.kg);
        let u = self.ledger.u_kg(&self.config, after);
        let event = self.tell_size(t_s, EventKind::PatientOn, kg, u, "The patient is on the deck.");
        let until_s = after.level.t_s + self.rules.mend_s;
        self.mendable = Some(Mendable { what: Mend::Arrival, until_s, kg: kg.unwrap_or(0.0), event, item: 0 });
    }

    fn change_with_patient(&mut self, step: &Step) {
        let t_s = began(step);
        if self.ledger.net_kg(step.after.level.kg).is_some_and(|net| self.is_nobody(net)) && !self.may_be_item(step) {
            let left = self.last_settled.map(|last| -last.kg);
            self.tell_size(t_s, EventKind::PatientOff, left, None, "The patient has left the deck; nobody said so.");
            self.leave_bare(t_s, &step.after);
            return;
        }
        let apart_s = self.found_s - t_s;
        if self.is_late_arrival(step) {
            return;
        }
        if self.put_right(step) {
            return;
        }
        if step.articulated {
            self.articulate(step, self.u_step(step.parts.without_lean_kg(), apart_s));
            return;
        }
        let fluid = self.fluid(self.found_s, apart_s);
        let (mut step, mut u) = (*step, step.parts.total_kg().hypot(fluid.u_kg));
        // What was flowing goes on meanwhile, and is the patient's: a bolus of 3 L/h brings 50 g in a minute.
        step.delta_kg -= fluid.kg;
        let lean = self.ledger.lean();
        if lean.kg.abs() > 0.0
            && let Some(u_lean) = self.flat(&step.after)
        {
            // Flat and with all its cells the load itself says what lies there: what was put down to a lean or a stand-in was none.
            step.delta_kg += lean.kg;
            u = u.hypot(lean.u_kg);
            self.ledger.set_lean(Mass { kg: 0.0, u_kg: u_lean });
        }
        let step = &step;
        if step.rewired && step.delta_kg.abs() <= self.least(u.hypot(self.config.limits().channel.drift_floor_kg)) {
            // Other cells weigh now: the difference is theirs, and the fault is told.
            return;
        }
        if step.delta_kg.abs() <= self.least(u) || self.is_part_of_entered(step) {
            self.share_with_lean(step, apart_s);
            self.calm(step, apart_s);
        } else if !(self.jam_ends(step)
            || self.match_stated(step, u)
            || self.match_named(step, u)
            || self.mend(step, u, &[Mend::Arrival])
            || self.put_back_cleared(step, u)
            || self.undo(step, u)
            || self.match_expected(step, u)
            || self.clear_found(step, u)
            || self.mend(step, u, &[Mend::Item, Mend::Care]))
        {
            let open = Open { t_s, mass: Mass { kg: step.delta_kg, u_kg: u }, place_mm: step.place_mm };
            match self.shunted(step) {
                Some(told) => self.ask_shunt(open, &told),
                None => {
                    let question =
                        "came or went and nobody said so: what was it? Until then the weight is not settled.";
                    self.ask(open, question);
                }
            }
            self.begin_trial_of(open, &step.after);
        }
    }

    /// `step` is without what flowed meanwhile. Who turns on a raised section leans otherwise, and what stands in for a failed cell is off by another amount: that is no mass. What the lean was seen
    /// to be foretells what it becomes; the rest of the change is shared out by the uncertainties of lean and mass, and what that leaves open stays in the uncertainty.
    fn share_with_lean(&mut self, step: &Step, apart_s: f64) {
        let Some(before) = &step.before else { return };
        let (lean, foretold) = (self.ledger.lean(), self.lean_change(before, &step.after, step.parts.lean_kg));
        let u_mass = step.parts.of_mass_kg().hypot(self.fluid(self.found_s, apart_s).u_kg);
        let var = foretold.u_kg.powi(2) + step.parts.angle_kg.powi(2) + step.parts.stand_in_kg.powi(2);
        if var <= 0.0 {
            return;
        }
        let share = var / (var + u_mass * u_mass);
        let kg = lean.kg + foretold.kg + share * (step.delta_kg - foretold.kg);
        // More than the raised load can lean is no lean, but what a stand-in left open: it stays open.
        let beyond_kg = (kg.abs() - SLIP_MOST * self.leaning_kg(&step.after)).max(0.0);
        self.ledger.set_lean(Mass { kg, u_kg: lean.u_kg.hypot(share.sqrt() * u_mass).hypot(beyond_kg) });
    }

    /// Whether a change while a cell is at fault is only the part that the others see of a thing which was entered as leaving (or as coming back), and of which more than
    /// twice as much is known to lie there (or to be missing). It is booked when the cell gives again.
    fn is_part_of_entered(&self, step: &Step) -> bool {
        let part_of = |item: &Expected| {
            let id = self.names.iter().position(|name| *name == item.note && !name.is_empty());
            let of_it = |held: &signal::Item| {
                id == Some(usize::from(held.id))
                    && held.mass.kg * step.delta_kg < 0.0
                    && 2.0 * step.delta_kg.abs() < held.mass.kg.abs()
            };
            item.kg.is_none() && item.sign * step.delta_kg > 0.0 && self.ledger.items().iter().any(of_it)
        };
        self.whole.is_some() && self.expected.iter().any(part_of)
    }

    /// Whether what left may be an item as well as the patient: one of that mass and more lies there (two of a name are one item). Then it is asked about.
    fn may_be_item(&self, step: &Step) -> bool {
        let u = self.u_step(step.parts.total_kg(), self.found_s - began(step));
        let as_heavy = |item: &signal::Item| item.mass.kg + step.delta_kg >= -self.least(u.hypot(item.mass.u_kg));
        self.ledger.items().iter().any(as_heavy)
    }

    /// Uncertainty that angles leave to a load whose cells all give and which hardly can lean, kg; `None` for another.
    pub(super) fn flat(&self, rest: &Rest) -> Option<f64> {
        let absolute = signal::doubt::between(&self.config, self.ledger.tare()?, rest);
        let u_kg = absolute.lean_kg.hypot(absolute.angle_kg);
        (rest.stand_in_u_kg <= 0.0 && 3.0 * u_kg < self.rules.least_kg).then_some(u_kg)
    }

    /// What the lean becomes when more or less of the load lies on raised sections, by what it was seen to be; `unseen_kg` is its uncertainty where it was not.
    pub(super) fn lean_change(&self, before: &Rest, after: &Rest, unseen_kg: f64) -> Mass {
        let (was, is) = (self.leaning_kg(before), self.leaning_kg(after));
        if was <= LEANING_LEAST_KG {
            return Mass { kg: 0.0, u_kg: unseen_kg };
        }
        let slip = (self.ledger.lean().kg / was).clamp(-SLIP_MOST, SLIP_MOST);
        Mass { kg: slip * (is - was), u_kg: (SLIP_VARIES * slip.abs()).hypot(SLIP_U) * (is - was).abs() }
    }

    /// Load whose reaction may lean, kg: Σ W sin²θ over the sections.
    fn leaning_kg(&self, rest: &Rest) -> f64 {
        let sin_2 = |plate: usize| {
            let deg = rest.tilt_deg.get(self.config.section_of(plate)).copied().unwrap_or(0.0);
            deg.to_radians().sin().powi(2)
        };
        self.config.cells().zip(&rest.cells_kg).map(|(cell, kg)| kg * sin_2(cell.plate)).sum()
    }

    /// Soon after a small load was taken for the patient who was said to come, far more came: that is the patient, and what lay there before is not.
    fn is_late_arrival(&mut self, step: &Step) -> bool {
        let soon = self.first_s.is_some_and(|first_s| step.after.level.t_s - first_s <= self.rules.early_s);
        let before = step.before.and_then(|before| self.ledger.remainder_kg(before.level.kg));
        let Some(small_kg) = before.filter(|kg| soon && *kg < self.rules.someone_kg) else { return false };
        if step.delta_kg < self.rules.someone_kg {
            return false;
        }
        self.give("there before the patient", Mass { kg: small_kg, u_kg: step.parts.total_kg() });
        self.arrive(began(step), &step.after);
        true
    }

    /// A section moved. The patient's mass did not: the difference is the lean, as far as lean can explain it.
    fn articulate(&mut self, step: &Step, u: f64) {
        let (t_s, delta) = (began(step), step.delta_kg);
        let Some(tare) = self.ledger.tare() else { return };
        let absolute = signal::doubt::between(&self.config, tare, &step.after);
        let u_absolute = absolute.lean_kg.hypot(absolute.angle_kg);
        let fluid = self.fluid(self.found_s, self.found_s - t_s);
        let (lean, u_lean) = (self.ledger.lean().kg + delta - fluid.kg, self.ledger.lean().u_kg);
        let mut asked = delta;
        if u_absolute < u_lean || 3.0 * u_absolute < self.rules.least_kg {
            // Flatter than when the patient came, or flat: there is no lean, and the load itself says what lies there. What no lean explains was put
            // down to it before.
            self.ledger.set_lean(Mass { kg: 0.0, u_kg: u_absolute });
            if lean.abs() <= 3.0 * u_lean + self.least(u) {
                return;
            }
            asked = lean;
        } else if delta.abs() <= 3.0 * step.parts.lean_kg + self.least(u) {
            // The weight goes on from before, and so do its errors of gain, scale and zero, which the difference to the tare states. An error of the angle is on
            // the lean's account with the lean. What the patient gained meanwhile and the scatter of the two rests stay open until the section is down again.
            // So does the tail of the angle's low-pass, which a window may hold and still count as still.
            let tail_kg = self.config.limits().still.step_kg * signal::watch::TAIL / 3f64.sqrt();
            let u_carried = step.parts.noise_kg.hypot(step.parts.stand_in_kg).hypot(fluid.u_kg).hypot(tail_kg);
            self.ledger.set_lean(Mass { kg: lean, u_kg: u_lean.hypot(u_carried) });
            return;
        }
        let open = Open { t_s, mass: Mass { kg: asked, u_kg: u }, place_mm: None };
        match self.shunted(step) {
            Some(told) => self.ask_shunt(open, &told),
            None => self.ask(open, "came or went while a section moved: what was it?"),
        }
    }

    /// Nothing came or went: a touch or a turn.
    fn calm(&mut self, step: &Step, apart_s: f64) {
        let t_s = began(step);
        if step.shift_mm.is_some_and(|shift| shift >= self.rules.turn_mm) {
            let shift = step.shift_mm.unwrap_or(0.0);
            let at = self.config.centre_mm(&step.after.cells_kg);
            self.tell_at(
                t_s,
                EventKind::Turned,
                None,
                None,
                at,
                &format!("The patient lies otherwise: the centre of load moved by {shift:.0} mm, the sum stayed."),
            );
        } else if !self.moved(step)
            && step.excursion_kg.abs() >= self.rules.contact_kg
            && apart_s >= self.rules.believe_s
        {
            let text = format!("Someone leaned on the bed by {:.1} kg on average, and let go.", step.excursion_kg);
            self.tell_at(t_s, EventKind::Contact, Some(step.excursion_kg), None, None, &text);
        }
    }
}

/// Whether two places are one.
pub(super) fn near([x, y]: [f64; 2], [x0, y0]: [f64; 2]) -> bool {
    (x - x0).hypot(y - y0) <= SAME_PLACE_MM
}

/// When the plateau before a change was left.
pub(super) fn began(step: &Step) -> f64 {
    step.before.map_or(step.after.level.t_s, |before| before.level.t_s)
}
