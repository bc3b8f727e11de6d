//! What is found on a bare deck, and leaves it later.
//!
//! When the patient goes, what lies there besides is seen by itself: nothing of it is the patient, and each thing's mass is known as well as any. Somebody
//! takes it away an hour later beside the patient who came back, and says as little as when it was laid down. So each thing that was found is kept with its mass and place,
//! and a change that takes just one of them back is that thing's.
//!
//! | what is found            | what is kept |
//! |--------------------------|--------------|
//! | what open questions explain of it | each of these questions, with its own mass and place: they were things |
//! | the rest, if it is more than its uncertainty and nothing else lies there | one thing, with the centre of what the cells bear more than at the tare |
//!
//! Of the open questions, those are taken that leave least of what lies there, if that is at most half of it.
//!
//! A change is a found thing's if it is of its mass, at its place, and known well enough to tell half of it from all: a hand that lifts the edge of a mattress is of any mass, and
//! elsewhere. What comes back at once was such a hand, and the thing still lies there.
//! Not kept through a power cut: then the change is asked about.

use signal::{Mass, Open};

use super::changes::SAME_PLACE_MM;
use super::sure::{best_set, chosen, sum_kg};
use super::{Expected, Judge};
use crate::report::EventKind;
use crate::setup::{Rest, Step};

/// Name of what was found on a deck without a patient.
const ON_BARE: &str = "on the bare deck";
/// No more things are kept; the oldest is given up.
const MOST_FOUND: usize = 8;
/// Of a thing's mass, what the change may be uncertain by; of what lies there, what the questions may leave.
const SURE_REL: f64 = 0.5;

/// A thing that was found on the bare deck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Found {
    mass: Mass,
    place_mm: [f64; 2],
}

/// A found thing that was taken to have left: an entry that names the change otherwise may come a little later.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Cleared {
    /// When it began.
    from_s: f64,
    t_s: f64,
    mass: Mass,
    place_mm: Option<[f64; 2]>,
    of: Found,
}

impl Judge {
    /// The patient has left: what lies there now is told apart.
    pub(super) fn leave_bare(&mut self, t_s: f64, after: &Rest) {
        let seen = |open: &&Open| self.asked.iter().all(|asked| asked.seen || asked.t_s.total_cmp(&open.t_s).is_ne());
        let asked: Vec<Open> = self.ledger.open().iter().filter(seen).copied().collect();
        let jam = self.jam_to_keep();
        self.depart();
        match jam.zip(self.bare_kg(after)) {
            // What is missing there is borne by what is jammed.
            Some((jam, bare)) => {
                self.keep_jam(jam, t_s, after, bare);
                self.expected.clear();
            }
            None => self.bare(t_s, after, &asked),
        }
    }

    /// What the bare deck bears more than at the tare and than is known of; `None` without a tare.
    fn bare_kg(&self, after: &Rest) -> Option<Mass> {
        let u_kg = signal::doubt::between(&self.config, self.ledger.tare()?, after).total_kg();
        Some(Mass { kg: self.ledger.net_kg(after.level.kg)?, u_kg })
    }

    /// What lies on a deck without a patient is not the patient.
    pub(super) fn bare(&mut self, t_s: f64, after: &Rest, asked: &[Open]) {
        let Some((tare, Mass { kg, u_kg })) = self.ledger.tare().copied().zip(self.bare_kg(after)) else { return };
        if self.jam_ends_bare(t_s, kg, u_kg) {
            return;
        }
        let net = kg - self.ledger.open_kg();
        if net.abs() > self.least(u_kg) {
            self.note_found(&tare, after, Mass { kg: net, u_kg }, asked);
            self.give(ON_BARE, Mass { kg: net, u_kg });
            self.bared_s = Some(after.level.t_s);
            let kind = if net > 0.0 { EventKind::Added } else { EventKind::Removed };
            self.tell_size(t_s, kind, Some(net), Some(u_kg), "The bare deck bears another load than at the tare.");
        }
        self.expected.clear();
    }

    fn note_found(&mut self, tare: &Rest, after: &Rest, mass: Mass, asked: &[Open]) {
        if let Some(at) = self.found.iter().rposition(|found| self.takes_back(mass, found)) {
            self.found.remove(at);
            return;
        }
        let asked = asked.get(..asked.len().min(MOST_FOUND)).unwrap_or(&[]);
        let set = best_set(asked, -mass.kg);
        let left_kg = mass.kg - sum_kg(asked, set);
        let stayed = chosen(asked, if left_kg.abs() <= SURE_REL * mass.kg.abs() { set } else { 0 });
        let stayed = stayed.filter_map(|open| Some(Found { mass: open.mass, place_mm: open.place_mm? }));
        let known = self.found.len();
        self.found.extend(stayed);
        let of_them = self.found.get(known..).unwrap_or(&[]);
        let (sum_kg, u2) =
            of_them.iter().fold((0.0, 0.0), |(kg, u2), one| (kg + one.mass.kg, u2 + one.mass.u_kg * one.mass.u_kg));
        let rest = Mass { kg: mass.kg - sum_kg, u_kg: mass.u_kg.hypot(u2.sqrt()) };
        if rest.kg.abs() > self.least(rest.u_kg) {
            let alone = self.ledger.items().is_empty() && self.found.is_empty();
            let place_mm = self.centre_of_gain_mm(tare, after).filter(|_| alone);
            self.found.extend(place_mm.map(|place_mm| Found { mass: rest, place_mm }));
        }
        let over = self.found.len().saturating_sub(MOST_FOUND);
        self.found.drain(..over);
    }

