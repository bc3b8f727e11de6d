//! Keeping what must outlive a power cut: two alternating records, each with its checksum.
//!
//! The caller has two places that are written independently (two flash pages, two halves of a file). [`Keeper::save`] makes a record
//! and names the place that holds the *older* one; [`restore`] takes the newer record that is whole. A write that
//! is cut at any byte spoils only the record that was being written, so what was kept before it comes back.
//!
//! A record, little-endian. Masses and times are IEEE 754 as they stand in memory, so that what comes back is the same to the bit; what only serves
//! uncertainty, places and stand-ins is rounded, see [`rounded`], which the ledger does when it takes it in:
//!
//! | bytes | what |
//! |-------|------|
//! | 0–1   | `B7 1E`, a mark |
//! | 2     | version, 3 |
//! | 3     | 0 |
//! | 4–7   | number of the record, one up with each save, wrapping |
//! | 8–9   | length of the body |
//! | 10–   | body: numbers of cells and sections; tare; others, variance of items, lean; held (flag, two f64); items (count; number u16, kg f64, u f32); open questions (count; time and kg f64, u and place f32, NaN for none); last plateau; flag, and what cells bore when all were good: a flag, then a byte a cell where it is near the last plateau, else the loads; a bit a cell that drifts |
//! | then  | what the caller keeps beside, as it gave it |
//! | last 4 | CRC-32 (ISO-HDLC) of everything before |
//!
//! A plateau: flag; time and level as f64; slope, scatter, its slope's, stand-ins and temperature (NaN for none) as f32; angles, and cells after the exponent
//! of their step, as i16 ([`pack`]): error of a cell at most 1/32 768 of the largest one's load, of an angle 0.002 °.
//!
//! With 24 cells, a tare, three items, both plateaus and no open question a record has 310 bytes; a cell more takes five and a bit; the most (48 cells, all full: 871) fits
//! [`MOST_BYTES`]. Assumes that a place that is not being written keeps its bytes. A record of a deck with other numbers of cells or
//! sections is refused.

mod body;
mod packed;
mod pen;

use crc::{CRC_32_ISO_HDLC, Crc};

use crate::ledger::Ledger;
use crate::path::Memory;
use body::Shape;
pub(crate) use packed::single;
pub use packed::{pack, rounded, rounded_loads, unpack};
use pen::{Eye, Pen};

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
/// The first bytes of a record.
pub const MARK: [u8; 2] = [0xB7, 0x1E];
const VERSION: u8 = 3;
const HEAD: usize = 10;
const TAIL: usize = 4;

/// Bytes that hold a record of any deck of up to 48 cells and 8 sections, without what a caller keeps beside.
pub const MOST_BYTES: usize = 1024;

/// One of the two places.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slot {
    /// The first.
    A,
    /// The second.
    B,
}

/// Why a record is not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum KeepError {
    /// The buffer is too small for the record.
    NoRoom {
        /// Bytes that there are.
        room: usize,
    },
    /// No record: nothing was written, or the write was cut.
    Broken,
    /// A record of a version that is not known here.
    Version {
        /// The version.
        found: u8,
    },
    /// A whole record that does not fit this deck.
    OtherDeck,
}

impl core::fmt::Display for KeepError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match *self {
            Self::NoRoom { room } => write!(f, "the record does not fit into {room} bytes"),
            Self::Broken => write!(f, "no whole record"),
            Self::Version { found } => write!(f, "record version {found}, expected {VERSION}"),
            Self::OtherDeck => write!(f, "the record is of a deck with other cells or sections"),
        }
    }
}

impl core::error::Error for KeepError {}

/// What a record holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kept<'a, const C: usize, const S: usize> {
    /// Who bears what of the load.
    pub ledger: Ledger<C, S>,
    /// What the path remembers.
    pub memory: Memory<C, S>,
    /// What the caller keeps beside, of which nothing is known here.
    pub beside: &'a [u8],
}

/// Knows which place comes next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Keeper {
    next: Slot,
    number: u32,
}

impl Keeper {
    /// For two places that were never written.
    #[must_use]
    pub const fn new() -> Self {
        Self { next: Slot::A, number: 0 }
    }

