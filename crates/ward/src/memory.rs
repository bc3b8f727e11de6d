//! The ward's memory, for many callers at once: one writer, and readers that do not wait for it.

use std::sync::{Mutex, PoisonError};

use store::journal::Kept;
use store::sql::{Database, Transaction};
use store::writer::{Clock, Job, Writer};
use store::{StoreError, schema, sql};

/// Connections that are kept for readers.
const READERS_MOST: usize = 8;

/// An open memory.
pub struct Memory {
    writer: Writer,
    place: String,
    /// Connections that nobody uses just now.
    idle: Mutex<Vec<Box<dyn Database>>>,
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
        Ok(Self { writer, place: place.to_owned(), idle: Mutex::new(Vec::new()) })
    }

    /// Keeps a job, and waits until it is durable.
    ///
    /// # Errors
    /// It was refused.
    pub fn keep(&self, job: Job) -> Result<Vec<Kept>, StoreError> {
        self.writer.keep(job)
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
        let idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let mut database = idle.map_or_else(|| sql::open(&self.place), Ok)?;
        let done = work(database.as_mut());
        // A connection that failed is not kept: the next caller opens a new one.
        if done.is_ok() {
            let mut idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner);
            if idle.len() < READERS_MOST {
                idle.push(database);
            }
        }
        done
    }
}
