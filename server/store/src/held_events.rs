//! Events that wait for an owner: recorded under a grant, pushed after its end.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, EventId, HorseId};

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::few::by_keys;
use crate::key::Key;
use crate::schema::{account, held_event};

/// One row of `held_event`.
#[derive(Clone, Debug, PartialEq, Queryable, Selectable, Insertable)]
#[diesel(table_name = held_event, treat_none_as_default_value = false)]
pub struct HeldEventRow {
    /// The event's own id.
    #[diesel(deserialize_as = Key<EventId>, serialize_as = Key<EventId>)]
    pub id: EventId,
    /// The horse.
    #[diesel(deserialize_as = Key<HorseId>, serialize_as = Key<HorseId>)]
    pub horse_id: HorseId,
    /// Who recorded it.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub author_id: AccountId,
    /// Why it is held.
    pub reason: String,
    /// When it came, in UTC.
    pub received_at: NaiveDateTime,
    /// The envelope as it was received.
    pub envelope: String,
    /// The content as it was received.
    pub content: String,
    /// The salt.
    pub salt: Vec<u8>,
    /// The author's signature.
    pub signature: Vec<u8>,
    /// The owner's word; null while it waits.
    pub accepted: Option<bool>,
    /// Who decided.
    pub decided_by: Option<String>,
    /// When, in UTC.
    pub decided_at: Option<NaiveDateTime>,
}

/// Adds a held event.
///
/// # Errors
///
/// [`StoreError::Conflict`] if it is held already.
pub fn add(db: &mut Db, row: HeldEventRow) -> Result<(), StoreError> {
    diesel::insert_into(held_event::table).values(row).run(db)?;
    Ok(())
}

/// Those of `ids` that are held or were decided on.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn by_ids(db: &mut Db, ids: &[EventId]) -> Result<Vec<HeldEventRow>, StoreError> {
    by_keys(
        db,
        ids,
        |db, key| held_event::table.filter(held_event::id.eq(key)).all(db),
        |db, keys| {
            held_event::table
                .filter(held_event::id.eq_any(keys))
                .all(db)
        },
    )
}

/// What waits on any of these horses, with the authors' names, the oldest first.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn waiting(db: &mut Db, horses: &[HorseId]) -> Result<Vec<(HeldEventRow, String)>, StoreError> {
    let keys: Vec<String> = horses.iter().map(ToString::to_string).collect();
    Ok(held_event::table
        .inner_join(account::table.on(account::id.eq(held_event::author_id)))
        .filter(held_event::horse_id.eq_any(keys))
        .filter(held_event::accepted.is_null())
        .order((held_event::received_at, held_event::id))
        .select((held_event::all_columns, account::name))
        .all(db)?)
}

/// Notes the owner's word on an event that waits; `false` if it waits no more.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn decide(
    db: &mut Db,
    id: EventId,
    accept: bool,
    by: AccountId,
    at: NaiveDateTime,
) -> Result<bool, StoreError> {
    let changed = diesel::update(
        held_event::table
            .find(Key(id))
            .filter(held_event::accepted.is_null()),
    )
    .set((
        held_event::accepted.eq(Some(accept)),
        held_event::decided_by.eq(Some(by.to_string())),
        held_event::decided_at.eq(Some(at)),
    ))
    .run(db)?;
    Ok(changed == 1)
}
