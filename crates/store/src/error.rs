//! What can go wrong with the ward's memory.

use std::error::Error as _;

/// Why a thing was not kept or not given back.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StoreError {
    /// The database refused or was not there.
    #[error("{database}: {what}")]
    Database {
        /// `SQLite` or `PostgreSQL`.
        database: &'static str,
        /// What it said.
        what: String,
        /// Whether the same attempt may succeed later: connection lost, disk full, file busy or not to be written.
        passing: bool,
    },
    /// Where to keep was not understood.
    #[error("{found:?} is no place to keep a ward: expected the path of a file, or postgres://…")]
    Place {
        /// What was given.
        found: String,
    },
    /// The certificate of the authority that a URL names cannot be used.
    #[error("{file}: {what}")]
    Authority {
        /// The file.
        file: String,
        /// What is wrong with it.
        what: String,
    },
    /// Records would travel in clear.
    #[error(
        "PostgreSQL on {host:?} is on another machine, and nothing would be encrypted: expected `sslrootcert=FILE` in the URL, the certificate of the authority that signed the server's (or `sslmode=disable` where a tunnel encrypts)"
    )]
    Unencrypted {
        /// The server's name.
        host: String,
    },
    /// The tables were made by a later version.
    #[error(
        "the ward's memory has the form {found}, and this version of Bedplate knows forms up to {known}; use the version that wrote it, or a later one"
    )]
    Newer {
        /// Form of the tables.
        found: i64,
        /// Newest form known here.
        known: i64,
    },
    /// A correction names an entry that is not there.
    #[error("entry {number} of {chain:?} cannot be corrected: {why}")]
    Correction {
        /// The chain.
        chain: String,
        /// The entry that was to be corrected.
        number: i64,
        /// Why not.
        why: &'static str,
    },
    /// A file that holds no memory.
    #[error("{place} is no ward's memory: it holds no tables of one")]
    NoMemory {
        /// The file.
        place: String,
    },
    /// A copy was to be written into a memory that holds records.
    #[error("this memory holds records already, and a copy fills an empty one: name another")]
    NotEmpty,
    /// What was read back is not what can have been written.
    #[error("{what} was found where {expected} was expected: the tables were changed from outside")]
    Form {
        /// What was found.
        what: String,
        /// What should be there.
        expected: &'static str,
    },
    /// The writer has stopped.
    #[error("the ward's memory was closed")]
    Closed,
    /// It takes so long that nobody waits for it any more; what was handed in may still be kept.
    #[error("the ward's memory has not answered for {waited_s} s")]
    Late {
        /// How long it was waited for.
        waited_s: u64,
    },
    /// All ways to it are taken by others who wait for it.
    #[error("{waiting} others wait for the ward's memory already")]
    Crowded {
        /// How many.
        waiting: usize,
    },
}

impl StoreError {
    /// Whether the same attempt may succeed later.
    #[must_use]
    pub fn is_passing(&self) -> bool {
        matches!(self, Self::Database { passing: true, .. } | Self::Late { .. } | Self::Crowded { .. })
    }
}

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode as Code;
        // What lies in the statement or its values stays refused. Everything else is the place's: a lock, a full or failing disk, a
        // file that may not be written or is broken until a copy is restored.
        let passing = error.sqlite_error_code().is_some_and(|code| {
            !matches!(
                code,
                Code::ConstraintViolation
                    | Code::TooBig
                    | Code::TypeMismatch
                    | Code::ParameterOutOfRange
                    | Code::ApiMisuse
                    | Code::Unknown
            )
        });
        Self::Database { database: "SQLite", what: error.to_string(), passing }
    }
}

impl From<postgres::Error> for StoreError {
    fn from(error: postgres::Error) -> Self {
        // Classes of PostgreSQL 15, appendix A: 22 is a value that cannot be, 23 a constraint. Everything else is the server's:
        // gone, out of room, stopped, a standby that only reads, a right or a table that is missing until somebody mends it.
        let passing = error.is_closed()
            || error.code().is_none_or(|c| !["22", "23"].iter().any(|class| c.code().starts_with(class)));
        let what = match (error.as_db_error(), error.source()) {
            (Some(said), _) => said.message().to_owned(),
            (None, Some(cause)) => format!("{error}: {cause}"),
            (None, None) => error.to_string(),
        };
        Self::Database { database: "PostgreSQL", what, passing }
    }
}
