//! What is held on its way into the files, and out of them again.

use std::collections::VecDeque;

use store::StoreError;
use store::aside::{Aside, AsideError};
use store::writer::Job;
use tokio::time::Instant;

use super::{Backlog, Brought, FILES_AGAIN, ROWS_MOST};

/// What the files did, with them. `None` where the attempt panicked, and took them with it.
pub(super) type Filed = Option<(Aside, Done)>;

pub(super) enum Done {
    /// What was held was to be added.
    Added(VecDeque<Brought>, Result<(), AsideError>),
    /// The oldest jobs.
    Oldest(Vec<Job>),
    /// Jobs that are kept were to go; the memory may have refused what came behind them.
    Forgot(Result<(), AsideError>, Option<StoreError>),
}

impl Backlog {
    /// Lets the files do something, beside this task.
    pub(super) fn file(&mut self, work: impl FnOnce(Aside) -> (Aside, Done) + Send + 'static) {
        let Some(aside) = self.aside.take() else { return };
        let done = tokio::task::spawn_blocking(move || work(aside));
        self.work = Some(Box::pin(async { done.await.ok() }));
    }

    /// Moves what is held into files, where the memory is away or older jobs lie there.
    pub(super) fn set_aside(&mut self) {
        if self.held.is_empty() || self.aside.is_none() || (self.away.is_none() && !self.lies_aside()) {
            return;
        }
        if self.files.is_some_and(|until| until > Instant::now()) {
            self.thin_out_held();
            return;
        }
        if self.aside.as_ref().is_some_and(|a| a.bytes() > a.most_bytes() / 4 * 3) {
            self.leave_counts_out(0);
        }
        let held = std::mem::take(&mut self.held);
        self.filing_bytes = std::mem::take(&mut self.held_bytes);
        self.file(move |mut aside| {
            let added = aside.add(held.iter().map(|b| &b.job));
            (aside, Done::Added(held, added))
        });
    }

    /// The files have done what they were to do.
    pub(super) fn filed(&mut self, filed: Filed) {
        self.work = None;
        // A task that panicked has taken what it held with it, the jobs of a flight among it; the broker's copies were not let go.
        let Some((aside, done)) = filed else {
            tracing::error!("the files for what waits are lost to this process; what beds bring waits in it");
            (self.filing_bytes, self.flight) = (0, None);
            return;
        };
        self.aside = Some(aside);
        match done {
            Done::Added(held, Ok(())) => {
                self.files = None;
                self.filing_bytes = 0;
                for brought in held {
                    self.give_thanks(brought.receipts);
                }
                // What the memory works on lies aside too now, as the oldest there.
                if let Some(flight) = &mut self.flight {
                    flight.is_aside = true;
                }
            }
            Done::Added(mut held, Err(error)) => {
                held.append(&mut self.held);
                self.held = held;
                self.held_bytes += std::mem::take(&mut self.filing_bytes);
                if self.files.is_none() {
                    tracing::error!(%error, "nothing can be set aside either; what beds bring waits in this process");
                }
                self.files = Some(Instant::now() + FILES_AGAIN);
            }
            Done::Oldest(jobs) => self.fly(jobs, true),
            Done::Forgot(forgot, refused) => {
                if let Err(error) = forgot {
                    // They come again, and are kept once.
                    tracing::error!(%error, "what lies aside cannot be cleared away");
                }
                self.settled(refused.as_ref());
            }
        }
    }
}

/// The oldest jobs of what lies aside.
pub(super) fn oldest(mut aside: Aside) -> (Aside, Vec<Job>) {
    loop {
        match aside.oldest(ROWS_MOST) {
            Ok(jobs) => return (aside, jobs),
            Err(error) => {
                tracing::error!(%error, "what lies aside cannot be read");
                match aside.pass_over() {
                    Ok(bytes) => tracing::error!(bytes, "passed over; the file stays, with .torn at its name"),
                    Err(error) => {
                        tracing::error!(%error, "nor be passed over");
                        return (aside, Vec::new());
                    }
                }
            }
        }
    }
}
