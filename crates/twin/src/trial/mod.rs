//! The report card of a weighing engine: many runs with known truth, scored by condition.
//!
//! The twin does not know the engine. A caller wraps it in an [`Engine`]; [`score`] gives it a night sample by sample and holds
//! what it says against what is true, [`Tally`] adds runs up and [`ReportCard`] is what a person reads. [`Setting`] draws the
//! built-in runs: decks of three to nine plates, patients of all sizes, quiet and busy wards, faults.
//!
//! | figure          | definition                                                                                  |
//! |-----------------|---------------------------------------------------------------------------------------------|
//! | error           | settled weight less what a perfect deck shows ([`Moment::shown_kg`](crate::night::Moment::shown_kg)), a changed pad's fluid booked as the engine books it |
//! | within          | share of settled rows with an error of at most 0.1 % of the patient's weight or 50 g, the larger |
//! | coverage        | share of settled rows with an error of at most 1.96 stated standard uncertainties           |
//! | share settled   | settled rows over rows in which the patient lay there and nothing went on                   |
//! | false settled   | settled rows during a disturbance (from its fifth second on), over settled rows             |
//! | found, false    | things of 100 g and more, coming and leaving, turns, contacts, shunts |
//! | placed          | distance of the named place of a thing from the true one, mm                                |
//! | mistaken        | contacts that were named something that came or went                                        |
//! | settled again   | from the beginning of stillness (the end of the disturbance, or what was told of it) to the next settled row, where nothing untold or faulty stands against one |
//!
//! Rows are counted, not seconds: an engine that gives a row a second weighs each second alike. Rows of one run are far from
//! independent; the spread of a coverage is therefore taken between runs.

mod card;
mod decks;
mod events;
mod pads;
mod quiet;
mod report;
mod setting;

pub use card::{Card, Errors, EventCounts, RowCounts};
pub use decks::{PLATES, deck_of};
pub use events::{Found, Kind};
pub use report::{ConditionReport, EventReport, GroupReport, Limit, ReportCard, Tally};
pub use setting::{Label, Setting};

use formats::recording::Sample;
use formats::weights::{State, Weight};
use serde::Serialize;

use crate::error::TwinError;
use crate::night::{Moment, Night};
use pads::Pads;
use quiet::{Again, Quiet, Stillness, Waited};

/// A weighing engine under trial.
pub trait Engine {
    /// Takes a sample; gives a row where one is due.
    fn weigh(&mut self, sample: &Sample) -> Option<Weight>;
    /// What it found in the whole night.
    fn found(&mut self) -> Vec<Found>;
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
/// Angle from which a section counts as raised, °.
const RAISED_DEG: f64 = 3.0;
/// Load past the cells from which a row counts as given at a fault, kg.
const SHUNT_KG: f64 = 0.02;
/// Stillness after which a settled row is asked for, s.
pub const AGAIN_S: f64 = 15.0;

/// Holds what an engine says, row by row, against what is true; for those who drive the night themselves. [`score`] is the rest.
#[derive(Debug)]
pub struct Judge {
    card: Card,
    quiet: Quiet,
    again: Again,
    pads: Pads,
}

impl Judge {
    /// Of a night that has not begun.
    #[must_use]
    pub fn new(night: &Night<'_>) -> Self {
        Self { card: Card::default(), quiet: Quiet::new(night), again: Again::default(), pads: Pads::default() }
    }

    /// Judges the row that the sample just taken from the night brought. Returns what a perfect deck would show, kg.
    pub fn row(&mut self, night: &Night<'_>, sample: &Sample, weight: &Weight) -> f64 {
        let now = night.now();
        let condition = condition(night, sample);
        let stillness = self.quiet.at(weight.t_s);
        let true_kg = self.pads.reference_kg(weight, &now);
        row(&mut self.card, condition, weight, true_kg, &now, stillness);
        let answerable = now.aboard >= 1.0 && matches!(condition, Condition::Flat | Condition::Raised);
        match self.again.row(stillness, answerable, weight.state == State::Settled) {
            Some(Waited::Settled(after_s)) => self.card.again_s.push(after_s),
            Some(Waited::Over(after_s)) if after_s > AGAIN_S => self.card.never_again += 1,
            Some(Waited::Over(_)) | None => {}
        }
        true_kg
    }

