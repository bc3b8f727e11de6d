//! Samples of a deck to live weights, and to what is kept.
//!
//! **Two times.** The weigher's time only rises, at the pace of the deck's clock: rates and waits are told by it. What is kept has the
//! time of our clock. Where that clock is set back the two part (`ahead_us`): weighing goes on, and an hour that our clock
//! shows twice is on record twice, as it is of everything else that people did in it.

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

use super::live::{Live, Question};
use crate::clock::Stood;

/// A settled weight goes on record at most so often, s; every second's weight is a reading all the same.
const WEIGHT_EVERY_S: f64 = 60.0;
/// The state is kept at most so long after something was weighed, s; after an action or an event at once.
const STATE_EVERY_S: f64 = 10.0;
/// Rows of counts that wait for a row of weights at most.
const COUNTS_MOST: usize = 600;
const DECK: &str = "deck";
/// Place of what the engine itself keeps, beside the weigher's two.
const OWN_SLOT: i64 = 2;

/// Our clock was set where it and the deck's part by more than this from one sample to the next, µs: an estimate of the offset
/// steps by milliseconds.
const SET_US: i64 = 2_000_000;
/// Actions that were given last, by which those that come again after a restart are known.
const GIVEN_MOST: usize = 32;

/// What the engine itself must remember through a restart.
#[derive(Serialize, Deserialize)]
struct Own {
    /// Of the link: a sample that waits at a broker meanwhile has its own time afterwards.
    link: link::watch::Kept,
    given: Given,
    ahead_us: i64,
    apart_us: i64,
    deck_ms: Option<u64>,
}

/// The mark of the entry that tells an event, by the event's number, of those events that may still be put right.
type Told = BTreeMap<usize, String>;

/// Actions that were given to the weigher: those of the latest times on our clock (µs of UTC), each with its time on the weigher's,
/// s. Every earlier one was given too. A single time would not do: after our clock was set back, an action has an
/// earlier time than one that was given before it.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
struct Given(BTreeMap<i64, f64>);

impl Given {
    fn take(&mut self, at_us: i64, t_s: f64) {
        self.0.insert(at_us, t_s);
        while self.0.len() > GIVEN_MOST {
            self.0.pop_first();
        }
    }

    /// What waits for a later time than `t_s` waits for that.
    fn wait_no_later(&mut self, t_s: f64) {
        for given_s in self.0.values_mut() {
            *given_s = given_s.min(t_s);
        }
    }

    /// Whether one has a time that is not yet, on our clock as it is at `now_us`.
    fn is_ahead(&self, now_us: i64) -> bool {
        self.0.last_key_value().is_some_and(|(at_us, _)| at_us.saturating_sub(now_us) > SET_US)
    }

