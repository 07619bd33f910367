//! A database of its own for each test.

use std::path::Path;

use diesel::connection::{Connection, SimpleConnection};
use diesel::pg::PgConnection;

/// Where the tests find a PostgreSQL server in which they may make and drop schemas.
const POSTGRES: &str = "WHORL_TEST_POSTGRES_URL";

/// The kinds of databases that every test runs on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Database {
    /// A file in the test's own folder.
    Sqlite,
    /// A schema of its own on the server that `WHORL_TEST_POSTGRES_URL` names.
    Postgres,
}

/// A database that goes with its test.
#[derive(Debug)]
pub struct Own {
    url: String,
    /// What has to be dropped on PostgreSQL: the server's address and the schema.
    schema: Option<(String, String)>,
}

impl Own {
    /// Makes an empty database.
    ///
    /// # Panics
    ///
    /// If it can't be made: without PostgreSQL half of the tests would be worth nothing, so they fail.
    #[must_use]
    pub fn make(database: Database, folder: &Path) -> Self {
        match database {
            Database::Sqlite => Self {
                url: format!("sqlite://{}/whorl.db", folder.display()),
                schema: None,
            },
            Database::Postgres => {
                let server = std::env::var(POSTGRES).unwrap_or_else(|_| {
                    panic!(
                        "{POSTGRES} must name a PostgreSQL server for tests; tests/run sets one up"
                    )
                });
                let name = format!("whorl_test_{}", uuid::Uuid::now_v7().simple());
                run(&server, &format!("CREATE SCHEMA {name}"));
                let joint = if server.contains('?') { '&' } else { '?' };
                Self {
                    url: format!("{server}{joint}options=--search_path%3D{name}"),
                    schema: Some((server, name)),
                }
            }
        }
    }

    /// Its address.
    #[must_use]
    pub fn url(&self) -> &str {
        &self.url
    }
}

impl Drop for Own {
    fn drop(&mut self) {
        if let Some((server, name)) = &self.schema {
            run(server, &format!("DROP SCHEMA {name} CASCADE"));
        }
    }
}

fn run(server: &str, statement: &str) {
    #[expect(
        clippy::disallowed_methods,
        reason = "beside the store, which knows nothing of schemas for tests"
    )]
    let mut connection = PgConnection::establish(server)
        .unwrap_or_else(|error| panic!("PostgreSQL at {POSTGRES} can't be reached: {error}"));
    connection
        .batch_execute(statement)
        .unwrap_or_else(|error| panic!("{statement}: {error}"));
}
