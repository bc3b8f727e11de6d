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
//! **Bounds.** When three quarters of the room for files are full, or a quarter of the room in this process, raw counts are
//! left out; weights, events and states go on. When all of it is full, beds are not listened to until there is room:
//! then a broker holds what comes, and on a wire samples are lost, which their numbers show.

use std::collections::VecDeque;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use link::pause::Pauses;
use link::transport::Receipt;
use store::StoreError;
use store::aside::{Aside, AsideError};
use store::writer::{Answer, Job, NotTaken};
use tokio::sync::mpsc::{Receiver, Sender, UnboundedReceiver, UnboundedSender, channel, unbounded_channel};
use tokio::sync::oneshot;
use tokio::time::{Instant, sleep, sleep_until};

use super::{Bed, Ward};

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

type Outcome = Vec<Result<(), StoreError>>;

/// What the files did, with them. `None` where the attempt panicked, and took them with it.
type Filed = Option<(Aside, Done)>;

enum Done {
    /// What was held was to be added.
    Added(VecDeque<Brought>, Result<(), AsideError>),
    /// The oldest jobs.
    Oldest(Vec<Job>),
    /// Jobs that are kept were to go; the memory may have refused what came behind them.
    Forgot(Result<(), AsideError>, Option<StoreError>),
}

/// Jobs that the memory is working on.
struct Flight {
    jobs: usize,
    /// They lie aside; otherwise they are the first of those that are held.
    is_aside: bool,
    begun: Instant,
    outcome: Pin<Box<dyn Future<Output = Outcome> + Send>>,
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

    /// Lets the files do something, beside this task.
    fn file(&mut self, work: impl FnOnce(Aside) -> (Aside, Done) + Send + 'static) {
        let Some(aside) = self.aside.take() else { return };
        let done = tokio::task::spawn_blocking(move || work(aside));
        self.work = Some(Box::pin(async { done.await.ok() }));
    }

