//! The devices that sign events, with their holders' names.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, DeviceId};

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::few::by_keys;
use crate::key::Key;
use crate::schema::{account, device};

/// A device, its key and its holder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SignerRow {
    /// The device.
    pub device_id: DeviceId,
    /// Its public key.
    pub public_key: Vec<u8>,
    /// When it was revoked, in UTC.
    pub revoked_at: Option<NaiveDateTime>,
    /// Whose it is.
    pub account_id: AccountId,
    /// Their name.
    pub name: String,
}

/// Those of `ids` that there are.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn by_ids(db: &mut Db, ids: &[DeviceId]) -> Result<Vec<SignerRow>, StoreError> {
    type Row = (
        Key<DeviceId>,
        Vec<u8>,
        Option<NaiveDateTime>,
        Key<AccountId>,
        String,
    );
    let signers = device::table
        .inner_join(account::table.on(account::id.eq(device::account_id)))
        .select((
            device::id,
            device::public_key,
            device::revoked_at,
            account::id,
            account::name,
        ));
    let rows: Vec<Row> = by_keys(
        db,
        ids,
        |db, key| signers.filter(device::id.eq(key)).all(db),
        |db, keys| signers.filter(device::id.eq_any(keys)).all(db),
    )?;
    Ok(rows
        .into_iter()
        .map(
            |(device, public_key, revoked_at, account, name)| SignerRow {
                device_id: device.0,
                public_key,
                revoked_at,
                account_id: account.0,
                name,
            },
        )
        .collect())
}

/// Keeps these devices as they are until the transaction ends: a revocation waits, and so has an exact place between two
/// appends. SQLite's one writer keeps them anyway.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn hold(db: &mut Db, ids: &[DeviceId]) -> Result<(), StoreError> {
    if let Db::Postgres(conn) = db {
        let keys: Vec<String> = ids.iter().map(ToString::to_string).collect();
        device::table
            .filter(device::id.eq_any(keys))
            .order(device::id)
            .select(device::id)
            .for_share()
            .execute(conn)?;
    }
    Ok(())
}
