//! Brings the schema up to date, on each database with its own folder of `migrations/`.

use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use crate::connection::Db;
use crate::error::StoreError;

const SQLITE: EmbeddedMigrations = embed_migrations!("../../migrations/sqlite");
const POSTGRES: EmbeddedMigrations = embed_migrations!("../../migrations/postgres");

/// PostgreSQL's advisory lock that keeps replicas from migrating at the same time ("whor" in ASCII).
const REPLICAS_WAIT: &str = "SELECT pg_advisory_lock(2003332978)";
const REPLICAS_GO: &str = "SELECT pg_advisory_unlock(2003332978)";

/// Applies what has not been applied.
pub(crate) fn apply(db: &mut Db) -> Result<(), StoreError> {
    use diesel::connection::SimpleConnection;
    let failed =
        |error: Box<dyn std::error::Error + Send + Sync>| StoreError::Migration(error.to_string());
    match db {
        Db::Sqlite(conn) => conn
            .run_pending_migrations(SQLITE)
            .map(drop)
            .map_err(failed),
        Db::Postgres(conn) => {
            // Another replica may be at it, and a big table takes as long as it takes.
            conn.batch_execute("SET lock_timeout = 0; SET statement_timeout = 0")?;
            conn.batch_execute(REPLICAS_WAIT)?;
            let done = conn
                .run_pending_migrations(POSTGRES)
                .map(drop)
                .map_err(failed);
            conn.batch_execute(REPLICAS_GO)?;
            done
        }
    }
}
