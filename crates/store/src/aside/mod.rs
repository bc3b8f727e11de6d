//! What cannot be kept just now is set aside in files of this machine, until the database is back.
//!
//! Files `PLACE.000001`, `PLACE.000002`, … hold jobs in the order in which they came, as the module `form` says.
//!
//! [`Aside::add`] returns once what it was given is flushed: then it survives a power cut. A file is read up to its last whole
//! job, so that one torn at any byte gives the jobs before it. **A flush that failed is not tried again on the same file**: the
//! system may have dropped what it could not write and call the next flush done (PostgreSQL's notes on fsync, 2018). The
//! file ends there, and the next job begins another; what was caught between stands in both, and is kept once, because
//! keeping a job again changes nothing: entries carry their `once`, weights and counts their time.

use std::collections::VecDeque;
use std::fs::{File, OpenOptions};
use std::io::{self, Write as _};
use std::os::unix::fs::FileExt as _;
use std::path::{Path, PathBuf};

use crate::writer::Job;

mod form;

use form::{HEAD, LENGTH_BYTES, RECORD_HEAD_BYTES};

/// A file that is longer is not added to: it can go as soon as what it holds is kept.
const FILE_BYTES: u64 = 8 << 20;

/// Behind the name of a file that was passed over.
const TORN: &str = ".torn";

/// Why a job was not set aside, or is not to be had back.
#[derive(Debug, thiserror::Error)]
pub enum AsideError {
    /// A file refused.
    #[error("{path}: {error}", path = path.display())]
    File {
        /// The file or its folder.
        path: PathBuf,
        /// What the system said.
        error: io::Error,
    },
    /// As much as may be set aside lies there.
    #[error("{bytes} bytes are set aside already, of {most} that may be")]
    Full {
        /// Bytes set aside.
        bytes: u64,
        /// The most.
        most: u64,
    },
    /// A job that cannot be packed, or a whole record that is no job.
    #[error("a job set aside: {what}")]
    Form {
        /// Why.
        what: String,
    },
}

/// One file.
#[derive(Debug)]
struct Segment {
    path: PathBuf,
    /// Up to here its jobs are whole and flushed.
    good: u64,
    /// Bytes behind that were no whole job when it was found.
    torn: u64,
}

/// Jobs that wait for the database, oldest first.
#[derive(Debug)]
pub struct Aside {
    place: PathBuf,
    most_bytes: u64,
    segments: VecDeque<Segment>,
    /// Up to here the first file was caught up with.
    read: u64,
    /// The last file, while it can be added to.
    open: Option<File>,
    next_number: u64,
}

