//! Beds and patients on the move: each in one move at a time, until the memory has answered for it.

use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, PoisonError};

use crate::records::RecordError;

/// Beds and patients for which a move is on its way.
#[derive(Debug, Default)]
pub(super) struct Moving(Arc<Mutex<BTreeSet<String>>>);

/// A move; it ends when this is dropped.
#[derive(Debug)]
pub(super) struct Move {
    names: Vec<String>,
    of: Arc<Mutex<BTreeSet<String>>>,
}

impl Moving {
    /// Begins a move of all of these.
    ///
    /// # Errors
    /// One of them is on the move already: the memory has not answered for that yet.
    pub(super) fn begin(&self, names: &[&str]) -> Result<Move, RecordError> {
        let mut moving = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(name) = names.iter().find(|name| moving.contains(**name)) {
            let why = format!("a move of {name} is being entered just now: look what came of it, then ask again");
            return Err(RecordError::Against(why));
        }
        let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
        moving.extend(names.iter().cloned());
        Ok(Move { names, of: Arc::clone(&self.0) })
    }
}

impl Drop for Move {
    fn drop(&mut self) {
        let mut moving = self.of.lock().unwrap_or_else(PoisonError::into_inner);
        for name in &self.names {
            moving.remove(name);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bed_and_a_patient_are_in_one_move_at_a_time() {
        let moving = Moving::default();
        let first = moving.begin(&["A1", "p-1"]).unwrap();
        for names in [&["A1", "p-2"], &["A2", "p-1"]] {
            assert!(moving.begin(names).unwrap_err().to_string().contains("just now"));
        }
        let second = moving.begin(&["A2", "p-2"]).unwrap();
        drop(first);
        drop(moving.begin(&["A1", "p-1"]).unwrap());
        drop(second);
    }
}
