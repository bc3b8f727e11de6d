//! Samples in, rows out.

use formats::actions::{Action, ITEM_MOST_KG};
use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::recording::{Header, Sample};
use formats::weights::{State, Weight};
use jiff::{SignedDuration, Timestamp};
use signal::Channel;
use signal::keep::{Keeper, Kept, Slot};

use crate::WeighError;
use crate::judge::{Judge, Rules, Weighed};
use crate::keep::{KeepingError, Weigh, pack, unpack};
use crate::report::{Event, Fault, FaultKind, Last, Lies, Question, UncertaintyParts, WeighReport};
use crate::setup::{CELLS, Path, SECTIONS, configure, sheets};

/// What is wrong with a cell is told again only after so long without it, s.
const QUIET_S: f64 = 60.0;
const FAULT_KINDS: usize = FaultKind::Overload as usize + 1;

/// How to weigh.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Time between rows, s.
    pub every_s: f64,
    /// Wall time at which the recording's time is 0.
    pub start: Option<Timestamp>,
}

impl Default for Options {
    fn default() -> Self {
        Self { every_s: 1.0, start: None }
    }
}

/// What happened since it was last asked, for who follows a recording as it comes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct News {
    /// Events, by number from 0. A number that came before is an event put right: it takes the place of the earlier one.
    pub events: Vec<(usize, Event)>,
    /// Faults.
    pub faults: Vec<Fault>,
}

/// A temperature holds for so long, s: no room changes by more than its thermometer's error meanwhile.
const TEMPERATURE_KEPT_S: f64 = 300.0;
/// The largest count of a converter of 32 bits, the widest there is.
const COUNT_MAX: f64 = 2_147_483_648.0;

/// Weighs one recording, sample by sample.
pub struct Weigher {
    path: Path,
    judge: Judge,
    deck_name: String,
    calibrated_at: String,
    n_sections: usize,
    /// Actions that were taken so far.
    n_taken: usize,
    /// Samples up to this time were weighed before the restart, s.
    weighed_s: Option<f64>,
    last_temperature_c: Option<f64>,
    /// When a temperature last came, s.
    warm_s: f64,
    cell_names: Vec<String>,
    tilt_sections: Vec<usize>,
    actions: std::collections::VecDeque<Action>,
    options: Options,
    next_row_s: Option<f64>,
    bad: [Option<FaultKind>; CELLS],
    /// When each was last bad in each way, s.
    bad_s: [[f64; FAULT_KINDS]; CELLS],
    /// Whether no channel was bad at the last sample.
    sound: bool,
    overloaded_s: [f64; CELLS],
    faults: Vec<Fault>,
    rows: usize,
    settled: usize,
    last: Option<Last>,
}

impl Weigher {
    /// A weigher for a recording with this header; actions stand in the order of time.
    ///
    /// # Errors
    /// Deck, calibration and recording do not fit together, or an option is out of range.
    pub fn new(
        deck: &Deck,
        calibration: &Calibration,
        header: &Header,
        actions: &[Action],
        options: Options,
    ) -> Result<Self, WeighError> {
        if !(options.every_s > 0.0 && options.every_s.is_finite()) {
            let (what, expected) = ("the time between rows", "a time above 0 s");
            return Err(WeighError::Option { what, found: options.every_s, expected });
        }
        let config = configure(deck, calibration)?;
        let cell_names: Vec<String> = deck.cells().map(|(_, cell)| cell.name.clone()).collect();
        if header.cells.len() != cell_names.len() {
            return Err(WeighError::Channels { found: header.cells.len(), expected: cell_names.len() });
        }
        let tilt_sections =
            header.tilts.iter().filter_map(|name| deck.sections.iter().position(|s| s.name == *name)).collect();
        Ok(Self {
            judge: Judge::new(Rules::new(deck.max_kg, deck.e_g), config.clone(), sheets(deck)),
            path: Path::new(config),
            deck_name: deck.name.clone(),
            calibrated_at: calibration.made_at.clone(),
            n_sections: deck.sections.len(),
            n_taken: 0,
            weighed_s: None,
            last_temperature_c: None,
            warm_s: f64::NEG_INFINITY,
            cell_names,
            tilt_sections,
            actions: actions.iter().cloned().collect(),
            options,
            next_row_s: None,
            bad: [None; CELLS],
            bad_s: [[f64::NEG_INFINITY; FAULT_KINDS]; CELLS],
            sound: true,
            overloaded_s: [f64::NEG_INFINITY; CELLS],
            faults: Vec::new(),
            rows: 0,
            settled: 0,
            last: None,
        })
    }

