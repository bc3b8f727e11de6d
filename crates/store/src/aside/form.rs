//! The form of a file that is set aside.
//!
//! | bytes | what |
//! |-------|------|
//! | 8     | `bpaside` and the version of this form |
//! | 4     | length of what follows the sum, little-endian; this line and the next two again for every job |
//! | 8     | the first bytes of SHA-256 (FIPS 180-4) over the length and the packed job |
//! | …     | the job, packed with `postcard`; counts as they lie in the table |

use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt as _;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::AsideError;
use crate::entry::NewEntry;
use crate::readings::{self, Counts, Reading};
use crate::states::State;
use crate::writer::Job;

/// The first bytes of a file; the last of them is the version of the form.
pub(super) const HEAD: &[u8; 8] = b"bpaside\x01";
pub(super) const LENGTH_BYTES: usize = 4;
pub(super) const SUM_BYTES: usize = 8;
/// What stands before each packed job.
pub(super) const RECORD_HEAD_BYTES: u64 = (LENGTH_BYTES + SUM_BYTES) as u64;
/// A packed job is at most so long; a bed brings some kilobytes.
const JOB_BYTES_MOST: u32 = 16 << 20;
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

/// Up to which byte a file of `size` bytes holds whole jobs, its first line among them; 0 where it is no such file.
pub(super) fn whole(file: &File, size: u64) -> io::Result<u64> {
    let mut head = [0; HEAD.len()];
    if size < HEAD.len() as u64 {
        return Ok(0);
    }
    file.read_exact_at(&mut head, 0)?;
    if head != *HEAD {
        return Ok(0);
    }
    let mut good = HEAD.len() as u64;
    while let Some(packed) = record(file, good, size)? {
        good += RECORD_HEAD_BYTES + packed.len() as u64;
    }
    Ok(good)
}

/// The packed job at a place of a file that is good up to `end`; `None` where none is whole.
pub(super) fn record(file: &File, at: u64, end: u64) -> io::Result<Option<Vec<u8>>> {
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

pub(super) fn sum_of(length: u32, packed: &[u8]) -> [u8; SUM_BYTES] {
    let whole = Sha256::new().chain_update(length.to_le_bytes()).chain_update(packed).finalize();
    let mut sum = [0; SUM_BYTES];
    sum.copy_from_slice(&whole[..SUM_BYTES]);
    sum
}

pub(super) fn pack(job: &Job, out: &mut Vec<u8>) -> Result<(), AsideError> {
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

pub(super) fn unpack(packed: &[u8]) -> Result<Job, AsideError> {
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
