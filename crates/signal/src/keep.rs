//! Keeping the ledger through a power cut: two alternating records, each with its checksum.
//!
//! The caller has two places that are written independently (two flash pages, two files). [`Keeper::save`] makes a record and
//! names the place that holds the *older* one; [`restore`] takes the newer record that is whole. A write that
//! is cut at any byte spoils only the record that was being written, so the ledger before it comes back.
//!
//! A record, little-endian, all numbers IEEE 754 as they stand in memory, so that what comes back is the same to the bit:
//!
//! | bytes | what |
//! |-------|------|
//! | 0–1   | `B7 1E`, a mark |
//! | 2     | version, 1 |
//! | 3     | 0 |
//! | 4–7   | number of the record, one up with each save, wrapping |
//! | 8–9   | length of the body |
//! | 10–   | body: tare (flag; level, scatter and time as f64; cells, angles, uncertainty of stand-ins, temperature as f32, NaN for none), others, variance of items, lean, held (flag, two f64), items (count; number u16, two f64), open questions (count; three f64, place as two f32, NaN for none) |
//! | last 4 | CRC-32 (ISO-HDLC) of everything before |
//!
//! With 24 cells, a tare, three items and no open question a record has 266 bytes; the most (48 cells, all full) is [`MOST_BYTES`].
//! Assumes that a place that is not being written keeps its bytes. A record of a deck with other numbers of cells or sections is refused.

use crc::{CRC_32_ISO_HDLC, Crc};

use crate::doubt::Plateau;
use crate::ledger::{ITEMS, Item, Ledger, Mass, OPEN, Open};
use crate::plateau::Level;

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
const MARK: [u8; 2] = [0xB7, 0x1E];
const VERSION: u8 = 1;
const HEAD: usize = 10;
const TAIL: usize = 4;

