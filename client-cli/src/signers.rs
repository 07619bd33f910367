//! The devices whose signatures stand in the logs. The first key seen for a device is the one that counts.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use whorl_care::ids::{AccountId, DeviceId};
use whorl_contract::key::PublicKey;
use whorl_contract::sync::Signer;

use crate::failure::Failure;
use crate::schema::signer;
use crate::stored::{At, Stored};

/// Every known device.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn all(conn: &mut SqliteConnection) -> Result<BTreeMap<DeviceId, Signer>, Failure> {
    type Row = (
        Stored<DeviceId>,
        Stored<PublicKey>,
        Stored<AccountId>,
        String,
    );
    let rows: Vec<Row> = signer::table
        .select((
            signer::device_id,
            signer::public_key,
            signer::account_id,
            signer::name,
        ))
        .load(conn)?;
    let signers = rows
        .into_iter()
        .map(|(device, public_key, account_id, name)| {
            let signer = Signer {
                device_id: device.0,
                public_key: public_key.0,
                account_id: account_id.0,
                name,
            };
            (device.0, signer)
        });
    Ok(signers.collect())
}

/// Adds a device; for a known one only its person's name is brought up to date.
///
/// # Errors
///
/// [`Failure::Device`] if it can't be written.
pub fn add(conn: &mut SqliteConnection, new: &Signer, now: DateTime<Utc>) -> Result<(), Failure> {
    diesel::insert_into(signer::table)
        .values((
            signer::device_id.eq(Stored(new.device_id)),
            signer::public_key.eq(Stored(new.public_key)),
            signer::account_id.eq(Stored(new.account_id)),
            signer::name.eq(&new.name),
            signer::first_seen_at.eq(Stored(At(now))),
        ))
        .on_conflict(signer::device_id)
        .do_update()
        .set(signer::name.eq(&new.name))
        .execute(conn)?;
    Ok(())
}

/// The name of a person, as some device of theirs was introduced.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn name_of(conn: &mut SqliteConnection, account: AccountId) -> Result<Option<String>, Failure> {
    Ok(signer::table
        .filter(signer::account_id.eq(Stored(account)))
        .select(signer::name)
        .order(signer::first_seen_at.desc())
        .first(conn)
        .optional()?)
}
