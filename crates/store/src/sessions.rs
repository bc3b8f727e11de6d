//! Sessions: rows that come and go, and are no record. The table holds a hash of a session's token, never the token.

use crate::StoreError;
use crate::sql::{Field, Transaction, Value};

/// A session as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Session {
    /// Hash of its token.
    pub token: Vec<u8>,
    /// Name of the account.
    pub account: String,
    /// What a form of this session must carry.
    pub guard: String,
    /// When it began, µs of UTC; not before the account was last changed, whatever the clock showed by then.
    pub begun_us: i64,
    /// When it ends, µs of UTC.
    pub ends_us: i64,
}

/// Keeps a session that begins, and drops those that have ended by `now_us`.
///
/// # Errors
/// A database that refuses.
pub fn begin(transaction: &mut dyn Transaction, session: &Session, now_us: i64) -> Result<(), StoreError> {
    transaction.run("delete from session where ends_us <= $1", &[Value::Int(now_us)])?;
    let row = [
        Field::Bytes(&session.token),
        Field::Text(&session.account),
        Field::Text(&session.guard),
        Field::Int(session.begun_us),
        Field::Int(session.ends_us),
    ];
    transaction.insert("session", &["token", "account", "guard", "begun_us", "ends_us"], &row)
}

/// The session of a token's hash, ended or not.
///
/// # Errors
/// A database that refuses.
pub fn find(transaction: &mut dyn Transaction, token: &[u8]) -> Result<Option<Session>, StoreError> {
    let question = "select account, guard, begun_us, ends_us from session where token = $1";
    let rows = transaction.rows(question, &[Value::Bytes(token.to_vec())])?;
    let Some(row) = rows.first() else { return Ok(None) };
    Ok(Some(Session {
        token: token.to_vec(),
        account: row.text(0)?,
        guard: row.text(1)?,
        begun_us: row.int(2)?,
        ends_us: row.int(3)?,
    }))
}

/// Moves the end of a session.
///
/// # Errors
/// A database that refuses.
pub fn move_end(transaction: &mut dyn Transaction, token: &[u8], ends_us: i64) -> Result<(), StoreError> {
    let values = [Value::Bytes(token.to_vec()), Value::Int(ends_us)];
    transaction.run("update session set ends_us = $2 where token = $1", &values).map(drop)
}

/// Ends a session.
///
/// # Errors
/// A database that refuses.
pub fn end(transaction: &mut dyn Transaction, token: &[u8]) -> Result<(), StoreError> {
    transaction.run("delete from session where token = $1", &[Value::Bytes(token.to_vec())]).map(drop)
}

/// Ends all sessions of an account.
///
/// # Errors
/// A database that refuses.
pub fn end_all(transaction: &mut dyn Transaction, account: &str) -> Result<(), StoreError> {
    transaction.run("delete from session where account = $1", &[Value::Text(account.to_owned())]).map(drop)
}
