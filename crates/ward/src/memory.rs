//! The ward's memory, for many callers at once: one writer, and readers that do not wait for it.
//!
//! A memory may hang without failing: a server that is frozen still holds its connections open. Who enters something waits
//! `WRITE_MOST` at most, and only `LOOKS_MOST` can hang on a look; whoever comes then is told so after `CROWD_MOST`,
//! and what needs no memory, such as the live weights, goes on.

use std::sync::{Condvar, Mutex, PoisonError};
use std::time::Duration;

use store::journal::Kept;
use store::sql::{Database, Transaction};
use store::writer::{Clock, Job, Writer};
use store::{StoreError, schema, sql};

/// Who enters something waits so long at most.
const WRITE_MOST: Duration = Duration::from_secs(10);
/// So many may look at once, or hang in a look; as many connections are kept.
const LOOKS_MOST: usize = 8;
/// Who finds so many looking waits so long for one of them to end.
const CROWD_MOST: Duration = Duration::from_secs(1);

/// An open memory.
pub struct Memory {
    writer: Writer,
    place: String,
    /// Connections that nobody uses just now.
    idle: Mutex<Vec<Box<dyn Database>>>,
    /// How many look just now.
    looks: Mutex<usize>,
    look_ended: Condvar,
}

impl Memory {
    /// Opens a place and brings its tables forward; `clock` gives µs of UTC.
    ///
    /// # Errors
    /// It cannot be opened, or a later version made it.
    pub fn open(place: &str, clock: Clock) -> Result<Self, StoreError> {
        let mut database = sql::open(place)?;
        schema::migrate(database.as_mut(), clock())?;
        let writer = Writer::start(database, clock)?;
        Ok(Self {
            writer,
            place: place.to_owned(),
            idle: Mutex::default(),
            looks: Mutex::default(),
            look_ended: Condvar::new(),
        })
    }

    /// Keeps a job, and waits until it is durable.
    ///
    /// # Errors
    /// It was refused.
    pub fn keep(&self, job: Job) -> Result<Vec<Kept>, StoreError> {
        self.writer.keep(job)
    }

    /// Keeps what somebody enters who waits for it, but not for ever. `then` is done once it is kept, also after who entered it
    /// was told that it takes too long.
    ///
    /// # Errors
    /// It was refused, or takes too long: then it may still be kept.
    pub fn keep_then<T: Send + 'static>(
        &self,
        job: Job,
        then: impl FnOnce(Vec<Kept>) -> T + Send + 'static,
    ) -> Result<T, StoreError> {
        self.writer.keep_within(job, WRITE_MOST, then)
    }

    /// The writer, for who does not wait.
    #[must_use]
    pub fn writer(&self) -> &Writer {
        &self.writer
    }

    /// Looks at one moment of the memory.
    ///
    /// # Errors
    /// The database refuses, or `look` does.
    pub fn look<T>(&self, look: impl FnOnce(&mut dyn Transaction) -> Result<T, StoreError>) -> Result<T, StoreError> {
        self.with(|database| look(database.look()?.as_mut()))
    }

    /// Writes what is no record: sessions, and what is reduced.
    ///
    /// # Errors
    /// The database refuses, or `write` does; then nothing was written.
    pub fn write<T>(&self, write: impl FnOnce(&mut dyn Transaction) -> Result<T, StoreError>) -> Result<T, StoreError> {
        self.with(|database| {
            let mut transaction = database.begin()?;
            let written = write(transaction.as_mut())?;
            transaction.commit()?;
            Ok(written)
        })
    }

    fn with<T>(&self, work: impl FnOnce(&mut dyn Database) -> Result<T, StoreError>) -> Result<T, StoreError> {
        let _looking = self.begin_to_look()?;
        let idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let mut database = idle.map_or_else(|| sql::open(&self.place), Ok)?;
        let done = work(database.as_mut());
        // A connection that failed is not kept: the next caller opens a new one.
        if done.is_ok() {
            let mut idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner);
            idle.push(database);
        }
        done
    }

    fn begin_to_look(&self) -> Result<Looking<'_>, StoreError> {
        let looks = self.looks.lock().unwrap_or_else(PoisonError::into_inner);
        let waited = self.look_ended.wait_timeout_while(looks, CROWD_MOST, |looks| *looks >= LOOKS_MOST);
        let (mut looks, _) = waited.unwrap_or_else(PoisonError::into_inner);
        if *looks >= LOOKS_MOST {
            return Err(StoreError::Crowded { waiting: *looks });
        }
        *looks += 1;
        Ok(Looking(self))
    }
}

/// One of those who look; gone when it is dropped.
struct Looking<'a>(&'a Memory);

impl Drop for Looking<'_> {
    fn drop(&mut self) {
        *self.0.looks.lock().unwrap_or_else(PoisonError::into_inner) -= 1;
        self.0.look_ended.notify_one();
    }
}
