//! The door to PostgreSQL.

use std::collections::HashMap;
use std::error::Error;

use postgres::fallible_iterator::FallibleIterator as _;
use postgres::types::{IsNull, ToSql, Type, to_sql_checked};
use postgres::{Client, IsolationLevel, Statement};

use super::{Database, Field, Row, Transaction, UNLESS_THERE, Value, encrypted};
use crate::StoreError;

/// Values that one statement may carry; the protocol counts them in 16 bits.
const VALUES_MOST: usize = 32_000;

/// An open connection.
pub(super) struct PostgreSql {
    client: Client,
    url: String,
    prepared: HashMap<String, Statement>,
}

impl PostgreSql {
    pub(super) fn open(url: &str) -> Result<Self, StoreError> {
        Ok(Self { client: encrypted::connect(url)?, url: url.to_owned(), prepared: HashMap::new() })
    }

    /// Connects anew where the connection was lost.
    fn connected(&mut self) -> Result<(), StoreError> {
        if self.client.is_closed() {
            *self = Self::open(&self.url)?;
        }
        Ok(())
    }
}

impl Database for PostgreSql {
    fn begin(&mut self) -> Result<Box<dyn Transaction + '_>, StoreError> {
        self.connected()?;
        Ok(Box::new(Open { transaction: self.client.transaction()?, prepared: &mut self.prepared }))
    }

    fn look(&mut self) -> Result<Box<dyn Transaction + '_>, StoreError> {
        self.connected()?;
        let transaction = self.client.build_transaction().read_only(true);
        let transaction = transaction.isolation_level(IsolationLevel::RepeatableRead).start()?;
        Ok(Box::new(Open { transaction, prepared: &mut self.prepared }))
    }

    fn again(&self) -> Result<Box<dyn Database>, StoreError> {
        Ok(Box::new(Self::open(&self.url)?))
    }

    fn name(&self) -> &'static str {
        "PostgreSQL"
    }

    fn finish(self: Box<Self>) -> Result<(), StoreError> {
        Ok(())
    }
}

struct Open<'a> {
    transaction: postgres::Transaction<'a>,
    prepared: &'a mut HashMap<String, Statement>,
}

impl Open<'_> {
    fn prepare(&mut self, statement: &str) -> Result<Statement, StoreError> {
        if let Some(known) = self.prepared.get(statement) {
            return Ok(known.clone());
        }
        let made = self.transaction.prepare(statement)?;
        self.prepared.insert(statement.to_owned(), made.clone());
        Ok(made)
    }

    fn insert_rows(
        &mut self,
        table: &str,
        columns: &[&str],
        fields: &[Field<'_>],
        end: &str,
    ) -> Result<(), StoreError> {
        // Blocks of a power of two: a busy ward uses few different statements, and those stay prepared.
        let wide = columns.len().max(1);
        let most = (VALUES_MOST / wide).max(1);
        let mut rest = fields;
        while !rest.is_empty() {
            let block = 1 << (rest.len() / wide).clamp(1, most).ilog2();
            let (now, later) = rest.split_at((block * wide).min(rest.len()));
            let statement = self.prepare(&(insert_statement(table, columns, block) + end))?;
            let values: Vec<&(dyn ToSql + Sync)> = now.iter().map(|f| f as &(dyn ToSql + Sync)).collect();
            self.transaction.execute(&statement, &values)?;
            rest = later;
        }
        Ok(())
    }
}

impl Transaction for Open<'_> {
    fn run(&mut self, statement: &str, values: &[Value]) -> Result<u64, StoreError> {
        let statement = self.prepare(statement)?;
        let fields: Vec<Field<'_>> = values.iter().map(Field::from).collect();
        let values: Vec<&(dyn ToSql + Sync)> = fields.iter().map(|f| f as &(dyn ToSql + Sync)).collect();
        Ok(self.transaction.execute(&statement, &values)?)
    }

    fn script(&mut self, statements: &str) -> Result<(), StoreError> {
        Ok(self.transaction.batch_execute(statements)?)
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
        let statement = self.prepare(question)?;
        let mut rows = self.transaction.query_raw(&statement, values.iter().map(Field::from))?;
        while let Some(row) = rows.next()? {
            let values = (0..row.len()).map(|i| value(&row, i)).collect::<Result<_, _>>()?;
            each(Row(values))?;
        }
        Ok(())
    }

    fn commit(self: Box<Self>) -> Result<(), StoreError> {
        Ok(self.transaction.commit()?)
    }
}

fn insert_statement(table: &str, columns: &[&str], rows: usize) -> String {
    let wide = columns.len();
    let rows: Vec<String> = (0..rows)
        .map(|row| {
            let places: Vec<String> = (1..=wide).map(|i| format!("${}", row * wide + i)).collect();
            format!("({})", places.join(", "))
        })
        .collect();
    format!("insert into {table} ({}) values {}", columns.join(", "), rows.join(", "))
}

impl ToSql for Field<'_> {
    fn to_sql(
        &self,
        kind: &Type,
        out: &mut postgres::types::private::BytesMut,
    ) -> Result<IsNull, Box<dyn Error + Sync + Send>> {
        match self {
            Self::Null => Ok(IsNull::Yes),
            Self::Int(value) => value.to_sql(kind, out),
            Self::Real(value) => value.to_sql(kind, out),
            Self::Text(value) => value.to_sql(kind, out),
            Self::Bytes(value) => value.to_sql(kind, out),
        }
    }

    fn accepts(kind: &Type) -> bool {
        matches!(*kind, Type::INT8 | Type::FLOAT8 | Type::TEXT | Type::BYTEA)
    }

    to_sql_checked!();
}

fn value(row: &postgres::Row, column: usize) -> Result<Value, StoreError> {
    let kind = row.columns()[column].type_();
    let found = match *kind {
        Type::INT8 => row.try_get::<_, Option<i64>>(column)?.map(Value::Int),
        Type::FLOAT8 => row.try_get::<_, Option<f64>>(column)?.map(Value::Real),
        Type::TEXT => row.try_get::<_, Option<String>>(column)?.map(Value::Text),
        Type::BYTEA => row.try_get::<_, Option<Vec<u8>>>(column)?.map(Value::Bytes),
        _ => {
            return Err(StoreError::Form {
                what: format!("a column of type {kind}"),
                expected: "bigint, double precision, text or bytea",
            });
        }
    };
    Ok(found.unwrap_or(Value::Null))
}
