//! Brings the schema up to date, on each database with its own folder of `migrations/`.

use std::collections::BTreeSet;

use diesel::backend::Backend;
use diesel::migration::MigrationSource;
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use crate::connection::Db;
use crate::error::StoreError;

const SQLITE: EmbeddedMigrations = embed_migrations!("../../migrations/sqlite");
const POSTGRES: EmbeddedMigrations = embed_migrations!("../../migrations/postgres");

/// PostgreSQL's advisory lock that keeps replicas from migrating at the same time ("whor" in ASCII).
const REPLICAS_WAIT: &str = "SELECT pg_advisory_lock(2003332978)";
const REPLICAS_GO: &str = "SELECT pg_advisory_unlock(2003332978)";

/// Applies what has not been applied.
///
/// # Errors
///
/// [`StoreError::Newer`] if a later version has brought the schema further: nothing is done, then.
pub(crate) fn apply(db: &mut Db) -> Result<(), StoreError> {
    use diesel::connection::SimpleConnection;
    match db {
        Db::Sqlite(conn) => run(conn, SQLITE),
        Db::Postgres(conn) => {
            // Another replica may be at it, and a big table takes as long as it takes.
            conn.batch_execute("SET lock_timeout = 0; SET statement_timeout = 0")?;
            conn.batch_execute(REPLICAS_WAIT)?;
            let done = run(conn, POSTGRES);
            conn.batch_execute(REPLICAS_GO)?;
            done
        }
    }
}

fn run<DB: Backend>(
    conn: &mut impl MigrationHarness<DB>,
    ours: EmbeddedMigrations,
) -> Result<(), StoreError> {
    let failed =
        |error: Box<dyn std::error::Error + Send + Sync>| StoreError::Migration(error.to_string());
    let known: BTreeSet<String> = MigrationSource::<DB>::migrations(&ours)
        .map_err(failed)?
        .iter()
        .map(|migration| migration.name().version().to_string())
        .collect();
    let applied = conn.applied_migrations().map_err(failed)?;
    let mut applied = applied.iter().map(ToString::to_string);
    if let Some(unknown) = applied.find(|version| !known.contains(version)) {
        return Err(StoreError::Newer(unknown));
    }
    conn.run_pending_migrations(ours).map(drop).map_err(failed)
}