    /// Takes an action while weighing goes on: they come in the order in which people did them. Where one has an earlier time than others
    /// that wait, the clock that timed those stood ahead, and they are done with it.
    pub fn act(&mut self, action: Action) {
        self.wait_no_later(action.t_s);
        self.actions.push_back(action);
    }

    /// What waits for a later time than `t_s` waits for that: its own was of a clock that stood ahead.
    pub fn wait_no_later(&mut self, t_s: f64) {
        for waiting in self.actions.iter_mut().rev().take_while(|waiting| waiting.t_s > t_s) {
            waiting.t_s = t_s;
        }
    }

    /// Goes on from the newer whole one of two records that [`Weigher::keep`] made, as after a pause of the samples: to be asked before the
    /// first sample. Samples and actions that were taken before the restart are passed over when they come again.
    ///
    /// # Errors
    /// Neither record is whole, or they are of another deck or calibration.
    pub fn resume(&mut self, a: &[u8], b: &[u8]) -> Result<Keeper, KeepingError> {
        self.resume_given(a, b, None)
    }

    /// The same where only the latest actions are given again, of which the first `given` were there when the record was made: a bed of a
    /// year is as quick to go on as one of a day.
    ///
    /// # Errors
    /// As [`Weigher::resume`].
    pub fn resume_given(&mut self, a: &[u8], b: &[u8], given: Option<usize>) -> Result<Keeper, KeepingError> {
        let (kept, keeper) = signal::keep::restore::<CELLS, SECTIONS>(a, b, self.cell_names.len(), self.n_sections)?;
        let state = unpack(kept.beside, &self.deck_name, &self.calibrated_at)?;
        self.path = Path::resume(self.path.config().clone(), &kept.memory);
        self.judge.resume(state.judge, kept.ledger);
        self.weighed_s = Some(state.t_s);
        self.n_taken = state.n_taken;
        let (t_s, mut before) = (state.t_s, given.unwrap_or(state.n_taken));
        self.actions.retain(|action| {
            let taken = before > 0 && action.t_s <= t_s;
            before = before.saturating_sub(1);
            !taken
        });
        self.next_row_s = state.next_row_s;
        self.rows = state.rows;
        self.settled = state.settled;
        self.last = state.last.map(Last::from);
        for (cell_idx, kind) in state.bad {
            if let Some(bad) = self.bad.get_mut(usize::from(cell_idx)) {
                *bad = Some(kind);
            }
        }
        self.sound = self.bad.iter().all(Option::is_none);
        Ok(keeper)
    }

    /// Makes a record of everything that must outlive a power cut (tare, items, hold, open questions, who lies there, the last plateau), in a
    /// buffer that grows as needed; gives the place to write it to. Some 500 bytes with 24 cells.
    ///
    /// # Errors
    /// There is more than a record can hold.
    pub fn keep(&self, keeper: &mut Keeper, record: &mut Vec<u8>) -> Result<Slot, KeepingError> {
        let beside = pack(&Weigh {
            deck: self.deck_name.clone(),
            calibrated_at: self.calibrated_at.clone(),
            t_s: self.t_s(),
            n_taken: self.n_taken,
            rows: self.rows,
            settled: self.settled,
            next_row_s: self.next_row_s,
            last: self.last.map(Into::into),
            bad: (0..).zip(self.bad).filter_map(|(cell_idx, bad)| Some((cell_idx, bad?))).collect(),
            judge: self.judge.state(self.t_s()),
        })?;
        let memory = self.path.memory(self.last_temperature_c);
        let kept = Kept { ledger: *self.judge.ledger(), memory, beside: &beside };
        record.resize(signal::keep::MOST_BYTES + beside.len(), 0);
        let (slot, length) = keeper.save(&kept, self.cell_names.len(), self.n_sections, record)?;
        record.truncate(length);
        Ok(slot)
    }

    /// Counts up with everything that must be kept at once: an action, a change of the load.
    #[must_use]
    pub fn happened(&self) -> u64 {
        self.judge.happened()
    }

