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
use axum::http::{HeaderMap, StatusCode};
use axum::routing::{get, post};

pub use page::page;
use search::Search;

use crate::guided::{changed, told};
use crate::words::Reader;

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
                let reader = Reader::of(&headers);
                changed(&headers, Arc::new(()), move |()| answer::answer(reader, &body)).await
            }),
        )
        .route(
            "/workbench/search",
            get(move |headers: HeaderMap| async move {
                let reader = Reader::of(&headers);
                told(reader, Ok(search.report(reader)))
            })
            .post(|headers: HeaderMap, body: Bytes| async move {
                let reader = Reader::of(&headers);
                changed(&headers, begun, move |b| {
                    answer::text_of(reader, &body).and_then(|deck| b.begin(reader, &deck))
                })
                .await
            }),
        )
        .route(
            "/workbench/search/{round}/{number}",
            get(move |Path((round, number)): Path<(usize, usize)>, headers: HeaderMap| async move {
                told(Reader::of(&headers), taken.design(round, number))
            }),
        )
        .layer(axum::extract::DefaultBodyLimit::max(BODY_MOST))
}

/// Why there is no answer, in words for the page.
pub(crate) struct Refusal(pub(crate) StatusCode, pub(crate) String);
