//! Samples of a deck to live weights, and to what is kept.

use std::collections::BTreeMap;

use formats::actions::Action;
use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::recording::{Header, Sample};
use formats::weights::{State as WeightState, Weight};
use link::line::Frame;
use link::watch::{Came, Watch};
use serde::{Deserialize, Serialize};
use serde_json::json;
use store::entry::{Kind, NewEntry};
use store::readings::{Counts, LOST_COUNT, Reading};
use store::states::State;
use store::writer::Job;
use weigh::{Event, Keeper, Options, Slot, Weigher};

use super::live::{LinkLive, Live};

/// A settled weight goes on record at most so often, µs; every second's weight is a reading all the same.
const WEIGHT_EVERY_US: i64 = 60_000_000;
/// The state is kept at most so long after something was weighed, µs; after an action or an event at once.
const STATE_EVERY_US: i64 = 10_000_000;
/// Rows of counts that wait for a row of weights at most.
const COUNTS_MOST: usize = 600;
const DECK: &str = "deck";
/// Place of what the engine itself keeps, beside the weigher's two.
const OWN_SLOT: i64 = 2;

/// What the engine itself must remember through a restart.
#[derive(Serialize, Deserialize)]
struct Own {
    /// Of the link: a sample that waits at a broker meanwhile has its own time afterwards.
    link: link::watch::Kept,
    /// Time of the last action that was given to the weigher, µs of UTC.
    given_us: i64,
}

/// A bed, its deck and the calibration in force.
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    /// Label of the bed.
    pub bed: String,
    /// Label with which the deck's controller signs its samples.
    pub signs_as: String,
    /// The deck.
    pub deck: Deck,
    /// Its calibration.
    pub calibration: Calibration,
}

/// Why a bed cannot be weighed, or a sample not be taken.
#[derive(Debug, thiserror::Error)]
pub enum BedError {
    /// Deck and calibration do not fit.
    #[error(transparent)]
    Weigh(#[from] weigh::WeighError),
    /// What was kept of the bed cannot be gone on from.
    #[error("bed {bed:?}: {why}; a new tare is needed before it weighs")]
    Resume {
        /// The bed.
        bed: String,
        /// Why not.
        why: weigh::KeepingError,
    },
    /// More is on the deck's record than it can hold.
    #[error("bed {bed:?}: {why}")]
    Keep {
        /// The bed.
        bed: String,
        /// Why not.
        why: weigh::KeepingError,
    },
    /// The sample is of another deck.
    #[error("a sample of deck {found:?} on the link of {expected:?}")]
    OtherDeck {
        /// Whose it is.
        found: String,
        /// Whose it should be.
        expected: String,
    },
    /// The sample has another number of cells or sections.
    #[error("a sample with {found}; deck {deck:?} has {expected}")]
    OtherShape {
        /// The deck.
        deck: String,
        /// What it has.
        found: String,
        /// What it should have.
        expected: String,
    },
}

/// Weighs one bed.
pub struct Engine {
    setup: Setup,
    weigher: Weigher,
    keeper: Keeper,
    watch: Watch,
    start_us: i64,
    last_t_s: f64,
    counts: Counts,
    /// Time of the last action that was given to the weigher, µs of UTC.
    given_us: i64,
    /// When this engine began, µs of UTC, and how many entries it has made: together they mark each of them.
    begun_us: i64,
    made: u64,
    /// The mark of the entry that tells an event, by the event's number.
    told: BTreeMap<usize, String>,
    happened: u64,
    state_us: i64,
    weight_us: i64,
    live: Live,
}

impl Engine {
    /// An engine that begins at `now_us`, or goes on from the bed's kept states. `actions` are those on record for the bed,
    /// in order, with their times in µs of UTC: all since the kept start, or, where [`Engine::knows_actions`], those
    /// that are not surely older than the states.
    ///
    /// # Errors
    /// Deck and calibration do not fit, or no kept state can be gone on from.
    pub fn new(setup: Setup, kept: &[State], actions: &[(i64, Action)], now_us: i64) -> Result<Self, BedError> {
        let start_us = kept.iter().map(|s| s.start_us).max().unwrap_or(now_us);
        let header = Header {
            cells: setup.deck.cells().map(|(_, cell)| cell.name.clone()).collect(),
            tilts: setup.deck.sections.iter().map(|s| s.name.clone()).collect(),
            has_temperature: true,
        };
        let own = own(kept, start_us);
        let before = own.as_ref().map(|own| actions.iter().take_while(|(at_us, _)| *at_us <= own.given_us).count());
        let given_us = actions.last().map(|(at_us, _)| *at_us).max(own.as_ref().map(|own| own.given_us));
        let actions: Vec<Action> =
            actions.iter().map(|(at_us, a)| Action { t_s: seconds(start_us, *at_us), ..a.clone() }).collect();
        let options = Options { every_s: 1.0, start: None };
        let mut weigher = Weigher::new(&setup.deck, &setup.calibration, &header, &actions, options)?;
        let record = |slot| {
            kept.iter().find(|s| s.slot == slot && s.start_us == start_us).map_or(&[][..], |s| s.record.as_slice())
        };
        let keeper = if kept.is_empty() {
            Keeper::default()
        } else {
            weigher
                .resume_given(record(0), record(1), before)
                .map_err(|why| BedError::Resume { bed: setup.bed.clone(), why })?
        };
        let live = Live {
            bed: setup.bed.clone(),
            deck: setup.deck.name.clone(),
            at_us: None,
            patient_kg: None,
            u_kg: None,
            state: None,
            open_kg: weigher.open_kg(),
            tare_kg: None,
            items_kg: 0.0,
            last_event: None,
            faults: weigher.at_fault(),
            link: LinkLive::default(),
        };
        Ok(Self {
            counts: Counts { bed: setup.bed.clone(), at_us: Vec::new(), counts: Vec::new() },
            last_t_s: weigher.t_s(),
            happened: weigher.happened(),
            setup,
            weigher,
            keeper,
            watch: own.map_or_else(Watch::default, |own| Watch::resumed(&own.link)),
            start_us,
            given_us: given_us.unwrap_or(i64::MIN),
            begun_us: now_us,
            made: 0,
            told: BTreeMap::new(),
            state_us: i64::MIN,
            weight_us: i64::MIN,
            live,
        })
    }

