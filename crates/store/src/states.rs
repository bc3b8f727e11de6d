//! What a bed's weighing must remember through a power cut: its tare, its hold, its open questions. Two places a bed, as on
//! a controller, and one for what the ward itself must know; each save overwrites the older one, in the same commit as what it belongs to.

use serde::{Deserialize, Serialize};

use crate::StoreError;
use crate::sql::{Transaction, Value};

/// A record in one of the places of a bed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct State {
    /// The bed.
    pub bed: String,
    /// Which of the places: the weigher's two, 0 and 1, or the ward's, 2.
    pub slot: i64,
    /// When the bed's time was 0, µs of UTC.
    pub start_us: i64,
    /// The record.
    pub record: Vec<u8>,
}

/// Puts a record into its place.
///
/// # Errors
/// A database that refuses.
pub fn keep(transaction: &mut dyn Transaction, state: &State) -> Result<(), StoreError> {
    let values = [
        Value::Text(state.bed.clone()),
        Value::Int(state.slot),
        Value::Int(state.start_us),
        Value::Bytes(state.record.clone()),
    ];
    let statement = "insert into state (bed, slot, start_us, record) values ($1, $2, $3, $4) \
                     on conflict (bed, slot) do update set start_us = excluded.start_us, record = excluded.record";
    transaction.run(statement, &values).map(drop)
}

/// The records of a bed.
///
/// # Errors
/// A database that refuses.
pub fn find(transaction: &mut dyn Transaction, bed: &str) -> Result<Vec<State>, StoreError> {
    let question = "select slot, start_us, record from state where bed = $1 order by slot";
    let rows = transaction.rows(question, &[Value::Text(bed.to_owned())])?;
    rows.iter()
        .map(|row| Ok(State { bed: bed.to_owned(), slot: row.int(0)?, start_us: row.int(1)?, record: row.bytes(2)? }))
        .collect()
}
