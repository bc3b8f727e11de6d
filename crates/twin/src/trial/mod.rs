//! The report card of a weighing engine: many nights with known truth, scored by condition.
//!
//! The twin does not know the engine. A caller wraps it in an [`Engine`]; [`score`] gives it a night sample by sample and holds
//! what it says against what is true, and [`ReportCard`] adds nights up.
//!
//! | figure          | definition                                                                                  |
//! |-----------------|---------------------------------------------------------------------------------------------|
//! | error           | settled weight less what a perfect deck shows ([`Moment::shown_kg`]), a changed pad's fluid booked as the engine books it |
//! | within          | share of settled rows with an error of at most 0.1 % of the load or 50 g, the larger        |
//! | coverage        | share of settled rows with an error of at most 1.96 stated standard uncertainties           |
//! | share settled   | settled rows over rows in which the patient lay there and nothing went on                   |
//! | false settled   | settled rows during a disturbance (from its fifth second on), over settled rows             |
//! | found           | things of 100 g and more that came or went and were named within a minute                   |
//! | placed          | distance of the named place from the true one, mm                                           |
//! | mistaken        | contacts that were named something that came or went                                        |
//! | settled again   | time from the end of a disturbance to the next settled row                                  |
//!
//! Rows are counted, not seconds: an engine that gives a row a second weighs each second alike.

mod card;

pub use card::{Card, ConditionCard, ReportCard};

use formats::recording::Sample;
use formats::weights::{State, Weight};
use serde::Serialize;

use crate::error::TwinError;
use crate::night::{Moment, Night, TrueKind};

/// A weighing engine under trial.
pub trait Engine {
    /// Takes a sample; gives a row where one is due.
    fn weigh(&mut self, sample: &Sample) -> Option<Weight>;
    /// What it found in the whole night.
    fn found(&mut self) -> Vec<Found>;
}

/// Something that an engine found.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// When, s.
    pub t_s: f64,
    /// What.
    pub kind: FoundKind,
    /// Size, kg.
    pub kg: f64,
    /// Where, mm in bed coordinates.
    pub at_mm: Option<[f64; 2]>,
}

/// Kinds of findings, as far as the card asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FoundKind {
    /// Something came or went: added, removed, or a step that is asked about.
    Thing,
    /// Hands, a visitor.
    Contact,
    /// Anything else.
    Other,
}

/// A condition under which a weight was given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    /// Flat, nothing unusual.
    Flat,
    /// A section at more than 3°.
    Raised,
    /// Something lies there that no action told of.
    Untold,
    /// A channel or plate is at fault.
    Faulty,
}

impl Condition {
    /// In words.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Flat => "flat",
            Self::Raised => "section raised",
            Self::Untold => "something untold on the bed",
            Self::Faulty => "a cell or plate at fault",
        }
    }
}

/// Rows are not held against a disturbance in its first seconds: nothing can be known before it shows.
const GRACE_S: f64 = 4.0;
/// An event is found within this time, s.
const FIND_S: f64 = 60.0;
/// Smallest thing that must be found, kg.
const THING_KG: f64 = 0.1;
/// Angle from which a section counts as raised, °.
const RAISED_DEG: f64 = 3.0;

/// Gives a night to an engine and scores what it says.
///
/// # Errors
/// A night that cannot go on.
pub fn score(night: &mut Night<'_>, engine: &mut impl Engine) -> Result<Card, TwinError> {
    let mut card = Card::default();
    let mut sample = Sample::default();
    let mut quiet = Quiet::new(night);
    let mut pads = Pads::default();
    while night.next_sample(&mut sample)? {
        if let Some(weight) = engine.weigh(&sample) {
            let condition = condition(night, &sample);
            let state = quiet.at(weight.t_s);
            let true_kg = pads.reference_kg(&weight, &night.now());
            row(&mut card, condition, &weight, true_kg, &night.now(), state);
        }
    }
    events(&mut card, night, &engine.found());
    Ok(card)
}

fn condition(night: &Night<'_>, sample: &Sample) -> Condition {
    let now = night.now();
    if night.is_faulty(now.t_s) {
        Condition::Faulty
    } else if now.untold_kg.abs() > 1e-9 {
        Condition::Untold
    } else if sample.tilt_deg.iter().any(|a| a.abs() > RAISED_DEG) {
        Condition::Raised
    } else {
        Condition::Flat
    }
}