    /// The bed just now.
    #[must_use]
    pub fn live(&self) -> &Live {
        &self.live
    }

    /// Whether the connection stands.
    pub fn link_is(&mut self, up: bool) {
        self.live.link.up = up;
    }

    /// A line came that was no sample.
    pub fn rubbish(&mut self) {
        self.live.link.rubbish += 1;
    }

    /// Takes a sample that arrived at `arrived_us`; gives what is to be kept, once a second.
    ///
    /// # Errors
    /// The sample is not of this deck; the bed's record is full.
    pub fn take(&mut self, frame: &Frame, arrived_us: i64) -> Result<Option<Job>, BedError> {
        if let Err(error) = self.fits(frame) {
            self.live.link.rubbish += 1;
            return Err(error);
        }
        let came = self.watch.take(frame.sequence, frame.t_ms, arrived_us / 1_000);
        self.live.link = self.live.link.counted(self.watch.tally(), self.watch.slow_ppm());
        if came == Came::Again {
            return Ok(None);
        }
        let at_us = self.watch.on_our_clock_ms(frame.t_ms).map_or(arrived_us, |ms| ms.saturating_mul(1_000));
        // The estimate of the offset may step back by a few milliseconds; time does not.
        let t_s = seconds(self.start_us, at_us).max(self.last_t_s + 1e-3);
        self.last_t_s = t_s;
        let at_us = self.at(t_s);
        self.take_counts(frame, at_us);
        let sample = Sample {
            t_s,
            temperature_c: frame.temperature_c,
            tilt_deg: frame.tilt_deg.clone(),
            counts: frame.counts.iter().map(|c| c.map(f64::from)).collect(),
        };
        let Some(weight) = self.weigher.push(&sample) else { return Ok(None) };
        self.row(&weight).map(Some)
    }

    /// Whether the kept states of a bed say which of its actions they hold, so that older ones need not be given again.
    #[must_use]
    pub fn knows_actions(kept: &[State]) -> bool {
        kept.iter().map(|s| s.start_us).max().is_some_and(|start_us| own(kept, start_us).is_some())
    }

    /// Takes an action that is on record now.
    pub fn act(&mut self, at_us: i64, action: &Action) {
        self.given_us = self.given_us.max(at_us);
        self.weigher.act(Action { t_s: seconds(self.start_us, at_us), ..action.clone() });
    }

    fn fits(&self, frame: &Frame) -> Result<(), BedError> {
        if frame.deck != self.setup.signs_as {
            let (found, expected) = (frame.deck.clone(), self.setup.signs_as.clone());
            return Err(BedError::OtherDeck { found, expected });
        }
        let (cells, sections) = (self.setup.deck.cells().count(), self.setup.deck.sections.len());
        if frame.counts.len() != cells || frame.tilt_deg.len() > sections {
            return Err(BedError::OtherShape {
                deck: self.setup.deck.name.clone(),
                found: format!("{} cells and {} angles", frame.counts.len(), frame.tilt_deg.len()),
                expected: format!("{cells} cells and at most {sections} angles"),
            });
        }
        Ok(())
    }

    /// Gathers raw counts for the next job.
    fn take_counts(&mut self, frame: &Frame, at_us: i64) {
        if self.counts.at_us.len() < COUNTS_MOST {
            self.counts.at_us.push(at_us);
            self.counts.counts.extend(frame.counts.iter().map(|c| c.unwrap_or(LOST_COUNT)));
        }
    }