    /// Makes a record in `buffer`; gives the place to write it to and its length.
    ///
    /// # Errors
    /// [`KeepError::NoRoom`] when the buffer is too small (or the body longer than 65 535 bytes); nothing may be written then.
    pub fn save<const C: usize, const S: usize>(
        &mut self,
        kept: &Kept<'_, C, S>,
        n_cells: usize,
        n_sections: usize,
        buffer: &mut [u8],
    ) -> Result<(Slot, usize), KeepError> {
        let room = buffer.len();
        let number = self.number.wrapping_add(1);
        let shape = Shape { n_cells, n_sections };
        let length = write_record(kept, shape, number, buffer).ok_or(KeepError::NoRoom { room })?;
        let slot = self.next;
        self.number = number;
        self.next = match slot {
            Slot::A => Slot::B,
            Slot::B => Slot::A,
        };
        Ok((slot, length))
    }
}

impl Default for Keeper {
    fn default() -> Self {
        Self::new()
    }
}

/// Takes the newer whole record of the two places, and the keeper that goes on from it.
///
/// # Errors
/// What is wrong with the first place when neither holds a whole record; what is whole but not of this deck comes first.
pub fn restore<'a, const C: usize, const S: usize>(
    a: &'a [u8],
    b: &'a [u8],
    n_cells: usize,
    n_sections: usize,
) -> Result<(Kept<'a, C, S>, Keeper), KeepError> {
    let shape = Shape { n_cells, n_sections };
    match (read_record(a, shape), read_record(b, shape)) {
        (Ok((number, kept)), Ok((other, _))) if is_newer(number, other) => Ok((kept, Keeper { next: Slot::B, number })),
        (_, Ok((number, kept))) => Ok((kept, Keeper { next: Slot::A, number })),
        (Ok((number, kept)), Err(_)) => Ok((kept, Keeper { next: Slot::B, number })),
        (Err(KeepError::Broken), Err(error)) | (Err(error), Err(_)) => Err(error),
    }
}

/// Numbers wrap: the newer of two is less than half the circle ahead.
const fn is_newer(number: u32, than: u32) -> bool {
    number.wrapping_sub(than) < u32::MAX / 2
}

fn write_record<const C: usize, const S: usize>(
    kept: &Kept<'_, C, S>,
    shape: Shape,
    number: u32,
    buffer: &mut [u8],
) -> Option<usize> {
    let mut out = Pen { buffer, at: HEAD };
    body::write(&mut out, shape, &kept.ledger, &kept.memory)?;
    out.put(kept.beside)?;
    let end = out.at;
    let body = u16::try_from(end - HEAD).ok()?;
    let head = buffer.get_mut(..HEAD)?;
    let [n0, n1, n2, n3] = number.to_le_bytes();
    let [l0, l1] = body.to_le_bytes();
    head.copy_from_slice(&[MARK[0], MARK[1], VERSION, 0, n0, n1, n2, n3, l0, l1]);
    let sum = CRC.checksum(buffer.get(..end)?);
    buffer.get_mut(end..end + TAIL)?.copy_from_slice(&sum.to_le_bytes());
    Some(end + TAIL)
}

fn read_record<const C: usize, const S: usize>(bytes: &[u8], shape: Shape) -> Result<(u32, Kept<'_, C, S>), KeepError> {
    let mut head = Eye { bytes, at: 0 };
    let (Some(mark), Some([version, _]), Some(number), Some(body)) =
        (head.take::<2>(), head.take::<2>(), head.take::<4>(), head.take::<2>())
    else {
        return Err(KeepError::Broken);
    };
    let end = HEAD + usize::from(u16::from_le_bytes(body));
    let (Some(whole), Some(sum)) = (bytes.get(..end), bytes.get(end..end + TAIL)) else {
        return Err(KeepError::Broken);
    };
    if mark != MARK || CRC.checksum(whole).to_le_bytes() != *sum {
        return Err(KeepError::Broken);
    }
    if version != VERSION {
        return Err(KeepError::Version { found: version });
    }
    let mut eye = Eye { bytes: whole, at: HEAD };
    let (ledger, memory) = body::read(&mut eye, shape).ok_or(KeepError::OtherDeck)?;
    let beside = whole.get(eye.at..).unwrap_or(&[]);
    Ok((u32::from_le_bytes(number), Kept { ledger, memory, beside }))
}
