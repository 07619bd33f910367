//! Horses: where each stands, whose it is, and the head of its log.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, BarnId, HorseId};

use crate::connection::Db;
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::horse;

/// One row of `horse`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = horse, treat_none_as_default_value = false)]
pub struct HorseRow {
    /// The horse.
    #[diesel(deserialize_as = Key<HorseId>, serialize_as = Key<HorseId>)]
    pub id: HorseId,
    /// Where it stands.
    #[diesel(deserialize_as = Key<BarnId>, serialize_as = Key<BarnId>)]
    pub barn_id: BarnId,
    /// Whose it is.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub owner_id: AccountId,
    /// The number of events in its log.
    pub head_seq: i64,
    /// The chain's head after them.
    pub head: Vec<u8>,
    /// When its log was opened, in UTC.
    pub created_at: NaiveDateTime,
}

/// Adds a horse.
///
/// # Errors
///
/// [`StoreError::Conflict`] if the id is taken.
pub fn add(db: &mut Db, row: HorseRow) -> Result<(), StoreError> {
    diesel::insert_into(horse::table).values(row).execute(db)?;
    Ok(())
}

/// One horse.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn get(db: &mut Db, id: HorseId) -> Result<HorseRow, StoreError> {
    Ok(horse::table.find(Key(id)).first(db)?)
}

/// Locks those of `ids` that there are until the transaction ends, always in the order of their ids, so that two
/// writes never wait for each other. SQLite's one writer holds the lock already.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn lock(db: &mut Db, ids: &[HorseId]) -> Result<Vec<HorseRow>, StoreError> {
    let keys: Vec<String> = ids.iter().map(ToString::to_string).collect();
    let wanted = horse::table.filter(horse::id.eq_any(keys)).order(horse::id);
    Ok(match db {
        Db::Postgres(conn) => wanted.for_update().load(conn)?,
        Db::Sqlite(conn) => wanted.load(conn)?,
    })
}

/// Notes where the log stands after an append. The caller holds the lock.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn set_head(db: &mut Db, id: HorseId, seq: i64, head: &[u8]) -> Result<(), StoreError> {
    diesel::update(horse::table.find(Key(id)))
        .set((horse::head_seq.eq(seq), horse::head.eq(head.to_vec())))
        .execute(db)?;
    Ok(())
}

/// Moves a horse to another barn.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn set_barn(db: &mut Db, id: HorseId, barn: BarnId) -> Result<(), StoreError> {
    diesel::update(horse::table.find(Key(id)))
        .set(horse::barn_id.eq(Key(barn)))
        .execute(db)?;
    Ok(())
}

/// Gives a horse a new owner and a new place. The caller holds the lock.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn set_owner(
    db: &mut Db,
    id: HorseId,
    owner: AccountId,
    barn: BarnId,
) -> Result<(), StoreError> {
    diesel::update(horse::table.find(Key(id)))
        .set((horse::owner_id.eq(Key(owner)), horse::barn_id.eq(Key(barn))))
        .execute(db)?;
    Ok(())
}

/// The horses that somebody owns, or that are named, or that stand in one of these barns, by id.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn owned_named_or_in(
    db: &mut Db,
    owner: AccountId,
    named: &[HorseId],
    barns: &[BarnId],
) -> Result<Vec<HorseRow>, StoreError> {
    let named: Vec<String> = named.iter().map(ToString::to_string).collect();
    let barns: Vec<String> = barns.iter().map(ToString::to_string).collect();
    Ok(horse::table
        .filter(
            horse::owner_id
                .eq(Key(owner))
                .or(horse::id.eq_any(named))
                .or(horse::barn_id.eq_any(barns)),
        )
        .order(horse::id)
        .load(db)?)
}
