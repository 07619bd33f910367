//! The devices that sign events, as their holders see them.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, DeviceId};

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::device;

/// One row of `device`.
#[derive(Clone, Debug, PartialEq, Queryable, Selectable, Insertable)]
#[diesel(table_name = device, treat_none_as_default_value = false)]
pub struct DeviceRow {
    /// Identifies the device.
    #[diesel(deserialize_as = Key<DeviceId>, serialize_as = Key<DeviceId>)]
    pub id: DeviceId,
    /// Whose it is.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub account_id: AccountId,
    /// What its user calls it.
    pub name: String,
    /// Its Ed25519 public key; no two devices share one, revoked or not.
    pub public_key: Vec<u8>,
    /// When it was registered, in UTC.
    pub created_at: NaiveDateTime,
    /// When it was revoked, in UTC.
    pub revoked_at: Option<NaiveDateTime>,
}

/// Registers a device.
///
/// # Errors
///
/// [`StoreError::Conflict`] if its key is registered already.
pub fn add(db: &mut Db, row: DeviceRow) -> Result<(), StoreError> {
    diesel::insert_into(device::table).values(row).run(db)?;
    Ok(())
}

/// The device with this public key, whoever's it is.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn by_key(db: &mut Db, public_key: &[u8]) -> Result<Option<DeviceRow>, StoreError> {
    Ok(device::table
        .filter(device::public_key.eq(public_key.to_vec()))
        .first_row(db)
        .optional()?)
}

/// The devices of an account, the oldest first.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn of_account(db: &mut Db, account: AccountId) -> Result<Vec<DeviceRow>, StoreError> {
    Ok(device::table
        .filter(device::account_id.eq(Key(account)))
        .order((device::created_at, device::id))
        .all(db)?)
}

/// Gives a device another name.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn rename(db: &mut Db, id: DeviceId, name: String) -> Result<(), StoreError> {
    diesel::update(device::table.find(Key(id)))
        .set(device::name.eq(name))
        .run(db)?;
    Ok(())
}

/// Revokes a device of an account; one that was revoked before keeps its time.
///
/// # Errors
///
/// [`StoreError::NotFound`] if the account has no such device.
pub fn revoke(
    db: &mut Db,
    account: AccountId,
    id: DeviceId,
    at: NaiveDateTime,
) -> Result<(), StoreError> {
    let theirs = device::table
        .find(Key(id))
        .filter(device::account_id.eq(Key(account)));
    diesel::update(theirs.filter(device::revoked_at.is_null()))
        .set(device::revoked_at.eq(Some(at)))
        .run(db)?;
    theirs
        .select(device::id)
        .first_row::<Key<DeviceId>>(db)
        .map(drop)
        .map_err(StoreError::from)
}
