//! Tables, and their way forward. Every form that was ever released stays in `schema/`, and a database of any of them is
//! brought to the newest by running those that it lacks, each in one transaction with its note.

use crate::StoreError;
use crate::sql::{Database, Value};

/// Every step, oldest first; a step is never changed once it was released.
const STEPS: [&str; 1] = [include_str!("../schema/0001.sql")];

/// The newest form that this version knows.
#[allow(clippy::cast_possible_wrap, reason = "a handful of steps")]
pub const NEWEST: i64 = STEPS.len() as i64;

/// The form of the tables as found; 0 before the first.
///
/// # Errors
/// The database is gone.
pub fn form(database: &mut dyn Database) -> Result<i64, StoreError> {
    let mut transaction = database.begin()?;
    transaction
        .script("create table if not exists form (version bigint not null primary key, at_us bigint not null)")?;
    let rows = transaction.rows("select max(version) from form", &[])?;
    transaction.commit()?;
    match rows.first() {
        Some(row) => Ok(row.int_opt(0)?.unwrap_or(0)),
        None => Ok(0),
    }
}

/// Brings the tables to the newest form; how many steps that took. `now_us` is noted beside each.
///
/// # Errors
/// They are of a later version, or the database refused.
pub fn migrate(database: &mut dyn Database, now_us: i64) -> Result<usize, StoreError> {
    migrate_to(database, now_us, STEPS.len())
}

/// Stops at an earlier form, as an earlier version would have left it.
fn migrate_to(database: &mut dyn Database, now_us: i64, steps: usize) -> Result<usize, StoreError> {
    let found = form(database)?;
    if found > NEWEST {
        return Err(StoreError::Newer { found, known: NEWEST });
    }
    let mut taken = 0;
    for (version, step) in (1..).zip(STEPS.iter().take(steps)) {
        if version <= found {
            continue;
        }
        let mut transaction = database.begin()?;
        transaction.script(step)?;
        transaction
            .run("insert into form (version, at_us) values ($1, $2)", &[Value::Int(version), Value::Int(now_us)])?;
        transaction.commit()?;
        taken += 1;
    }
    Ok(taken)
}
