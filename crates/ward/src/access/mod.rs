//! Accounts, roles, sessions.
//!
//! An account is an entry of the journal, as everything else is: who made it, who changed its role, who set its password
//! stays on record, and what is kept of the password lies in the entry. A session is a row that goes when it ends; its
//! token is given to the browser once, and the table holds only a hash of it.

mod accounts;
pub mod limits;
mod role;
pub mod secret;
mod seen;

pub use accounts::{Access, Account, Session, SignedIn};
pub use role::{Right, Role};
pub use seen::Seen;

/// Why access was not given.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AccessError {
    /// Name and password do not belong together, or there is no such account: which of both is not said.
    #[error("name and password do not belong together")]
    NotKnown,
    /// Too many failures.
    #[error(
        "this account is shut after {} failures; try again in {minutes} min, or ask an administrator",
        limits::FAILURES_MOST
    )]
    Shut {
        /// Minutes until it opens again.
        minutes: i64,
    },
    /// The password cannot be one.
    #[error("not a password: {why}")]
    Password {
        /// Why not.
        why: String,
    },
    /// A name that cannot be one, or is taken.
    #[error("{name:?} cannot be an account's name: {why}")]
    Name {
        /// The name.
        name: String,
        /// Why not.
        why: &'static str,
    },
    /// There is no such account.
    #[error("there is no account {name:?}")]
    NoAccount {
        /// Its name.
        name: String,
    },
    /// The last account that could make others would be lost.
    #[error("{name:?} is the last administrator; make another one first")]
    LastAdministrator {
        /// Its name.
        name: String,
    },
    /// The session has ended, or never was.
    #[error("not signed in, or the session has ended")]
    NoSession,
    /// The system gives no random bytes.
    #[error("the system gives no random bytes")]
    NoRandom,
    /// The ward's memory failed.
    #[error(transparent)]
    Store(#[from] store::StoreError),
    /// An account's entry cannot be read.
    #[error("an account's entry cannot be read: {what}")]
    Form {
        /// What is wrong.
        what: String,
    },
}
