//! Counts of failed attempts, shared by all replicas and kept over restarts.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use diesel::upsert::excluded;

use crate::connection::{Db, Statement, on_each};
use crate::error::StoreError;
use crate::schema::throttle;

/// One row of `throttle`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = throttle)]
pub struct ThrottleRow {
    /// What is counted: an account, a network, a device.
    pub key: String,
    /// How many attempts failed, one after another.
    pub failures: i64,
    /// When the last of them was made, in UTC.
    pub last_failed_at: NaiveDateTime,
}

/// The counts of those of `keys` that have one.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn of(db: &mut Db, keys: &[String]) -> Result<Vec<ThrottleRow>, StoreError> {
    Ok(throttle::table
        .filter(throttle::key.eq_any(keys.to_vec()))
        .all(db)?)
}

/// The count of a key, begun at none if there is none, and locked until the write ends. Lock several in the order of
/// their keys.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn lock(db: &mut Db, key: &str, now: NaiveDateTime) -> Result<ThrottleRow, StoreError> {
    let none = ThrottleRow {
        key: key.to_owned(),
        failures: 0,
        last_failed_at: now,
    };
    Ok(on_each!(db, |conn| diesel::insert_into(throttle::table)
        .values(none)
        .on_conflict(throttle::key)
        .do_update()
        .set(throttle::key.eq(excluded(throttle::key)))
        .returning(throttle::all_columns)
        .get_result(conn))?)
}

/// Sets a count.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn set(db: &mut Db, row: &ThrottleRow) -> Result<(), StoreError> {
    diesel::update(throttle::table.find(row.key.clone()))
        .set((
            throttle::failures.eq(row.failures),
            throttle::last_failed_at.eq(row.last_failed_at),
        ))
        .run(db)?;
    Ok(())
}

/// Takes one failure off a count.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn forgive(db: &mut Db, key: &str) -> Result<(), StoreError> {
    diesel::update(
        throttle::table
            .find(key.to_owned())
            .filter(throttle::failures.gt(0)),
    )
    .set(throttle::failures.eq(throttle::failures - 1))
    .run(db)?;
    Ok(())
}

/// Forgets a count.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn forget(db: &mut Db, key: &str) -> Result<(), StoreError> {
    diesel::delete(throttle::table.find(key.to_owned())).run(db)?;
    Ok(())
}

/// Forgets every count whose last failure was before `before`; how many.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn sweep(db: &mut Db, before: NaiveDateTime) -> Result<usize, StoreError> {
    Ok(diesel::delete(throttle::table.filter(throttle::last_failed_at.lt(before))).run(db)?)
}
