//! An open database, of either kind.

#![expect(
    clippy::disallowed_methods,
    reason = "the one place that opens connections; the derive writes one more that nothing calls"
)]

use std::time::Duration;

use diesel::connection::{
    AnsiTransactionManager, Connection, SimpleConnection, TransactionManager,
};
use diesel::dsl::Limit;
use diesel::pg::PgConnection;
use diesel::query_dsl::LoadQuery;
use diesel::query_dsl::methods::{ExecuteDsl, LimitDsl};
use diesel::result::Error;
use diesel::sqlite::SqliteConnection;
use diesel::{ConnectionError, QueryResult, RunQueryDsl};

use crate::error::StoreError;

/// Compiles one statement for each database and runs the one that is open: for what the shared connection type
/// can't say (`ON CONFLICT`, batches of rows, row locks).
macro_rules! on_each {
    ($db:expr, |$conn:ident| $statement:expr) => {
        match $db {
            $crate::connection::Db::Postgres($conn) => $statement,
            $crate::connection::Db::Sqlite($conn) => $statement,
        }
    };
}
pub(crate) use on_each;

/// Runs a statement on the database that is open, as a statement of that database. Through [`Db`] itself diesel knows a statement by
/// its text alone, and writes that text anew each time to find out that it is prepared already. A boxed statement is built for
/// [`Db`], has no other form, and is run by diesel's own methods.
pub(crate) trait Statement: Sized {
    /// All rows.
    fn all<'q, T>(self, db: &mut Db) -> QueryResult<Vec<T>>
    where
        Self: LoadQuery<'q, PgConnection, T> + LoadQuery<'q, SqliteConnection, T>,
    {
        on_each!(db, |conn| self.load(conn))
    }

    /// The only row.
    fn row<'q, T>(self, db: &mut Db) -> QueryResult<T>
    where
        Self: LoadQuery<'q, PgConnection, T> + LoadQuery<'q, SqliteConnection, T>,
    {
        on_each!(db, |conn| self.get_result(conn))
    }

    /// The first row.
    fn first_row<'q, T>(self, db: &mut Db) -> QueryResult<T>
    where
        Self: LimitDsl,
        Limit<Self>: LoadQuery<'q, PgConnection, T> + LoadQuery<'q, SqliteConnection, T>,
    {
        self.limit(1).row(db)
    }

    /// How many rows it changed.
    fn run(self, db: &mut Db) -> QueryResult<usize>
    where
        Self: ExecuteDsl<PgConnection> + ExecuteDsl<SqliteConnection>,
    {
        on_each!(db, |conn| Self::execute(self, conn))
    }
}

impl<T> Statement for T {}

/// So long a statement waits for what others hold.
const LOCK_WITHIN: Duration = Duration::from_secs(5);

/// What every connection to SQLite has. The wait for a lock (in milliseconds) comes first: the other settings can meet one too. What
/// SQLite writes down for a while stays in memory: in a folder for temporary files, parts of the record would outlive their erasure.
pub const SQLITE_SETTINGS: &str = "PRAGMA busy_timeout = 5000; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; \
     PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF; PRAGMA cell_size_check = ON; PRAGMA secure_delete = ON; \
     PRAGMA temp_store = MEMORY";

/// The oldest bundled SQLite that is free of the WAL-reset bug, which can corrupt a database (3.51.3).
const OLDEST_SQLITE: i32 = 3_051_003;

/// An open database. Made by `Db::open` only: the derived `establish` takes any string for a SQLite path when
/// PostgreSQL does not answer.
#[derive(diesel::MultiConnection)]
pub enum Db {
    /// A connection to PostgreSQL.
    Postgres(PgConnection),
    /// A connection to a SQLite file.
    Sqlite(SqliteConnection),
}

/// Which database an address names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Address {
    /// A PostgreSQL URL.
    Postgres(String),
    /// The path of a SQLite file.
    Sqlite(String),
}

impl Address {
    /// Reads `sqlite://PATH` or `postgres://…`.
    pub(crate) fn parse(url: &str) -> Result<Self, StoreError> {
        if let Some(path) = url.strip_prefix("sqlite://") {
            if path.is_empty() || path == ":memory:" {
                return Err(StoreError::Address(
                    "sqlite:// needs a file: sqlite://whorl.db".into(),
                ));
            }
            Ok(Self::Sqlite(path.to_owned()))
        } else if url.starts_with("postgres://") || url.starts_with("postgresql://") {
            Ok(Self::Postgres(url.to_owned()))
        } else {
            Err(StoreError::Address(
                "the database's address must begin with sqlite:// or postgres://".into(),
            ))
        }
    }
}

/// What a connection to PostgreSQL does unless its address says otherwise: it gives a host up that doesn't answer, and finds
/// out within half a minute that the other end is gone without a word.
const MANNERS: &str = "connect_timeout=5&keepalives_idle=10&keepalives_interval=5&keepalives_count=3&tcp_user_timeout=25000";

