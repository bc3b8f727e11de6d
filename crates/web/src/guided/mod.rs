//! What guided calibration and guided verification share: they keep each step before they say it is done, and read a deck that is at rest.
//!
//! | module      | what it does |
//! |-------------|--------------|
//! | `listening` | the newest samples, and what they settle to |
//! | `keeping`   | what outlives a power cut, and the files of the end |
//! | `page`      | the page around the task |

pub(crate) mod keeping;
pub(crate) mod listening;
pub(crate) mod page;

use std::sync::Arc;

use axum::Router;
use axum::body::Bytes;
use axum::extract::Path;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{get, post};
use serde_json::{Value, json};

use crate::words::Reader;
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
    /// Brings each section near its angle, °, and the room near a temperature, °C. Sections that are not named lie flat; without a
    /// temperature the room is as it is by itself.
    fn stand(&self, angles_deg: &[f64], room_c: Option<f64>) -> Seen;
}

/// What an invented inclinometer and thermometer show.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// Angle of each section, °.
    pub angles_deg: Vec<f64>,
    /// Temperature of the room, °C; `None` where nobody was asked to change it.
    pub room_c: Option<f64>,
}

/// What a guided run answers its page.
pub(crate) trait Guided: Send + Sync + 'static {
    /// Where it stands.
    fn state(&self, reader: Reader) -> Result<Value, Refusal>;
    /// What changes while somebody waits.
    fn live(&self, reader: Reader) -> Result<Value, Refusal>;
    /// A step that the page asks for, with what was entered beside it.
    fn step(&self, step: &str, entered: &Value) -> Result<Value, Refusal>;
    /// What invented hands are to do.
    fn hand(&self, what: &str) -> Result<Value, Refusal>;
    /// A file of the end.
    fn file(&self, name: &str) -> Option<String>;
}

/// What the page of a guided run under `at` asks.
pub(crate) fn router<G: Guided>(at: &str, guided: &Arc<G>) -> Router {
    let [state, live, steps, files, hands] = [(); 5].map(|()| Arc::clone(guided));
    Router::new()
        .route(
            &format!("{at}/state"),
            get(|headers: HeaderMap| async move {
                let reader = Reader::of(&headers);
                asked(&headers, state, move |g| g.state(reader)).await
            }),
        )
        .route(
            &format!("{at}/live"),
            get(|headers: HeaderMap| async move {
                let reader = Reader::of(&headers);
                asked(&headers, live, move |g| g.live(reader)).await
            }),
        )
        .route(
            &format!("{at}/do/{{step}}"),
            post(|Path(step): Path<String>, headers: HeaderMap, body: Bytes| async move {
                changed(&headers, steps, move |g| {
                    let unread = |e| Refusal(StatusCode::BAD_REQUEST, format!("what was sent: {e}"));
                    g.step(&step, &serde_json::from_slice(&body).map_err(unread)?)
                })
                .await
            }),
        )
        .route(
            &format!("{at}/hands/{{what}}"),
            post(|Path(what): Path<String>, headers: HeaderMap| async move {
                changed(&headers, hands, move |g| g.hand(&what)).await
            }),
        )
        .route(
            &format!("{at}/files/{{name}}"),
            get(|Path(name): Path<String>, headers: HeaderMap| async move {
                file(Reader::of(&headers), &name, files.file(&name))
            }),
        )
}

/// Answers off the threads that serve.
async fn asked<T: Send + Sync + 'static>(
    headers: &HeaderMap,
    of: Arc<T>,
    answer: impl FnOnce(&T) -> Result<Value, Refusal> + Send + 'static,
) -> Response {
    let done = tokio::task::spawn_blocking(move || answer(&of)).await;
    told(Reader::of(headers), done.unwrap_or_else(|e| Err(Refusal(StatusCode::INTERNAL_SERVER_ERROR, e.to_string()))))
}

