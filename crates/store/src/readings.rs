//! What decks tell many times a second: weights, and the raw counts behind them.
//!
//! Both are kept as they came for a stated time and then reduced ([`reduce`]) to the least, mean and greatest of each
//! minute. The minutes of a bed and the removal of what they were made of are one transaction: an interrupted reduction
//! neither loses nor doubles a minute. A transaction takes an hour at most: a year that is due at once keeps no other writer
//! waiting, and does not fill the process.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::StoreError;
use crate::sql::{Field, Row, Transaction, Value};

/// A minute, µs.
pub const MINUTE_US: i64 = 60_000_000;
/// So much is reduced in one transaction, µs.
const REDUCED_AT_ONCE_US: i64 = 60 * MINUTE_US;
/// Stands in a block for a count that was lost: the least number of 32 bits, which no converter gives.
pub const LOST_COUNT: i32 = i32::MIN;

/// One weight of a deck.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The bed.
    pub bed: String,
    /// When, µs of UTC.
    pub at_us: i64,
    /// Weight of the patient, kg, where there is one.
    pub kg: Option<f64>,
    /// Its standard uncertainty, kg.
    pub u_kg: Option<f64>,
    /// Word of its state, as in weights.csv.
    pub state: String,
}

/// Raw counts of a deck over a second or so.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Counts {
    /// The bed.
    pub bed: String,
    /// When each row was taken, µs of UTC, rising but where the clock was set back.
    pub at_us: Vec<i64>,
    /// Row after row, one count a cell; [`LOST_COUNT`] where there was none.
    pub counts: Vec<i32>,
}

/// A block of counts as it lies in the table: differences, which are short numbers.
#[derive(Serialize, Deserialize)]
struct Block {
    steps_us: Vec<i64>,
    differences: Vec<i32>,
}

/// A minute of weights.
#[derive(Debug, Clone, PartialEq)]
pub struct Minute {
    /// Its begin, µs of UTC.
    pub minute_us: i64,
    /// Readings in it.
    pub readings: i64,
    /// Of these, settled.
    pub settled: i64,
    /// The least, mean and greatest of those that had a weight, kg.
    pub span_kg: Option<[f64; 3]>,
}

/// A minute of one cell's counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellMinute {
    /// Its begin, µs of UTC.
    pub minute_us: i64,
    /// The cell, from 0.
    pub cell: i64,
    /// Samples in it that have a count; a cell that lost all of them has no such minute.
    pub samples: i64,
    /// The least count.
    pub least: i64,
    /// The mean count.
    pub mean: f64,
    /// The greatest count.
    pub greatest: i64,
}

/// How much a reduction reduced.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Reduced {
    /// Weights that went into minutes.
    pub readings: u64,
    /// Blocks of counts that went into minutes.
    pub blocks: u64,
}

/// Keeps weights; one that was kept before, of the same bed and time, is passed over.
///
/// # Errors
/// A database that refuses.
pub fn keep<'a>(
    transaction: &mut dyn Transaction,
    readings: impl IntoIterator<Item = &'a Reading>,
) -> Result<(), StoreError> {
    let row =
        |r: &'a Reading| [Field::Text(&r.bed), Field::Int(r.at_us), r.kg.into(), r.u_kg.into(), Field::Text(&r.state)];
    let fields: Vec<Field<'_>> = readings.into_iter().flat_map(row).collect();
    transaction.insert_new("reading", &["bed", "at_us", "kg", "u_kg", "state"], &fields)
}

/// Keeps raw counts; a block that was kept before, of the same bed and first row, is passed over.
///
/// # Errors
/// A block whose rows are not all as long as the first, or a database that refuses.
pub fn keep_counts<'a>(
    transaction: &mut dyn Transaction,
    blocks: impl IntoIterator<Item = &'a Counts>,
) -> Result<(), StoreError> {
    let mut packed: Vec<(&str, i64, Vec<u8>)> = Vec::new();
    for block in blocks {
        if let Some(first_us) = block.at_us.first() {
            packed.push((&block.bed, *first_us, pack(block)?));
        }
    }
    let rows = packed.iter().map(|(bed, at_us, bytes)| [Field::Text(bed), Field::Int(*at_us), Field::Bytes(bytes)]);
    let fields: Vec<Field<'_>> = rows.flatten().collect();
    transaction.insert_new("counts", &["bed", "at_us", "block"], &fields)
}

