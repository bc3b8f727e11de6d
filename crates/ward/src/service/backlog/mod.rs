//! What the beds bring on its way into the memory, however long the memory is away.
//!
//! Beds are weighed on whatever the memory does. What they bring is kept in its order by one task:
//!
//! | the memory                | what beds bring                                          | a broker's copy is let go |
//! |---------------------------|----------------------------------------------------------|---------------------------|
//! | answers                   | is kept, all that waits in one go                         | once it is kept           |
//! | is away, or takes seconds | is set aside in files ([`store::aside`]), flushed          | once it is flushed there  |
//! | is away, the files too    | waits in this process, at most [`HELD_BYTES_MOST`]          | not                       |
//!
//! Set aside or waiting is not on record: pages say so of every bed. Once the memory answers again the oldest is kept first,
//! and what comes meanwhile goes behind it, so that a bed's record has its order; only when nothing lies aside any more
//! does it go straight to the memory again. A service that was killed meanwhile catches up before it opens
//! ([`catch_up`](crate::memory::Memory::catch_up)).
//!
//! | module     | what it does |
//! |------------|--------------|
//! | `files`    | what is held into the files, and out of them again |
//! | `flights`  | the oldest jobs to the memory, and what became of them |
//! | `catch_up` | what an earlier run set aside, before anything else |
//!
//! **Bounds.** When three quarters of the room for files are full, or a quarter of the room in this process, raw counts are
//! left out; weights, events and states go on. When all of it is full, beds are not listened to until there is room:
//! then a broker holds what comes, and on a wire samples are lost, which their numbers show.

mod catch_up;
mod files;
mod flights;

use std::collections::VecDeque;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use link::pause::Pauses;
use link::transport::Receipt;
use store::aside::Aside;
use store::writer::Job;
use tokio::sync::mpsc::{Receiver, Sender, UnboundedReceiver, UnboundedSender, channel, unbounded_channel};
use tokio::time::{Instant, sleep_until};

use super::{Bed, Ward};
use files::Filed;
use flights::{Flight, Outcome};

pub use catch_up::CatchUpError;

/// Jobs of all beds that may wait to be taken over.
const WAITING_MOST: usize = 1024;
/// Bytes that may wait in this process where neither memory nor files take anything.
pub const HELD_BYTES_MOST: usize = 256 << 20;
/// A commit that takes longer is not waited for: what comes behind it is set aside.
const PATIENCE: Duration = Duration::from_secs(2);
/// A pause of the files after they refused.
const FILES_AGAIN: Duration = Duration::from_secs(2);
/// Rows that are caught up with in one go.
const ROWS_MOST: usize = 8_000;

/// What a bed brought.
pub struct Brought {
    pub(super) bed: Arc<Bed>,
    pub(super) job: Job,
    /// Copies that may be let go once it is durable.
    pub(super) receipts: Vec<Receipt>,
}

/// A way for the beds to hand over what they bring.
#[must_use]
pub fn door() -> (Sender<Brought>, Receiver<Brought>) {
    channel(WAITING_MOST)
}

/// The task's own.
struct Backlog {
    ward: Arc<Ward>,
    aside: Option<Aside>,
    held: VecDeque<Brought>,
    held_bytes: usize,
    /// Bytes of what was held and is on its way into the files.
    filing_bytes: usize,
    flight: Option<Flight>,
    /// What the files do just now. A disk may take its time over it: links are read and beds weighed meanwhile.
    work: Option<Pin<Box<dyn Future<Output = Filed> + Send>>>,
    /// The memory does not answer as it should; until when it is left alone.
    away: Option<Instant>,
    pauses: Pauses,
    /// The files refuse; until when they are left alone.
    files: Option<Instant>,
    thanks: UnboundedSender<Receipt>,
    /// Jobs whose counts were left out since the memory is away.
    without_counts: u64,
}

/// Keeps what beds bring until they are gone and all of it is kept or set aside.
pub async fn run(ward: Arc<Ward>, aside: Aside, mut brought: Receiver<Brought>) {
    let (thanks, to_thank) = unbounded_channel();
    tokio::spawn(thank(to_thank));
    let mut backlog = Backlog {
        away: (!aside.is_empty()).then(Instant::now),
        aside: Some(aside),
        ward,
        held: VecDeque::new(),
        held_bytes: 0,
        filing_bytes: 0,
        flight: None,
        work: None,
        pauses: Pauses::new(0),
        files: None,
        thanks,
        without_counts: 0,
    };
    let (mut fresh, mut is_open) = (Vec::new(), true);
    while is_open || backlog.is_busy() {
        let (overdue, again) = (backlog.overdue(), backlog.again());
        let (has_room, is_filing) = (backlog.has_room(), backlog.work.is_some());
        tokio::select! {
            n = brought.recv_many(&mut fresh, WAITING_MOST), if is_open && has_room => {
                is_open = n > 0;
                backlog.hold(fresh.drain(..));
            }
            filed = of(&mut backlog.work) => backlog.filed(filed),
            // Whether the jobs of the flight are held or lie aside is known once the files have done.
            outcome = of_flight(&mut backlog.flight), if !is_filing => backlog.settle(&outcome),
            () = wait(overdue) => backlog.late(),
            () = wait(again) => {}
        }
        backlog.step();
    }
}

