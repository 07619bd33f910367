//! What can go wrong in the store.

use diesel::result::{DatabaseErrorKind, Error};

/// Why the store didn't do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// There is no such row.
    #[error("not found")]
    NotFound,
    /// A row with this key is there already; the caller knows which conflict it can cause.
    #[error("conflicts with what is there")]
    Conflict,
    /// What is stored can't be read back: damaged, or written by a later version.
    #[error("a stored value can't be read: {0}")]
    Unreadable(String),
    /// The database's address can't be used.
    #[error("{0}")]
    Address(String),
    /// The schema can't be brought up to date.
    #[error("the migrations failed: {0}")]
    Migration(String),
    /// The database refused or failed.
    #[error("the database failed")]
    Database(#[source] Error),
    /// No connection could be had.
    #[error("no connection to the database: {0}")]
    Connection(String),
    /// The writer has stopped: the server is going down.
    #[error("the store is closing")]
    Closing,
}

impl From<Error> for StoreError {
    fn from(error: Error) -> Self {
        match error {
            Error::NotFound => Self::NotFound,
            Error::DatabaseError(DatabaseErrorKind::UniqueViolation, _) => Self::Conflict,
            other => Self::Database(other),
        }
    }
}
