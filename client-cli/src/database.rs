//! Opening the client's own database, so that what it says is written is written.

use std::fs::OpenOptions;
use std::path::Path;

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::Text;
use diesel::sqlite::SqliteConnection;
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use crate::failure::Failure;

const MIGRATIONS: EmbeddedMigrations = embed_migrations!("../migrations/client");

/// SQLite before this could corrupt a database in WAL mode when two connections reset the log at once.
const OLDEST_SQLITE: (u32, u32, u32) = (3, 51, 3);

/// The lock is waited for first, since every other setting can run into it. FULL: a commit is on the disk when it
/// returns, also if the power goes.
const SETTINGS: &str = "PRAGMA busy_timeout = 5000; PRAGMA journal_mode = WAL; \
     PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF; \
     PRAGMA cell_size_check = ON; PRAGMA secure_delete = ON;";

/// Opens the database and brings it to this version's form.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be opened, if it belongs to a newer version, or if SQLite itself is too old to be
/// trusted with it.
pub fn open(path: &Path) -> Result<SqliteConnection, Failure> {
    let unusable = |why: &dyn std::fmt::Display| {
        Failure::Device(format!("{} can't be used: {why}", path.display()))
    };
    make_private(path)?;
    let absolute = std::path::absolute(path).map_err(|error| unusable(&error))?;
    let text = absolute
        .to_str()
        .ok_or_else(|| unusable(&"its name is no UTF-8; set WHORL_HOME to another folder"))?;
    #[expect(
        clippy::disallowed_methods,
        reason = "this is the one place, and the path is absolute"
    )]
    let mut conn = SqliteConnection::establish(text).map_err(|error| unusable(&error))?;
    conn.batch_execute(SETTINGS)?;
    refuse_old_sqlite(&mut conn)?;
    migrate(&mut conn).map_err(|error| match error {
        Failure::Device(why) => unusable(&why),
        other => other,
    })?;
    Ok(conn)
}

/// SQLite gives its log and its index the same rights as the database, so this one file decides.
fn make_private(path: &Path) -> Result<(), Failure> {
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(false);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options
        .open(path)
        .map(drop)
        .map_err(|error| Failure::file(path.display(), &error))
}

#[derive(QueryableByName)]
struct Version {
    #[diesel(sql_type = Text)]
    version: String,
}

fn refuse_old_sqlite(conn: &mut SqliteConnection) -> Result<(), Failure> {
    let found: Version =
        diesel::sql_query("SELECT sqlite_version() AS version").get_result(conn)?;
    let mut numbers = found
        .version
        .split('.')
        .map(|number| number.parse::<u32>().unwrap_or(0));
    let mut next = || numbers.next().unwrap_or(0);
    if (next(), next(), next()) < OLDEST_SQLITE {
        return Err(Failure::Device(format!(
            "this program was built with SQLite {}, which can damage a record; build it with 3.51.3 or later",
            found.version
        )));
    }
    Ok(())
}

fn migrate(conn: &mut SqliteConnection) -> Result<(), Failure> {
    let failed = |error: Box<dyn std::error::Error + Send + Sync>| {
        let text = error.to_string();
        match error.downcast::<diesel::result::Error>() {
            Ok(error) => Failure::from(*error),
            Err(_) => Failure::Device(text),
        }
    };
    let known = migrations()?;
    let applied = conn.applied_migrations().map_err(failed)?;
    if applied
        .iter()
        .any(|version| !known.contains(&version.to_string()))
    {
        return Err(Failure::Device(
            "a newer version of whorl has used it; install that version".to_owned(),
        ));
    }
    if applied.len() < known.len() {
        // One transaction, so that a second process that starts at the same moment waits instead of failing.
        conn.immediate_transaction(|conn| {
            conn.run_pending_migrations(MIGRATIONS)
                .map(drop)
                .map_err(failed)
        })?;
    }
    Ok(())
}

fn migrations() -> Result<Vec<String>, Failure> {
    use diesel::migration::MigrationSource;
    let all = MigrationSource::<diesel::sqlite::Sqlite>::migrations(&MIGRATIONS)
        .map_err(|error| Failure::Device(error.to_string()))?;
    Ok(all
        .iter()
        .map(|migration| migration.name().version().to_string())
        .collect())
}

#[cfg(test)]
pub(crate) mod tests {
    use diesel::sql_types::BigInt;

    use super::*;

    /// A database in a folder of its own that goes with it.
    pub(crate) fn fresh() -> (tempfile::TempDir, SqliteConnection) {
        let folder = tempfile::tempdir().expect("a folder");
        let conn = open(&folder.path().join("record.db")).expect("opened");
        (folder, conn)
    }

    #[derive(QueryableByName)]
    struct Number {
        #[diesel(sql_type = BigInt)]
        n: i64,
    }

    #[test]
    fn a_commit_is_on_the_disk_when_it_returns() {
        let (_folder, mut conn) = fresh();
        let mut number = |sql: &str| {
            let row: Number = diesel::sql_query(sql).get_result(&mut conn).expect("a row");
            row.n
        };
        // 2 is FULL (sqlite.org/pragma.html#pragma_synchronous).
        assert_eq!(number("SELECT synchronous AS n FROM pragma_synchronous"), 2);
        assert_eq!(
            number("SELECT journal_mode = 'wal' AS n FROM pragma_journal_mode"),
            1
        );
    }

    #[test]
    fn a_database_of_a_newer_version_is_left_alone() {
        let (folder, mut conn) = fresh();
        conn.batch_execute(
            "INSERT INTO __diesel_schema_migrations (version) VALUES ('99990101000000')",
        )
        .expect("written");
        drop(conn);
        let refused = open(&folder.path().join("record.db"))
            .err()
            .expect("refused");
        assert!(refused.to_string().contains("newer version"), "{refused}");
        assert_eq!(refused.status(), 1);
    }

    #[test]
    fn down_takes_back_what_up_made() {
        let (_folder, mut conn) = fresh();
        conn.revert_all_migrations(MIGRATIONS).expect("down");
        conn.run_pending_migrations(MIGRATIONS).expect("up again");
    }
}