    /// The weigher's time of an action that was given; `None` for one that was not.
    fn t_s(&self, at_us: i64) -> Option<f64> {
        let (earliest_us, earliest_s) = self.0.first_key_value()?;
        if at_us < *earliest_us { Some(*earliest_s) } else { self.0.get(&at_us).copied() }.filter(|t_s| t_s.is_finite())
    }
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
    /// By how much the weigher's time is ahead of our clock, which was set back, µs.
    ahead_us: i64,
    /// A microsecond more on record for each time that our clock was set back: a row of the hour that comes twice must not have the
    /// very time of one that is kept, or it would be passed over.
    apart_us: i64,
    /// The deck's time of the last sample, ms.
    deck_ms: Option<u64>,
    counts: Counts,
    given: Given,
    /// When this engine began, µs of UTC, and how many entries it has made: together they mark each of them.
    begun_us: i64,
    made: u64,
    told: Told,
    /// Where our clock stood at the last look.
    stood: Option<Stood>,
    happened: u64,
    /// Why what must outlive a restart was not kept when that was last tried.
    unkept: Option<BedError>,
    /// When the state and a weight were last kept, s.
    state_s: f64,
    weight_s: f64,
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
        let (own, behind) = own(kept, start_us).unzip();
        let Behind { told, stood } = behind.unwrap_or_default();
        let (ahead_us, apart_us) = own.as_ref().map_or((0, 0), |own| (own.ahead_us, own.apart_us));
        let deck_ms = own.as_ref().and_then(|own| own.deck_ms);
        let mut given = own.as_ref().map(|own| own.given.clone()).unwrap_or_default();
        let timed = actions.iter().map(|(at_us, action)| {
            let before_s = given.t_s(*at_us);
            let t_s = before_s.unwrap_or_else(|| seconds(start_us, at_us.saturating_add(ahead_us)));
            (before_s.is_none(), *at_us, Action { t_s, ..action.clone() })
        });
        // Those that the kept state may hold come first, as the weigher asks.
        let mut timed: Vec<(bool, i64, Action)> = timed.collect();
        timed.sort_by(|(is_new, _, a), (is_too, _, b)| is_new.cmp(is_too).then(a.t_s.total_cmp(&b.t_s)));
        let before = own.as_ref().map(|_| timed.iter().take_while(|(is_new, ..)| !is_new).count());
        for (_, at_us, action) in &timed {
            given.take(*at_us, action.t_s);
        }
        let actions: Vec<Action> = timed.into_iter().map(|(.., action)| action).collect();
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
        let live = Live::before_all(&setup.bed, &setup.deck.name, weigher.lies());
        let mut engine = Self {
            counts: Counts { bed: setup.bed.clone(), at_us: Vec::new(), counts: Vec::new() },
            last_t_s: weigher.t_s(),
            happened: weigher.happened(),
            setup,
            weigher,
            keeper,
            watch: own.map_or_else(Watch::default, |own| Watch::resumed(&own.link)),
            start_us,
            ahead_us,
            apart_us,
            deck_ms,
            given,
            begun_us: now_us,
            made: 0,
            told,
            stood,
            unkept: None,
            state_s: f64::NEG_INFINITY,
            weight_s: f64::NEG_INFINITY,
            live,
        };
        engine.tell_accounts();
        Ok(engine)
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

    /// Where our clock stands, and by how much it was set forward since the last sample, µs; back where it is less than nothing.
    pub fn our_clock_stands(&mut self, stood: Stood, set_us: i64) {
        // Without a name for this start of the machine the next cannot be told from it, and nothing is known after a restart.
        self.stood = Some(stood).filter(|stood| stood.boot.is_some());
        self.our_clock_was_set(set_us);
    }

    /// The same at a start that goes on from a kept state: our clock may have been set while nobody looked.
    pub fn our_clock_stands_again(&mut self, now: Stood) {
        let set_us = self.stood.as_ref().map_or(0, |then| then.set_since(&now));
        self.our_clock_stands(now, set_us);
    }

    /// Our clock was set forward by so much since the last sample, µs; back where it is less than nothing.
    pub fn our_clock_was_set(&mut self, by_us: i64) {
        self.watch.our_clock_was_set(by_us / 1_000);
    }

    /// A line came that was no sample.
    pub fn rubbish(&mut self) {
        self.live.link.rubbish += 1;
    }

    /// Why what must outlive a restart, the tare above all, cannot be kept just now: more is on the bed's record than it can hold.
    #[must_use]
    pub fn unkept(&self) -> Option<&BedError> {
        self.unkept.as_ref()
    }

    /// Takes a sample that arrived at `arrived_us`; gives what is to be kept, once a second.
    ///
    /// # Errors
    /// The sample is not of this deck.
    pub fn take(&mut self, frame: &Frame, arrived_us: i64) -> Result<Option<Job>, BedError> {
        if let Err(error) = self.fits(frame) {
            self.live.link.rubbish += 1;
            return Err(error);
        }
        let came = self.watch.take(frame.sequence, frame.t_ms, frame.contents(), arrived_us / 1_000);
        self.live.link = self.live.link.counted(self.watch.tally(), self.watch.slow_ppm());
        if came == Came::Again {
            return Ok(None);
        }
        let at_us = self.watch.on_our_clock_ms(frame.t_ms).map_or(arrived_us, |ms| ms.saturating_mul(1_000));
        let before_ms = self.deck_ms.replace(frame.t_ms).filter(|_| came != Came::Restarted);
        let t_s = self.goes_on(at_us, before_ms.map(|before_ms| frame.t_ms.saturating_sub(before_ms)));
        self.last_t_s = t_s;
        if self.given.is_ahead(arrived_us) {
            // It was done while our clock stood ahead, which was set right since: it was before this sample.
            self.weigher.wait_no_later(t_s);
            self.given.wait_no_later(t_s);
        }
        let at_us = self.at(t_s);
        self.take_counts(frame, at_us);
        let sample = Sample {
            t_s,
            temperature_c: frame.temperature_c,
            tilt_deg: frame.tilt_deg.clone(),
            counts: frame.counts.iter().map(|c| c.map(f64::from)).collect(),
        };
        let Some(weight) = self.weigher.push(&sample) else { return Ok(None) };
        Ok(Some(self.row(&weight)))
    }

