//! The guided verification: put these masses here, wait until the counts settle, next; test by test inside its limits, and the
//! evidence report at the end.
//!
//! | module    | what it does |
//! |-----------|--------------|
//! | `kept`    | what outlives a power cut, as text |
//! | `session` | where the verification stands, and what each step does to it; `told` in it what the page gets |
//! | `standing` | the angle or the temperature of a step, entered or measured |
//! | `drawing` | the bodies of a step on the deck |
//! | `page`    | the page |
//!
//! It begins with a calibration: one that was handed in, or the one that the guided calibration beside it has just made. As there,
//! a step is answered only once it was kept. The deck is read where it was calibrated, at the gravity of its calibration.

mod drawing;
mod kept;
mod page;
mod session;
mod standing;

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::Router;
use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::masses::Mass;
use formats::recording::Sample;
use serde_json::{Value, json};

pub use kept::NAME as KEPT_AS;
pub use page::{page, without};
use session::Session;

use crate::guide::Guide;
use crate::guided::{self, Guided, Hands, Keep, no_hands};
use crate::words::Reader;
use crate::workbench::Refusal;

/// Why a verification cannot begin.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ProofError {
    /// No plan.
    #[error(transparent)]
    Plan(#[from] verify::plan::PlanError),
    /// The calibration belongs to another deck.
    #[error("the calibration is of deck {found:?}, expected {expected:?}")]
    OtherDeck {
        /// Deck named by the calibration.
        found: String,
        /// Deck of the deck file.
        expected: String,
    },
    /// The calibration leaves a cell open.
    #[error("cell {cell} has no gain or no zero in the calibration: calibrate it before it is verified")]
    OpenCell {
        /// Its name.
        cell: String,
    },
    /// What was kept is of something else.
    #[error("{KEPT_AS}: {why}; name another folder, or move the file away to begin anew")]
    Kept {
        /// Why.
        why: String,
    },
}

/// Reads what was kept, or says why it cannot be read.
pub type Kept = Box<dyn Fn() -> Result<Option<String>, String> + Send + Sync>;

/// What a guided verification begins from.
pub struct Begin {
    /// The deck.
    pub deck: Deck,
    /// The bodies at hand.
    pub masses: Vec<Mass>,
    /// Gives what was kept of a verification under way, as text.
    pub kept: Kept,
    /// Keeps what is to outlive a power cut, and the files of the end.
    pub keep: Arc<Keep>,
    /// Gives the time, RFC 3339.
    pub now: fn() -> String,
    /// Invented hands, where the deck is a virtual one.
    pub hands: Option<Arc<dyn Hands>>,
}

/// A guided verification, under way once there is a calibration.
pub struct Proof {
    begin: Begin,
    guide: Option<Arc<Guide>>,
    now: Mutex<Now>,
}

enum Now {
    /// Waits for the guided calibration beside it.
    Waits,
    /// Could not begin with the calibration of that time.
    Cannot {
        calibrated_at: String,
        why: String,
    },
    Runs(Box<Session>),
}

impl Proof {
    /// Verifies a calibration.
    ///
    /// # Errors
    /// No plan from these masses; a calibration of another deck or with open cells; what was kept belongs to something else.
    pub fn of(begin: Begin, calibration: Calibration) -> Result<Self, ProofError> {
        let session = Session::new(&begin, calibration)?;
        Ok(Self { begin, guide: None, now: Mutex::new(Now::Runs(Box::new(session))) })
    }

    /// Verifies what a guided calibration will have made once its last reading is taken.
    #[must_use]
    pub fn after(begin: Begin, guide: Arc<Guide>) -> Self {
        Self { begin, guide: Some(guide), now: Mutex::new(Now::Waits) }
    }

    /// Takes a sample from the deck's link.
    pub fn sample(&self, sample: Sample) {
        if let Now::Runs(session) = &mut *self.locked() {
            session.sample(sample);
        }
    }

    fn locked(&self) -> MutexGuard<'_, Now> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins where the calibration beside it is new.
    fn look(&self) -> MutexGuard<'_, Now> {
        // Asked for before the lock is taken: the calibration has a lock of its own.
        let calibration = self.guide.as_ref().map(|g| g.calibration());
        let mut now = self.locked();
        let Some(calibration) = calibration else { return now };
        let known = match &*now {
            Now::Waits => None,
            Now::Cannot { calibrated_at, .. } => Some(calibrated_at.clone()),
            Now::Runs(session) => Some(session.calibrated_at().to_owned()),
        };
        match calibration {
            // A step of the calibration was taken back: there is none to verify.
            None => *now = Now::Waits,
            Some(new) if known.as_ref() != Some(&new.made_at) => {
                let calibrated_at = new.made_at.clone();
                *now = match Session::new(&self.begin, new) {
                    Ok(session) => Now::Runs(Box::new(session)),
                    Err(e) => Now::Cannot { calibrated_at, why: e.to_string() },
                };
            }
            Some(_) => {}
        }
        now
    }

    fn with(&self, answer: impl FnOnce(&mut Session) -> Result<Value, Refusal>) -> Result<Value, Refusal> {
        match &mut *self.look() {
            Now::Runs(session) => answer(session),
            Now::Waits => Ok(json!({ "stage": "waits" })),
            Now::Cannot { why, .. } => Ok(json!({ "stage": "waits", "problem": why })),
        }
    }
}

impl Guided for Proof {
    fn state(&self, reader: Reader) -> Result<Value, Refusal> {
        let mut state = self.with(|s| Ok(s.state(reader, self.begin.hands.is_some())))?;
        if let Some(why) = state["problem"].as_str() {
            state["problem"] = reader.stage(why).into();
        }
        Ok(state)
    }

    fn live(&self, reader: Reader) -> Result<Value, Refusal> {
        self.with(|s| Ok(s.live(reader)))
    }

    fn step(&self, step: &str, entered: &Value) -> Result<Value, Refusal> {
        self.with(|s| s.step(step, entered))
    }

    fn hand(&self, what: &str) -> Result<Value, Refusal> {
        let Some(hands) = &self.begin.hands else { return Err(no_hands()) };
        let mut asked = None;
        self.with(|session| {
            asked = Some((session.bodies(), session.stands()));
            Ok(Value::Null)
        })?;
        // While it waits for a calibration nothing is to be done at the deck.
        let Some((bodies, stands)) = asked else { return Ok(json!({ "done": true })) };
        // Without the lock: hands send samples.
        let seen = hands.stand(&stands.angles_deg, stands.room_c);
        if what == "off" || bodies.is_empty() {
            hands.take_off();
        } else {
            hands.put(&bodies);
        }
        let entered = stands.turned.and_then(|section| seen.angles_deg.get(section).copied()).or(seen.room_c);
        Ok(json!({ "done": true, "entered": entered }))
    }

    fn file(&self, name: &str) -> Option<String> {
        if let Now::Runs(session) = &*self.locked() { session.file(name) } else { None }
    }
}

/// What the page asks.
pub(crate) fn router(proof: &Arc<Proof>) -> Router {
    guided::router("/tests", proof)
}
