//! The lives of a ledger: noticing that an older state of the database is served, so that a new epoch begins before anything is
//! written to it.
//!
//! PostgreSQL says who it is: each cluster has an identifier, and a promoted standby or a restored backup begins another timeline.
//! Both are compared at every new connection, since none outlives its server. A SQLite file says nothing, so a small
//! file outside of it, the witness, notes how far it has come; a file that has come less far than its witness was put back. The
//! witness is written after what it tells of is durable, so it never runs ahead of an unharmed file.

use std::path::PathBuf;
use std::sync::Arc;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use diesel::result::Error;
use diesel::sql_query;
use diesel::sql_types::{BigInt, Text};
use uuid::Uuid;

use crate::connection::{Db, on_each};
use crate::error::StoreError;
use crate::ledger;

/// Makes the epoch of another life and says when it begins (UTC), or why it can't.
pub type NextLife = Arc<dyn Fn() -> Result<(Uuid, NaiveDateTime), String> + Send + Sync>;

/// What a server needs to notice that it serves an older state.
#[derive(Clone)]
pub struct Lives {
    /// The witness of a SQLite file: best where a backup of the database doesn't take it along.
    pub witness: PathBuf,
    /// Makes another life.
    pub next: NextLife,
}

impl std::fmt::Debug for Lives {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Lives")
            .field("witness", &self.witness)
            .finish_non_exhaustive()
    }
}

/// How far a SQLite file has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Reached {
    /// Starts of a server on it.
    starts: i64,
    /// Entries in all its logs.
    entries: i64,
}

impl Lives {
    /// Compares where the record is with where it was, at a server's start; begins another life if it must. To be run in
    /// a write, once the ledger has begun.
    ///
    /// # Errors
    ///
    /// [`StoreError`] if the database or the witness fails.
    pub fn wake(&self, db: &mut Db) -> Result<(), StoreError> {
        if let Db::Postgres(_) = db {
            return match postgres_place(db)? {
                Some(here) => self.settle(db, &here),
                None => Ok(()),
            };
        }
        let known = ledger::lock_place(db)?;
        let witnessed = self.witnessed()?;
        let starts = known.as_deref().and_then(starts);
        let reached = Reached {
            starts: starts.unwrap_or(0),
            entries: entries(db)?,
        };
        let behind = |seen: Reached| reached.starts < seen.starts || reached.entries < seen.entries;
        let seen = witnessed.map_or(0, |seen| seen.starts);
        let here = place_of(reached.starts.max(seen) + 1);
        // A file that was never served in this place has no witness here, or that of another file.
        if known.is_none() {
            return ledger::set_place(db, Some(&here));
        }
        match witnessed {
            Some(seen) if starts.is_some() && !behind(seen) => ledger::set_place(db, Some(&here)),
            Some(_) => self.begin(db, "an older copy of the database was put back", &here),
            None => self.begin(
                db,
                "the database came from elsewhere, or its witness is gone",
                &here,
            ),
        }
    }

    /// Compares who answers a new connection to PostgreSQL with who did before.
    pub(crate) fn look(&self, db: &mut Db) -> Result<(), StoreError> {
        let Some(here) = postgres_place(db)? else {
            return Ok(());
        };
        match ledger::place(db)? {
            Some(known) if known != here => {
                db.begin_write()?;
                match self.settle(db, &here) {
                    Ok(()) => Ok(db.commit()?),
                    Err(why) => {
                        db.rollback()?;
                        Err(why)
                    }
                }
            }
            // Before the first start in this place there is nothing to compare with.
            _ => Ok(()),
        }
    }

    /// Begins another life if the record was elsewhere before; replicas that see it together wait for each other here.
    fn settle(&self, db: &mut Db, here: &str) -> Result<(), StoreError> {
        match ledger::lock_place(db)? {
            Some(known) if known == here => Ok(()),
            None => ledger::set_place(db, Some(here)),
            Some(known) => self.begin(db, &format!("{here} answers, and {known} did before"), here),
        }
    }

