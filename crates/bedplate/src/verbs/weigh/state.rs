//! The state file of `weigh --follow --state`: two places of fixed length, written in turn, each flushed to the disk before the next row is given out.
//!
//! | bytes            | what                    |
//! |------------------|-------------------------|
//! | 0 – 131 071      | first place: one record, see `signal::keep` |
//! | from 131 072 on  | second place            |
//!
//! A write that is cut spoils only the place that was being written. Two programs at once would spoil both: the file is locked.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use weigh::{KeepError, Keeper, KeepingError, RECORD_MARK, Slot, Weigher};

use crate::failure::Failure;

/// Longer than any record.
const PLACE: usize = 1 << 17;

/// A state file under way.
pub(super) struct StateFile {
    path: PathBuf,
    file: File,
    keeper: Keeper,
    record: Vec<u8>,
}

impl StateFile {
    /// Opens the file, makes it where it is missing, and lets the weigher go on from what is kept there; true where something was.
    pub(super) fn open(path: &Path, weigher: &mut Weigher) -> Result<(Self, bool), Failure> {
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(path)
            .map_err(|e| Failure::write(path, e))?;
        file.try_lock().map_err(|error| match error {
            TryLockError::WouldBlock => {
                Failure::Stage(format!("{}: another program follows with this state file", path.display()))
            }
            TryLockError::Error(e) => Failure::write(path, e),
        })?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(|e| Failure::read(path, e))?;
        let (a, b) = bytes.split_at(bytes.len().min(PLACE));
        let mut state = Self { path: path.to_owned(), file, keeper: Keeper::new(), record: Vec::new() };
        match weigher.resume(a, b) {
            Ok(keeper) => {
                state.keeper = keeper;
                Ok((state, true))
            }
            // While the second place was never written, a first record that is not whole was cut short: nothing was kept before it.
            Err(KeepingError::Record(KeepError::Broken)) if b.is_empty() && is_torn_record(a) => Ok((state, false)),
            Err(error) => {
                let hint = "name another file, or remove this one and take a new tare";
                Err(Failure::Stage(format!("{}: {error} ({hint})", path.display())))
            }
        }
    }

    /// Keeps the weigher as it is; on the disk when this returns.
    pub(super) fn keep(&mut self, weigher: &Weigher) -> Result<(), Failure> {
        let slot = weigher.keep(&mut self.keeper, &mut self.record).map_err(|e| Failure::stage(&self.path, &e))?;
        let at = match slot {
            Slot::A => 0,
            Slot::B => PLACE as u64,
        };
        self.write(at).map_err(|e| Failure::write(&self.path, e))
    }

    fn write(&mut self, at: u64) -> io::Result<()> {
        self.file.seek(SeekFrom::Start(at))?;
        self.file.write_all(&self.record)?;
        self.file.sync_data()
    }
}

/// Whether bytes begin as a record does; anything else is another file, which is not to be written over.
fn is_torn_record(bytes: &[u8]) -> bool {
    bytes.iter().zip(RECORD_MARK).all(|(found, expected)| *found == expected)
}