    /// Time of the last sample, also of one before a restart, s.
    #[must_use]
    pub fn t_s(&self) -> f64 {
        let seen_s = self.path.reading().t_s;
        self.weighed_s.map_or(seen_s, |before_s| before_s.max(seen_s))
    }

    /// Until when samples were weighed before a restart, s; `None` without one.
    #[must_use]
    pub fn weighed_s(&self) -> Option<f64> {
        self.weighed_s
    }

    /// What came or went and is not explained, kg: added to the patient's weight it gives the other possible one.
    #[must_use]
    pub fn open_kg(&self) -> f64 {
        self.judge.ledger().open_kg()
    }

    /// Whether somebody lies on the deck, as far as it knows.
    #[must_use]
    pub fn lies(&self) -> Lies {
        self.judge.lies()
    }

    /// What the deck bears with bed and all as of the last sample, kg; `None` while not all of its load is seen.
    #[must_use]
    pub fn load_kg(&self) -> Option<f64> {
        let reading = self.path.reading();
        reading.whole.then_some(reading.filtered_kg)
    }

    /// When the tare was taken, s; `None` without one.
    #[must_use]
    pub fn tared_s(&self) -> Option<f64> {
        self.judge.ledger().tare().map(|tare| tare.level.t_s)
    }

    /// Whether a tare was asked for and waits for rest.
    #[must_use]
    pub fn awaits_tare(&self) -> bool {
        self.judge.awaits_tare()
    }

    /// Changes that no action explains yet, oldest first.
    #[must_use]
    pub fn questions(&self) -> Vec<Question> {
        self.judge.questions(self.last.and_then(|last| last.patient_kg))
    }

    /// Standard uncertainty of the weight as of the last sample, by its parts; `None` without a tare.
    #[must_use]
    pub fn doubt(&self) -> Option<signal::Doubt> {
        self.judge.doubt(&self.path, self.last_temperature_c)
    }

    /// What happened since this was last asked, which is forgotten here: asked often, the weigher's memory stays constant.
    pub fn news(&mut self) -> News {
        News { events: self.judge.take_events(), faults: std::mem::take(&mut self.faults) }
    }

    /// Whether the event of a number, handed on before, may still be put right.
    #[must_use]
    pub fn may_put_right(&self, event: usize) -> bool {
        self.judge.may_put_right(event)
    }

    /// The cells that are at fault as of the last sample, also of one before a restart, in the order of the deck, and how. A cell is
    /// beyond its load for as long as its overload is not told anew.
    #[must_use]
    pub fn at_fault(&self) -> Vec<(String, FaultKind)> {
        let t_s = self.path.reading().t_s;
        let over = |over_s: f64| (t_s - over_s <= QUIET_S).then_some(FaultKind::Overload);
        let cells = self.cell_names.iter().zip(self.bad.iter().zip(&self.overloaded_s));
        cells.filter_map(|(cell, (bad, over_s))| Some((cell.clone(), bad.or_else(|| over(*over_s))?))).collect()
    }

    /// Takes a sample; gives a row when one is due.
    pub fn push(&mut self, sample: &Sample) -> Option<Weight> {
        // A time that is none would set every later row beside its grid.
        if !sample.t_s.is_finite() || self.weighed_s.is_some_and(|before_s| sample.t_s <= before_s) {
            return None;
        }
        match sample.temperature_c.filter(|c| signal::path::TEMPERATURE_C.contains(c)) {
            Some(c) => (self.last_temperature_c, self.warm_s) = (Some(c), sample.t_s),
            // A thermometer that misses some samples is still known; one that stays silent is not.
            None if sample.t_s - self.warm_s > TEMPERATURE_KEPT_S => self.last_temperature_c = None,
            None => {}
        }
        while let Some(mut action) = self.actions.pop_front_if(|action| action.t_s <= sample.t_s) {
            // A mass that no file may state is disbelieved, as a wild thermometer is.
            action.kg = action.kg.filter(|kg| (0.0..=ITEM_MOST_KG).contains(kg));
            self.n_taken += 1;
            self.judge.act(&action, &self.path, self.last_temperature_c);
            if self.judge.awaits_tare() {
                self.path.forget_drifts();
            }
        }
        self.path.push(&self.for_path(sample));
        if let Some(change) = &self.path.reading().change {
            self.judge.change(change);
        }
        self.judge.follow(&self.path);
        self.judge.expire(&self.path, self.last_temperature_c);
        self.note_faults();
        let due_s = self.next_row_s.unwrap_or(sample.t_s);
        if sample.t_s < due_s - 1e-6 {
            return None;
        }
        // The next row is due on the grid of the first, however late this one came.
        let periods = ((sample.t_s - due_s) / self.options.every_s + 1e-6).floor() + 1.0;
        self.next_row_s = Some(due_s + periods * self.options.every_s);
        Some(self.row(sample))
    }

