//! Where a test keeps its ward: a file of its own, or a schema of its own in a PostgreSQL server.

use bedplate_store::sql::{self, Database};
use bedplate_store::{schema, writer::Writer};

/// A ward of a test's own.
pub(crate) struct Place {
    pub(crate) url: String,
    /// Removed when the test ends.
    _folder: Option<tempfile::TempDir>,
}

impl Place {
    pub(crate) fn sqlite() -> Self {
        let folder = tempfile::tempdir().unwrap();
        Self { url: folder.path().join("ward.db").to_str().unwrap().to_owned(), _folder: Some(folder) }
    }

    #[cfg(feature = "postgresql-tests")]
    pub(crate) fn postgresql(name: &str) -> Self {
        Self::schema_of("BEDPLATE_TEST_POSTGRES", name)
    }

    /// As [`Place::postgresql`], over an encrypted connection.
    #[cfg(feature = "postgresql-tests")]
    pub(crate) fn encrypted(name: &str) -> Self {
        Self::schema_of("BEDPLATE_TEST_POSTGRES_TLS", name)
    }

    #[cfg(feature = "postgresql-tests")]
    fn schema_of(variable: &str, name: &str) -> Self {
        let server = std::env::var(variable).unwrap_or_else(|_| panic!("{variable} names a PostgreSQL server"));
        let mut database = sql::open(&server).unwrap();
        let mut transaction = database.begin().unwrap();
        transaction.script(&format!("drop schema if exists {name} cascade; create schema {name}")).unwrap();
        transaction.commit().unwrap();
        let joint = if server.contains('?') { '&' } else { '?' };
        Self { url: format!("{server}{joint}options=-csearch_path%3D{name}"), _folder: None }
    }

    pub(crate) fn open(&self) -> Box<dyn Database> {
        let mut database = sql::open(&self.url).unwrap();
        schema::migrate(database.as_mut(), 1).unwrap();
        database
    }

    pub(crate) fn writer(&self) -> Writer {
        Writer::start(self.open(), Box::new(|| 5_000_000)).unwrap()
    }
}