    /// Moves what is held into files, where the memory is away or older jobs lie there.
    fn set_aside(&mut self) {
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
    fn filed(&mut self, filed: Filed) {
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

    /// Hands the oldest jobs to the memory, where it is not left alone just now.
    fn go(&mut self) {
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

    fn fly(&mut self, jobs: Vec<Job>, is_aside: bool) {
        if jobs.is_empty() {
            // What lies aside can just now be neither read nor passed over.
            self.away = self.away.filter(|_| self.lies_aside()).map(|_| Instant::now() + FILES_AGAIN);
            return;
        }
        let (ward, n) = (Arc::clone(&self.ward), jobs.len());
        let outcome = Box::pin(async move { ward.memory.keep_each(jobs).await });
        self.flight = Some(Flight { jobs: n, is_aside, begun: Instant::now(), outcome });
    }

    fn oldest_held(&self) -> Vec<Job> {
        let mut rows = 0;
        let fits = |brought: &&Brought| {
            let had = rows;
            rows += brought.job.rows();
            had < ROWS_MOST
        };
        self.held.iter().take_while(fits).map(|brought| brought.job.clone()).collect()
    }

    /// The memory has answered for the jobs of the flight.
    fn settle(&mut self, outcome: &Outcome) {
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
    fn settled(&mut self, refused: Option<&StoreError>) {
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

/// The oldest jobs of what lies aside.
fn oldest(mut aside: Aside) -> (Aside, Vec<Job>) {
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

/// Whether a job is refused for what it is. A writer that has stopped says nothing of the job.
fn is_final(error: &StoreError) -> bool {
    !error.is_passing() && *error != StoreError::Closed
}

/// About how much room a job takes in this process.
fn bytes_of(job: &Job) -> usize {
    let entries: usize = job.entries.iter().map(|e| 200 + e.body.len() + e.subject.len()).sum();
    let counts: usize = job.counts.iter().map(|c| 100 + 8 * c.at_us.len() + 4 * c.counts.len()).sum();
    let states: usize = job.states.iter().map(|s| 100 + s.record.len()).sum();
    200 + entries + counts + states + 150 * job.readings.len()
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

    /// Keeps all that an earlier run had to set aside, before anything else is asked of the memory.
    ///
    /// # Errors
    /// The memory is away still; what lies aside stays there.
    pub fn catch_up(&self, mut aside: Aside) -> Result<(Aside, usize), CatchUpError> {
        let mut caught = 0;
        while !aside.is_empty() {
            let jobs;
            (aside, jobs) = oldest(aside);
            if jobs.is_empty() && !aside.is_empty() {
                return Err(CatchUpError::Unreadable { place: aside.place().display().to_string() });
            }
            let n = jobs.len();
            for outcome in self.keep_all(jobs) {
                match outcome {
                    Err(error) if !is_final(&error) => return Err(error.into()),
                    Err(error) => tracing::error!(%error, "refused by the memory"),
                    Ok(()) => {}
                }
            }
            aside.forget(n)?;
            caught += n;
        }
        Ok((aside, caught))
    }

    /// Hands jobs in together and waits for all.
    fn keep_all(&self, jobs: Vec<Job>) -> Outcome {
        let (tell, told) = std::sync::mpsc::channel();
        let n = jobs.len();
        for (place, job) in jobs.into_iter().enumerate() {
            let tell = tell.clone();
            let answer: Answer = Box::new(move |outcome| drop(tell.send((place, outcome))));
            if let Err(error) = self.writer().hand_in(job, answer) {
                return vec![Err(error)];
            }
        }
        drop(tell);
        let mut outcome = vec![Err(StoreError::Closed); n];
        for (place, result) in told {
            outcome[place] = result.map(drop);
        }
        outcome
    }
}

/// Why a ward does not catch up with what lies aside.
#[derive(Debug, thiserror::Error)]
pub enum CatchUpError {
    /// The memory.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The files.
    #[error(transparent)]
    Aside(#[from] AsideError),
    /// Files that can neither be read nor be passed over.
    #[error("{place}: what was set aside can neither be read nor be passed over")]
    Unreadable {
        /// Where.
        place: String,
    },
}

#[cfg(test)]
mod tests {
    use store::aside::Aside;
    use store::entry::{Kind, NewEntry};
    use store::journal::{self, Query};
    use store::readings::{self, Reading};

    use super::*;
    use crate::testing;

    /// What a bed brings each second: an event by its number, and a weight.
    fn brought(bed: &Arc<Bed>, number: i64) -> Brought {
        let label = bed.setup.bed.clone();
        let entry = NewEntry {
            chain: label.clone(),
            at_us: number * 1_000_000,
            kind: Kind::Event,
            subject: String::new(),
            author: "deck".to_owned(),
            corrects: None,
            once: Some(format!("{number}")),
            body: number.to_string(),
        };
        let kg = Some(70.0);
        let reading =
            Reading { bed: label, at_us: number * 1_000_000, kg, u_kg: Some(0.02), state: "settled".to_owned() };
        let job = Job { entries: vec![entry], readings: vec![reading], ..Job::default() };
        Brought { bed: Arc::clone(bed), job, receipts: Vec::new() }
    }

    /// The numbers of a bed's events in the order in which they were kept, and how many weights there are.
    fn kept(ward: &Ward, bed: &str) -> (Vec<i64>, usize) {
        let query = Query { chain: Some(bed.to_owned()), kind: Some(Kind::Event), history: true, ..Query::default() };
        let mut entries = ward.memory.look(|tx| journal::entries(tx, &query)).unwrap();
        entries.sort_by_key(|entry| entry.number);
        let numbers = entries.iter().map(|entry| entry.new.body.parse().unwrap()).collect();
        (numbers, ward.memory.look(|tx| readings::readings(tx, bed, 0, i64::MAX)).unwrap().len())
    }

    async fn until(what: &str, is_so: impl Fn() -> bool) {
        let begun = Instant::now();
        while !is_so() {
            assert!(begun.elapsed() < Duration::from_secs(120), "{what}: not within two minutes");
            sleep(Duration::from_millis(20)).await;
        }
    }

    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn what_waited_is_kept_in_its_order_and_once_when_the_memory_is_back() {
        let ward = testing::ward(&["A1", "A2"]);
        let beds: Vec<Arc<Bed>> = ward.beds().map(Arc::clone).collect();
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("ward.aside");
        let (keep, from) = door();
        let task = tokio::spawn(run(Arc::clone(&ward), Aside::open(&place, 1 << 30).unwrap(), from));
        let bring = async |numbers: std::ops::Range<i64>| {
            for number in numbers {
                for bed in &beds {
                    keep.send(brought(bed, number)).await.unwrap_or_else(|_| panic!("the task has ended"));
                }
            }
        };
        bring(0..50).await;
        until("kept", || kept(&ward, "A1").0.len() == 50).await;
        // Another process writes and does not end: no commit of ours goes through.
        let lock = testing::lock(&ward);
        bring(50..8_000).await;
        until("the beds say so", || beds.iter().all(|bed| bed.trouble().memory.is_some())).await;
        until("set aside", || Aside::open(&place, 1 << 30).unwrap().bytes() > 1_000_000).await;
        let aside = kept(&ward, "A1").0.len();
        assert!(aside < 8_000, "the scene proves nothing");
        drop(lock);
        // While it catches up more comes, which is behind what waited.
        bring(8_000..9_000).await;
        until("caught up", || beds.iter().all(|bed| bed.trouble().memory.is_none())).await;
        drop(keep);
        task.await.unwrap();
        for bed in ["A1", "A2"] {
            let (numbers, weights) = kept(&ward, bed);
            assert_eq!(numbers, (0..9_000).collect::<Vec<_>>(), "{bed}");
            assert_eq!(weights, 9_000, "{bed}");
        }
        assert!(Aside::open(&place, 1 << 30).unwrap().is_empty(), "files are left");
    }
}
