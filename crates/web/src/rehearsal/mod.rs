//! The twin, watched: an invented night on the deck lived through at speed, weighed as a ward would, and set against what is true.
//!
//! | module  | what it does |
//! |---------|--------------|
//! | `run`   | the night, on a thread of its own |
//! | `curve` | shown and true weight over the night |
//! | `page`  | the page |

mod curve;
mod page;
mod run;

use std::sync::{Arc, Mutex, PoisonError};

use axum::Router;
use axum::body::Bytes;
use axum::http::{HeaderMap, StatusCode};
use axum::routing::{get, post};
use formats::deck::Deck;
use serde::Deserialize;
use serde_json::{Value, json};

pub use page::page;
use run::{Running, Shared};

use crate::guided::{changed, told};
use crate::words::Reader;
use crate::workbench::Refusal;

/// A scenario that the page offers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offered {
    /// Name of its file.
    pub file: String,
    /// Its text.
    pub text: String,
}

/// Nights on one deck.
pub struct Rehearsal {
    deck: Deck,
    offered: Vec<Offered>,
    now: Mutex<Option<Running>>,
}

/// What the page asks to begin.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Begin {
    scenario: String,
    seed: u32,
    speed: u32,
}

impl Rehearsal {
    /// Nights of these scenarios on a deck.
    #[must_use]
    pub fn new(deck: Deck, offered: Vec<Offered>) -> Self {
        Self { deck, offered, now: Mutex::new(None) }
    }

    fn locked(&self) -> std::sync::MutexGuard<'_, Option<Running>> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn begin(&self, body: &[u8]) -> Result<Value, Refusal> {
        let Begin { scenario, seed, speed } = serde_json::from_slice(body)
            .map_err(|e| Refusal(StatusCode::BAD_REQUEST, format!("what was sent: {e}")))?;
        let Some(offered) = self.offered.iter().find(|o| o.file == scenario) else {
            return Err(Refusal(StatusCode::NOT_FOUND, format!("there is no scenario {scenario:?}")));
        };
        let unfit = |e: twin::TwinError| Refusal(StatusCode::UNPROCESSABLE_ENTITY, e.to_string());
        let read = twin::Scenario::read(&offered.file, &offered.text).map_err(unfit)?;
        // The one before ends when nobody looks at it any more.
        *self.locked() = Some(Running::start(self.deck.clone(), read, u64::from(seed), speed));
        Ok(json!({ "begun": true }))
    }

    fn speed(&self, body: &[u8]) -> Result<Value, Refusal> {
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct Speed {
            speed: u32,
        }
        let Speed { speed } = serde_json::from_slice(body)
            .map_err(|e| Refusal(StatusCode::BAD_REQUEST, format!("what was sent: {e}")))?;
        if let Some(running) = &*self.locked() {
            running.set_speed(speed);
        }
        Ok(json!({ "speed": speed }))
    }

    fn state(&self, reader: Reader) -> Value {
        self.locked()
            .as_ref()
            .map_or_else(|| json!({ "begun": false }), |r| Shared::told(reader, &r.shared, &self.deck))
    }
}

/// What the page asks.
pub(crate) fn router(rehearsal: &Arc<Rehearsal>) -> Router {
    let [state, begun, sped] = [(); 3].map(|()| Arc::clone(rehearsal));
    Router::new()
        .route(
            "/twin/state",
            get(move |headers: HeaderMap| async move {
                let reader = Reader::of(&headers);
                told(reader, Ok(state.state(reader)))
            }),
        )
        .route(
            "/twin/begin",
            post(move |h: HeaderMap, body: Bytes| async move { changed(&h, begun, move |r| r.begin(&body)).await }),
        )
        .route(
            "/twin/speed",
            post(move |h: HeaderMap, body: Bytes| async move { changed(&h, sped, move |r| r.speed(&body)).await }),
        )
}