    fn begin(&self, db: &mut Db, reason: &str, place: &str) -> Result<(), StoreError> {
        let (epoch, began_at) = (self.next)().map_err(StoreError::Life)?;
        tracing::warn!(%epoch, reason, "a new epoch begins: devices compare their copies and give back what is missing");
        ledger::begin_anew(db, epoch, began_at, reason, Some(place))
    }

    /// Lets the witness of a SQLite file know how far it has come. PostgreSQL needs none.
    ///
    /// # Errors
    ///
    /// [`StoreError`] if the database or the witness fails.
    pub(crate) fn note(&self, db: &mut Db) -> Result<(), StoreError> {
        if let Db::Postgres(_) = db {
            return Ok(());
        }
        let Some(starts) = ledger::place(db)?.as_deref().and_then(starts) else {
            return Ok(());
        };
        let reached = Reached {
            starts,
            entries: entries(db)?,
        };
        if self.witnessed()? == Some(reached) {
            return Ok(());
        }
        let mut beside = self.witness.clone().into_os_string();
        beside.push(".new");
        let text = format!("{} {}\n", reached.starts, reached.entries);
        std::fs::write(&beside, text)
            .and_then(|()| std::fs::File::open(&beside)?.sync_all())
            .and_then(|()| std::fs::rename(&beside, &self.witness))
            .map_err(|why| self.failed(&why))
    }

    /// What the witness says; `None` if there is none, or none that can be read.
    fn witnessed(&self) -> Result<Option<Reached>, StoreError> {
        let text = match std::fs::read_to_string(&self.witness) {
            Ok(text) => text,
            Err(why) if why.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(why) => return Err(self.failed(&why)),
        };
        let mut numbers = text.split_whitespace().map(|word| word.parse().ok());
        Ok(match (numbers.next().flatten(), numbers.next().flatten()) {
            (Some(starts), Some(entries)) => Some(Reached { starts, entries }),
            _ => None,
        })
    }

    fn failed(&self, why: &std::io::Error) -> StoreError {
        StoreError::Life(format!("{}: {why}", self.witness.display()))
    }
}

fn place_of(starts: i64) -> String {
    format!("SQLite, start {starts}")
}

/// The how manieth start a place names; `None` if it is a PostgreSQL.
fn starts(place: &str) -> Option<i64> {
    place.strip_prefix("SQLite, start ")?.parse().ok()
}

#[derive(QueryableByName)]
struct Entries {
    #[diesel(sql_type = BigInt)]
    entries: i64,
}

/// How many entries a SQLite file holds: none is ever deleted, so that their rows are numbered from 1 without a gap. The sum of the
/// heads says the same and reads every horse.
fn entries(db: &mut Db) -> Result<i64, StoreError> {
    let query = sql_query("SELECT coalesce(max(rowid), 0) AS entries FROM event");
    let Entries { entries } = on_each!(db, |conn| query.get_result(conn))?;
    Ok(entries)
}

#[derive(QueryableByName)]
struct Here {
    #[diesel(sql_type = Text)]
    here: String,
}

/// Which PostgreSQL this is, and which of its timelines; `None` where it doesn't say, as compatible ones may not.
fn postgres_place(db: &mut Db) -> Result<Option<String>, StoreError> {
    // The name of the log's file begins with the timeline, from the moment of a promotion on; the control file only follows.
    let query = sql_query(
        "SELECT 'PostgreSQL ' || system_identifier || ', timeline ' || substr(pg_walfile_name(pg_current_wal_lsn()), 1, 8) \
         AS here FROM pg_control_system()",
    );
    // In a savepoint: where it fails, the transaction around it must not.
    let found: Result<Here, Error> =
        db.transaction(|db| on_each!(db, |conn| query.get_result(conn)));
    match found.map_err(StoreError::from) {
        Ok(Here { here }) => Ok(Some(here)),
        Err(StoreError::Database(why)) => {
            tracing::warn!(%why, "this PostgreSQL doesn't say who it is: a promoted standby can't be noticed");
            Ok(None)
        }
        Err(other) => Err(other),
    }
}
