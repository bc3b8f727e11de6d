//! The door to SQLite: a write-ahead log, flushed to the disk at every commit.

use std::path::Path;
use std::time::Duration;

use rusqlite::types::{ToSqlOutput, ValueRef};
use rusqlite::{Connection, ErrorCode, OpenFlags, ToSql, TransactionBehavior, params_from_iter};

use super::{Database, Field, Row, Transaction, UNLESS_THERE, Value};
use crate::StoreError;

/// How long a statement waits for another connection's lock.
const BUSY: Duration = Duration::from_secs(5);
/// Statements that stay prepared.
const PREPARED: usize = 64;

/// An open file.
pub(super) struct Sqlite {
    connection: Connection,
    path: String,
    is_to_look: bool,
}

impl Sqlite {
    /// Opens a file that holds a memory without changing a byte of it.
    pub(super) fn open_to_look(path: &str) -> Result<Self, StoreError> {
        let no_memory = || StoreError::NoMemory { place: path.to_owned() };
        let read = |place: &str| -> rusqlite::Result<(Connection, bool)> {
            let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI | OpenFlags::SQLITE_OPEN_NO_MUTEX;
            let connection = Connection::open_with_flags(place, flags)?;
            connection.busy_timeout(BUSY)?;
            connection.set_prepared_statement_cache_capacity(PREPARED);
            let asked = "select exists (select 1 from sqlite_master where name = 'chain')";
            let is_memory = connection.query_row(asked, [], |row| row.get(0))?;
            Ok((connection, is_memory))
        };
        let found = read(&uri(path, "mode=ro")).or_else(|error| match error.sqlite_error_code() {
            // Its log has no file beside it, and none can be made there: nothing but this file holds anything.
            Some(ErrorCode::CannotOpen | ErrorCode::ReadOnly) if !Path::new(&format!("{path}-wal")).exists() => {
                read(&uri(path, "immutable=1"))
            }
            _ => Err(error),
        });
        match found {
            Ok((connection, true)) => Ok(Self { connection, path: path.to_owned(), is_to_look: true }),
            Ok((_, false)) => Err(no_memory()),
            Err(error) if error.sqlite_error_code() == Some(ErrorCode::NotADatabase) => Err(no_memory()),
            Err(error) => Err(error.into()),
        }
    }

    pub(super) fn open(path: &str) -> Result<Self, StoreError> {
        let connection = Connection::open(path)?;
        connection.busy_timeout(BUSY)?;
        connection.set_prepared_statement_cache_capacity(PREPARED);
        connection.pragma_update(None, "journal_mode", "WAL")?;
        // FULL: a commit returns only when the log is on the disk. NORMAL may lose the last ones at a power cut.
        connection.pragma_update(None, "synchronous", "FULL")?;
        Ok(Self { connection, path: path.to_owned(), is_to_look: false })
    }
}

/// A path as the address of a database; what has a meaning in an address is written by its number.
fn uri(path: &str, how: &str) -> String {
    let path = path.replace('%', "%25").replace('?', "%3f").replace('#', "%23");
    format!("file:{path}?{how}")
}

impl Database for Sqlite {
    fn begin(&mut self) -> Result<Box<dyn Transaction + '_>, StoreError> {
        // At once: a transaction that began by reading could not turn to writing after another's commit.
        Ok(Box::new(Open(self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?)))
    }

    fn look(&mut self) -> Result<Box<dyn Transaction + '_>, StoreError> {
        Ok(Box::new(Open(self.connection.transaction()?)))
    }

    fn again(&self) -> Result<Box<dyn Database>, StoreError> {
        Ok(Box::new(if self.is_to_look { Self::open_to_look(&self.path)? } else { Self::open(&self.path)? }))
    }

    fn name(&self) -> &'static str {
        "SQLite"
    }

    fn finish(self: Box<Self>) -> Result<(), StoreError> {
        // Takes the log into the file, flushes it and removes the log; SQLite itself would pass over an error here in silence.
        let left: String = self.connection.pragma_update_and_check(None, "journal_mode", "DELETE", |row| row.get(0))?;
        if left != "delete" {
            let what = format!("its log could not be taken into {}", self.path);
            return Err(StoreError::Database { database: "SQLite", what, passing: true });
        }
        Ok(self.connection.close().map_err(|(_, error)| error)?)
    }
}

struct Open<'a>(rusqlite::Transaction<'a>);

impl ToSql for Field<'_> {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::Borrowed(match *self {
            Self::Null => ValueRef::Null,
            Self::Int(value) => ValueRef::Integer(value),
            Self::Real(value) => ValueRef::Real(value),
            Self::Text(text) => ValueRef::Text(text.as_bytes()),
            Self::Bytes(bytes) => ValueRef::Blob(bytes),
        }))
    }
}

/// SQLite numbers a `$1` by where it first stands; `?1` is the first value wherever it stands.
fn numbered(statement: &str) -> String {
    statement.replace('$', "?")
}

impl Open<'_> {
    fn insert_rows(&self, table: &str, columns: &[&str], fields: &[Field<'_>], end: &str) -> Result<(), StoreError> {
        let places: Vec<String> = (1..=columns.len()).map(|i| format!("?{i}")).collect();
        let statement = format!("insert into {table} ({}) values ({}){end}", columns.join(", "), places.join(", "));
        let mut prepared = self.0.prepare_cached(&statement)?;
        for row in fields.chunks(columns.len()) {
            prepared.execute(params_from_iter(row))?;
        }
        Ok(())
    }
}

impl Transaction for Open<'_> {
    fn run(&mut self, statement: &str, values: &[Value]) -> Result<u64, StoreError> {
        Ok(self.0.prepare_cached(&numbered(statement))?.execute(params_from_iter(values.iter().map(Field::from)))?
            as u64)
    }

    fn script(&mut self, statements: &str) -> Result<(), StoreError> {
        Ok(self.0.execute_batch(statements)?)
    }

    fn insert(&mut self, table: &str, columns: &[&str], fields: &[Field<'_>]) -> Result<(), StoreError> {
        self.insert_rows(table, columns, fields, "")
    }

    fn insert_new(&mut self, table: &str, columns: &[&str], fields: &[Field<'_>]) -> Result<(), StoreError> {
        self.insert_rows(table, columns, fields, UNLESS_THERE)
    }

    fn each(
        &mut self,
        question: &str,
        values: &[Value],
        each: &mut dyn FnMut(Row) -> Result<(), StoreError>,
    ) -> Result<(), StoreError> {
        let mut prepared = self.0.prepare_cached(&numbered(question))?;
        let columns = prepared.column_count();
        let mut rows = prepared.query(params_from_iter(values.iter().map(Field::from)))?;
        while let Some(row) = rows.next()? {
            let values = (0..columns).map(|i| row.get_ref(i).map(value)).collect::<Result<_, _>>()?;
            each(Row(values))?;
        }
        Ok(())
    }

    fn commit(self: Box<Self>) -> Result<(), StoreError> {
        Ok(self.0.commit()?)
    }
}

fn value(found: ValueRef<'_>) -> Value {
    match found {
        ValueRef::Null => Value::Null,
        ValueRef::Integer(value) => Value::Int(value),
        ValueRef::Real(value) => Value::Real(value),
        ValueRef::Text(text) => Value::Text(String::from_utf8_lossy(text).into_owned()),
        ValueRef::Blob(bytes) => Value::Bytes(bytes.to_vec()),
    }
}
