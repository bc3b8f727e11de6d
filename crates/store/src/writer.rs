//! One thread that writes for all beds.
//!
//! While one commit waits for the disk, what other beds bring gathers; the next commit takes it all. So a durable reading
//! costs one commit at most, and a busy ward pays one commit for many. An answer is given only after the commit: what was
//! acknowledged survives a power cut.
//!
//! What one bed brings must not stop another: when a commit of several is refused, each is tried alone.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crate::StoreError;
use crate::entry::NewEntry;
use crate::journal::{self, Kept};
use crate::readings::{self, Counts, Reading};
use crate::sql::Database;
use crate::states::{self, State};

/// Jobs that may wait; beyond, a bed is told to wait in its turn.
const WAITING_MOST: usize = 4096;
/// Rows that one commit takes at most, so that the first of them is not kept waiting long.
const ROWS_MOST: usize = 20_000;

/// A job waits so long for another to share its commit, and so long in all: a flush of a disk takes as long or longer.
const GATHER: Duration = Duration::from_micros(200);
const GATHER_MOST: Duration = Duration::from_millis(2);

/// Gives the time, µs of UTC since 1970.
pub type Clock = Box<dyn Fn() -> i64 + Send>;
/// Is told how a job went.
pub type Answer = Box<dyn FnOnce(Result<Vec<Kept>, StoreError>) + Send>;

/// What is kept together, wholly or not at all.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Job {
    /// Entries of the journal.
    pub entries: Vec<NewEntry>,
    /// Weights.
    pub readings: Vec<Reading>,
    /// Raw counts.
    pub counts: Vec<Counts>,
    /// What beds must remember.
    pub states: Vec<State>,
    /// Entries, by their place, that replace an earlier one whose number is not known yet: the `once` of that.
    pub replaces: Vec<(usize, String)>,
}

impl Job {
    /// Rows that it makes.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.entries.len() + self.readings.len() + self.counts.len() + self.states.len()
    }

    /// Its entries, each with the `once` of what it replaces.
    fn naming(&self) -> impl Iterator<Item = (&NewEntry, Option<&str>)> {
        let replaced = |place| self.replaces.iter().find(|(p, _)| *p == place).map(|(_, once)| once.as_str());
        self.entries.iter().enumerate().map(move |(place, entry)| (entry, replaced(place)))
    }
}

/// A job on its way, and who waits for it.
struct Waiting {
    job: Job,
    answer: Answer,
}

/// Why a job was not taken.
pub enum NotTaken {
    /// Too many others wait: what was handed in, to be handed in again.
    Full(Box<(Job, Answer)>),
    /// The writer has stopped, and takes nothing any more.
    Closed,
}

/// The door to the writing thread. Dropped, it writes what waits and ends.
pub struct Writer {
    door: Option<SyncSender<Waiting>>,
    thread: Option<JoinHandle<()>>,
}

impl Writer {
    /// Starts writing to a database whose tables are of the newest form.
    ///
    /// # Errors
    /// The thread could not be made.
    pub fn start(database: Box<dyn Database>, clock: Clock) -> Result<Self, StoreError> {
        let (door, jobs) = sync_channel(WAITING_MOST);
        let thread = std::thread::Builder::new()
            .name("ward-writer".to_owned())
            .spawn(move || write_all(database, &clock, &jobs))
            .map_err(|_| StoreError::Closed)?;
        Ok(Self { door: Some(door), thread: Some(thread) })
    }

    /// Hands a job in; `answer` is called from the writing thread once it is durable, or refused. Waits while too many
    /// others wait.
    ///
    /// # Errors
    /// The writer has stopped.
    pub fn hand_in(&self, job: Job, answer: Answer) -> Result<(), StoreError> {
        let door = self.door.as_ref().ok_or(StoreError::Closed)?;
        door.send(Waiting { job, answer }).map_err(|_| StoreError::Closed)
    }

    /// Hands a job in without waiting; gives it back when too many others wait.
    ///
    /// # Errors
    /// Too many others wait, or the writer has stopped.
    pub fn try_hand_in(&self, job: Job, answer: Answer) -> Result<(), NotTaken> {
        let door = self.door.as_ref().ok_or(NotTaken::Closed)?;
        door.try_send(Waiting { job, answer }).map_err(|error| match error {
            TrySendError::Full(waiting) => NotTaken::Full(Box::new((waiting.job, waiting.answer))),
            // A thread that died: to wait for room would be to wait for ever.
            TrySendError::Disconnected(_) => NotTaken::Closed,
        })
    }

    /// Keeps a job and waits until it is durable.
    ///
    /// # Errors
    /// It was refused, or the writer has stopped.
    pub fn keep(&self, job: Job) -> Result<Vec<Kept>, StoreError> {
        let (tell, told) = sync_channel(1);
        // Nobody may be left to tell: then the outcome is of no interest.
        self.hand_in(job, Box::new(move |outcome| drop(tell.send(outcome))))?;
        told.recv().map_err(|_| StoreError::Closed)?
    }