    /// The weigher's time of a sample that was taken at `at_us` of our clock and `step_ms` of the deck's after the last, where that is known, s.
    fn goes_on(&mut self, at_us: i64, step_ms: Option<u64>) -> f64 {
        let step_us = step_ms.map(|ms| i64::try_from(ms).unwrap_or(i64::MAX).saturating_mul(1_000));
        let due_us = micros(self.last_t_s).saturating_add(step_us.unwrap_or(1_000));
        let found_us = at_us.saturating_add(self.ahead_us).saturating_sub(self.start_us);
        let off_us = found_us.saturating_sub(due_us);
        if off_us < -SET_US {
            self.ahead_us = self.ahead_us.saturating_sub(off_us);
            self.apart_us = self.apart_us.saturating_add(1);
        } else if off_us > SET_US && step_us.is_some() {
            // Set forward after it was set back.
            self.ahead_us = self.ahead_us.saturating_sub(off_us).max(0);
        }
        // The estimate of the offset may step back by a few milliseconds; time does not.
        seconds(self.start_us, at_us.saturating_add(self.ahead_us)).max(self.last_t_s + 1e-3)
    }

    /// Whether the kept states of a bed say which of its actions they hold, so that older ones need not be given again.
    #[must_use]
    pub fn knows_actions(kept: &[State]) -> bool {
        kept.iter().map(|s| s.start_us).max().is_some_and(|start_us| own(kept, start_us).is_some())
    }

