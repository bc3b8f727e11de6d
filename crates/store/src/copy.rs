//! A whole memory into another: a backup while the ward runs, and the way back. Either side may be a file or a PostgreSQL.
//!
//! All tables but sessions are read at one moment; the copy is whole or is not there.

use crate::StoreError;
use crate::sql::{Database, Field, Transaction, Value};
use crate::{audit, schema};

/// Rows that go in at once.
const ROWS: usize = 2_000;

/// Tables of a copy and their columns. Who is signed in is no record, and does not travel.
const TABLES: [(&str, &[&str]); 7] = [
    ("chain", &["name", "number", "hash"]),
    (
        "entry",
        &["chain", "number", "at_us", "kept_us", "kind", "subject", "author", "corrects", "once", "body", "hash"],
    ),
    ("reading", &["bed", "at_us", "kg", "u_kg", "state"]),
    ("reading_minute", &["bed", "minute_us", "readings", "settled", "least_kg", "mean_kg", "greatest_kg"]),
    ("counts", &["bed", "at_us", "block"]),
    ("counts_minute", &["bed", "minute_us", "cell", "samples", "least", "mean", "greatest"]),
    ("state", &["bed", "slot", "start_us", "record"]),
];

/// What a copy holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Copied {
    /// Rows of each table.
    pub rows: Vec<(&'static str, u64)>,
    /// The walk over the copy's audit trail.
    pub audit: audit::Audit,
}

/// Copies everything into an empty memory and walks the copy's audit trail before it is kept.
///
/// # Errors
/// The target is not empty, a database refuses, or the trail is broken: then nothing was written.
pub fn copy(from: &mut dyn Database, to: &mut dyn Database, now_us: i64) -> Result<Copied, StoreError> {
    schema::migrate(to, now_us)?;
    let mut target = to.begin()?;
    if !target.rows("select name from chain limit 1", &[])?.is_empty() {
        return Err(StoreError::NotEmpty);
    }
    let mut source = from.look()?;
    let mut rows = Vec::new();
    for (table, columns) in TABLES {
        rows.push((table, copy_table(source.as_mut(), target.as_mut(), table, columns)?));
    }
    let audit = audit::audit(target.as_mut(), &[])?;
    if let Some(found) = audit.breaks.first() {
        let what = format!("a broken audit trail ({}, entry {}: {})", found.chain, found.number, found.what);
        return Err(StoreError::Form { what, expected: "a whole one; `ward verify-audit` tells all of it" });
    }
    target.commit()?;
    Ok(Copied { rows, audit })
}

fn copy_table(
    source: &mut dyn Transaction,
    target: &mut dyn Transaction,
    table: &str,
    columns: &[&str],
) -> Result<u64, StoreError> {
    let mut waiting: Vec<Value> = Vec::new();
    let mut put = |waiting: &mut Vec<Value>| {
        let fields: Vec<Field<'_>> = waiting.iter().map(Field::from).collect();
        target.insert(table, columns, &fields)?;
        waiting.clear();
        Ok(())
    };
    let mut copied = 0;
    source.each(&format!("select {} from {table}", columns.join(", ")), &[], &mut |row| {
        waiting.extend(row.0);
        copied += 1;
        if waiting.len() >= ROWS * columns.len() { put(&mut waiting) } else { Ok(()) }
    })?;
    put(&mut waiting)?;
    Ok(copied)
}