    fn for_path(&self, sample: &Sample) -> signal::Sample<CELLS, SECTIONS> {
        let mut counts = [None; CELLS];
        for (to, from) in counts.iter_mut().zip(&sample.counts) {
            // No count rather than a load that is none.
            *to = from.filter(|counts| !(counts.is_finite() && counts.abs() > COUNT_MAX));
        }
        let mut tilt_deg = [None; SECTIONS];
        for (&section, &tilt) in self.tilt_sections.iter().zip(&sample.tilt_deg) {
            if let Some(to) = tilt_deg.get_mut(section) {
                *to = Some(tilt);
            }
        }
        signal::Sample { t_s: sample.t_s, counts, temperature_c: self.last_temperature_c, tilt_deg }
    }

    fn row(&mut self, sample: &Sample) -> Weight {
        let (state, weighed) = self.judge.row(&self.path, self.last_temperature_c);
        let patient_kg = weighed.map(|Weighed { kg, .. }| kg);
        let u_kg = weighed.map(|Weighed { u_kg, .. }| u_kg);
        self.rows += 1;
        self.settled += usize::from(state == State::Settled);
        self.last = Some(Last { t_s: sample.t_s, patient_kg, u_kg, state });
        let since = SignedDuration::try_from_secs_f64(sample.t_s).ok();
        let time = self.options.start.zip(since).and_then(|(start, since)| start.checked_add(since).ok());
        Weight { time, t_s: sample.t_s, patient_kg, u_kg, state }
    }

    fn note_faults(&mut self) {
        let reading = self.path.reading();
        let sound = |channel: &Channel| !channel.is_bad();
        if self.sound && reading.channels.iter().all(sound) && !reading.overloaded.contains(&true) {
            return;
        }
        let channels = reading.channels.iter().zip(&reading.overloaded);
        let known = self.bad.iter_mut().zip(&mut self.bad_s).zip(&mut self.overloaded_s);
        for (cell, ((channel, overloaded), ((bad, bad_s), over_s))) in self.cell_names.iter().zip(channels.zip(known)) {
            let kind = match channel {
                Channel::Lost => Some(FaultKind::Lost),
                Channel::Stuck => Some(FaultKind::Stuck),
                Channel::Saturated => Some(FaultKind::Saturated),
                Channel::Drifting => Some(FaultKind::Drifting),
                Channel::Silent | Channel::Good | Channel::Bridged => None,
            };
            // A load that sways about the rated one is told once.
            let over = *overloaded && reading.t_s - *over_s > QUIET_S;
            if *overloaded {
                *over_s = reading.t_s;
            }
            // So is a channel that flickers: the record keeps for ever what it is told.
            let new = kind.filter(|kind| *bad != Some(*kind) && reading.t_s - bad_s[*kind as usize] > QUIET_S);
            if let Some(kind) = kind {
                bad_s[kind as usize] = reading.t_s;
            }
            *bad = kind;
            for kind in new.into_iter().chain(over.then_some(FaultKind::Overload)) {
                self.faults.push(Fault { t_s: reading.t_s, cell: cell.clone(), kind });
            }
        }
        self.sound = self.bad.iter().all(Option::is_none);
    }

    /// What happened so far.
    #[must_use]
    pub fn report(&self) -> WeighReport {
        let ledger = self.judge.ledger();
        WeighReport {
            settled: self.settled,
            rows: self.rows,
            last: self.last,
            u_parts_kg: self.doubt().map(|doubt| UncertaintyParts::of(&doubt)),
            tare_kg: ledger.tare().map(|tare| tare.level.kg),
            items_kg: ledger.items_kg(),
            items: self.judge.items(),
            open_kg: ledger.open_kg(),
            open: self.questions(),
            events: self.judge.events(),
            faults: self.faults.clone(),
            actions_left_s: self.actions.iter().map(|action| action.t_s).collect(),
        }
    }

    /// Ends the recording.
    #[must_use]
    pub fn finish(self) -> WeighReport {
        self.report()
    }
}