/// The weights of a bed from a time on and before another, in order.
///
/// # Errors
/// A database that refuses.
pub fn readings(
    transaction: &mut dyn Transaction,
    bed: &str,
    from_us: i64,
    to_us: i64,
) -> Result<Vec<Reading>, StoreError> {
    let question =
        "select at_us, kg, u_kg, state from reading where bed = $1 and at_us >= $2 and at_us < $3 order by at_us";
    let rows = transaction.rows(question, &[Value::Text(bed.to_owned()), Value::Int(from_us), Value::Int(to_us)])?;
    rows.iter()
        .map(|row| {
            Ok(Reading {
                bed: bed.to_owned(),
                at_us: row.int(0)?,
                kg: row.real_opt(1)?,
                u_kg: row.real_opt(2)?,
                state: row.text(3)?,
            })
        })
        .collect()
}

/// The time of the newest weight of a bed, as long as it is kept.
///
/// # Errors
/// A database that refuses.
pub fn newest_us(transaction: &mut dyn Transaction, bed: &str) -> Result<Option<i64>, StoreError> {
    let rows = transaction.rows("select max(at_us) from reading where bed = $1", &[Value::Text(bed.to_owned())])?;
    rows.first().map_or(Ok(None), |row| row.int_opt(0))
}

/// The reduced minutes of a bed from a time on and before another, in order.
///
/// # Errors
/// A database that refuses.
pub fn minutes(
    transaction: &mut dyn Transaction,
    bed: &str,
    from_us: i64,
    to_us: i64,
) -> Result<Vec<Minute>, StoreError> {
    let question = "select minute_us, readings, settled, least_kg, mean_kg, greatest_kg from reading_minute \
                    where bed = $1 and minute_us >= $2 and minute_us < $3 order by minute_us";
    let rows = transaction.rows(question, &[Value::Text(bed.to_owned()), Value::Int(from_us), Value::Int(to_us)])?;
    rows.iter()
        .map(|row| {
            let span = [row.real_opt(3)?, row.real_opt(4)?, row.real_opt(5)?];
            let span_kg =
                if let [Some(least), Some(mean), Some(most)] = span { Some([least, mean, most]) } else { None };
            Ok(Minute { minute_us: row.int(0)?, readings: row.int(1)?, settled: row.int(2)?, span_kg })
        })
        .collect()
}

/// The raw counts of a bed from a time on and before another, block by block.
///
/// # Errors
/// A block that cannot be read, or a database that refuses.
pub fn counts(
    transaction: &mut dyn Transaction,
    bed: &str,
    from_us: i64,
    to_us: i64,
) -> Result<Vec<Counts>, StoreError> {
    let question = "select at_us, block from counts where bed = $1 and at_us >= $2 and at_us < $3 order by at_us";
    let rows = transaction.rows(question, &[Value::Text(bed.to_owned()), Value::Int(from_us), Value::Int(to_us)])?;
    rows.iter().map(|row| unpack(bed, row.int(0)?, &row.bytes(1)?)).collect()
}

/// The reduced minutes of a bed's cells from a time on and before another, in the order of time and cell.
///
/// # Errors
/// A database that refuses.
pub fn cell_minutes(
    transaction: &mut dyn Transaction,
    bed: &str,
    from_us: i64,
    to_us: i64,
) -> Result<Vec<CellMinute>, StoreError> {
    let question = "select minute_us, cell, samples, least, mean, greatest from counts_minute \
                    where bed = $1 and minute_us >= $2 and minute_us < $3 order by minute_us, cell";
    let rows = transaction.rows(question, &[Value::Text(bed.to_owned()), Value::Int(from_us), Value::Int(to_us)])?;
    rows.iter().map(cell_minute).collect()
}

fn cell_minute(row: &Row) -> Result<CellMinute, StoreError> {
    Ok(CellMinute {
        minute_us: row.int(0)?,
        cell: row.int(1)?,
        samples: row.int(2)?,
        least: row.int(3)?,
        mean: row.real(4)?,
        greatest: row.int(5)?,
    })
}

