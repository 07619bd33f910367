//! Readings: who read a horse's record without being its owner, folded by day.

use chrono::{NaiveDate, NaiveDateTime};
use diesel::dsl::case_when;
use diesel::prelude::*;
use diesel::upsert::excluded;
use uuid::Uuid;
use whorl_care::ids::{AccountId, HorseId};
use whorl_care::reading::{Reader, Way};

use crate::connection::{Db, Statement, on_each};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::reading;

/// One row of `reading`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = reading, treat_none_as_default_value = false)]
pub struct ReadingRow {
    /// The horse.
    #[diesel(deserialize_as = Key<HorseId>, serialize_as = Key<HorseId>)]
    pub horse_id: HorseId,
    /// The day, by UTC.
    pub day: NaiveDate,
    /// By what somebody read.
    #[diesel(deserialize_as = Key<Reader>, serialize_as = Key<Reader>)]
    pub reader: Reader,
    /// Which account, link or calendar.
    #[diesel(deserialize_as = Key<Uuid>, serialize_as = Key<Uuid>)]
    pub reader_id: Uuid,
    /// What was read.
    #[diesel(deserialize_as = Key<Way>, serialize_as = Key<Way>)]
    pub way: Way,
    /// When it was first read on that day, in UTC.
    pub first_at: NaiveDateTime,
    /// When it was last.
    pub last_at: NaiveDateTime,
    /// How often.
    pub times: i64,
}

/// Adds readings to those of the same reader, kind and day.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, rows: Vec<ReadingRow>) -> Result<(), StoreError> {
    on_each!(db, |conn| {
        for row in rows {
            diesel::insert_into(reading::table)
                .values(row)
                .on_conflict((
                    reading::horse_id,
                    reading::day,
                    reading::reader,
                    reading::reader_id,
                    reading::way,
                ))
                .do_update()
                .set((
                    reading::times.eq(reading::times + excluded(reading::times)),
                    // Several servers write, each in its own time.
                    reading::first_at.eq(case_when(
                        excluded(reading::first_at).lt(reading::first_at),
                        excluded(reading::first_at),
                    )
                    .otherwise(reading::first_at)),
                    reading::last_at.eq(case_when(
                        excluded(reading::last_at).gt(reading::last_at),
                        excluded(reading::last_at),
                    )
                    .otherwise(reading::last_at)),
                ))
                .execute(conn)?;
        }
    });
    Ok(())
}

/// Where a list goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// The day.
    pub day: NaiveDate,
    /// Who read.
    pub reader_id: Uuid,
    /// What.
    pub way: Way,
}

impl From<&ReadingRow> for Place {
    fn from(row: &ReadingRow) -> Self {
        Self {
            day: row.day,
            reader_id: row.reader_id,
            way: row.way,
        }
    }
}

/// The readings of a horse that were not over before `since`: the latest day first, at most `limit`, after a place in that
/// order.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn page(
    db: &mut Db,
    horse: HorseId,
    since: NaiveDateTime,
    after: Option<Place>,
    limit: i64,
) -> Result<Vec<ReadingRow>, StoreError> {
    let mut query = reading::table
        .filter(reading::horse_id.eq(Key(horse)))
        .filter(reading::last_at.ge(since))
        .into_boxed();
    if let Some(Place {
        day,
        reader_id,
        way,
    }) = after
    {
        let same_reader = reading::reader_id
            .eq(Key(reader_id))
            .and(reading::way.gt(Key(way)));
        let same_day = reading::reader_id.gt(Key(reader_id)).or(same_reader);
        query = query.filter(reading::day.lt(day).or(reading::day.eq(day).and(same_day)));
    }
    Ok(query
        .order((reading::day.desc(), reading::reader_id, reading::way))
        .limit(limit)
        .load(db)?)
}

/// Takes away what is of days before `day`; answers how many rows.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn sweep(db: &mut Db, day: NaiveDate) -> Result<usize, StoreError> {
    Ok(diesel::delete(reading::table.filter(reading::day.lt(day))).run(db)?)
}

/// What an account read of a horse, the earliest day first.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn by_account(
    db: &mut Db,
    horse: HorseId,
    account: AccountId,
) -> Result<Vec<ReadingRow>, StoreError> {
    Ok(reading::table
        .filter(reading::horse_id.eq(Key(horse)))
        .filter(reading::reader.eq(Key(Reader::Account)))
        .filter(reading::reader_id.eq(Key(account.0)))
        .order((reading::day, reading::way))
        .all(db)?)
}
