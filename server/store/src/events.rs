//! The log: events in each horse's own sequence. Append only.

use std::collections::HashSet;

use chrono::NaiveDateTime;
use diesel::backend::Backend;
use diesel::deserialize::{self, FromStaticSqlRow};
use diesel::prelude::*;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
use whorl_care::kind::Kind;

use crate::connection::{Db, Statement, on_each};
use crate::error::StoreError;
use crate::few::by_keys;
use crate::folded;
use crate::key::Key;
use crate::lots;
use crate::schema::event;

/// One row of `event`: exact texts as they were received, and what queries need of them.
#[derive(Clone, Debug, PartialEq, Selectable, Insertable)]
#[diesel(table_name = event, treat_none_as_default_value = false)]
pub struct EventRow {
    /// The horse.
    #[diesel(serialize_as = Key<HorseId>)]
    pub horse_id: HorseId,
    /// Its place in the horse's log, from 1 without a gap.
    pub seq: i64,
    /// The event's own id.
    #[diesel(serialize_as = Key<EventId>)]
    pub id: EventId,
    /// What it records.
    #[diesel(serialize_as = Key<Kind>)]
    pub kind: Kind,
    /// When it happened, in UTC.
    pub performed_at: NaiveDateTime,
    /// Who wrote it down.
    #[diesel(serialize_as = Key<AccountId>)]
    pub author_id: AccountId,
    /// The device that signed.
    #[diesel(serialize_as = Key<DeviceId>)]
    pub device_id: DeviceId,
    /// The event that it amends, retracts or countersigns, as text.
    pub target_id: Option<String>,
    /// When the server took it, in UTC.
    pub received_at: NaiveDateTime,
    /// The envelope as it was received; `folded.rs` says how it is kept.
    pub envelope: String,
    /// The content as it was received; null once it was erased.
    pub content: Option<String>,
    /// The salt; null once the content was erased.
    pub salt: Option<Vec<u8>>,
    /// The author's signature.
    pub signature: Vec<u8>,
    /// The chain's head after this event.
    pub head: Vec<u8>,
    /// Whether it decides how later events are judged.
    pub shapes: bool,
}

/// The columns of `event`, in their order.
type Columns = (
    Key<HorseId>,
    i64,
    Key<EventId>,
    Key<Kind>,
    NaiveDateTime,
    Key<AccountId>,
    Key<DeviceId>,
    Option<String>,
    NaiveDateTime,
    String,
    Option<String>,
    Option<Vec<u8>>,
    Vec<u8>,
    Vec<u8>,
    bool,
);

impl<ST, DB: Backend> Queryable<ST, DB> for EventRow
where
    Columns: FromStaticSqlRow<ST, DB>,
{
    type Row = Columns;

    fn build(row: Columns) -> deserialize::Result<Self> {
        let mut row = Self {
            horse_id: row.0.0,
            seq: row.1,
            id: row.2.0,
            kind: row.3.0,
            performed_at: row.4,
            author_id: row.5.0,
            device_id: row.6.0,
            target_id: row.7,
            received_at: row.8,
            envelope: row.9,
            content: row.10,
            salt: row.11,
            signature: row.12,
            head: row.13,
            shapes: row.14,
        };
        row.envelope = folded::unfold(&row);
        Ok(row)
    }
}

/// Adds rows. The caller holds the lock of each horse and has given them the next places.
///
/// # Errors
///
/// [`StoreError::Conflict`] if a place or an id is taken: a fault of the caller's.
pub fn append(db: &mut Db, rows: Vec<EventRow>) -> Result<(), StoreError> {
    if rows.is_empty() {
        return Ok(());
    }
    lots::note(db, &rows)?;
    let fold = |mut row: EventRow| {
        row.envelope = kept_envelope(&row);
        row
    };
    let mut rows: Vec<EventRow> = rows.into_iter().map(fold).collect();
    match db {
        // Prepared anew each time, unlike the statement for one row, but a trip for each would take longer.
        Db::Postgres(conn) if rows.len() > 1 => {
            while !rows.is_empty() {
                let later = rows.split_off(rows.len().min(ROWS_OF_A_TRIP));
                diesel::insert_into(event::table)
                    .values(std::mem::replace(&mut rows, later))
                    .execute(conn)?;
            }
        }
        db => on_each!(db, |conn| {
            for row in rows {
                diesel::insert_into(event::table)
                    .values(row)
                    .execute(conn)?;
            }
        }),
    }
    Ok(())
}

