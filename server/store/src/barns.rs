//! Barns.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, BarnId};

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::few::{by_keys, each_once};
use crate::key::Key;
use crate::schema::barn;

/// One row of `barn`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = barn, treat_none_as_default_value = false)]
pub struct BarnRow {
    /// The barn.
    #[diesel(deserialize_as = Key<BarnId>, serialize_as = Key<BarnId>)]
    pub id: BarnId,
    /// Whose barn it is.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub owner_id: AccountId,
    /// Its name.
    pub name: String,
    /// Its time zone by its IANA name.
    pub time_zone: String,
    /// Where it lies.
    pub region: Option<String>,
    /// When it was opened, in UTC.
    pub created_at: NaiveDateTime,
}

/// Adds a barn.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, row: BarnRow) -> Result<(), StoreError> {
    diesel::insert_into(barn::table).values(row).run(db)?;
    Ok(())
}

/// One barn.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn get(db: &mut Db, id: BarnId) -> Result<BarnRow, StoreError> {
    Ok(barn::table.find(Key(id)).first_row(db)?)
}

/// Changes a barn's name, time zone and region.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn set(db: &mut Db, row: &BarnRow) -> Result<(), StoreError> {
    diesel::update(barn::table.find(Key(row.id)))
        .set((
            barn::name.eq(row.name.clone()),
            barn::time_zone.eq(row.time_zone.clone()),
            barn::region.eq(row.region.clone()),
        ))
        .run(db)?;
    Ok(())
}

/// The barns that somebody owns, or that are named, by id.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn owned_or_named(
    db: &mut Db,
    owner: AccountId,
    named: &[BarnId],
) -> Result<Vec<BarnRow>, StoreError> {
    let theirs = barn::table.filter(barn::owner_id.eq(Key(owner))).all(db)?;
    let named = by_ids(db, named)?;
    Ok(each_once([theirs, named], |row: &BarnRow| row.id))
}

/// Barns by their ids.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn by_ids(db: &mut Db, ids: &[BarnId]) -> Result<Vec<BarnRow>, StoreError> {
    by_keys(
        db,
        ids,
        |db, key| barn::table.find(key).all(db),
        |db, keys| {
            let wanted = barn::table.filter(barn::id.eq_any(keys));
            wanted.order(barn::id).all(db)
        },
    )
}