/// Reduces the oldest hour of what a bed told before a time, which is taken down to a whole minute, so that no minute is reduced in
/// parts; to be asked again until nothing was reduced.
///
/// # Errors
/// A database that refuses; then nothing was reduced.
pub fn reduce(transaction: &mut dyn Transaction, bed: &str, before_us: i64) -> Result<Reduced, StoreError> {
    let before_us = minute_of(before_us);
    let oldest_us = [ends(transaction, ("reading", "at_us"), bed)?, counts_us(transaction, bed)?];
    let oldest_us = oldest_us.into_iter().flatten().map(|[first, _]| first).min();
    let Some(oldest_us) = oldest_us.filter(|us| *us < before_us) else { return Ok(Reduced::default()) };
    let before_us = minute_of(oldest_us).saturating_add(REDUCED_AT_ONCE_US).min(before_us);
    let readings = reduce_readings(transaction, bed, before_us)?;
    let blocks = reduce_counts(transaction, bed, before_us)?;
    Ok(Reduced { readings, blocks })
}

/// When the first and the last block of raw counts of a bed begin that are kept, µs of UTC.
///
/// # Errors
/// A database that refuses.
pub fn counts_us(transaction: &mut dyn Transaction, bed: &str) -> Result<Option<[i64; 2]>, StoreError> {
    ends(transaction, ("counts", "at_us"), bed)
}

/// The first and the last reduced minute of a bed's cells, µs of UTC.
///
/// # Errors
/// A database that refuses.
pub fn cell_minutes_us(transaction: &mut dyn Transaction, bed: &str) -> Result<Option<[i64; 2]>, StoreError> {
    ends(transaction, ("counts_minute", "minute_us"), bed)
}

fn ends(
    transaction: &mut dyn Transaction,
    (table, time): (&str, &str),
    bed: &str,
) -> Result<Option<[i64; 2]>, StoreError> {
    let question = format!("select min({time}), max({time}) from {table} where bed = $1");
    let rows = transaction.rows(&question, &[Value::Text(bed.to_owned())])?;
    let Some(row) = rows.first() else { return Ok(None) };
    Ok(row.int_opt(0)?.zip(row.int_opt(1)?).map(|(first, last)| [first, last]))
}

fn reduce_readings(transaction: &mut dyn Transaction, bed: &str, before_us: i64) -> Result<u64, StoreError> {
    let mut minutes: BTreeMap<i64, (i64, i64, Span)> = BTreeMap::new();
    for reading in readings(transaction, bed, i64::MIN, before_us)? {
        let (all, settled, span) = minutes.entry(minute_of(reading.at_us)).or_default();
        *all += 1;
        *settled += i64::from(reading.state == "settled");
        if let Some(kg) = reading.kg {
            span.take(kg);
        }
    }
    let fields: Vec<Field<'_>> = minutes
        .iter()
        .flat_map(|(minute, (all, settled, span))| {
            let [least, mean, most] = span.numbers().map_or([Field::Null; 3], |s| s.map(Field::Real));
            [Field::Text(bed), Field::Int(*minute), Field::Int(*all), Field::Int(*settled), least, mean, most]
        })
        .collect();
    let columns = ["bed", "minute_us", "readings", "settled", "least_kg", "mean_kg", "greatest_kg"];
    transaction.insert_new("reading_minute", &columns, &fields)?;
    remove(transaction, "reading", bed, before_us)
}

fn reduce_counts(transaction: &mut dyn Transaction, bed: &str, before_us: i64) -> Result<u64, StoreError> {
    let mut minutes: BTreeMap<(i64, i64), Span> = BTreeMap::new();
    // A block that begins before the limit may end after it; it is reduced whole, by the minute in which it began.
    for block in counts(transaction, bed, i64::MIN, before_us)? {
        let minute = minute_of(block.at_us[0]);
        for row in block.counts.chunks(block.counts.len() / block.at_us.len()) {
            // Taken for a count, one that was lost would be the least of its minute and pull the mean along.
            for (cell, count) in (0..).zip(row).filter(|(_, count)| **count != LOST_COUNT) {
                minutes.entry((minute, cell)).or_default().take(f64::from(*count));
            }
        }
    }
    #[allow(clippy::cast_possible_truncation, reason = "extremes of counts, which are whole")]
    let fields: Vec<Field<'_>> = minutes
        .iter()
        .filter_map(|((minute, cell), span)| {
            let [least, mean, most] = span.numbers()?;
            Some([
                Field::Text(bed),
                Field::Int(*minute),
                Field::Int(*cell),
                Field::Int(span.taken),
                Field::Int(least as i64),
                Field::Real(mean),
                Field::Int(most as i64),
            ])
        })
        .flatten()
        .collect();
    let columns = ["bed", "minute_us", "cell", "samples", "least", "mean", "greatest"];
    transaction.insert_new("counts_minute", &columns, &fields)?;
    remove(transaction, "counts", bed, before_us)
}

