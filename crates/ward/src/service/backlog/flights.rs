//! Jobs on their way into the memory, oldest first, and what became of them.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use store::StoreError;
use store::writer::{Answer, Job, NotTaken};
use tokio::sync::oneshot;
use tokio::time::{Instant, sleep};

use super::files::{Done, oldest};
use super::{Backlog, Brought, FILES_AGAIN, ROWS_MOST, bytes_of};

/// How it went, job by job.
pub(super) type Outcome = Vec<Result<(), StoreError>>;

/// Jobs that the memory is working on.
pub(super) struct Flight {
    pub(super) jobs: usize,
    /// They lie aside; otherwise they are the first of those that are held.
    pub(super) is_aside: bool,
    pub(super) begun: Instant,
    pub(super) outcome: Pin<Box<dyn Future<Output = Outcome> + Send>>,
}

impl Backlog {
    /// Hands the oldest jobs to the memory, where it is not left alone just now.
    pub(super) fn go(&mut self) {
        if self.flight.is_some() || self.away.is_some_and(|until| until > Instant::now()) {
            return;
        }
        if self.lies_aside() {
            self.file(|aside| {
                let (aside, jobs) = oldest(aside);
                (aside, Done::Oldest(jobs))
            });
        } else {
            self.fly(self.oldest_held(), false);
        }
    }

    pub(super) fn fly(&mut self, jobs: Vec<Job>, is_aside: bool) {
        if jobs.is_empty() {
            // What lies aside can just now be neither read nor passed over.
            self.away = self.away.filter(|_| self.lies_aside()).map(|_| Instant::now() + FILES_AGAIN);
            return;
        }
        let (ward, n) = (Arc::clone(&self.ward), jobs.len());
        let outcome = Box::pin(async move { ward.memory.keep_each(jobs).await });
        self.flight = Some(Flight { jobs: n, is_aside, begun: Instant::now(), outcome });
    }

    pub(super) fn oldest_held(&self) -> Vec<Job> {
        let mut rows = 0;
        let fits = |brought: &&Brought| {
            let had = rows;
            rows += brought.job.rows();
            had < ROWS_MOST
        };
        self.held.iter().take_while(fits).map(|brought| brought.job.clone()).collect()
    }

    /// The memory has answered for the jobs of the flight.
    pub(super) fn settle(&mut self, outcome: &Outcome) {
        let Some(flight) = self.flight.take() else { return };
        let kept = outcome.iter().take_while(|o| o.as_ref().err().is_none_or(is_final)).count();
        for error in outcome.iter().take(kept).filter_map(|o| o.as_ref().err()) {
            tracing::error!(%error, "refused by the memory");
        }
        let refused = outcome.get(kept).and_then(|o| o.as_ref().err().cloned());
        if flight.is_aside {
            self.file(move |mut aside| {
                let forgot = aside.forget(kept);
                (aside, Done::Forgot(forgot, refused))
            });
            return;
        }
        for (brought, outcome) in self.held.drain(..kept.min(self.held.len())).zip(outcome) {
            self.held_bytes = self.held_bytes.saturating_sub(bytes_of(&brought.job));
            let refused = outcome.as_ref().err().map(ToString::to_string);
            brought.bed.note(|t| t.memory = refused);
            for receipt in brought.receipts {
                drop(self.thanks.send(receipt));
            }
        }
        self.settled(refused.as_ref());
    }

    /// What was kept is done with; the memory refused what came behind it, or refused nothing.
    pub(super) fn settled(&mut self, refused: Option<&StoreError>) {
        if let Some(error) = refused {
            let pause = self.pauses.next_pause();
            self.is_away(&error.to_string());
            tracing::error!(%error, again_in_s = pause.as_secs_f32(), "not kept yet");
            self.away = Some(Instant::now() + pause);
            return;
        }
        self.pauses.worked();
        if !self.lies_aside() && self.away.take().is_some() {
            tracing::info!(without_counts = self.without_counts, "the memory has caught up");
            (self.without_counts, self.files) = (0, None);
            for bed in self.ward.beds() {
                bed.note(|t| t.memory = None);
            }
        } else if self.away.is_some() {
            self.away = Some(Instant::now());
        }
    }
}

/// Whether a job is refused for what it is. A writer that has stopped says nothing of the job.
pub(super) fn is_final(error: &StoreError) -> bool {
    !error.is_passing() && *error != StoreError::Closed
}

impl crate::memory::Memory {
    /// Keeps jobs, each by itself or refused by itself, without holding up a thread.
    async fn keep_each(&self, jobs: Vec<Job>) -> Outcome {
        let mut waiting = Vec::with_capacity(jobs.len());
        for job in jobs {
            let (tell, told) = oneshot::channel();
            waiting.push(told);
            // Nobody may be left to tell: then the outcome is of no interest.
            let mut handed = (job, Box::new(move |outcome| drop(tell.send(outcome))) as Answer);
            while let Err(refused) = self.writer().try_hand_in(handed.0, handed.1) {
                // A writer that has stopped takes nothing any more: what waits is told so.
                let NotTaken::Full(back) = refused else { break };
                handed = *back;
                sleep(Duration::from_millis(5)).await;
            }
        }
        let mut outcome = Vec::with_capacity(waiting.len());
        for told in waiting {
            outcome.push(told.await.unwrap_or(Err(StoreError::Closed)).map(drop));
        }
        outcome
    }
}
