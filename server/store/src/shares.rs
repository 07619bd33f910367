//! Links by which a horse's history can be read without an account.

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;
use whorl_care::ids::{AccountId, HorseId, ShareId};

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::share;

/// One row of `share`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = share, treat_none_as_default_value = false)]
pub struct ShareRow {
    /// The horse.
    #[diesel(deserialize_as = Key<HorseId>, serialize_as = Key<HorseId>)]
    pub horse_id: HorseId,
    /// The link.
    #[diesel(deserialize_as = Key<ShareId>, serialize_as = Key<ShareId>)]
    pub id: ShareId,
    /// The hash of its secret.
    pub token_hash: Vec<u8>,
    /// Who made it.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub made_by: AccountId,
    /// What its maker calls it.
    pub label: Option<String>,
    /// The kinds that are kept back: their codes with commas between them. Whoever reads this must refuse a code that
    /// they don't know, else more would be seen than was meant.
    pub sealed_kinds: String,
    /// What happened before this day is kept back.
    pub sealed_before: Option<NaiveDate>,
    /// What happened after this day is kept back.
    pub sealed_after: Option<NaiveDate>,
    /// Whether the envelopes are kept back too.
    pub leaf_only: bool,
    /// When it was made, in UTC.
    pub created_at: NaiveDateTime,
    /// When it ends, in UTC.
    pub expires_at: NaiveDateTime,
    /// When it was ended before that, in UTC.
    pub revoked_at: Option<NaiveDateTime>,
    /// How often it was looked at.
    pub views: i64,
    /// When it last was, in UTC.
    pub last_seen_at: Option<NaiveDateTime>,
}

/// Adds a link.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, row: ShareRow) -> Result<(), StoreError> {
    diesel::insert_into(share::table).values(row).run(db)?;
    Ok(())
}

/// The links of a horse, in the order of their ids.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn of_horse(db: &mut Db, horse: HorseId) -> Result<Vec<ShareRow>, StoreError> {
    Ok(share::table
        .filter(share::horse_id.eq(Key(horse)))
        .order(share::id)
        .all(db)?)
}

/// One link of a horse.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn get(db: &mut Db, horse: HorseId, id: ShareId) -> Result<ShareRow, StoreError> {
    Ok(share::table.find((Key(horse), Key(id))).first_row(db)?)
}

/// The link with this secret that is in force at an instant.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none: the secret is unknown, or the link has ended.
pub fn in_force(db: &mut Db, token_hash: &[u8], at: NaiveDateTime) -> Result<ShareRow, StoreError> {
    Ok(share::table
        .filter(share::token_hash.eq(token_hash.to_vec()))
        .filter(share::revoked_at.is_null())
        .filter(share::expires_at.gt(at))
        .first_row(db)?)
}

/// Counts one more look; `false` if the link was ended meanwhile.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn count_view(
    db: &mut Db,
    horse: HorseId,
    id: ShareId,
    at: NaiveDateTime,
) -> Result<bool, StoreError> {
    let open = share::table
        .find((Key(horse), Key(id)))
        .filter(share::revoked_at.is_null());
    let changed = diesel::update(open)
        .set((
            share::views.eq(share::views + 1),
            share::last_seen_at.eq(Some(at)),
        ))
        .run(db)?;
    Ok(changed == 1)
}

/// Ends a link; one that was ended before keeps its time.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn revoke(
    db: &mut Db,
    horse: HorseId,
    id: ShareId,
    at: NaiveDateTime,
) -> Result<(), StoreError> {
    let open = share::table
        .find((Key(horse), Key(id)))
        .filter(share::revoked_at.is_null());
    diesel::update(open)
        .set(share::revoked_at.eq(Some(at)))
        .run(db)?;
    Ok(())
}

/// Ends every link of a horse, as when it is sold.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn revoke_on_horse(db: &mut Db, horse: HorseId, at: NaiveDateTime) -> Result<(), StoreError> {
    let open = share::table
        .filter(share::horse_id.eq(Key(horse)))
        .filter(share::revoked_at.is_null());
    diesel::update(open)
        .set(share::revoked_at.eq(Some(at)))
        .run(db)?;
    Ok(())
}