/// Whether something goes on.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Stillness {
    /// Nothing, and for so long, s.
    Still(f64),
    /// Something, and for so long, s.
    Disturbed(f64),
}

/// Follows the disturbances of a night in the order of time.
struct Quiet {
    /// From and to, merged where they overlap.
    disturbed: Vec<[f64; 2]>,
    next: usize,
}

impl Quiet {
    fn new(night: &Night<'_>) -> Self {
        let mut disturbed: Vec<[f64; 2]> = Vec::new();
        for d in &night.truth().disturbed {
            match disturbed.last_mut() {
                Some(last) if d.from_s <= last[1] => last[1] = last[1].max(d.to_s),
                _ => disturbed.push([d.from_s, d.to_s]),
            }
        }
        Self { disturbed, next: 0 }
    }

    fn at(&mut self, t_s: f64) -> Stillness {
        while self.disturbed.get(self.next).is_some_and(|d| d[1] < t_s) {
            self.next += 1;
        }
        match self.disturbed.get(self.next) {
            Some(d) if d[0] <= t_s => Stillness::Disturbed(t_s - d[0]),
            _ => {
                let since = self.next.checked_sub(1).map_or(0.0, |i| self.disturbed[i][1]);
                Stillness::Still(t_s - since)
            }
        }
    }
}

/// Fluid that left with a changed pad: by the deck alone nobody can say whether it was the patient's or the pad's. Whichever an
/// engine decides at its next settled weight is taken as right, and it is held to that.
#[derive(Debug, Default)]
struct Pads {
    gone_kg: f64,
    undecided_kg: f64,
    booked_to_patient_kg: f64,
}

impl Pads {
    /// What a perfect deck shows, given how the engine booked the pads.
    fn reference_kg(&mut self, weight: &Weight, now: &Moment) -> f64 {
        if now.gone_with_pads_kg < self.gone_kg {
            *self = Self::default();
        }
        self.undecided_kg += now.gone_with_pads_kg - self.gone_kg;
        self.gone_kg = now.gone_with_pads_kg;
        if let (State::Settled, Some(kg)) = (weight.state, weight.patient_kg) {
            let error = kg - (now.shown_kg() - self.booked_to_patient_kg);
            if (error + self.undecided_kg).abs() < error.abs() {
                self.booked_to_patient_kg += self.undecided_kg;
            }
            self.undecided_kg = 0.0;
        }
        now.shown_kg() - self.booked_to_patient_kg
    }
}

fn row(card: &mut Card, condition: Condition, weight: &Weight, true_kg: f64, now: &Moment, stillness: Stillness) {
    let there = now.aboard >= 1.0;
    let settled = weight.state == State::Settled;
    let of = card.of(condition);
    match stillness {
        Stillness::Still(since_s) if there => {
            of.still_rows += 1;
            if settled {
                of.settled_still += 1;
                card.again(since_s);
            } else {
                card.waiting = true;
            }
        }
        Stillness::Disturbed(since_s) => {
            if settled && since_s > GRACE_S {
                of.false_settled += 1;
            }
            card.waiting = true;
        }
        Stillness::Still(_) => {}
    }
    if settled && let (Some(kg), Some(u_kg)) = (weight.patient_kg, weight.u_kg) {
        let load_kg = true_kg + now.tare_kg + now.items_kg;
        card.of(condition).add_error(kg - true_kg, u_kg, load_kg);
    }
}