/// Bytes that hold a record of any deck of up to 48 cells and 8 sections.
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
    /// [`KeepError::NoRoom`] when the buffer is too small; nothing may be written then.
    pub fn save<const C: usize, const S: usize>(
        &mut self,
        ledger: &Ledger<C, S>,
        n_cells: usize,
        n_sections: usize,
        buffer: &mut [u8],
    ) -> Result<(Slot, usize), KeepError> {
        let room = buffer.len();
        let number = self.number.wrapping_add(1);
        let length = write_record(ledger, n_cells, n_sections, number, buffer).ok_or(KeepError::NoRoom { room })?;
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
/// What is wrong with the first place when neither holds a whole record.
pub fn restore<const C: usize, const S: usize>(
    a: &[u8],
    b: &[u8],
    n_cells: usize,
    n_sections: usize,
) -> Result<(Ledger<C, S>, Keeper), KeepError> {
    let (a, b) = (read_record(a, n_cells, n_sections), read_record(b, n_cells, n_sections));
    match (a, b) {
        (Ok((number, ledger)), Ok((other, _))) if is_newer(number, other) => {
            Ok((ledger, Keeper { next: Slot::B, number }))
        }
        (_, Ok((number, ledger))) => Ok((ledger, Keeper { next: Slot::A, number })),
        (Ok((number, ledger)), Err(_)) => Ok((ledger, Keeper { next: Slot::B, number })),
        (Err(error), Err(_)) => Err(error),
    }
}

/// Numbers wrap: the newer of two is less than half the circle ahead.
const fn is_newer(number: u32, than: u32) -> bool {
    number.wrapping_sub(than) < u32::MAX / 2
}

fn write_record<const C: usize, const S: usize>(
    ledger: &Ledger<C, S>,
    n_cells: usize,
    n_sections: usize,
    number: u32,
    buffer: &mut [u8],
) -> Option<usize> {
    let mut out = Pen { buffer, at: HEAD };
    out.flag(ledger.tare.is_some())?;
    if let Some(tare) = &ledger.tare {
        write_tare(&mut out, tare, n_cells, n_sections)?;
    }
    for number in [ledger.others_kg, ledger.items_u2, ledger.lean.kg, ledger.lean.u_kg] {
        out.double(number)?;
    }
    out.flag(ledger.held.is_some())?;
    if let Some(held) = ledger.held {
        out.mass(held)?;
    }
    out.count(ledger.n_items)?;
    for item in ledger.items() {
        out.put(&item.id.to_le_bytes())?;
        out.mass(item.mass)?;
    }
    out.count(ledger.n_open)?;
    for open in ledger.open() {
        out.double(open.t_s)?;
        out.mass(open.mass)?;
        for coordinate in open.place_mm.unwrap_or([f64::NAN; 2]) {
            out.single(coordinate)?;
        }
    }
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

fn write_tare<const C: usize, const S: usize>(
    out: &mut Pen<'_>,
    tare: &Plateau<C, S>,
    n_cells: usize,
    n_sections: usize,
) -> Option<()> {
    out.count(n_cells)?;
    out.count(n_sections)?;
    for number in [tare.level.t_s, tare.level.kg, tare.level.slope_kg_s, tare.level.u_kg, tare.level.u_slope_kg_s] {
        out.double(number)?;
    }
    let cells = tare.cells_kg.iter().take(n_cells);
    for number in cells.chain(tare.tilt_deg.iter().take(n_sections)) {
        out.single(*number)?;
    }
    out.single(tare.stand_in_u_kg)?;
    out.single(tare.temperature_c.unwrap_or(f64::NAN))
}

fn read_record<const C: usize, const S: usize>(
    bytes: &[u8],
    n_cells: usize,
    n_sections: usize,
) -> Result<(u32, Ledger<C, S>), KeepError> {
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
    let ledger = read_body(&mut eye, n_cells, n_sections).ok_or(KeepError::OtherDeck)?;
    if eye.at == end { Ok((u32::from_le_bytes(number), ledger)) } else { Err(KeepError::OtherDeck) }
}

fn read_body<const C: usize, const S: usize>(
    eye: &mut Eye<'_>,
    n_cells: usize,
    n_sections: usize,
) -> Option<Ledger<C, S>> {
    let mut ledger = Ledger::new();
    if eye.flag()? {
        ledger.tare = Some(read_tare(eye, n_cells, n_sections)?);
    }
    ledger.others_kg = eye.double()?;
    ledger.items_u2 = eye.double()?;
    ledger.lean = eye.mass()?;
    ledger.held = if eye.flag()? { Some(eye.mass()?) } else { None };
    ledger.n_items = eye.count()?;
    if ledger.n_items > ITEMS {
        return None;
    }
    for item in ledger.items.iter_mut().take(ledger.n_items) {
        *item = Item { id: u16::from_le_bytes(eye.take()?), mass: eye.mass()? };
    }
    ledger.n_open = eye.count()?;
    if ledger.n_open > OPEN {
        return None;
    }
    for open in ledger.open.iter_mut().take(ledger.n_open) {
        let (t_s, mass, x_mm, y_mm) = (eye.double()?, eye.mass()?, eye.single()?, eye.single()?);
        *open = Open { t_s, mass, place_mm: (!x_mm.is_nan()).then_some([x_mm, y_mm]) };
    }
    Some(ledger)
}

fn read_tare<const C: usize, const S: usize>(
    eye: &mut Eye<'_>,
    n_cells: usize,
    n_sections: usize,
) -> Option<Plateau<C, S>> {
    if eye.count()? != n_cells || eye.count()? != n_sections || n_cells > C || n_sections > S {
        return None;
    }
    let level = Level {
        t_s: eye.double()?,
        kg: eye.double()?,
        slope_kg_s: eye.double()?,
        u_kg: eye.double()?,
        u_slope_kg_s: eye.double()?,
    };
    let mut tare = Plateau { level, cells_kg: [0.0; C], tilt_deg: [0.0; S], temperature_c: None, stand_in_u_kg: 0.0 };
    let cells = tare.cells_kg.iter_mut().take(n_cells);
    for number in cells.chain(tare.tilt_deg.iter_mut().take(n_sections)) {
        *number = eye.single()?;
    }
    tare.stand_in_u_kg = eye.single()?;
    let temperature_c = eye.single()?;
    tare.temperature_c = (!temperature_c.is_nan()).then_some(temperature_c);
    Some(tare)
}

/// Writes into a buffer as far as it goes.
struct Pen<'a> {
    buffer: &'a mut [u8],
    at: usize,
}

impl Pen<'_> {
    fn put(&mut self, bytes: &[u8]) -> Option<()> {
        let end = self.at.checked_add(bytes.len())?;
        self.buffer.get_mut(self.at..end)?.copy_from_slice(bytes);
        self.at = end;
        Some(())
    }

    fn flag(&mut self, flag: bool) -> Option<()> {
        self.put(&[u8::from(flag)])
    }

    fn count(&mut self, count: usize) -> Option<()> {
        self.put(&[u8::try_from(count).ok()?])
    }

    fn double(&mut self, number: f64) -> Option<()> {
        self.put(&number.to_le_bytes())
    }

    #[expect(clippy::cast_possible_truncation, reason = "what is saved so was rounded before, or serves a picture")]
    fn single(&mut self, number: f64) -> Option<()> {
        self.put(&(number as f32).to_le_bytes())
    }

    fn mass(&mut self, mass: Mass) -> Option<()> {
        self.double(mass.kg)?;
        self.double(mass.u_kg)
    }
}

/// Reads from bytes as far as they go.
struct Eye<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Eye<'_> {
    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let end = self.at.checked_add(N)?;
        let taken = self.bytes.get(self.at..end)?.try_into().ok()?;
        self.at = end;
        Some(taken)
    }

    fn flag(&mut self) -> Option<bool> {
        match self.take()? {
            [0] => Some(false),
            [1] => Some(true),
            _ => None,
        }
    }

    fn count(&mut self) -> Option<usize> {
        let [count] = self.take()?;
        Some(usize::from(count))
    }

    fn double(&mut self) -> Option<f64> {
        Some(f64::from_le_bytes(self.take()?))
    }

    fn single(&mut self) -> Option<f64> {
        Some(f64::from(f32::from_le_bytes(self.take()?)))
    }

    fn mass(&mut self) -> Option<Mass> {
        Some(Mass { kg: self.double()?, u_kg: self.double()? })
    }
}