/// So many rows go to PostgreSQL in one statement.
const ROWS_OF_A_TRIP: usize = 100;

/// A row's envelope as the table holds it: for the load tool, which writes rows beside the store to see how fast it could be.
#[must_use]
pub fn kept_envelope(row: &EventRow) -> String {
    folded::fold(row)
}

/// Those of `ids` that are in the log, of whatever horse.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn by_ids(db: &mut Db, ids: &[EventId]) -> Result<Vec<EventRow>, StoreError> {
    by_keys(
        db,
        ids,
        |db, key| event::table.filter(event::id.eq(key)).all(db),
        |db, keys| event::table.filter(event::id.eq_any(keys)).all(db),
    )
}

/// The events of one horse with `after < seq <= until`, in order, at most `limit`.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn range(
    db: &mut Db,
    horse: HorseId,
    after: i64,
    until: i64,
    limit: i64,
) -> Result<Vec<EventRow>, StoreError> {
    Ok(event::table
        .filter(event::horse_id.eq(Key(horse)))
        .filter(event::seq.gt(after))
        .filter(event::seq.le(until))
        .order(event::seq)
        .limit(limit)
        .all(db)?)
}

/// The events of a horse after a place that an account's devices signed, the first `limit` of them.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn signed_by(
    db: &mut Db,
    horse: HorseId,
    author: AccountId,
    after: i64,
    limit: i64,
) -> Result<Vec<EventRow>, StoreError> {
    Ok(event::table
        .filter(event::horse_id.eq(Key(horse)))
        .filter(event::author_id.eq(Key(author)))
        .filter(event::seq.gt(after))
        .order(event::seq)
        .limit(limit)
        .all(db)?)
}

/// The events of one horse that decide how later ones are judged, in order.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn that_shape(db: &mut Db, horse: HorseId) -> Result<Vec<EventRow>, StoreError> {
    Ok(event::table
        .filter(event::horse_id.eq(Key(horse)))
        .filter(event::shapes)
        .order(event::seq)
        .all(db)?)
}

/// The chain's head after `seq` events; `None` if the log is shorter.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn head_at(db: &mut Db, horse: HorseId, seq: i64) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(event::table
        .find((Key(horse), seq))
        .select(event::head)
        .first_row(db)
        .optional()?)
}

/// Which part of a horse's log a page of history shows.
#[derive(Clone, Debug, Default)]
pub struct Window {
    /// Events up to this place.
    pub until_seq: i64,
    /// Only these kinds, none of them if empty; what is about no other event, if nothing is said.
    pub kinds: Option<Vec<Kind>>,
    /// Only what happened at or after this instant (UTC).
    pub from: Option<NaiveDateTime>,
    /// Only what happened before this instant (UTC).
    pub before: Option<NaiveDateTime>,
    /// Only what sorts after this: the last entry of the page before.
    pub cursor: Option<(NaiveDateTime, i64)>,
}