/// Holds what was found against what happened.
fn events(card: &mut Card, night: &Night<'_>, found: &[Found]) {
    for event in &night.truth().events {
        let near = |f: &&Found| f.t_s >= event.t_s - 5.0 && f.t_s <= event.until_s + FIND_S;
        match event.kind {
            TrueKind::Added | TrueKind::Removed if event.kg.abs() >= THING_KG => {
                card.things += 1;
                let same = |f: &&Found| {
                    f.kind == FoundKind::Thing && (f.kg - event.kg).abs() <= (0.25 * event.kg.abs()).max(0.06)
                };
                if let Some(hit) = found.iter().filter(near).find(same) {
                    card.things_found += 1;
                    if let (Some(a), Some(b)) = (hit.at_mm, event.at_mm) {
                        card.placed_mm.push((a[0] - b[0]).hypot(a[1] - b[1]));
                    }
                }
            }
            TrueKind::Contact => {
                card.contacts += 1;
                let within = |f: &&Found| f.t_s >= event.t_s - 1.0 && f.t_s <= event.until_s + 10.0;
                if found.iter().filter(within).any(|f| f.kind == FoundKind::Thing) {
                    card.contacts_mistaken += 1;
                }
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::Scenario;
    use crate::{BuiltDeck, demo};

    /// An engine that knows the truth, but for a constant and a stated uncertainty.
    struct Oracle<'a> {
        still: Quiet,
        aboard_from_s: f64,
        truth: &'a dyn Fn(f64) -> f64,
        off_kg: f64,
        u_kg: f64,
        found: Vec<Found>,
    }

    impl Engine for Oracle<'_> {
        fn weigh(&mut self, sample: &Sample) -> Option<Weight> {
            let still = matches!(self.still.at(sample.t_s), Stillness::Still(_));
            let state = if still && sample.t_s > self.aboard_from_s { State::Settled } else { State::Moving };
            let kg = (self.truth)(sample.t_s) + self.off_kg;
            Some(Weight { time: None, t_s: sample.t_s, patient_kg: Some(kg), u_kg: Some(self.u_kg), state })
        }

        fn found(&mut self) -> Vec<Found> {
            std::mem::take(&mut self.found)
        }
    }

    fn card(off_kg: f64, find: bool) -> Card {
        let deck = formats::deck::read("deck.toml", demo::DECK_TOML).unwrap();
        let scenario = Scenario { hours: 12.0, rate_hz: 0.5, ..Scenario::default() };
        let built = BuiltDeck::build(&deck, &scenario.cell_spread(), 2).unwrap();
        let mut night = Night::new(&deck, &built, &scenario, 2).unwrap();
        let course = night.course().clone();
        let truth = move |t_s: f64| course.patient_kg_at(t_s);
        let things = night.truth().events.iter().filter(|e| matches!(e.kind, TrueKind::Added | TrueKind::Removed));
        let found = things.map(|e| Found { t_s: e.t_s + 3.0, kind: FoundKind::Thing, kg: e.kg, at_mm: e.at_mm });
        let found = if find { found.collect() } else { Vec::new() };
        let mut oracle =
            Oracle { still: Quiet::new(&night), aboard_from_s: 137.9, truth: &truth, off_kg, u_kg: 0.05, found };
        score(&mut night, &mut oracle).unwrap()
    }

    #[test]
    fn an_engine_that_knows_the_truth_has_a_perfect_card() {
        let card = card(0.0, true);
        let flat = &card.conditions[&Condition::Flat];
        assert_eq!(flat.still_rows, flat.settled_still);
        assert_eq!(flat.false_settled, 0);
        assert!(card.things > 0 && card.things == card.things_found);
        assert!(card.placed_mm.iter().all(|d| *d < 1e-9));
        assert_eq!(card.contacts_mistaken, 0);
        // Nothing leaves through pads in these hours that the patient's own curve does not hold at its end.
        let report = ReportCard::of(&[card]);
        assert!(report.conditions[0].coverage > 0.5);
    }

    #[test]
    fn a_changed_pad_may_be_booked_either_way_but_not_both() {
        let weight =
            |kg| Weight { time: None, t_s: 0.0, patient_kg: Some(kg), u_kg: Some(0.02), state: State::Settled };
        let gone = |gone_with_pads_kg| Moment { patient_kg: 70.0 - 0.2, gone_with_pads_kg, ..Moment::default() };
        let mut kept = Pads::default();
        assert!((kept.reference_kg(&weight(70.01), &gone(0.2)) - 70.0).abs() < 1e-12);
        assert!((kept.reference_kg(&weight(69.8), &gone(0.2)) - 70.0).abs() < 1e-12);
        let mut lost = Pads::default();
        assert!((lost.reference_kg(&weight(69.79), &gone(0.2)) - 69.8).abs() < 1e-12);
        assert!((lost.reference_kg(&weight(70.0), &gone(0.2)) - 69.8).abs() < 1e-12);
        // Weighed anew: nothing is open any more.
        assert!((lost.reference_kg(&weight(69.8), &gone(0.0)) - 69.8).abs() < 1e-12);
    }

    #[test]
    fn an_engine_that_is_off_and_blind_is_told_so() {
        let card = card(0.3, false);
        assert_eq!(card.things_found, 0);
        let report = ReportCard::of(&[card]);
        let flat = &report.conditions[0];
        assert!(flat.within < 0.4 && flat.coverage < 0.4, "{flat:?}");
        assert!((flat.error_p50_g - 300.0).abs() < 200.0);
    }
}
