//! A pen that writes into a buffer as far as it goes, and an eye that reads it: little-endian, IEEE 754 as it stands in memory.

use crate::ledger::Mass;

/// Writes into a buffer as far as it goes.
pub(super) struct Pen<'a> {
    pub(super) buffer: &'a mut [u8],
    pub(super) at: usize,
}

impl Pen<'_> {
    pub(super) fn put(&mut self, bytes: &[u8]) -> Option<()> {
        let end = self.at.checked_add(bytes.len())?;
        self.buffer.get_mut(self.at..end)?.copy_from_slice(bytes);
        self.at = end;
        Some(())
    }

    pub(super) fn flag(&mut self, flag: bool) -> Option<()> {
        self.put(&[u8::from(flag)])
    }

    pub(super) fn count(&mut self, count: usize) -> Option<()> {
        self.put(&[u8::try_from(count).ok()?])
    }

    pub(super) fn double(&mut self, number: f64) -> Option<()> {
        self.put(&number.to_le_bytes())
    }

    #[expect(clippy::cast_possible_truncation, reason = "what is saved so was rounded before, or serves a picture")]
    pub(super) fn single(&mut self, number: f64) -> Option<()> {
        self.put(&(number as f32).to_le_bytes())
    }

    pub(super) fn mass(&mut self, mass: Mass) -> Option<()> {
        self.double(mass.kg)?;
        self.double(mass.u_kg)
    }
}

/// Reads from bytes as far as they go.
pub(super) struct Eye<'a> {
    pub(super) bytes: &'a [u8],
    pub(super) at: usize,
}

impl Eye<'_> {
    pub(super) fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let end = self.at.checked_add(N)?;
        let taken = self.bytes.get(self.at..end)?.try_into().ok()?;
        self.at = end;
        Some(taken)
    }

    pub(super) fn flag(&mut self) -> Option<bool> {
        match self.take()? {
            [0] => Some(false),
            [1] => Some(true),
            _ => None,
        }
    }

    pub(super) fn count(&mut self) -> Option<usize> {
        let [count] = self.take()?;
        Some(usize::from(count))
    }

    pub(super) fn double(&mut self) -> Option<f64> {
        Some(f64::from_le_bytes(self.take()?))
    }

    pub(super) fn single(&mut self) -> Option<f64> {
        Some(f64::from(f32::from_le_bytes(self.take()?)))
    }

    pub(super) fn mass(&mut self) -> Option<Mass> {
        Some(Mass { kg: self.double()?, u_kg: self.double()? })
    }
}
