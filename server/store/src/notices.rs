//! Notices: who must know of which entry. Written in the transaction that appends to the log.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, EventId, HorseId, NoticeId};
use whorl_care::kind::Kind;
use whorl_care::notice::{State, Topic};

use crate::connection::{Db, Statement, on_each};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::notice;

/// One row of `notice`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = notice, treat_none_as_default_value = false)]
pub struct NoticeRow {
    /// The horse.
    #[diesel(deserialize_as = Key<HorseId>, serialize_as = Key<HorseId>)]
    pub horse_id: HorseId,
    /// The entry, or the record that is held.
    #[diesel(deserialize_as = Key<EventId>, serialize_as = Key<EventId>)]
    pub event_id: EventId,
    /// Who must know.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub account_id: AccountId,
    /// Whether it is about a record that is held.
    pub held: bool,
    /// The notice.
    #[diesel(deserialize_as = Key<NoticeId>, serialize_as = Key<NoticeId>)]
    pub id: NoticeId,
    /// The kind of the entry: whoever may not see it isn't told.
    #[diesel(deserialize_as = Key<Kind>, serialize_as = Key<Kind>)]
    pub kind: Kind,
    /// The entry's place in the log; 0 for a record that is held.
    pub seq: i64,
    /// What it is about.
    #[diesel(deserialize_as = Key<Topic>, serialize_as = Key<Topic>)]
    pub topic: Topic,
    /// How it stands.
    #[diesel(deserialize_as = Key<State>, serialize_as = Key<State>)]
    pub state: State,
    /// Rises with each change of its state, from 1.
    pub version: i64,
    /// When it was raised, in UTC.
    pub raised_at: NaiveDateTime,
    /// When its state last changed, in UTC.
    pub changed_at: NaiveDateTime,
    /// When its reader marked it as read, in UTC; none again after a change.
    pub read_at: Option<NaiveDateTime>,
}

/// Adds notices; those that are there already stay as they are.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, rows: Vec<NoticeRow>) -> Result<(), StoreError> {
    on_each!(db, |conn| {
        for row in rows {
            diesel::insert_into(notice::table)
                .values(row)
                .on_conflict_do_nothing()
                .execute(conn)?;
        }
    });
    Ok(())
}

/// Every notice about one of these entries or held records.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn about(
    db: &mut Db,
    horses: &[HorseId],
    events: &[EventId],
) -> Result<Vec<NoticeRow>, StoreError> {
    let horses: Vec<String> = horses.iter().map(ToString::to_string).collect();
    let events: Vec<String> = events.iter().map(ToString::to_string).collect();
    Ok(notice::table
        .filter(notice::horse_id.eq_any(horses))
        .filter(notice::event_id.eq_any(events))
        .all(db)?)
}

/// Writes how a notice stands now: its topic, state, version, and when that changed. It is unread again.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn change(db: &mut Db, row: &NoticeRow) -> Result<(), StoreError> {
    let key = (
        Key(row.horse_id),
        Key(row.event_id),
        Key(row.account_id),
        row.held,
    );
    diesel::update(notice::table.find(key))
        .set((
            notice::topic.eq(Key(row.topic)),
            notice::state.eq(Key(row.state)),
            notice::version.eq(row.version),
            notice::changed_at.eq(row.changed_at),
            notice::read_at.eq(None::<NaiveDateTime>),
        ))
        .run(db)?;
    Ok(())
}

/// Where a list goes on: what was changed last, and its id.
pub type Place = (NaiveDateTime, NoticeId);

/// Somebody's notices that are unread, or read; the latest first, at most `limit`, after a place in that order.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn page(
    db: &mut Db,
    account: AccountId,
    read: bool,
    after: Option<Place>,
    limit: i64,
) -> Result<Vec<NoticeRow>, StoreError> {
    let mut query = notice::table
        .filter(notice::account_id.eq(Key(account)))
        .into_boxed();
    query = if read {
        query.filter(notice::read_at.is_not_null())
    } else {
        query.filter(notice::read_at.is_null())
    };
    if let Some((at, id)) = after {
        query = query.filter(
            notice::changed_at
                .lt(at)
                .or(notice::changed_at.eq(at).and(notice::id.lt(Key(id)))),
        );
    }
    Ok(query
        .order((notice::changed_at.desc(), notice::id.desc()))
        .limit(limit)
        .load(db)?)
}

/// One notice of somebody's.
///
/// # Errors
///
/// [`StoreError::NotFound`] if they have no such notice.
pub fn get(db: &mut Db, account: AccountId, id: NoticeId) -> Result<NoticeRow, StoreError> {
    Ok(notice::table
        .filter(notice::account_id.eq(Key(account)))
        .filter(notice::id.eq(Key(id)))
        .first_row(db)?)
}

/// Marks one notice of somebody's, or all, as read, as far as nothing changed after `until`.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn mark_read(
    db: &mut Db,
    account: AccountId,
    one: Option<NoticeId>,
    until: NaiveDateTime,
    now: NaiveDateTime,
) -> Result<(), StoreError> {
    let unread = notice::table
        .filter(notice::account_id.eq(Key(account)))
        .filter(notice::read_at.is_null())
        .filter(notice::changed_at.le(until));
    let set = notice::read_at.eq(Some(now));
    match one {
        Some(id) => diesel::update(unread.filter(notice::id.eq(Key(id))))
            .set(set)
            .run(db)?,
        None => diesel::update(unread).set(set).run(db)?,
    };
    Ok(())
}