/// Adds [`MANNERS`] before the parameters of an address, of which the later one counts.
fn with_manners(url: &str) -> String {
    match url.split_once('?') {
        Some((address, parameters)) => format!("{address}?{MANNERS}&{parameters}"),
        None => format!("{url}?{MANNERS}"),
    }
}

impl Db {
    /// Opens the database at `address` and sets what each kind needs; no statement may take longer than `patience`.
    pub(crate) fn open(address: &Address, patience: Duration) -> Result<Self, StoreError> {
        let failed = |error: &dyn std::fmt::Display| StoreError::Connection(error.to_string());
        match address {
            Address::Postgres(url) => {
                #[expect(
                    clippy::disallowed_methods,
                    reason = "the one place that opens connections"
                )]
                let mut conn =
                    PgConnection::establish(&with_manners(url)).map_err(|error| failed(&error))?;
                let longest = patience.as_millis();
                let lock = (patience / 2).min(LOCK_WITHIN).as_millis();
                conn.batch_execute(&format!(
                    "SET lock_timeout = {lock}; SET statement_timeout = {longest}; \
                     SET idle_in_transaction_session_timeout = {longest}; SET timezone = 'UTC'",
                ))?;
                // A standby lags behind: who reads there sees a head go back. And one that is promoted under an open connection
                // would not be noticed.
                if diesel::select(pg_is_in_recovery()).get_result(&mut conn)? {
                    return Err(StoreError::Connection(
                        "this PostgreSQL is a standby; name the primary, or all of them with target_session_attrs=read-write"
                            .into(),
                    ));
                }
                Ok(Self::Postgres(conn))
            }
            Address::Sqlite(path) => {
                #[expect(
                    clippy::disallowed_methods,
                    reason = "the one place that opens connections"
                )]
                let mut conn = SqliteConnection::establish(path).map_err(|error| failed(&error))?;
                // Checked at run time: a lock file could still pick an affected version.
                if sqlite_version(&mut conn)? < OLDEST_SQLITE {
                    return Err(StoreError::Address(
                        "the bundled SQLite is older than 3.51.3".into(),
                    ));
                }
                conn.batch_execute(SQLITE_SETTINGS)?;
                Ok(Self::Sqlite(conn))
            }
        }
    }

    /// Begins a transaction; on SQLite it takes the write lock at once, since a read that turns into a write later
    /// can't wait for it.
    pub(crate) fn begin_write(&mut self) -> Result<(), Error> {
        match self {
            Self::Sqlite(conn) => {
                AnsiTransactionManager::begin_transaction_sql(conn, "BEGIN IMMEDIATE")
            }
            Self::Postgres(conn) => AnsiTransactionManager::begin_transaction(conn),
        }
    }

    /// Commits what [`Db::begin_write`] began.
    pub(crate) fn commit(&mut self) -> Result<(), Error> {
        <Self as Connection>::TransactionManager::commit_transaction(self)
    }

    /// Undoes what [`Db::begin_write`] began.
    pub(crate) fn rollback(&mut self) -> Result<(), Error> {
        <Self as Connection>::TransactionManager::rollback_transaction(self)
    }
}

/// An empty database that is gone with its connection.
pub(crate) fn scratch() -> Result<Db, StoreError> {
    let failed = |error: ConnectionError| StoreError::Connection(error.to_string());
    #[expect(
        clippy::disallowed_methods,
        reason = "the one place that opens connections"
    )]
    let conn = SqliteConnection::establish(":memory:").map_err(failed)?;
    Ok(Db::Sqlite(conn))
}

/// The version of the SQLite that runs, as SQLite counts it: 3.51.3 is 3051003.
fn sqlite_version(conn: &mut SqliteConnection) -> Result<i32, Error> {
    let text: String = diesel::select(version()).get_result(conn)?;
    let mut parts = text.split('.').map(|part| part.parse::<i32>().unwrap_or(0));
    let mut next = || parts.next().unwrap_or(0);
    Ok(next() * 1_000_000 + next() * 1_000 + next())
}

#[diesel::declare_sql_function]
extern "SQL" {
    /// SQLite's own version.
    #[sql_name = "sqlite_version"]
    fn version() -> diesel::sql_types::Text;

    /// Whether this PostgreSQL follows another one.
    fn pg_is_in_recovery() -> diesel::sql_types::Bool;
}

#[cfg(test)]
mod tests {
    use diesel::dsl::sql;
    use diesel::sql_types::Integer;

    use super::*;

    #[test]
    fn sqlite_is_built_as_the_settings_of_cargo_say() {
        let mut conn = SqliteConnection::establish(":memory:").expect("a database");
        for (option, wanted) in [
            ("ENABLE_QPSG", 1),
            ("DEFAULT_MEMSTATUS=0", 1),
            ("ENABLE_MEMORY_MANAGEMENT", 0),
        ] {
            let asked = sql::<Integer>(&format!("sqlite_compileoption_used('{option}')"));
            let used: i32 = diesel::select(asked)
                .get_result(&mut conn)
                .expect("an answer");
            assert_eq!(used, wanted, "{option}; see .cargo/config.toml");
        }
    }
}
