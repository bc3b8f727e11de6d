//! A bed: its engine, and what is live.

use std::sync::{Mutex, PoisonError};

use formats::actions::Action;
use store::StoreError;
use store::sql::Transaction;
use store::states::State;
use tokio::sync::watch;

use crate::bed::{BedError, Engine, Live, Setup};
use crate::clock::Stood;
use crate::memory::Memory;
use crate::records::{self, RecordError, Stay};
use crate::service::WardError;

/// Actions so much older than the newest weight lie in the kept state, µs.
const SURELY_US: i64 = 3_600 * 1_000_000;

/// What keeps a bed from weighing or from being kept.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Trouble {
    /// What was kept of it could not be gone on from: a tare is needed.
    pub start: Option<String>,
    /// What is weighed cannot be kept just now.
    pub memory: Option<String>,
    /// What must outlive a restart cannot be kept just now: after one a new tare would be needed.
    pub state: Option<String>,
    /// Who lies in it cannot be read: nobody is admitted to it or discharged from it.
    pub stay: Option<String>,
    /// Why its link is down.
    pub link: Option<String>,
    /// Most likely another service uses this one's name at the broker, and the two throw each other out.
    pub has_rival: bool,
    /// It is weighed no more, by a fault of this program.
    pub stopped: Option<String>,
}

/// What is said of a bed that is weighed no more.
const STOPPED: &str = "stopped by a fault of the program: the service must be started anew";

/// A bed of a running ward.
pub struct Bed {
    /// Its deck and calibration.
    pub setup: Setup,
    /// Nothing was kept of it when it was opened.
    pub is_new: bool,
    engine: Mutex<Engine>,
    live: watch::Sender<Live>,
    trouble: Mutex<Trouble>,
    /// The stay that goes on, as the record has it: pages ask for it far more often than it changes.
    stay: Mutex<Option<Stay>>,
}

impl Bed {
    /// A bed where its last state stands.
    pub(super) fn open(memory: &Memory, setup: Setup, begin_us: i64) -> Result<Self, WardError> {
        let found = readable(on_record(memory, &setup.bed, begin_us))?;
        let is_new = found.as_ref().is_ok_and(|found| found.states.is_empty());
        let resumed = found.map(|found| Engine::new(setup.clone(), &found.states, &found.actions, begin_us));
        let why = match &resumed {
            // Without what was done since, a state must not be gone on from; and no other bed is to wait for this one.
            Err(why) => Some(format!("bed {:?}: {why}; a new tare is needed before it weighs", setup.bed)),
            // Another deck came into the bed, or its state is of another make.
            Ok(Err(error @ BedError::Resume { .. })) => Some(error.to_string()),
            Ok(_) => None,
        };
        let mut engine = match resumed {
            Ok(engine) if why.is_none() => engine?,
            _ => Engine::new(setup.clone(), &[], &[], begin_us)?,
        };
        if let Some(now) = Stood::now() {
            engine.our_clock_stands_again(now);
        }
        let (stay, unread) = match readable(look(memory, |tx| records::stay(tx, &setup.bed)))? {
            Ok(stay) => (stay, None),
            Err(why) => (None, Some(format!("who lies in bed {} cannot be read: {why}", setup.bed))),
        };
        for why in why.iter().chain(&unread) {
            tracing::error!(bed = setup.bed, why, "what is on record of a bed cannot be gone on from");
        }
        let (live, _) = watch::channel(engine.live().clone());
        let trouble = Mutex::new(Trouble { start: why, stay: unread, ..Trouble::default() });
        Ok(Self { setup, is_new, engine: Mutex::new(engine), live, trouble, stay: Mutex::new(stay) })
    }

    /// What is live.
    #[must_use]
    pub fn live(&self) -> Live {
        self.live.borrow().clone()
    }

    /// To be told of what is live, as it changes.
    #[must_use]
    pub fn follow(&self) -> watch::Receiver<Live> {
        self.live.subscribe()
    }