/// A change is taken from a page of this server alone: only such a one may send that content type unasked.
pub(crate) async fn changed<T: Send + Sync + 'static>(
    headers: &HeaderMap,
    of: Arc<T>,
    answer: impl FnOnce(&T) -> Result<Value, Refusal> + Send + 'static,
) -> Response {
    if is_own(headers) { asked(headers, of, answer).await } else { told(Reader::of(headers), Err(foreign())) }
}

pub(crate) fn is_own(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    kind.starts_with("application/json")
}

pub(crate) fn foreign() -> Refusal {
    Refusal(StatusCode::UNSUPPORTED_MEDIA_TYPE, "send JSON, with content-type: application/json".into())
}

/// An answer, or why there is none, in the reader's language.
pub(crate) fn told(reader: Reader, answer: Result<Value, Refusal>) -> Response {
    let (status, value) = match answer {
        Ok(value) => (StatusCode::OK, value),
        Err(Refusal(status, words)) => (status, json!({ "problem": reader.stage(&words) })),
    };
    let headers = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")];
    (status, headers, value.to_string()).into_response()
}

/// What cannot be done as things stand.
pub(crate) fn against(words: &str) -> Refusal {
    Refusal(StatusCode::CONFLICT, words.to_owned())
}

pub(crate) fn no_hands() -> Refusal {
    Refusal(StatusCode::NOT_FOUND, "this deck is a real one: nobody but people moves its masses".into())
}

/// Whether a press was meant for the step under way, whose number is `next`: one that comes late, as the second of a double press, was meant
/// for the step before. Who sends no number means the step under way.
pub(crate) fn meant_for(entered: &Value, next: usize) -> Result<(), Refusal> {
    let Some(at) = entered.get("at") else { return Ok(()) };
    match at.as_u64().and_then(|at| usize::try_from(at).ok()) {
        Some(at) if at == next => Ok(()),
        Some(at) => {
            let number = at.saturating_add(1);
            Err(against(&format!("that was meant for step {number}, which is no longer under way: nothing was done")))
        }
        None => Err(Refusal(
            StatusCode::BAD_REQUEST,
            format!("found {at} as the number of a step, expected a whole number from 0"),
        )),
    }
}

/// Whether a reading is to be taken although the counts speak against its being the load that is asked for.
pub(crate) fn is_all_the_same(entered: &Value) -> bool {
    entered.get("all_the_same") == Some(&Value::Bool(true))
}

pub(crate) fn no_step(step: &str) -> Refusal {
    Refusal(StatusCode::NOT_FOUND, format!("there is no step {step:?}"))
}

/// A file of the end, by its name.
fn file(reader: Reader, name: &str, text: Option<String>) -> Response {
    let kind = match name.rsplit_once('.').map(|(_, end)| end) {
        Some("html") => "text/html; charset=utf-8",
        Some("json") => "application/json",
        _ => "text/csv; charset=utf-8",
    };
    match text {
        Some(text) => ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-store")], text).into_response(),
        None => told(reader, Err(Refusal(StatusCode::NOT_FOUND, format!("there is no {name} yet")))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_press_for_another_step_than_the_one_under_way_is_refused_with_its_number() {
        assert!(meant_for(&json!({}), 4).is_ok());
        assert!(meant_for(&json!({ "at": 4 }), 4).is_ok());
        for late in [3, 5] {
            let Refusal(status, words) = meant_for(&json!({ "at": late }), 4).unwrap_err();
            assert_eq!(status, StatusCode::CONFLICT);
            assert!(words.contains(&format!("step {}", late + 1)) && words.contains("nothing was done"), "{words}");
        }
        for broken in [json!("4"), json!(-1), json!(4.5), json!(null)] {
            let Refusal(status, words) = meant_for(&json!({ "at": broken }), 4).unwrap_err();
            assert!(status == StatusCode::BAD_REQUEST && words.contains("whole number"), "{words}");
        }
    }
}