fn remove(transaction: &mut dyn Transaction, table: &str, bed: &str, before_us: i64) -> Result<u64, StoreError> {
    let values = [Value::Text(bed.to_owned()), Value::Int(before_us)];
    transaction.run(&format!("delete from {table} where bed = $1 and at_us < $2"), &values)
}

fn minute_of(at_us: i64) -> i64 {
    at_us - at_us.rem_euclid(MINUTE_US)
}

/// Least, sum and greatest of what was taken.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Span {
    taken: i64,
    least: f64,
    sum: f64,
    most: f64,
}

impl Span {
    fn take(&mut self, value: f64) {
        if self.taken == 0 {
            (self.least, self.most) = (value, value);
        }
        self.taken += 1;
        self.least = self.least.min(value);
        self.most = self.most.max(value);
        self.sum += value;
    }

    #[allow(clippy::cast_precision_loss, reason = "samples of a minute")]
    fn numbers(&self) -> Option<[f64; 3]> {
        (self.taken > 0).then(|| [self.least, self.sum / self.taken as f64, self.most])
    }
}

fn form(what: String, expected: &'static str) -> StoreError {
    StoreError::Form { what, expected }
}

pub(crate) fn pack(counts: &Counts) -> Result<Vec<u8>, StoreError> {
    let (rows, values) = (counts.at_us.len(), counts.counts.len());
    if values == 0 || !values.is_multiple_of(rows) {
        return Err(form(format!("{values} counts in {rows} rows"), "the same number of counts in every row"));
    }
    let cells = values / rows;
    let steps_us = counts.at_us.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let before = |i: usize| if i < cells { 0 } else { counts.counts[i - cells] };
    let differences = counts.counts.iter().enumerate().map(|(i, c)| c.wrapping_sub(before(i))).collect();
    // Two bytes hold most differences; a vector that grows would be copied several times.
    let room = Vec::with_capacity(2 * values + 4 * rows + 16);
    postcard::to_extend(&Block { steps_us, differences }, room).map_err(|e| form(e.to_string(), "a block of counts"))
}

pub(crate) fn unpack(bed: &str, first_us: i64, bytes: &[u8]) -> Result<Counts, StoreError> {
    let block: Block = postcard::from_bytes(bytes).map_err(|e| form(e.to_string(), "a block of counts"))?;
    let rows = block.steps_us.len() + 1;
    if block.differences.is_empty() || !block.differences.len().is_multiple_of(rows) {
        return Err(form(format!("{} counts in {rows} rows", block.differences.len()), "a block of counts"));
    }
    let cells = block.differences.len() / rows;
    let mut at_us = vec![first_us];
    for step in block.steps_us {
        at_us.push(at_us[at_us.len() - 1].wrapping_add(step));
    }
    let mut counts = block.differences;
    for i in cells..counts.len() {
        counts[i] = counts[i].wrapping_add(counts[i - cells]);
    }
    Ok(Counts { bed: bed.to_owned(), at_us, counts })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: proptest::test_runner::RngSeed::Fixed(28), ..ProptestConfig::default() })]

        /// What lies in the table may have been changed by anybody who may write the file.
        #[test]
        fn any_bytes_are_a_block_or_are_refused(first_us in any::<i64>(), bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
            if let Ok(found) = unpack("A1", first_us, &bytes) {
                prop_assert_eq!(found.counts.len() % found.at_us.len(), 0);
                prop_assert!(found.counts.len() + found.at_us.len() <= bytes.len() + 1, "no more comes out than was put in");
            }
        }

        #[test]
        fn a_spoilt_block_is_a_block_or_is_refused(rows in 1..20_i32, cells in 1..30_i32, at in any::<proptest::sample::Index>(), value in any::<u8>()) {
            let counts = Counts {
                bed: "A1".into(),
                at_us: (0..rows).map(|i| i64::from(i) * 100_000).collect(),
                counts: (0..rows * cells).map(|i| i * 7_919 - 40_000).collect(),
            };
            let mut bytes = pack(&counts).unwrap();
            prop_assert_eq!(&unpack("A1", 0, &bytes).unwrap(), &counts);
            let at = at.index(bytes.len());
            bytes[at] = value;
            let _ = unpack("A1", 0, &bytes);
            bytes.truncate(at);
            prop_assert!(unpack("A1", 0, &bytes).is_err(), "cut short");
        }
    }
}
