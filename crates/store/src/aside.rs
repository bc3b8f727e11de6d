//! What cannot be kept just now is set aside in files of this machine, until the database is back.
//!
//! Files `PLACE.000001`, `PLACE.000002`, … hold jobs in the order in which they came:
//!
//! | bytes | what |
//! |-------|------|
//! | 8     | `bpaside` and the version of this form |
//! | 4     | length of what follows the sum, little-endian; this line and the next two again for every job |
//! | 8     | the first bytes of SHA-256 (FIPS 180-4) over the length and the packed job |
//! | …     | the job, packed with `postcard`; counts as they lie in the table |
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

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use crate::entry::NewEntry;
use crate::readings::{self, Counts, Reading};
use crate::states::State;
use crate::writer::Job;

/// The first bytes of a file; the last of them is the version of the form.
const HEAD: &[u8; 8] = b"bpaside\x01";
const LENGTH_BYTES: usize = 4;
const SUM_BYTES: usize = 8;
/// A packed job is at most so long; a bed brings some kilobytes.
const JOB_BYTES_MOST: u32 = 16 << 20;
/// A file that is longer is not added to: it can go as soon as what it holds is kept.
const FILE_BYTES: u64 = 8 << 20;

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

/// A job as it is packed.
#[derive(Deserialize)]
struct Packed {
    entries: Vec<NewEntry>,
    readings: Vec<Reading>,
    counts: Vec<(String, i64, Vec<u8>)>,
    states: Vec<State>,
    replaces: Vec<(usize, String)>,
}

/// The same, lent from a job.
#[derive(Serialize)]
struct Lent<'a> {
    entries: &'a [NewEntry],
    readings: &'a [Reading],
    counts: Vec<(&'a str, i64, Vec<u8>)>,
    states: &'a [State],
    replaces: &'a [(usize, String)],
}

impl Aside {
    /// What lies aside at `place`, where at most `most_bytes` may. Makes nothing.
    ///
    /// # Errors
    /// The folder or a file of it cannot be read.
    pub fn open(place: &Path, most_bytes: u64) -> Result<Self, AsideError> {
        let mut numbers = Vec::new();
        let folder = folder_of(place);
        let name = place.file_name().unwrap_or_default().to_string_lossy().into_owned() + ".";
        match std::fs::read_dir(folder) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => return Err(refused(folder, error)),
            Ok(found) => {
                for file in found {
                    let file = file.map_err(|e| refused(folder, e))?.file_name();
                    let number = file.to_str().and_then(|f| f.strip_prefix(&name)).and_then(|n| n.parse::<u64>().ok());
                    numbers.extend(number);
                }
            }
        }
        numbers.sort_unstable();
        let next_number = numbers.last().map_or(1, |last| last + 1);
        let segments = numbers.into_iter().map(|n| found(&numbered(place, n))).collect::<Result<_, _>>()?;
        let mut aside =
            Self { place: place.to_owned(), most_bytes, segments, read: HEAD.len() as u64, open: None, next_number };
        aside.drop_read()?;
        Ok(aside)
    }

    /// Nothing waits.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.segments.is_empty()
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
            pack(job, &mut bytes)?;
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

    /// The oldest jobs, until they make so many rows, without forgetting them; at least one where one waits.
    ///
    /// # Errors
    /// The file cannot be read, or holds something else now.
    pub fn oldest(&self, rows_most: usize) -> Result<Vec<Job>, AsideError> {
        let mut jobs = Vec::new();
        let Some(first) = self.segments.front() else { return Ok(jobs) };
        let file = File::open(&first.path).map_err(|e| refused(&first.path, e))?;
        let (mut at, mut rows) = (self.read, 0);
        while at < first.good && rows < rows_most {
            let packed = record(&file, at, first.good).map_err(|e| refused(&first.path, e))?;
            let Some(packed) = packed else {
                return Err(AsideError::Form { what: format!("{} changed at byte {at}", first.path.display()) });
            };
            at += (LENGTH_BYTES + SUM_BYTES + packed.len()) as u64;
            let job = unpack(&packed)?;
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
            self.read += (LENGTH_BYTES + SUM_BYTES) as u64 + u64::from(u32::from_le_bytes(length));
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
                std::fs::rename(&first.path, first.path.with_extension(format!("{}.torn", extension(&first.path))))
            } else {
                std::fs::remove_file(&first.path)
            };
            gone.and_then(|()| sync_folder(&self.place)).map_err(|e| refused(&first.path, e))?;
            self.segments.pop_front();
            self.read = HEAD.len() as u64;
            if self.segments.is_empty() {
                self.open = None;
            }
        }
        Ok(())
    }
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
    let whole = || -> io::Result<(u64, u64)> {
        let file = File::open(path)?;
        let size = file.metadata()?.len();
        let mut head = [0; HEAD.len()];
        if size < HEAD.len() as u64 {
            return Ok((0, size));
        }
        file.read_exact_at(&mut head, 0)?;
        if head != *HEAD {
            return Ok((0, size));
        }
        let mut good = HEAD.len() as u64;
        while let Some(packed) = record(&file, good, size)? {
            good += (LENGTH_BYTES + SUM_BYTES + packed.len()) as u64;
        }
        Ok((good, size - good))
    };
    let (good, torn) = whole().map_err(|e| refused(path, e))?;
    Ok(Segment { path: path.to_owned(), good, torn })
}

