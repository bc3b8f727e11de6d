//! A bed: its engine, and what is live.

use std::sync::{Mutex, PoisonError};

use formats::actions::Action;
use tokio::sync::watch;

use crate::bed::{BedError, Engine, Live, Setup};
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
        let kept = memory.look(|tx| store::states::find(tx, &setup.bed))?;
        let start_us = kept.iter().map(|s| s.start_us).max().unwrap_or(i64::MAX);
        // A state is seconds older than the newest weight: what was done long before lies in it. Read as a whole, the actions
        // of a year would hold a start up by seconds.
        let newest_us = memory.look(|tx| store::readings::newest_us(tx, &setup.bed))?;
        // Where our clock was set back the newest weight may be ahead of it, and what was done a moment ago is not.
        let newest_us = newest_us.map(|us| us.min(begin_us));
        let surely_us = newest_us.filter(|_| Engine::knows_actions(&kept)).map(|us| us.saturating_sub(SURELY_US));
        let from_us = surely_us.map_or(start_us, |us| us.max(start_us));
        let actions = memory.look(|tx| Ok(records::actions(tx, &setup.bed, from_us)))??;
        let (engine, start) = match Engine::new(setup.clone(), &kept, &actions, begin_us) {
            // Another deck came into the bed, or its state is of another make: it begins anew, and says so.
            Err(error @ BedError::Resume { .. }) => {
                (Engine::new(setup.clone(), &[], &[], begin_us)?, Some(error.to_string()))
            }
            engine => (engine?, None),
        };
        let stay = Mutex::new(memory.look(|tx| Ok(records::stay(tx, &setup.bed)))??);
        let (live, _) = watch::channel(engine.live().clone());
        let trouble = Mutex::new(Trouble { start, ..Trouble::default() });
        Ok(Self { setup, is_new: kept.is_empty(), engine: Mutex::new(engine), live, trouble, stay })
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

    /// Who lies in it now.
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
