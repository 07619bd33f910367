//! Which ledger this is, and which of its lives.

use chrono::NaiveDateTime;
use diesel::dsl::{count_star, sql};
use diesel::prelude::*;
use diesel::sql_types::BigInt;
use uuid::Uuid;

use crate::connection::{Db, Statement, on_each};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::{account, held_event, horse, ledger, ledger_epoch};

/// The table has this one row.
const THE_ROW: i32 = 1;

/// A ledger at its birth.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewLedger {
    /// Identifies the server's ledger for ever.
    pub server_id: Uuid,
    /// Its first life.
    pub epoch: Uuid,
    /// The server's name, as it stands in signed heads from the first on.
    pub origin: String,
    /// When it begins, in UTC.
    pub began_at: NaiveDateTime,
}

/// Begins the ledger, unless it has begun: at the first start of the first replica.
///
/// # Errors
///
/// [`StoreError::Address`] if the database holds accounts and no ledger: what an interrupted move left; else
/// [`StoreError`] if the database fails.
pub fn begin(db: &mut Db, new: &NewLedger) -> Result<(), StoreError> {
    let row = (
        ledger::id.eq(THE_ROW),
        ledger::server_id.eq(new.server_id.to_string()),
        ledger::epoch.eq(new.epoch.to_string()),
        ledger::origin.eq(new.origin.clone()),
    );
    let begun = on_each!(db, |conn| diesel::insert_into(ledger::table)
        .values(row)
        .on_conflict_do_nothing()
        .execute(conn))?;
    if begun == 1 {
        let accounts: i64 = account::table.count().row(db)?;
        if accounts > 0 {
            return Err(StoreError::Address(
                "this database was being filled from another one, and that was not finished; do it again".into(),
            ));
        }
        diesel::insert_into(ledger_epoch::table)
            .values((
                ledger_epoch::epoch.eq(new.epoch.to_string()),
                ledger_epoch::began_at.eq(new.began_at),
                ledger_epoch::reason.eq("first start"),
            ))
            .run(db)?;
    }
    Ok(())
}

/// Begins another life of the ledger, after an older state of it came back; `place` is where, once that is known.
pub(crate) fn begin_anew(
    db: &mut Db,
    epoch: Uuid,
    began_at: NaiveDateTime,
    reason: &str,
    place: Option<&str>,
) -> Result<(), StoreError> {
    diesel::insert_into(ledger_epoch::table)
        .values((
            ledger_epoch::epoch.eq(epoch.to_string()),
            ledger_epoch::began_at.eq(began_at),
            ledger_epoch::reason.eq(reason.to_owned()),
        ))
        .run(db)?;
    diesel::update(ledger::table.find(THE_ROW))
        .set(ledger::epoch.eq(epoch.to_string()))
        .run(db)?;
    set_place(db, place)
}

/// Where the record was last served from; locked until the write ends, if it is one.
///
/// # Errors
///
/// [`StoreError::NotFound`] before the first start.
pub(crate) fn lock_place(db: &mut Db) -> Result<Option<String>, StoreError> {
    let place = ledger::table.find(THE_ROW).select(ledger::place);
    Ok(match db {
        Db::Postgres(conn) => place.for_update().first(conn)?,
        Db::Sqlite(conn) => place.first(conn)?,
    })
}

/// The same, without a lock; `None` before the first start too.
pub(crate) fn place(db: &mut Db) -> Result<Option<String>, StoreError> {
    let place = ledger::table
        .find(THE_ROW)
        .select(ledger::place)
        .first_row::<Option<String>>(db)
        .optional()?;
    Ok(place.flatten())
}

/// Notes where the record is served from.
pub(crate) fn set_place(db: &mut Db, place: Option<&str>) -> Result<(), StoreError> {
    diesel::update(ledger::table.find(THE_ROW))
        .set(ledger::place.eq(place.map(str::to_owned)))
        .run(db)?;
    Ok(())
}

/// The name that stands in signed heads.
///
/// # Errors
///
/// [`StoreError::NotFound`] before the first start.
pub fn origin(db: &mut Db) -> Result<String, StoreError> {
    Ok(ledger::table
        .find(THE_ROW)
        .select(ledger::origin)
        .first_row(db)?)
}

/// Which life of the ledger this is.
///
/// # Errors
///
/// [`StoreError::NotFound`] before the first start.
pub fn epoch(db: &mut Db) -> Result<Uuid, StoreError> {
    let Key(epoch) = ledger::table
        .find(THE_ROW)
        .select(ledger::epoch)
        .first_row(db)?;
    Ok(epoch)
}

/// How much there is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Extent {
    /// Horses with a log.
    pub horses: i64,
    /// Events in all logs.
    pub events: i64,
    /// Events that wait for an owner's word.
    pub held: i64,
}

/// How much there is in all. Reads a number of each horse.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn extent(db: &mut Db) -> Result<Extent, StoreError> {
    let events = sql::<BigInt>("CAST(COALESCE(SUM(head_seq), 0) AS BIGINT)");
    let (horses, events) = horse::table.select((count_star(), events)).first_row(db)?;
    let held = held_event::table
        .filter(held_event::accepted.is_null())
        .count()
        .row(db)?;
    Ok(Extent {
        horses,
        events,
        held,
    })
}