    /// What the rows so far come to.
    #[must_use]
    pub fn so_far(&self) -> &Card {
        &self.card
    }

    /// The card of the night that is over, with what the engine found in it.
    #[must_use]
    pub fn finish(mut self, night: &Night<'_>, found: &[Found]) -> Card {
        events::hold(&mut self.card, night.truth(), found);
        self.card.close();
        self.card
    }
}

/// Gives a night to an engine and scores what it says.
///
/// # Errors
/// A night that cannot go on.
pub fn score(night: &mut Night<'_>, engine: &mut impl Engine) -> Result<Card, TwinError> {
    let mut judge = Judge::new(night);
    let mut sample = Sample::default();
    while night.next_sample(&mut sample)? {
        if let Some(weight) = engine.weigh(&sample) {
            judge.row(night, &sample, &weight);
        }
    }
    Ok(judge.finish(night, &engine.found()))
}

fn condition(night: &Night<'_>, sample: &Sample) -> Condition {
    let now = night.now();
    if night.is_faulty(now.t_s) || now.shunted_kg > SHUNT_KG {
        Condition::Faulty
    } else if now.untold_kg.abs() > 1e-9 {
        Condition::Untold
    } else if sample.tilt_deg.iter().any(|a| a.abs() > RAISED_DEG) {
        Condition::Raised
    } else {
        Condition::Flat
    }
}

fn row(card: &mut Card, condition: Condition, weight: &Weight, true_kg: f64, now: &Moment, stillness: Stillness) {
    let settled = weight.state == State::Settled;
    let rows = card.rows(condition);
    match stillness {
        Stillness::Still(_) if now.aboard >= 1.0 => {
            rows.still += 1;
            rows.settled_still += usize::from(settled);
        }
        Stillness::Disturbed(since_s) if settled && since_s > GRACE_S => rows.false_settled += 1,
        _ => {}
    }
    if settled && let (Some(kg), Some(u_kg)) = (weight.patient_kg, weight.u_kg) {
        rows.add_error(kg - true_kg, u_kg, now.patient_kg);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::night::TrueKind;
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
        let found = things.map(|e| Found { t_s: e.t_s + 3.0, kind: Kind::Thing, kg: e.kg, at_mm: e.at_mm });
        let found = if find { found.collect() } else { Vec::new() };
        let mut oracle =
            Oracle { still: Quiet::new(&night), aboard_from_s: 137.9, truth: &truth, off_kg, u_kg: 0.05, found };
        score(&mut night, &mut oracle).unwrap()
    }

    fn report(card: &Card) -> ReportCard {
        let mut tally = Tally::new(1, 12.0, 2);
        tally.add(&[], card);
        tally.report()
    }

    #[test]
    fn an_engine_that_knows_the_truth_has_a_perfect_card() {
        let card = card(0.0, true);
        let flat = &card.conditions[&Condition::Flat];
        assert_eq!(flat.still, flat.settled_still);
        assert_eq!(flat.false_settled, 0);
        let things = card.events[&Kind::Thing];
        assert!(things.happened > 0 && things.happened == things.found && things.false_alarms == 0);
        assert!(card.placed_mm.iter().all(|d| *d < 1e-9));
        assert_eq!((card.contacts_mistaken, card.never_again), (0, 0));
        // A row every two seconds: the first one after stillness begins is at most that late.
        assert!(!card.again_s.is_empty() && card.again_s.iter().all(|s| *s <= 2.0));
        // Nothing leaves through pads in these hours that the patient's own curve does not hold at its end.
        assert!(report(&card).all.coverage_95 > 0.5);
    }

    #[test]
    fn an_engine_that_is_off_and_blind_is_told_so() {
        let card = card(0.3, false);
        assert_eq!(card.events[&Kind::Thing].found, 0);
        let report = report(&card);
        let flat = &report.conditions[0];
        assert!(flat.share_within < 0.4 && flat.coverage_95 < 0.4, "{flat:?}");
        assert!((flat.error_median_g - 300.0).abs() < 200.0);
        let missed: Vec<&str> = report.limits.iter().filter(|l| l.met == Some(false)).map(|l| l.name).collect();
        assert!(missed.contains(&"error_p95_g_or_share") && missed.contains(&"things_found"), "{missed:?}");
    }
}