    /// Centre of what the cells bear more than before, mm.
    fn centre_of_gain_mm(&self, before: &Rest, after: &Rest) -> Option<[f64; 2]> {
        let mut gained_kg = after.cells_kg;
        for (gained, was) in gained_kg.iter_mut().zip(&before.cells_kg) {
            *gained -= was;
        }
        self.config.centre_mm(&gained_kg)
    }

    /// Whether a change is of a found thing's mass.
    fn takes_back(&self, change: Mass, found: &Found) -> bool {
        let least_kg = self.least(change.u_kg.hypot(found.mass.u_kg));
        (found.mass.kg + change.kg).abs() <= least_kg && least_kg <= SURE_REL * found.mass.kg.abs()
    }

    /// The found thing that a change takes back, by its place in the list.
    fn found_of(&self, change: Mass, place_mm: Option<[f64; 2]>) -> Option<usize> {
        let [x, y] = place_mm?;
        let near = |[x0, y0]: [f64; 2]| (x - x0).hypot(y - y0) <= SAME_PLACE_MM;
        self.found.iter().rposition(|found| near(found.place_mm) && self.takes_back(change, found))
    }

    /// What was found on the bare deck is taken away beside the patient, or what was missing there comes back: true where that is what the change was.
    pub(super) fn clear_found(&mut self, step: &Step, u_kg: f64) -> bool {
        let mass = Mass { kg: step.delta_kg, u_kg };
        let Some(at) = self.found_of(mass, step.place_mm) else { return false };
        let of = self.found.remove(at);
        self.give(ON_BARE, mass);
        let kg = mass.kg.abs();
        let (kind, text) = if mass.kg < 0.0 {
            (
                EventKind::Removed,
                format!("{kg:.2} kg left the deck: what had been found there while the deck was bare."),
            )
        } else {
            (
                EventKind::Added,
                format!("{kg:.2} kg came onto the deck: what had been missing there while the deck was bare."),
            )
        };
        let (from_s, place_mm) = (super::changes::began(step), step.place_mm);
        self.tell_at(from_s, kind, Some(mass.kg), Some(u_kg), place_mm, &text);
        self.cleared = Some(Cleared { from_s, t_s: step.after.level.t_s, mass, place_mm, of });
        true
    }

    /// What seemed to be a found thing that left is back at once: a hand lifted it, or the mattress beneath it. True where that is what the change was.
    pub(super) fn put_back_cleared(&mut self, step: &Step, u_kg: f64) -> bool {
        let t_s = super::changes::began(step);
        let fits = |last: &Cleared| {
            (last.mass.kg + step.delta_kg).abs() <= self.least(u_kg.hypot(last.mass.u_kg))
                && t_s - last.from_s <= self.rules.contact_s
        };
        let Some(last) = self.cleared.filter(fits) else { return false };
        self.cleared = None;
        self.found.push(last.of);
        self.give(ON_BARE, Mass { kg: step.delta_kg, u_kg });
        let kind = if step.delta_kg > 0.0 { EventKind::Added } else { EventKind::Removed };
        let text = format!(
            "{:.2} kg were there again after {:.0} s: someone lifted or pressed.",
            step.delta_kg.abs(),
            t_s - last.from_s
        );
        self.tell_at(t_s, kind, Some(step.delta_kg), Some(u_kg), step.place_mm, &text);
        true
    }

    /// A change was taken for a found thing's, and now an item is entered that explains it: true where that is so. An item that is known to lie there was
    /// meant, and the found thing still lies there; else the found thing is that item.
    pub(super) fn name_cleared(&mut self, item: &Expected) -> bool {
        let soon = |last: &Cleared| item.t_s - last.t_s <= self.rules.mend_s && last.mass.kg * item.sign > 0.0;
        let fits = |last: &Cleared, kg: f64| {
            (last.mass.kg.abs() - kg.abs()).abs() <= self.least(self.u_stated(kg).hypot(last.mass.u_kg))
        };
        let Some(last) = self.cleared.filter(|last| soon(last) && item.kg.is_none_or(|kg| fits(last, kg))) else {
            return false;
        };
        let id = self.names.iter().position(|name| *name == item.note && !name.is_empty());
        let lies = |held: &signal::Item| {
            id == Some(usize::from(held.id)) && held.mass.kg * last.mass.kg < 0.0 && fits(&last, held.mass.kg)
        };
        let lay = self.ledger.items().iter().any(lies);
        self.cleared = None;
        if lay {
            self.give(ON_BARE, Mass { kg: -last.mass.kg, u_kg: 0.0 });
            self.found.push(last.of);
            self.book(last.t_s, item, last.mass.kg, last.mass.u_kg, last.place_mm);
        }
        true
    }

    /// An entry explains a change by a name that nothing bears that lies there: if it was a found thing's, it is not kept any longer.
    pub(super) fn named_found(&mut self, change: Mass, place_mm: Option<[f64; 2]>) {
        if let Some(at) = self.found_of(change, place_mm) {
            self.found.remove(at);
        }
    }

    /// Whether the bare deck found its load a moment ago.
    pub(super) fn bared_lately(&mut self, t_s: f64) -> bool {
        self.bared_s.take().is_some_and(|bared_s| t_s - bared_s <= self.rules.mend_s)
    }

    /// A small patient lay there before anybody said so, and was taken for a thing: true where something of that mass lies there.
    pub(super) fn take_back_bared(&mut self) -> bool {
        let id = self.names.iter().position(|name| name == ON_BARE).and_then(|at| u16::try_from(at).ok());
        let heavy = |id: u16| self.ledger.items().iter().any(|i| i.id == id && i.mass.kg >= self.rules.told_kg);
        match id.filter(|id| heavy(*id)) {
            Some(id) => {
                self.found.pop();
                self.ledger.forget(id).is_some()
            }
            None => false,
        }
    }
}
