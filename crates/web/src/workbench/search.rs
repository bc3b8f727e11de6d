//! One search of designs at a time, in the background.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use axum::http::StatusCode;
use design::explore::Explorer;
use formats::deck::Deck;
use serde_json::{Value, json};

use super::Refusal;
use crate::words::Reader;

/// The search under way or done.
#[derive(Default)]
pub(super) struct Search {
    now: Arc<Mutex<Option<Found>>>,
    /// Number of the search: an older one ends when it sees that it is no longer the newest.
    newest: Arc<AtomicU64>,
}

struct Found {
    explorer: Explorer,
    failed: Option<String>,
}

impl Search {
    fn locked(&self) -> std::sync::MutexGuard<'_, Option<Found>> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins a search in the space that a deck opens; one under way ends.
    pub(super) fn begin(&self, reader: Reader, deck: &Deck) -> Result<Value, Refusal> {
        let refused = |e: design::explore::ExploreError| {
            Refusal(StatusCode::UNPROCESSABLE_ENTITY, reader.of_file(&e.to_string()))
        };
        let explorer = design::explore::explore(deck).map_err(refused)?;
        let number = self.newest.fetch_add(1, Ordering::AcqRel) + 1;
        *self.locked() = Some(Found { explorer: explorer.clone(), failed: None });
        let (now, newest) = (Arc::clone(&self.now), Arc::clone(&self.newest));
        std::thread::spawn(move || run(explorer, number, &now, &newest));
        Ok(self.report(reader))
    }

    /// What was found so far; empty before any search.
    pub(super) fn report(&self, reader: Reader) -> Value {
        let found = self.locked();
        let Some(Found { explorer, failed }) = &*found else {
            return json!({ "designs": [], "finished": false, "begun": false });
        };
        let progress = explorer.progress();
        let mut report = serde_json::to_value(explorer.report()).unwrap_or_default();
        report["begun"] = true.into();
        report["done"] = progress.done.into();
        report["of"] = progress.of.into();
        report["problem"] = failed.as_ref().map(|why| reader.of_file(why)).into();
        report
    }

    /// A design by its number in the list after `round`, as a deck file: the list of another round has other numbers.
    pub(super) fn design(&self, round: usize, number: usize) -> Result<Value, Refusal> {
        let found = self.locked();
        if found.as_ref().is_some_and(|f| f.explorer.rounds_done() != round) {
            return Err(Refusal(StatusCode::CONFLICT, "the search went on and its list changed: choose again".into()));
        }
        let front = found.as_ref().map(|f| f.explorer.front()).unwrap_or_default();
        let chosen = number.checked_sub(1).and_then(|i| front.get(i));
        match (&*found, chosen) {
            (Some(found), Some(chosen)) => {
                Ok(json!({ "text": formats::deck::write(&found.explorer.deck(&chosen.candidate)) }))
            }
            _ => Err(Refusal(StatusCode::NOT_FOUND, format!("there is no design {number} in this search"))),
        }
    }
}

/// Step by step, so that a newer search, or the end of the server, finds it soon.
fn run(mut explorer: Explorer, number: u64, now: &Mutex<Option<Found>>, newest: &AtomicU64) {
    while !explorer.progress().is_done() && newest.load(Ordering::Acquire) == number {
        let failed = explorer.step().err().map(|e| e.to_string());
        let is_over = failed.is_some();
        let mut shown = now.lock().unwrap_or_else(PoisonError::into_inner);
        if newest.load(Ordering::Acquire) == number {
            *shown = Some(Found { explorer: explorer.clone(), failed });
        }
        if is_over {
            return;
        }
    }
}