/// Tells brokers that their copies may go; by itself, since a broker that is away must not hold up anything else.
async fn thank(mut receipts: UnboundedReceiver<Receipt>) {
    while let Some(receipt) = receipts.recv().await {
        receipt.kept().await;
    }
}

async fn wait(until: Option<Instant>) {
    match until {
        Some(until) => sleep_until(until).await,
        None => std::future::pending().await,
    }
}

async fn of_flight(flight: &mut Option<Flight>) -> Outcome {
    match flight {
        Some(flight) => flight.outcome.as_mut().await,
        None => std::future::pending().await,
    }
}

async fn of(work: &mut Option<Pin<Box<dyn Future<Output = Filed> + Send>>>) -> Filed {
    match work {
        Some(work) => work.as_mut().await,
        None => std::future::pending().await,
    }
}

impl Backlog {
    fn has_room(&self) -> bool {
        self.held_bytes + self.filing_bytes < HELD_BYTES_MOST
    }

    fn is_busy(&self) -> bool {
        self.flight.is_some() || self.work.is_some() || !self.held.is_empty()
    }

    fn lies_aside(&self) -> bool {
        self.aside.as_ref().is_some_and(|a| !a.is_empty())
    }

    /// When a flight from this process has taken too long.
    fn overdue(&self) -> Option<Instant> {
        let flight = self.flight.as_ref().filter(|f| !f.is_aside && self.away.is_none())?;
        Some(flight.begun + PATIENCE)
    }

    /// When memory or files are to be tried again.
    fn again(&self) -> Option<Instant> {
        if self.work.is_some() {
            return None;
        }
        let memory = self.away.filter(|_| self.flight.is_none());
        let files = self.files.filter(|_| self.away.is_some() && !self.held.is_empty());
        [memory, files].into_iter().flatten().min()
    }

    fn late(&mut self) {
        self.is_away(&format!("a commit has taken {} s", PATIENCE.as_secs()));
        self.away = Some(Instant::now());
    }

    fn is_away(&self, why: &str) {
        if self.away.is_none() {
            tracing::error!(why, "the memory does not keep; what beds bring is set aside");
        }
        for bed in self.ward.beds() {
            bed.note(|t| t.memory = Some(why.to_owned()));
        }
    }

    fn hold(&mut self, fresh: impl Iterator<Item = Brought>) {
        for brought in fresh {
            self.held_bytes += bytes_of(&brought.job);
            self.held.push_back(brought);
        }
    }

    /// Does what can be done now.
    fn step(&mut self) {
        if self.work.is_none() {
            // First the memory, or what keeps coming would hold up what lies aside.
            self.go();
        }
        if self.work.is_none() {
            self.set_aside();
        }
        if self.work.is_some() {
            self.thin_out_held();
        }
    }

    fn give_thanks(&self, receipts: Vec<Receipt>) {
        for receipt in receipts {
            // The task that thanks ends after this one.
            drop(self.thanks.send(receipt));
        }
    }

    /// In this process weights are worth more than counts.
    fn thin_out_held(&mut self) {
        if self.held_bytes > HELD_BYTES_MOST / 4 {
            // What the memory works on is left as it was handed over, unless it is on its way into the files.
            let is_held = |f: &&Flight| !f.is_aside && self.filing_bytes == 0;
            let from = self.flight.as_ref().filter(is_held).map_or(0, |f| f.jobs);
            self.leave_counts_out(from);
        }
    }

    fn leave_counts_out(&mut self, from: usize) {
        if self.without_counts == 0 {
            tracing::warn!("the room for what waits is nearly full: raw counts are left out, weights go on");
        }
        for brought in self.held.iter_mut().skip(from) {
            self.without_counts += u64::from(!brought.job.counts.is_empty());
            brought.job.counts.clear();
        }
        self.held_bytes = self.held.iter().map(|b| bytes_of(&b.job)).sum();
    }
}

/// About how much room a job takes in this process.
fn bytes_of(job: &Job) -> usize {
    let entries: usize = job.entries.iter().map(|e| 200 + e.body.len() + e.subject.len()).sum();
    let counts: usize = job.counts.iter().map(|c| 100 + 8 * c.at_us.len() + 4 * c.counts.len()).sum();
    let states: usize = job.states.iter().map(|s| 100 + s.record.len()).sum();
    200 + entries + counts + states + 150 * job.readings.len()
}

#[cfg(test)]
mod tests;