    /// Takes an action that is on record now.
    pub fn act(&mut self, at_us: i64, action: &Action) {
        let t_s = seconds(self.start_us, at_us.saturating_add(self.ahead_us));
        // As the weigher does with what waits, so that a restart knows when each was done.
        self.given.wait_no_later(t_s);
        self.given.take(at_us, t_s);
        self.weigher.act(Action { t_s, ..action.clone() });
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

    fn row(&mut self, weight: &Weight) -> Job {
        let at_us = self.at(weight.t_s);
        let bed = self.setup.bed.clone();
        let mut job = Job::default();
        let is_told = self.tell_news(&mut job);
        job.readings.push(Reading {
            bed: bed.clone(),
            at_us,
            kg: weight.patient_kg,
            u_kg: weight.u_kg,
            state: weight.state.word().to_owned(),
        });
        if weight.state == WeightState::Settled && weight.t_s - self.weight_s >= WEIGHT_EVERY_S {
            self.weight_s = weight.t_s;
            let body = json!({ "patient_kg": weight.patient_kg, "u_kg": weight.u_kg, "state": weight.state });
            job.entries.push(self.entry(Kind::Weight, at_us, String::new(), body));
        }
        let empty = Counts { bed, at_us: Vec::new(), counts: Vec::new() };
        job.counts.push(std::mem::replace(&mut self.counts, empty));
        let happened = self.weigher.happened();
        if is_told || happened != self.happened || weight.t_s - self.state_s >= STATE_EVERY_S {
            self.happened = happened;
            self.state_s = weight.t_s;
            // What was weighed and told goes on record, whatever becomes of the state: it is told once.
            self.unkept = self.keep_states(&mut job).err();
            if self.unkept.is_some() {
                // From an older one a restart would go on as if nothing had been done since; from one that holds nothing none does.
                let none =
                    |slot| State { bed: self.setup.bed.clone(), slot, start_us: self.start_us, record: Vec::new() };
                job.states.extend((0..=OWN_SLOT).map(none));
            }
        }
        self.live.at_us = Some(at_us);
        (self.live.patient_kg, self.live.u_kg) = (weight.patient_kg, weight.u_kg);
        self.live.state = Some(weight.state);
        self.live.load_kg = self.weigher.load_kg();
        self.tell_accounts();
        job
    }

    /// What is known of the bed beside the weight: also before the first sample after a restart.
    fn tell_accounts(&mut self) {
        let report = self.weigher.report();
        let question = |question: weigh::Question| Question {
            number: micros(question.t_s),
            at_us: self.at(question.t_s),
            kg: question.kg,
            u_kg: question.u_kg,
            entered: question.entered,
            note: question.note,
        };
        let questions = report.open.into_iter().map(question).collect();
        let tare_at_us = self.weigher.tared_s().map(|t_s| self.at(t_s));
        let live = &mut self.live;
        (live.open_kg, live.questions, live.items_kg) = (report.open_kg, questions, report.items_kg);
        (live.tare_kg, live.tare_at_us, live.awaits_tare) = (report.tare_kg, tare_at_us, self.weigher.awaits_tare());
        (live.lies, live.faults) = (self.weigher.lies(), self.weigher.at_fault());
    }

    /// New events and faults as entries. An event that was put right replaces the entry of the earlier one, which is named by
    /// its mark: its number is known to the memory alone, and it may be long in coming. Gives whether an event was told: its mark
    /// must outlive a restart with it, or what puts it right afterwards would stand beside it.
    fn tell_news(&mut self, job: &mut Job) -> bool {
        let news = self.weigher.news();
        let is_told = !news.events.is_empty();
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
        let Self { told, weigher, .. } = self;
        told.retain(|number, _| weigher.may_put_right(*number));
        is_told
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

    /// What must outlive a restart: the engine's own and the weigher's, both or neither, since each counts on the other.
    fn keep_states(&mut self, job: &mut Job) -> Result<(), BedError> {
        let state = self.state()?;
        job.states.extend(self.own_state());
        job.states.push(state);
        Ok(())
    }

    /// What the engine itself must remember. What later versions added stands behind the rest, where a record of one before ends.
    fn own_state(&self) -> Option<State> {
        let (link, given) = (self.watch.kept(), self.given.clone());
        let own = Own { link, given, ahead_us: self.ahead_us, apart_us: self.apart_us, deck_ms: self.deck_ms };
        let record = postcard::to_allocvec(&own).and_then(|own| postcard::to_extend(&self.told, own));
        let record = record.and_then(|record| postcard::to_extend(&self.stood, record)).ok()?;
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

    /// The weigher's time on our clock, µs of UTC.
    fn at(&self, t_s: f64) -> i64 {
        self.start_us.saturating_add(micros(t_s)).saturating_sub(self.ahead_us).saturating_add(self.apart_us)
    }
}

/// What later versions added to what an engine keeps of itself, as far as it is there.
#[derive(Default)]
struct Behind {
    told: Told,
    stood: Option<Stood>,
}

/// What an engine of this start kept of itself.
fn own(kept: &[State], start_us: i64) -> Option<(Own, Behind)> {
    let record = kept.iter().find(|s| s.slot == OWN_SLOT && s.start_us == start_us)?;
    let (own, rest) = postcard::take_from_bytes(&record.record).ok()?;
    let Ok((told, rest)) = postcard::take_from_bytes(rest) else { return Some((own, Behind::default())) };
    Some((own, Behind { told, stood: postcard::from_bytes(rest).unwrap_or_default() }))
}

#[allow(clippy::cast_possible_truncation, reason = "microseconds of this century; what is beyond ends at the ends")]
fn micros(t_s: f64) -> i64 {
    (t_s * 1e6).round() as i64
}

#[allow(clippy::cast_precision_loss, reason = "years in microseconds fit")]
fn seconds(start_us: i64, at_us: i64) -> f64 {
    at_us.saturating_sub(start_us) as f64 / 1e6
}