    fn row(&mut self, weight: &Weight) -> Result<Job, BedError> {
        let at_us = self.at(weight.t_s);
        let bed = self.setup.bed.clone();
        let mut job = Job::default();
        self.tell_news(&mut job);
        job.readings.push(Reading {
            bed: bed.clone(),
            at_us,
            kg: weight.patient_kg,
            u_kg: weight.u_kg,
            state: weight.state.word().to_owned(),
        });
        if weight.state == WeightState::Settled && at_us.saturating_sub(self.weight_us) >= WEIGHT_EVERY_US {
            self.weight_us = at_us;
            let body = json!({ "patient_kg": weight.patient_kg, "u_kg": weight.u_kg, "state": weight.state });
            job.entries.push(self.entry(Kind::Weight, at_us, String::new(), body));
        }
        let empty = Counts { bed, at_us: Vec::new(), counts: Vec::new() };
        job.counts.push(std::mem::replace(&mut self.counts, empty));
        let happened = self.weigher.happened();
        if happened != self.happened || at_us.saturating_sub(self.state_us) >= STATE_EVERY_US {
            self.happened = happened;
            self.state_us = at_us;
            job.states.extend(self.own_state());
            job.states.push(self.state()?);
        }
        let report = self.weigher.report();
        self.live.at_us = Some(at_us);
        (self.live.patient_kg, self.live.u_kg) = (weight.patient_kg, weight.u_kg);
        self.live.state = Some(weight.state);
        self.live.faults = self.weigher.at_fault();
        self.live.open_kg = self.weigher.open_kg();
        (self.live.tare_kg, self.live.items_kg) = (report.tare_kg, report.items_kg);
        Ok(job)
    }

    /// New events and faults as entries. An event that was put right replaces the entry of the earlier one, which is named by
    /// its mark: its number is known to the memory alone, and it may be long in coming.
    fn tell_news(&mut self, job: &mut Job) {
        let news = self.weigher.news();
        for (number, event) in news.events {
            let at_us = self.at(event.t_s);
            self.live.last_event = Some((at_us, event.kind, event.text.clone()));
            let entry = self.event_entry(number, &event, at_us);
            if let Some(mark) = &entry.once
                && let Some(earlier) = self.told.insert(number, mark.clone())
            {
                job.replaces.push((job.entries.len(), earlier));
            }
            job.entries.push(entry);
        }
        for fault in news.faults {
            let at_us = self.at(fault.t_s);
            let body = json!({ "fault": fault.kind, "cell": fault.cell });
            job.entries.push(self.entry(Kind::Event, at_us, fault.cell, body));
        }
    }

    fn event_entry(&mut self, number: usize, event: &Event, at_us: i64) -> NewEntry {
        let body = serde_json::to_value(event).unwrap_or_default();
        let subject = format!("{}/{number}", self.start_us);
        self.entry(Kind::Event, at_us, subject, body)
    }

    #[allow(clippy::needless_pass_by_value, reason = "a value made for this entry")]
    fn entry(&mut self, kind: Kind, at_us: i64, subject: String, body: serde_json::Value) -> NewEntry {
        self.made += 1;
        NewEntry {
            chain: self.setup.bed.clone(),
            at_us,
            kind,
            subject,
            author: DECK.to_owned(),
            corrects: None,
            // Kept again after a restart that came between keeping and forgetting, it is the same entry.
            once: Some(format!("{DECK} {}-{}", self.begun_us, self.made)),
            body: body.to_string(),
        }
    }

    /// What the engine itself must remember.
    fn own_state(&self) -> Option<State> {
        let own = Own { link: self.watch.kept(), given_us: self.given_us };
        let record = postcard::to_allocvec(&own).ok()?;
        Some(State { bed: self.setup.bed.clone(), slot: OWN_SLOT, start_us: self.start_us, record })
    }

    fn state(&mut self) -> Result<State, BedError> {
        let mut record = Vec::new();
        let slot = self
            .weigher
            .keep(&mut self.keeper, &mut record)
            .map_err(|why| BedError::Keep { bed: self.setup.bed.clone(), why })?;
        let slot = match slot {
            Slot::A => 0,
            Slot::B => 1,
        };
        Ok(State { bed: self.setup.bed.clone(), slot, start_us: self.start_us, record })
    }

    #[allow(clippy::cast_possible_truncation, reason = "microseconds of this century")]
    fn at(&self, t_s: f64) -> i64 {
        self.start_us.saturating_add((t_s * 1e6).round() as i64)
    }
}

/// What an engine of this start kept of itself.
fn own(kept: &[State], start_us: i64) -> Option<Own> {
    let record = kept.iter().find(|s| s.slot == OWN_SLOT && s.start_us == start_us)?;
    postcard::from_bytes(&record.record).ok()
}

#[allow(clippy::cast_precision_loss, reason = "years in microseconds fit")]
fn seconds(start_us: i64, at_us: i64) -> f64 {
    at_us.saturating_sub(start_us) as f64 / 1e6
}