impl Aside {
    /// What lies aside at `place`, where at most `most_bytes` may. Makes nothing and changes nothing: another may have it open.
    ///
    /// # Errors
    /// The folder or a file of it cannot be read.
    pub fn open(place: &Path, most_bytes: u64) -> Result<Self, AsideError> {
        let (mut numbers, mut last) = (Vec::new(), 0_u64);
        let folder = folder_of(place);
        let name = place.file_name().unwrap_or_default().to_string_lossy().into_owned() + ".";
        match std::fs::read_dir(folder) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => return Err(refused(folder, error)),
            Ok(found) => {
                for file in found {
                    let file = file.map_err(|e| refused(folder, e))?.file_name();
                    let Some(number) = file.to_str().and_then(|f| f.strip_prefix(&name)) else { continue };
                    numbers.extend(number.parse::<u64>());
                    // A file that was passed over holds the only copy of what it could not give: none may take its name.
                    let used = number.strip_suffix(TORN).unwrap_or(number).parse::<u64>();
                    last = last.max(used.unwrap_or(0));
                }
            }
        }
        numbers.sort_unstable();
        let segments = numbers.into_iter().map(|n| found(&numbered(place, n))).collect::<Result<_, _>>()?;
        Ok(Self {
            place: place.to_owned(),
            most_bytes,
            segments,
            read: HEAD.len() as u64,
            open: None,
            next_number: last.saturating_add(1),
        })
    }

    /// Nothing waits, and no file is left.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.segments.is_empty()
    }

    /// Whether a job waits; files without one may be left.
    #[must_use]
    pub fn has_jobs(&self) -> bool {
        self.segments.iter().any(|s| s.good > HEAD.len() as u64)
    }

    /// Bytes that wait.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        self.segments.iter().map(|s| s.good).sum()
    }

    /// Bytes that may wait.
    #[must_use]
    pub fn most_bytes(&self) -> u64 {
        self.most_bytes
    }

    /// Bytes at the end of files found at the start that were no whole job: what was being written when the power went.
    #[must_use]
    pub fn torn_bytes(&self) -> u64 {
        self.segments.iter().map(|s| s.torn).sum()
    }

    /// Where they wait, without the numbers of the files.
    #[must_use]
    pub fn place(&self) -> &Path {
        &self.place
    }

    /// Sets jobs aside: when this returns, they survive a power cut.
    ///
    /// # Errors
    /// None of them was: the disk refuses, or as much lies aside as may. What was set aside before stays.
    pub fn add<'a>(&mut self, jobs: impl IntoIterator<Item = &'a Job>) -> Result<(), AsideError> {
        if self.bytes() >= self.most_bytes {
            return Err(AsideError::Full { bytes: self.bytes(), most: self.most_bytes });
        }
        let mut bytes = Vec::new();
        for job in jobs {
            form::pack(job, &mut bytes)?;
        }
        if bytes.is_empty() {
            return Ok(());
        }
        if self.segments.back().is_none_or(|s| s.good >= FILE_BYTES) {
            self.open = None;
        }
        let mut file = match self.open.take() {
            Some(file) => file,
            None => self.begin()?,
        };
        let Some(last) = self.segments.back_mut() else { return Ok(()) };
        match file.write_all(&bytes).and_then(|()| file.sync_data()) {
            Ok(()) => {
                last.good += bytes.len() as u64;
                self.open = Some(file);
                Ok(())
            }
            // Nothing more goes into this file; one without a job goes, so that a disk that fails for hours is not littered.
            Err(error) => {
                let path = last.path.clone();
                if last.good == HEAD.len() as u64 && std::fs::remove_file(&path).is_ok() {
                    self.segments.pop_back();
                }
                Err(refused(&path, error))
            }
        }
    }

    /// Begins a new file.
    fn begin(&mut self) -> Result<File, AsideError> {
        let path = numbered(&self.place, self.next_number);
        self.next_number += 1;
        let made = OpenOptions::new().write(true).create_new(true).open(&path).and_then(|mut file| {
            file.write_all(HEAD)?;
            file.sync_all()?;
            Ok(file)
        });
        let made = made.and_then(|file| sync_folder(&self.place).map(|()| file));
        match made {
            Ok(file) => {
                self.segments.push_back(Segment { path, good: HEAD.len() as u64, torn: 0 });
                Ok(file)
            }
            Err(error) => {
                // A file without a job: whether it goes now or is passed over later is the same.
                drop(std::fs::remove_file(&path));
                Err(refused(&path, error))
            }
        }
    }

    /// The oldest jobs, until they make so many rows, without forgetting them; at least one where one waits. Files that hold
    /// nothing more go first, also those that could not be removed before.
    ///
    /// # Errors
    /// The file cannot be read or removed, or holds something else now.
    pub fn oldest(&mut self, rows_most: usize) -> Result<Vec<Job>, AsideError> {
        self.drop_read()?;
        let mut jobs = Vec::new();
        let Some(first) = self.segments.front() else { return Ok(jobs) };
        let file = File::open(&first.path).map_err(|e| refused(&first.path, e))?;
        let (mut at, mut rows) = (self.read, 0);
        while at < first.good && rows < rows_most {
            let (job, bytes) = match job_at(&file, first, at) {
                Ok(found) => found,
                // Those before it are whole, and come first: it is met again once they are forgotten.
                Err(_) if !jobs.is_empty() => break,
                Err(error) => return Err(error),
            };
            at += bytes;
            rows += job.rows().max(1);
            jobs.push(job);
        }
        Ok(jobs)
    }

    /// Forgets the oldest jobs, which are kept elsewhere now. Files that hold nothing else go.
    ///
    /// # Errors
    /// The file cannot be read or removed; the jobs may come again.
    pub fn forget(&mut self, jobs: usize) -> Result<(), AsideError> {
        for _ in 0..jobs {
            let Some(first) = self.segments.front() else { return Ok(()) };
            let file = File::open(&first.path).map_err(|e| refused(&first.path, e))?;
            let mut length = [0; LENGTH_BYTES];
            file.read_exact_at(&mut length, self.read).map_err(|e| refused(&first.path, e))?;
            self.read += RECORD_HEAD_BYTES + u64::from(u32::from_le_bytes(length));
            self.drop_read()?;
        }
        Ok(())
    }

    /// Passes over what is left of the oldest file, which cannot be read; it stays, under a name of its own. How many bytes.
    ///
    /// # Errors
    /// The file cannot be renamed.
    pub fn pass_over(&mut self) -> Result<u64, AsideError> {
        let Some(first) = self.segments.front_mut() else { return Ok(0) };
        let lost = first.good.saturating_sub(self.read);
        first.torn += lost;
        first.good = self.read;
        self.drop_read()?;
        Ok(lost)
    }

    /// Removes files that were read to their end.
    fn drop_read(&mut self) -> Result<(), AsideError> {
        while let Some(first) = self.segments.front() {
            if self.read < first.good {
                return Ok(());
            }
            // A file with bytes that were no job is kept for whoever wants to look into it.
            let gone = if first.torn > 0 {
                std::fs::rename(&first.path, first.path.with_extension(extension(&first.path) + TORN))
            } else {
                std::fs::remove_file(&first.path)
            };
            // Somebody else's removal is as good.
            if let Err(error) = gone
                && error.kind() != io::ErrorKind::NotFound
            {
                return Err(refused(&first.path, error));
            }
            self.segments.pop_front();
            self.read = HEAD.len() as u64;
            if self.segments.is_empty() {
                self.open = None;
            }
            // Where this flush fails a power cut brings the file back, and it is kept again, which changes nothing.
            drop(sync_folder(&self.place));
        }
        Ok(())
    }
}