/// The packed job at a place of a file that is good up to `end`; `None` where none is whole.
fn record(file: &File, at: u64, end: u64) -> io::Result<Option<Vec<u8>>> {
    let mut head = [0; LENGTH_BYTES + SUM_BYTES];
    if at + head.len() as u64 > end {
        return Ok(None);
    }
    file.read_exact_at(&mut head, at)?;
    let (length, sum) = head.split_at(LENGTH_BYTES);
    let length = u32::from_le_bytes([length[0], length[1], length[2], length[3]]);
    let body = at + head.len() as u64;
    if length > JOB_BYTES_MOST || body + u64::from(length) > end {
        return Ok(None);
    }
    let mut packed = vec![0; length as usize];
    file.read_exact_at(&mut packed, body)?;
    Ok((sum_of(length, &packed) == sum).then_some(packed))
}

fn sum_of(length: u32, packed: &[u8]) -> [u8; SUM_BYTES] {
    let whole = Sha256::new().chain_update(length.to_le_bytes()).chain_update(packed).finalize();
    let mut sum = [0; SUM_BYTES];
    sum.copy_from_slice(&whole[..SUM_BYTES]);
    sum
}

fn pack(job: &Job, out: &mut Vec<u8>) -> Result<(), AsideError> {
    let form = |what: String| AsideError::Form { what };
    let mut counts = Vec::with_capacity(job.counts.len());
    for block in &job.counts {
        if let Some(first_us) = block.at_us.first() {
            counts.push((block.bed.as_str(), *first_us, readings::pack(block).map_err(|e| form(e.to_string()))?));
        }
    }
    let lent =
        Lent { entries: &job.entries, readings: &job.readings, counts, states: &job.states, replaces: &job.replaces };
    let packed = postcard::to_allocvec(&lent).map_err(|e| form(e.to_string()))?;
    let length = u32::try_from(packed.len()).ok().filter(|l| *l <= JOB_BYTES_MOST);
    let length = length.ok_or_else(|| form(format!("{} bytes, at most {JOB_BYTES_MOST} expected", packed.len())))?;
    out.extend_from_slice(&length.to_le_bytes());
    out.extend_from_slice(&sum_of(length, &packed));
    out.extend_from_slice(&packed);
    Ok(())
}