    /// Keeps a job and waits until it is durable, at most so long. `then` is called from the writing thread once it is kept,
    /// also when that comes after the caller went.
    ///
    /// # Errors
    /// It was refused, it takes longer ([`StoreError::Late`]: it may still be kept), or the writer has stopped.
    pub fn keep_within<T: Send + 'static>(
        &self,
        job: Job,
        wait: Duration,
        then: impl FnOnce(Vec<Kept>) -> T + Send + 'static,
    ) -> Result<T, StoreError> {
        let (tell, told) = sync_channel(1);
        let answer: Answer = Box::new(move |outcome| drop(tell.send(outcome.map(then))));
        // Behind a memory that does not answer, the door may be full too.
        let until = Instant::now() + wait;
        let mut handed = (job, answer);
        while let Err(refused) = self.try_hand_in(handed.0, handed.1) {
            let NotTaken::Full(back) = refused else { return Err(StoreError::Closed) };
            if Instant::now() >= until {
                return Err(StoreError::Crowded { waiting: WAITING_MOST });
            }
            handed = *back;
            std::thread::sleep(GATHER_MOST);
        }
        told.recv_timeout(until.saturating_duration_since(Instant::now())).map_err(|error| match error {
            RecvTimeoutError::Timeout => StoreError::Late { waited_s: wait.as_secs() },
            RecvTimeoutError::Disconnected => StoreError::Closed,
        })?
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.door = None;
        if let Some(thread) = self.thread.take() {
            // A thread that panicked has told nobody that it kept anything.
            drop(thread.join());
        }
    }
}

fn write_all(mut database: Box<dyn Database>, clock: &Clock, jobs: &Receiver<Waiting>) {
    while let Ok(first) = jobs.recv() {
        let until = Instant::now() + GATHER_MOST;
        let mut rows = first.job.rows();
        let mut batch = vec![first];
        // While others keep coming, their rows are cheaper in this commit than in one of their own.
        while rows < ROWS_MOST
            && let Ok(next) = jobs.recv_timeout(GATHER.min(until.saturating_duration_since(Instant::now())))
        {
            rows += next.job.rows();
            batch.push(next);
        }
        commit(database.as_mut(), clock, batch);
    }
}

/// Commits a batch as one, or, where that is refused, each job alone.
fn commit(database: &mut dyn Database, clock: &Clock, batch: Vec<Waiting>) {
    match write(database, clock(), batch.iter().map(|w| &w.job)) {
        Ok(kept) => {
            for (waiting, kept) in batch.into_iter().zip(kept) {
                tell(waiting.answer, Ok(kept));
            }
        }
        // The database is away or full: it is so for all, and each is told so at once.
        Err(error) if error.is_passing() || batch.len() == 1 => {
            for waiting in batch {
                tell(waiting.answer, Err(error.clone()));
            }
        }
        Err(_) => {
            for waiting in batch {
                let kept = write(database, clock(), std::iter::once(&waiting.job));
                tell(waiting.answer, kept.map(|mut kept| kept.pop().unwrap_or_default()));
            }
        }
    }
}

/// Tells who waits. What panics there is theirs: this thread goes on writing for all others.
fn tell(answer: Answer, outcome: Result<Vec<Kept>, StoreError>) {
    drop(catch_unwind(AssertUnwindSafe(|| answer(outcome))));
}

fn write<'a>(
    database: &mut dyn Database,
    now_us: i64,
    jobs: impl Iterator<Item = &'a Job> + Clone,
) -> Result<Vec<Vec<Kept>>, StoreError> {
    let mut transaction = database.begin()?;
    // All entries at once: each chain is locked and moved once a commit, however many beds write to it.
    let mut kept =
        journal::append_naming(transaction.as_mut(), now_us, jobs.clone().flat_map(Job::naming))?.into_iter();
    let kept = jobs.clone().map(|job| kept.by_ref().take(job.entries.len()).collect()).collect();
    readings::keep(transaction.as_mut(), jobs.clone().flat_map(|job| &job.readings))?;
    readings::keep_counts(transaction.as_mut(), jobs.clone().flat_map(|job| &job.counts))?;
    for state in jobs.flat_map(|job| &job.states) {
        states::keep(transaction.as_mut(), state)?;
    }
    transaction.commit()?;
    Ok(kept)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sql::Transaction;

    /// A database whose driver panics.
    struct Broken;

    impl Database for Broken {
        fn begin(&mut self) -> Result<Box<dyn Transaction + '_>, StoreError> {
            panic!("on purpose")
        }

        fn look(&mut self) -> Result<Box<dyn Transaction + '_>, StoreError> {
            Err(StoreError::Closed)
        }

        fn again(&self) -> Result<Box<dyn Database>, StoreError> {
            Err(StoreError::Closed)
        }

        fn name(&self) -> &'static str {
            "broken"
        }

        fn finish(self: Box<Self>) -> Result<(), StoreError> {
            Ok(())
        }
    }

    #[test]
    fn a_writing_thread_that_died_is_told_at_once_as_closed_and_not_as_crowded() {
        let writer = Writer::start(Box::new(Broken), Box::new(|| 0)).unwrap();
        assert_eq!(writer.keep(Job::default()), Err(StoreError::Closed));
        let begun = Instant::now();
        let wait = Duration::from_secs(600);
        assert_eq!(writer.keep_within(Job::default(), wait, drop), Err(StoreError::Closed));
        assert!(begun.elapsed() < wait / 2);
        assert!(matches!(writer.try_hand_in(Job::default(), Box::new(drop)), Err(NotTaken::Closed)));
    }

    #[test]
    fn an_answer_that_panics_stops_nobody_elses_writing() {
        let folder = tempfile::tempdir().unwrap();
        let mut database = crate::sql::open(folder.path().join("ward.db").to_str().unwrap()).unwrap();
        crate::schema::migrate(database.as_mut(), 0).unwrap();
        let writer = Writer::start(database, Box::new(|| 0)).unwrap();
        writer.hand_in(Job::default(), Box::new(|_| panic!("on purpose"))).unwrap();
        assert_eq!(writer.keep(Job::default()), Ok(Vec::new()));
    }
}
