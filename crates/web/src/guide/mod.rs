//! The guided calibration: touch check, put this mass here, wait until the counts settle, next; residuals and findings as
//! they come; calibration and certificate at the end.
//!
//! | module    | what it does |
//! |-----------|--------------|
//! | `listening` | the newest samples, and what they settle to |
//! | `kept`    | what outlives a power cut, as text |
//! | `session` | where the run stands, and what each step does to it |
//! | `page`    | the page |
//!
//! What is on disk is the caller's: it hands in what was kept and a function that keeps. A step is answered only once that
//! function has come back, so that what the page says is done is done. Samples come in by [`Guide::sample`].

mod kept;
pub(crate) mod listening;
mod page;
mod session;

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::Router;
use axum::extract::Path;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{get, post};
use formats::calibration::Calibration;
use formats::deck::Deck;
use formats::masses::Mass;
use formats::recording::Sample;
use serde_json::{Value, json};

pub use kept::NAME as KEPT_AS;
pub use page::{page, without};
pub use session::GuideError;
use session::Session;

use crate::workbench::Refusal;

/// Keeps a text under a name, durably, or says why not.
pub type Keep = Box<dyn Fn(&str, &str) -> Result<(), String> + Send + Sync>;

/// A body on a plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Body {
    /// Index of the plate.
    pub plate: usize,
    /// Its middle on the plate, mm.
    pub at_mm: [f64; 2],
    /// Its mass, kg; `None`: nobody stated it.
    pub mass_kg: Option<f64>,
}

/// An invented pair of hands: does at a virtual bench what the page asks of a person.
pub trait Hands: Send + Sync {
    /// Puts bodies on the deck, in place of what stands there.
    fn put(&self, bodies: &[Body]);
    /// Presses on a place for some seconds.
    fn press(&self, plate: usize, at_mm: [f64; 2]);
    /// Takes everything off.
    fn take_off(&self);
}

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

    fn hand(&self, what: &str) -> Result<Value, Refusal> {
        let Some(hands) = &self.hands else {
            return Err(no_hands());
        };
        // Asked for under the lock, done without it: hands send samples.
        let task = self.locked().task();
        match (what, task) {
            ("off", _) | (_, session::Task::Off) => hands.take_off(),
            (_, session::Task::Put(body)) => hands.put(&[body]),
            (_, session::Task::Press { plate, at_mm }) => hands.press(plate, at_mm),
        }
        Ok(json!({ "done": true }))
    }
}

/// What the page asks.
pub(crate) fn router(guide: &Arc<Guide>) -> Router {
    let [state, live, steps, files, hands] = [(); 5].map(|()| Arc::clone(guide));
    Router::new()
        .route("/guide/state", get(|| async move { asked(state, |g| Ok(g.locked().state(g.hands.is_some()))).await }))
        .route("/guide/live", get(|| async move { asked(live, |g| Ok(g.locked().live())).await }))
        .route(
            "/guide/do/{step}",
            post(|Path(step): Path<String>, headers: HeaderMap| async move {
                if !is_own(&headers) {
                    return told(Err(foreign()));
                }
                asked(steps, move |g| g.locked().step(&step)).await
            }),
        )
        .route(
            "/guide/hands/{what}",
            post(|Path(what): Path<String>, headers: HeaderMap| async move {
                if !is_own(&headers) {
                    return told(Err(foreign()));
                }
                asked(hands, move |g| g.hand(&what)).await
            }),
        )
        .route(
            "/guide/files/{name}",
            get(|Path(name): Path<String>| async move { file(&name, files.locked().file(&name)) }),
        )
}

/// A change is taken from a page of this server alone: only such a one may send that content type unasked.
pub(crate) fn is_own(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    kind.starts_with("application/json")
}

pub(crate) fn foreign() -> Refusal {
    Refusal(StatusCode::UNSUPPORTED_MEDIA_TYPE, "send JSON, with content-type: application/json".into())
}

/// Answers off the threads that serve.
pub(crate) async fn asked<T: Send + Sync + 'static>(
    of: Arc<T>,
    answer: impl FnOnce(&T) -> Result<Value, Refusal> + Send + 'static,
) -> Response {
    let done = tokio::task::spawn_blocking(move || answer(&of)).await;
    told(done.unwrap_or_else(|e| Err(Refusal(StatusCode::INTERNAL_SERVER_ERROR, e.to_string()))))
}

pub(crate) fn told(answer: Result<Value, Refusal>) -> Response {
    let (status, value) = match answer {
        Ok(value) => (StatusCode::OK, value),
        Err(Refusal(status, words)) => (status, json!({ "problem": words })),
    };
    let headers = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")];
    (status, headers, value.to_string()).into_response()
}

pub(crate) fn no_hands() -> Refusal {
    Refusal(StatusCode::NOT_FOUND, "this deck is a real one: nobody but people moves its masses".into())
}

/// A file of the end, by its name.
pub(crate) fn file(name: &str, text: Option<String>) -> Response {
    let kind = match name.rsplit_once('.').map(|(_, end)| end) {
        Some("html") => "text/html; charset=utf-8",
        Some("json") => "application/json",
        _ => "text/csv; charset=utf-8",
    };
    match text {
        Some(text) => ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-store")], text).into_response(),
        None => told(Err(Refusal(StatusCode::NOT_FOUND, format!("there is no {name} yet")))),
    }
}