    /// What keeps it from weighing or being kept.
    #[must_use]
    pub fn trouble(&self) -> Trouble {
        self.trouble.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Who lies in it now, for who would change that.
    pub(super) fn who_lies(&self) -> Result<Option<Stay>, RecordError> {
        self.trouble().stay.map_or_else(|| Ok(self.stay()), |why| Err(RecordError::Against(why)))
    }

    /// Who lies in it now, as far as that can be read.
    #[must_use]
    pub fn stay(&self) -> Option<Stay> {
        self.stay.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The stay that goes on, once its entry is kept. Who follows the bed is told, though its figures are as before.
    pub(super) fn lies_now(&self, stay: Option<Stay>) {
        *self.stay.lock().unwrap_or_else(PoisonError::into_inner) = stay;
        self.live.send_modify(|_| {});
    }

    pub(super) fn note(&self, change: impl FnOnce(&mut Trouble)) {
        change(&mut self.trouble.lock().unwrap_or_else(PoisonError::into_inner));
    }

    /// Whether it is weighed no more, by a fault of this program.
    #[must_use]
    pub fn has_stopped(&self) -> bool {
        self.engine.is_poisoned() || self.trouble().stopped.is_some()
    }

    /// It is weighed no more: its last weight is none of now, and nothing that is entered reaches it.
    pub(super) fn stop(&self) {
        self.note(|t| t.stopped = Some(STOPPED.to_owned()));
        self.live.send_modify(|live| live.link.up = false);
    }

    /// Works with the engine; what is live is shown after it. An engine that panicked stands half changed by what it was at, and is
    /// worked with no more.
    pub(super) fn with<T>(&self, work: impl FnOnce(&mut Engine) -> T) -> Result<T, RecordError> {
        let Ok(mut engine) = self.engine.lock() else { return Err(self.is_stopped()) };
        let done = work(&mut engine);
        self.live.send_if_modified(|live| {
            let changed = live != engine.live();
            if changed {
                live.clone_from(engine.live());
            }
            changed
        });
        Ok(done)
    }

    /// Refuses where it is weighed no more.
    pub(super) fn goes_on(&self) -> Result<(), RecordError> {
        if self.has_stopped() { Err(self.is_stopped()) } else { Ok(()) }
    }

    fn is_stopped(&self) -> RecordError {
        RecordError::Against(format!("bed {} has {STOPPED}", self.setup.bed))
    }

    /// An action that is on record.
    pub(super) fn act(&self, at_us: i64, action: &Action) {
        if action.kind == formats::actions::ActionKind::Tare {
            self.note(|t| t.start = None);
        }
        // One that stopped since it was asked has it on record for the next start.
        drop(self.with(|engine| engine.act(at_us, action)));
    }
}

/// What is kept of a bed, and what was done there that it may not hold, with its times in µs of UTC.
struct OnRecord {
    states: Vec<State>,
    actions: Vec<(i64, Action)>,
}

fn on_record(memory: &Memory, bed: &str, begin_us: i64) -> Result<OnRecord, RecordError> {
    let states = memory.look(|tx| store::states::find(tx, bed))?;
    let start_us = states.iter().map(|s| s.start_us).max().unwrap_or(i64::MAX);
    // A state is seconds older than the newest weight, or none is there to go on from: what was done long before lies in it. Read as a
    // whole, the actions of a year would hold a start up by seconds.
    let newest_us = memory.look(|tx| store::readings::newest_us(tx, bed))?;
    // Where our clock was set back the newest weight may be ahead of it, and what was done a moment ago is not.
    let newest_us = newest_us.map(|us| us.min(begin_us));
    let surely_us = newest_us.filter(|_| Engine::knows_actions(&states)).map(|us| us.saturating_sub(SURELY_US));
    let from_us = surely_us.map_or(start_us, |us| us.max(start_us));
    let actions = look(memory, |tx| records::actions(tx, bed, from_us))?;
    Ok(OnRecord { states, actions })
}

fn look<T>(
    memory: &Memory,
    look: impl FnOnce(&mut dyn Transaction) -> Result<T, RecordError>,
) -> Result<T, RecordError> {
    memory.look(|tx| Ok(look(tx)))?
}

/// What was read, or why that cannot be, which is one bed's affair. A memory that is away, or was closed, is everybody's.
pub(super) fn readable<T>(found: Result<T, RecordError>) -> Result<Result<T, RecordError>, StoreError> {
    match found {
        Err(RecordError::Store(error)) if !matches!(error, StoreError::Form { .. }) => Err(error),
        found => Ok(found),
    }
}

#[cfg(test)]
mod tests {
    use crate::testing;

    const SPOIL_HASH: &str = "update entry set hash = x'00' where chain = 'A1' and kind = ";

    #[test]
    fn a_bed_whose_record_was_damaged_begins_anew_and_says_so_and_no_other_waits_for_it() {
        let hold = serde_json::from_str(r#"{ "action": "hold" }"#).unwrap();
        for spoil in [
            "update entry set body = '{' where chain = 'A1' and kind = 'action'".to_owned(),
            format!("{SPOIL_HASH}'action'"),
        ] {
            let ward = testing::ward(&["A1", "A2"]);
            let number = ward.act("A1", "nurse", None, &hold).unwrap();
            ward.act("A2", "nurse", None, &hold).unwrap();
            ward.change(&spoil);
            // A state without what was done since: it stands for none, and the action is read from the bed's begin on.
            ward.change("insert into state (bed, slot, start_us, record) values ('A1', 0, 0, x'00')");
            let again = ward.again();
            let why = again.bed("A1").unwrap().trouble().start.unwrap();
            assert!(why.contains("a new tare is needed"), "{why}");
            assert!(why.contains("\"A1\"") && why.contains(&format!("entry {number} of")), "which entry? {why}");
            assert_eq!(again.bed("A2").unwrap().trouble().start, None);
            assert!(again.act("A1", "nurse", None, &hold).is_ok());
        }
    }

    #[test]
    fn a_bed_of_which_nobody_can_read_who_lies_there_takes_no_second_patient() {
        let ward = testing::ward(&["A1", "A2"]);
        testing::weighed_since_hours("A1", "p-1", &ward);
        ward.put_patient("[patient]\nlabel = \"p-2\"\nadmission_kg = 70.0\n", "test").unwrap();
        ward.change(&format!("{SPOIL_HASH}'admission'"));
        let again = ward.again();
        let bed = again.bed("A1").unwrap();
        assert!(bed.trouble().stay.unwrap().contains("who lies in bed A1 cannot be read"));
        for refused in [again.admit("A1", "p-2", "nurse").err(), again.discharge("A1", "nurse").err()] {
            let refused = refused.expect("it is taken").to_string();
            assert!(refused.contains("who lies in bed A1 cannot be read"), "{refused}");
        }
        again.admit("A2", "p-2", "nurse").unwrap();
    }

    #[test]
    fn a_bed_whose_deck_on_record_or_whose_end_was_damaged_keeps_no_ward_from_opening() {
        for spoil in [format!("{SPOIL_HASH}'deck'"), "update chain set hash = x'00' where name = 'A1'".to_owned()] {
            let ward = testing::ward(&["A1", "A2"]);
            ward.change(&spoil);
            // Another calibration is to be entered.
            ward.change("update entry set body = '{}' where kind = 'calibration'");
            let again = ward.again();
            assert!(again.bed("A1").is_some() && again.bed("A2").is_some());
        }
    }
}