/// One page of a horse's events, the latest first by when they happened.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn page(
    db: &mut Db,
    horse: HorseId,
    window: &Window,
    limit: i64,
) -> Result<Vec<EventRow>, StoreError> {
    // Not by the column itself, or SQLite would walk the log by place and sort all of it for each page; `event_by_day` has the order.
    let mut query = event::table
        .filter(event::horse_id.eq(Key(horse)))
        .filter((event::seq + 0_i64).le(window.until_seq))
        .into_boxed();
    query = match &window.kinds {
        Some(kinds) => {
            let kinds: Vec<&str> = kinds.iter().map(|kind| kind.code()).collect();
            query.filter(event::kind.eq_any(kinds))
        }
        None => query.filter(event::target_id.is_null()),
    };
    if let Some(from) = window.from {
        query = query.filter(event::performed_at.ge(from));
    }
    if let Some(before) = window.before {
        query = query.filter(event::performed_at.lt(before));
    }
    if let Some((at, seq)) = window.cursor {
        query = query.filter(
            event::performed_at
                .lt(at)
                .or(event::performed_at.eq(at).and(event::seq.lt(seq))),
        );
    }
    Ok(query
        .order((event::performed_at.desc(), event::seq.desc()))
        .limit(limit)
        .load(db)?)
}

/// The amendments, retractions and countersignatures of `targets`, which are all of one horse, in the order of the log.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn upon(
    db: &mut Db,
    horse: HorseId,
    targets: &[EventId],
    until_seq: i64,
) -> Result<Vec<EventRow>, StoreError> {
    // All that is said about events of one horse is little, and this statement stays prepared, however many are asked for.
    let mut rows: Vec<EventRow> = event::table
        .filter(event::horse_id.eq(Key(horse)))
        .filter(event::shapes)
        .filter(event::target_id.is_not_null())
        .filter(event::seq.le(until_seq))
        .order(event::seq)
        .all(db)?;
    let targets: HashSet<String> = targets.iter().map(ToString::to_string).collect();
    rows.retain(|row| {
        row.target_id
            .as_ref()
            .is_some_and(|id| targets.contains(id))
    });
    Ok(rows)
}

/// Takes the contents and salts at these places of a horse's log away for good.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn erase(db: &mut Db, horse: HorseId, places: &[i64]) -> Result<(), StoreError> {
    diesel::update(
        event::table
            .filter(event::horse_id.eq(Key(horse)))
            .filter(event::seq.eq_any(places)),
    )
    .set((
        event::content.eq(None::<String>),
        event::salt.eq(None::<Vec<u8>>),
    ))
    .run(db)?;
    Ok(())
}

/// The horses that have an entry of one of these kinds of which the content was erased.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn horses_with_erased(db: &mut Db, kinds: &[Kind]) -> Result<Vec<HorseId>, StoreError> {
    let kinds: Vec<&str> = kinds.iter().map(|kind| kind.code()).collect();
    let horses: Vec<Key<HorseId>> = event::table
        .filter(event::content.is_null())
        .filter(event::kind.eq_any(kinds))
        .select(event::horse_id)
        .distinct()
        .all(db)?;
    Ok(horses.into_iter().map(|horse| horse.0).collect())
}

/// The events of these kinds of several horses, horse by horse in order.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn of_kinds(
    db: &mut Db,
    horses: &[HorseId],
    kinds: &[Kind],
) -> Result<Vec<EventRow>, StoreError> {
    let horses: Vec<String> = horses.iter().map(ToString::to_string).collect();
    let kinds: Vec<&str> = kinds.iter().map(|kind| kind.code()).collect();
    Ok(event::table
        .filter(event::horse_id.eq_any(horses))
        .filter(event::kind.eq_any(kinds))
        .order((event::horse_id, event::seq))
        .all(db)?)
}

/// The events of one horse up to a place whose content names an attachment, in order. `sha256` is its hash in
/// hexadecimal.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn naming(
    db: &mut Db,
    horse: HorseId,
    sha256: &str,
    until_seq: i64,
) -> Result<Vec<EventRow>, StoreError> {
    // 64 hexadecimal digits stand nowhere by chance; quotes keep a part of a longer text from counting.
    Ok(event::table
        .filter(event::horse_id.eq(Key(horse)))
        .filter(event::seq.le(until_seq))
        .filter(event::content.like(format!("%\"{sha256}\"%")))
        .order(event::seq)
        .all(db)?)
}
