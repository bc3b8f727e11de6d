//! The guided calibration: touch check, put this mass here, wait until the counts settle, next; residuals and findings as
//! they come; calibration and certificate at the end.
//!
//! | module    | what it does |
//! |-----------|--------------|
//! | `kept`    | what outlives a power cut, as text |
//! | `session` | where the run stands, and what each step does to it |
//! | `page`    | the page |
//!
//! What is on disk is the caller's: it hands in what was kept and a function that keeps. A step is answered only once that
//! function has come back, so that what the page says is done is done. Samples come in by [`Guide::sample`].

mod kept;
mod page;
mod session;

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::Router;
use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::masses::Mass;
use formats::recording::Sample;
use serde_json::{Value, json};

pub use kept::NAME as KEPT_AS;
pub use page::{page, without};
pub use session::GuideError;
use session::Session;

use crate::guided::{self, Guided, no_hands};
pub use crate::guided::{Body, Hands, Keep, Seen};
use crate::words::Reader;
use crate::workbench::Refusal;

/// What a guided calibration begins from.
pub struct Start {
    /// The deck.
    pub deck: Deck,
    /// The bodies at hand.
    pub masses: Vec<Mass>,
    /// What was kept of a run under way, as text.
    pub kept: Option<String>,
    /// Keeps what is to outlive a power cut, and the files of the end.
    pub keep: Keep,
    /// Gives the time, RFC 3339.
    pub now: fn() -> String,
    /// Invented hands, where the deck is a virtual one.
    pub hands: Option<Arc<dyn Hands>>,
}

/// A guided calibration under way.
pub struct Guide {
    session: Mutex<Session>,
    hands: Option<Arc<dyn Hands>>,
}

impl Guide {
    /// Plans a run, or takes up the one that was kept.
    ///
    /// # Errors
    /// No plan from these masses; what was kept belongs to another deck or other masses, or cannot be read.
    pub fn new(start: Start) -> Result<Self, GuideError> {
        let hands = start.hands.clone();
        Ok(Self { session: Mutex::new(Session::new(start)?), hands })
    }

    /// Takes a sample from the deck's link.
    pub fn sample(&self, sample: Sample) {
        self.locked().sample(sample);
    }

    /// The calibration, once every reading was taken.
    #[must_use]
    pub fn calibration(&self) -> Option<Calibration> {
        self.locked().calibration()
    }

    fn locked(&self) -> MutexGuard<'_, Session> {
        self.session.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Guided for Guide {
    fn state(&self, reader: Reader) -> Result<Value, Refusal> {
        Ok(self.locked().state(reader, self.hands.is_some()))
    }

    fn live(&self, reader: Reader) -> Result<Value, Refusal> {
        Ok(self.locked().live(reader))
    }

    fn step(&self, step: &str, entered: &Value) -> Result<Value, Refusal> {
        self.locked().step(step, entered)
    }

    fn hand(&self, what: &str) -> Result<Value, Refusal> {
        let Some(hands) = &self.hands else {
            return Err(no_hands());
        };
        // Asked for under the lock, done without it: hands send samples.
        let task = self.locked().task();
        // The verification beside it may have left a section raised.
        hands.stand(&[], None);
        match (what, task) {
            ("off", _) | (_, session::Task::Off) => hands.take_off(),
            (_, session::Task::Put(body)) => hands.put(&[body]),
            (_, session::Task::Press { plate, at_mm }) => hands.press(plate, at_mm),
        }
        Ok(json!({ "done": true }))
    }

    fn file(&self, name: &str) -> Option<String> {
        self.locked().file(name)
    }
}

/// What the page asks.
pub(crate) fn router(guide: &Arc<Guide>) -> Router {
    guided::router("/guide", guide)
}
