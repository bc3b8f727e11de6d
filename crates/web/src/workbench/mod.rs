//! The workbench: a deck file that answers while it is changed.
//!
//! The file is the truth: the page holds its text, a change is made in that text where the figure stands, and every answer is
//! computed from the text alone. Nothing is kept on the server but one search of designs.
//!
//! | module   | what it does |
//! |----------|--------------|
//! | `answer` | a text and a change in; the new text, drawing and figures out |
//! | `search` | explores the designs that a deck opens, in the background |
//! | `page`   | the page |

mod answer;
mod page;
mod search;

use std::sync::Arc;

use axum::Router;
use axum::body::Bytes;
use axum::extract::Path;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{get, post};
use serde_json::{Value, json};

pub use page::page;
use search::Search;

/// A deck file as it was opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Opened {
    /// Name of the file.
    pub file: String,
    /// Its text.
    pub text: String,
}

/// Bytes of a deck file with its change; a large deck takes some ten thousand.
const BODY_MOST: usize = 512 * 1024;

/// What the page asks.
pub(crate) fn router() -> Router {
    let search = Arc::new(Search::default());
    let begun = Arc::clone(&search);
    let taken = Arc::clone(&search);
    Router::new()
        .route(
            "/workbench/answer",
            post(|headers: HeaderMap, body: Bytes| async move {
                computed(&headers, move || answer::answer(&body)).await
            }),
        )
        .route(
            "/workbench/search",
            get(move || async move { told(Ok(search.report())) }).post(|headers: HeaderMap, body: Bytes| async move {
                computed(&headers, move || answer::text_of(&body).and_then(|text| begun.begin(&text))).await
            }),
        )
        .route(
            "/workbench/search/{round}/{number}",
            get(move |Path((round, number)): Path<(usize, usize)>| async move { told(taken.design(round, number)) }),
        )
        .layer(axum::extract::DefaultBodyLimit::max(BODY_MOST))
}

/// Why there is no answer, in words for the page.
pub(crate) struct Refusal(pub(crate) StatusCode, pub(crate) String);

/// Computes off the threads that serve. Only JSON is taken: another site cannot make a browser send that unasked.
async fn computed(headers: &HeaderMap, compute: impl FnOnce() -> Result<Value, Refusal> + Send + 'static) -> Response {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    if !kind.starts_with("application/json") {
        let words = "send JSON, with content-type: application/json".to_owned();
        return told(Err(Refusal(StatusCode::UNSUPPORTED_MEDIA_TYPE, words)));
    }
    let done = tokio::task::spawn_blocking(compute).await;
    told(done.unwrap_or_else(|e| Err(Refusal(StatusCode::INTERNAL_SERVER_ERROR, e.to_string()))))
}

fn told(answer: Result<Value, Refusal>) -> Response {
    let (status, value) = match answer {
        Ok(value) => (StatusCode::OK, value),
        Err(Refusal(status, words)) => (status, json!({ "problem": words })),
    };
    let headers = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")];
    (status, headers, value.to_string()).into_response()
}