/// The job at a byte of a file, and how many bytes it takes there.
fn job_at(file: &File, segment: &Segment, at: u64) -> Result<(Job, u64), AsideError> {
    let packed = form::record(file, at, segment.good).map_err(|e| refused(&segment.path, e))?;
    let Some(packed) = packed else {
        return Err(AsideError::Form { what: format!("{} changed at byte {at}", segment.path.display()) });
    };
    Ok((form::unpack(&packed)?, RECORD_HEAD_BYTES + packed.len() as u64))
}

fn numbered(place: &Path, number: u64) -> PathBuf {
    let mut name = place.as_os_str().to_owned();
    name.push(format!(".{number:06}"));
    name.into()
}

fn extension(path: &Path) -> String {
    path.extension().unwrap_or_default().to_string_lossy().into_owned()
}

fn folder_of(place: &Path) -> &Path {
    place.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// A file's name is durable once its folder is flushed.
fn sync_folder(place: &Path) -> io::Result<()> {
    File::open(folder_of(place))?.sync_all()
}

fn refused(path: &Path, error: io::Error) -> AsideError {
    AsideError::File { path: path.to_owned(), error }
}

/// A file that was there at the start, with what of it is whole.
fn found(path: &Path) -> Result<Segment, AsideError> {
    let whole = || -> io::Result<Segment> {
        let file = File::open(path)?;
        let size = file.metadata()?.len();
        let good = form::whole(&file, size)?;
        Ok(Segment { path: path.to_owned(), good, torn: size - good })
    };
    whole().map_err(|e| refused(path, e))
}

#[cfg(test)]
mod tests;
