//! Photos and documents, by horse and by the hash of their bytes.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, HorseId};

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::attachment;

/// One row of `attachment`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = attachment, treat_none_as_default_value = false)]
pub struct AttachmentRow {
    /// The horse.
    #[diesel(deserialize_as = Key<HorseId>, serialize_as = Key<HorseId>)]
    pub horse_id: HorseId,
    /// The SHA-256 of its bytes, in lower-case hexadecimal.
    pub sha256: String,
    /// Its media type.
    pub media_type: String,
    /// Its size.
    pub bytes: i64,
    /// Who brought it.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub uploaded_by: AccountId,
    /// When, in UTC.
    pub created_at: NaiveDateTime,
    /// The bytes.
    pub body: Vec<u8>,
}

/// Adds an attachment; `false` if the horse has it already.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, row: AttachmentRow) -> Result<bool, StoreError> {
    let added = crate::connection::on_each!(db, |conn| {
        diesel::insert_into(attachment::table)
            .values(row)
            .on_conflict((attachment::horse_id, attachment::sha256))
            .do_nothing()
            .execute(conn)
    })?;
    Ok(added == 1)
}

/// One attachment.
///
/// # Errors
///
/// [`StoreError::NotFound`] if the horse has none with this hash.
pub fn get(db: &mut Db, horse: HorseId, sha256: &str) -> Result<AttachmentRow, StoreError> {
    Ok(attachment::table.find((Key(horse), sha256)).first_row(db)?)
}

/// The hashes of all that a horse has.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn names(db: &mut Db, horse: HorseId) -> Result<Vec<String>, StoreError> {
    Ok(attachment::table
        .filter(attachment::horse_id.eq(Key(horse)))
        .order(attachment::sha256)
        .select(attachment::sha256)
        .all(db)?)
}

/// Takes an attachment of a horse away for good.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn remove(db: &mut Db, horse: HorseId, sha256: &str) -> Result<(), StoreError> {
    diesel::delete(attachment::table.find((Key(horse), sha256))).run(db)?;
    Ok(())
}

/// An attachment without its bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Brought {
    /// The horse.
    pub horse_id: HorseId,
    /// The SHA-256 of its bytes, in lower-case hexadecimal.
    pub sha256: String,
    /// Its media type.
    pub media_type: String,
    /// Its size in bytes.
    pub bytes: i64,
    /// When it was brought, in UTC.
    pub created_at: NaiveDateTime,
}

/// What somebody brought of a horse's attachments.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn brought_by(
    db: &mut Db,
    horse: HorseId,
    account: AccountId,
) -> Result<Vec<Brought>, StoreError> {
    let rows: Vec<(String, String, i64, NaiveDateTime)> = attachment::table
        .filter(attachment::horse_id.eq(Key(horse)))
        .filter(attachment::uploaded_by.eq(Key(account)))
        .order(attachment::sha256)
        .select((
            attachment::sha256,
            attachment::media_type,
            attachment::bytes,
            attachment::created_at,
        ))
        .all(db)?;
    let brought = rows
        .into_iter()
        .map(|(sha256, media_type, bytes, created_at)| Brought {
            horse_id: horse,
            sha256,
            media_type,
            bytes,
            created_at,
        });
    Ok(brought.collect())
}
