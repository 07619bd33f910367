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
    /// The database gave this up because of others that were at work, or because it takes no writes now; nothing of it
    /// stays, and the same may be asked again.
    #[error("the database is busy: {0}")]
    Busy(String),
    /// The disk is full, or fails: nothing of this was kept.
    #[error("the database's disk is full or failing: {0}")]
    Disk(String),
    /// Another life of the ledger must begin, and can't.
    #[error("a new epoch can't begin: {0}")]
    Life(String),
    /// A later version has brought the schema further than this one knows.
    #[error(
        "a later version of whorl-server has used this database (it has migration {0}, which this one doesn't know): run \
         that version, or bring back a backup from before"
    )]
    Newer(String),
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
            Error::DatabaseError(
                DatabaseErrorKind::ClosedConnection | DatabaseErrorKind::UnableToSendCommand,
                why,
            ) => Self::Connection(why.message().to_owned()),
            // SQLite's disk failed under a commit: the rest is told by what it said first.
            Error::RollbackErrorOnCommit { commit_error, .. } if matches!(&*commit_error, Error::DatabaseError(_, why) if is_of_the_disk(why.message())) => {
                (*commit_error).into()
            }
            // The line broke while a transaction was to be ended; whether it was is seen by who asks again.
            Error::BrokenTransactionManager | Error::RollbackErrorOnCommit { .. } => {
                Self::Connection("it broke off".to_owned())
            }
            Error::DatabaseError(
                DatabaseErrorKind::SerializationFailure | DatabaseErrorKind::ReadOnlyTransaction,
                why,
            ) => Self::Busy(why.message().to_owned()),
            Error::DatabaseError(_, why) if passes(why.message()) => {
                Self::Busy(why.message().to_owned())
            }
            Error::DatabaseError(_, why) if is_of_the_disk(why.message()) => {
                Self::Disk(why.message().to_owned())
            }
            other => Self::Database(other),
        }
    }
}

/// Whether a failure passes by itself: a lock or a statement that took too long, a deadlock that was broken up, a database that
/// is being stopped. Its code doesn't reach us, so it is known by its text, which PostgreSQL must give in English.
fn passes(message: &str) -> bool {
    const PASSING: [&str; 6] = [
        "canceling statement due to",
        "deadlock detected",
        "terminating connection",
        "the database system is",
        "database is locked",
        "database table is locked",
    ];
    PASSING.iter().any(|text| message.starts_with(text))
}

/// Whether the disk is full or fails: the texts of SQLite's `SQLITE_FULL` and `SQLITE_IOERR` (sqlite.org/rescode.html), and
/// those of the system's ENOSPC and EIO, which PostgreSQL passes on.
fn is_of_the_disk(message: &str) -> bool {
    const FAILING: [&str; 4] = [
        "disk is full",
        "disk I/O error",
        "No space left on device",
        "Input/output error",
    ];
    FAILING.iter().any(|text| message.contains(text))
}