fn unpack(packed: &[u8]) -> Result<Job, AsideError> {
    let form = |what: String| AsideError::Form { what };
    let Packed { entries, readings, counts, states, replaces } =
        postcard::from_bytes(packed).map_err(|e| form(e.to_string()))?;
    let counts: Vec<Counts> = counts
        .iter()
        .map(|(bed, first_us, block)| readings::unpack(bed, *first_us, block))
        .collect::<Result<_, _>>()
        .map_err(|e| form(e.to_string()))?;
    Ok(Job { entries, readings, counts, states, replaces })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::Kind;
    use proptest::prelude::*;

    const MOST: u64 = 64 << 20;

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: proptest::test_runner::RngSeed::Fixed(29), ..ProptestConfig::default() })]

        /// Rubbish in a file, and rubbish with a right sum: nothing is taken for a job that is none, nothing stops the start, and
        /// what cannot be read can be passed over.
        #[test]
        fn any_bytes_are_jobs_or_are_passed_over(rubbish in proptest::collection::vec(any::<u8>(), 0..300), has_sum in any::<bool>()) {
            let folder = tempfile::tempdir().unwrap();
            let mut text = HEAD.to_vec();
            if has_sum {
                let length = u32::try_from(rubbish.len()).unwrap();
                text.extend(length.to_le_bytes());
                text.extend(sum_of(length, &rubbish));
            }
            text.extend(&rubbish);
            std::fs::write(folder.path().join("ward.aside.000001"), text).unwrap();
            let mut aside = aside(&folder);
            while !aside.is_empty() {
                match aside.oldest(10) {
                    Ok(jobs) => aside.forget(jobs.len()).unwrap(),
                    Err(_) => drop(aside.pass_over().unwrap()),
                }
            }
            aside.add([&job(1)]).unwrap();
            prop_assert_eq!(drained(aside), [job(1)]);
        }
    }

    fn job(number: i64) -> Job {
        let entry = NewEntry {
            chain: "A1".into(),
            at_us: number,
            kind: Kind::Event,
            subject: String::new(),
            author: "deck".into(),
            corrects: None,
            once: Some(format!("deck {number}")),
            body: "{}".into(),
        };
        Job {
            entries: vec![entry],
            readings: vec![Reading {
                bed: "A1".into(),
                at_us: number,
                kg: Some(70.25),
                u_kg: None,
                state: "settled".into(),
            }],
            counts: vec![Counts {
                bed: "A1".into(),
                at_us: vec![number, number + 3],
                counts: vec![5, i32::MIN, i32::MAX, -7],
            }],
            states: vec![State { bed: "A1".into(), slot: 1, start_us: 4, record: vec![0, 255, 3] }],
            replaces: vec![(0, format!("deck {}", number - 1))],
        }
    }

    fn aside(folder: &tempfile::TempDir) -> Aside {
        Aside::open(&folder.path().join("ward.aside"), MOST).unwrap()
    }

    /// All that waits, taken in small pieces; at the end nothing is left of the files.
    fn drained(mut aside: Aside) -> Vec<Job> {
        let mut all = Vec::new();
        while !aside.is_empty() {
            let jobs = aside.oldest(10).unwrap();
            aside.forget(jobs.len()).unwrap();
            all.extend(jobs);
        }
        all
    }

    fn files(folder: &tempfile::TempDir) -> Vec<String> {
        let mut names: Vec<String> =
            folder.path().read_dir().unwrap().map(|f| f.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn jobs_come_back_in_their_order_through_a_restart_and_leave_nothing_behind() {
        let folder = tempfile::tempdir().unwrap();
        let jobs: Vec<Job> = (0..20).map(job).collect();
        let mut first = aside(&folder);
        first.add(&jobs[..7]).unwrap();
        first.add(&jobs[7..12]).unwrap();
        drop(first);
        let mut second = aside(&folder);
        assert_eq!(second.torn_bytes(), 0);
        second.add(&jobs[12..]).unwrap();
        assert_eq!(files(&folder), ["ward.aside.000001", "ward.aside.000002"]);
        assert_eq!(drained(second), jobs);
        assert!(files(&folder).is_empty());
    }

    #[test]
    fn what_was_forgotten_does_not_come_again_but_may_after_a_kill() {
        let folder = tempfile::tempdir().unwrap();
        let jobs: Vec<Job> = (0..5).map(job).collect();
        let mut first = aside(&folder);
        first.add(&jobs).unwrap();
        first.forget(2).unwrap();
        assert_eq!(first.oldest(usize::MAX).unwrap(), jobs[2..]);
        drop(first);
        assert_eq!(drained(aside(&folder)), jobs);
    }

    #[test]
    fn a_file_torn_at_any_byte_gives_the_whole_jobs_before_it() {
        let folder = tempfile::tempdir().unwrap();
        let jobs: Vec<Job> = (0..3).map(job).collect();
        let mut ends = vec![HEAD.len()];
        let mut first = aside(&folder);
        for one in &jobs {
            first.add([one]).unwrap();
            ends.push(usize::try_from(first.bytes()).unwrap());
        }
        drop(first);
        let path = folder.path().join("ward.aside.000001");
        let whole = std::fs::read(&path).unwrap();
        // Around every end of a job, and throughout; each cut costs some flushes of a real disk.
        let near_an_end = |cut: &usize| ends.iter().any(|end| cut.abs_diff(*end) <= LENGTH_BYTES + SUM_BYTES);
        for cut in (0..=whole.len()).filter(|cut| cut % 7 == 0 || near_an_end(cut)) {
            // Behind the cut nothing, or what the disk held before.
            for rubbish in [0, 40] {
                let torn = tempfile::tempdir().unwrap();
                let text = [&whole[..cut], &vec![0xa5; rubbish]].concat();
                std::fs::write(torn.path().join("ward.aside.000001"), text).unwrap();
                let expected = ends.iter().filter(|end| **end <= cut).count().saturating_sub(1);
                assert_eq!(drained(aside(&torn)), jobs[..expected], "cut at {cut}");
            }
        }
    }

    #[test]
    fn a_changed_byte_is_never_taken_for_a_job() {
        let folder = tempfile::tempdir().unwrap();
        let mut first = aside(&folder);
        first.add(&[job(0), job(1)]).unwrap();
        drop(first);
        let path = folder.path().join("ward.aside.000001");
        let whole = std::fs::read(&path).unwrap();
        for at in (0..whole.len()).step_by(3) {
            let mut changed = whole.clone();
            changed[at] ^= 1 << (at % 8);
            let other = tempfile::tempdir().unwrap();
            std::fs::write(other.path().join("ward.aside.000001"), changed).unwrap();
            let found = drained(aside(&other));
            assert!(found.len() < 2 && found.iter().all(|j| *j == job(0)), "byte {at}");
            // And the file stays for whoever looks into it.
            assert_eq!(files(&other), ["ward.aside.000001.torn"]);
        }
    }

    #[test]
    fn files_end_and_go_one_by_one_and_no_more_lies_aside_than_may() {
        let folder = tempfile::tempdir().unwrap();
        let mut large = job(1);
        large.states[0].record = vec![9; 3 << 20];
        let mut aside = Aside::open(&folder.path().join("ward.aside"), 20 << 20).unwrap();
        let mut added = 0;
        let refused = loop {
            match aside.add([&large]) {
                Ok(()) => added += 1,
                Err(error) => break error,
            }
        };
        assert!(matches!(refused, AsideError::Full { most: 20_971_520, .. }), "{refused}");
        assert_eq!((added, files(&folder).len()), (7, 3));
        aside.forget(3).unwrap();
        assert_eq!(files(&folder).len(), 2);
        aside.add([&job(2)]).unwrap();
        assert_eq!(drained(aside).last(), Some(&job(2)));
    }

    #[test]
    fn what_cannot_be_set_aside_is_refused_by_name_and_harms_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let mut nowhere = Aside::open(&folder.path().join("missing/ward.aside"), MOST).unwrap();
        let refused = nowhere.add([&job(1)]).unwrap_err().to_string();
        assert!(refused.contains("missing"), "{refused}");
        assert!(nowhere.is_empty() && nowhere.oldest(9).unwrap().is_empty());
        std::fs::create_dir(folder.path().join("missing")).unwrap();
        nowhere.add([&job(1)]).unwrap();
        assert_eq!(drained(nowhere), [job(1)]);
    }
}
