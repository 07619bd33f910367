//! The people's accounts.

use std::collections::HashMap;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::AccountId;

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::{account, barn};

/// One row of `account`.
#[derive(Clone, PartialEq, Queryable, Selectable, Insertable)]
#[diesel(table_name = account, treat_none_as_default_value = false)]
pub struct AccountRow {
    /// Identifies the person's account.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub id: AccountId,
    /// The address to sign in with, in its one spelling.
    pub email: String,
    /// The person's name.
    pub name: String,
    /// The password's hash as a PHC string.
    pub password_hash: String,
    /// Whether this person runs the server.
    pub operator: bool,
    /// When it was opened, in UTC.
    pub created_at: NaiveDateTime,
    /// When it was closed to its person, in UTC.
    pub disabled_at: Option<NaiveDateTime>,
}

impl std::fmt::Debug for AccountRow {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "AccountRow({})", self.id)
    }
}

/// Opens an account.
///
/// # Errors
///
/// [`StoreError::Conflict`] if the address has one.
pub fn add(db: &mut Db, row: AccountRow) -> Result<(), StoreError> {
    diesel::insert_into(account::table).values(row).run(db)?;
    Ok(())
}

/// One account.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn get(db: &mut Db, id: AccountId) -> Result<AccountRow, StoreError> {
    Ok(account::table.find(Key(id)).first_row(db)?)
}

/// The account of an address, if there is one.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn by_email(db: &mut Db, email: &str) -> Result<Option<AccountRow>, StoreError> {
    Ok(account::table
        .filter(account::email.eq(email.to_owned()))
        .first_row(db)
        .optional()?)
}

/// Gives an account another password, unless it has changed from `from` meanwhile; whether it was changed.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn set_password(
    db: &mut Db,
    id: AccountId,
    from: &str,
    to: String,
) -> Result<bool, StoreError> {
    let changed = diesel::update(
        account::table
            .find(Key(id))
            .filter(account::password_hash.eq(from.to_owned())),
    )
    .set(account::password_hash.eq(to))
    .run(db)?;
    Ok(changed == 1)
}

/// Marks an account as the operator's.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn make_operator(db: &mut Db, id: AccountId) -> Result<(), StoreError> {
    diesel::update(account::table.find(Key(id)))
        .set(account::operator.eq(true))
        .run(db)?;
    Ok(())
}

/// Closes an account to its person from `at`, or opens it again.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn set_disabled(
    db: &mut Db,
    id: AccountId,
    at: Option<NaiveDateTime>,
) -> Result<(), StoreError> {
    diesel::update(account::table.find(Key(id)))
        .set(account::disabled_at.eq(at))
        .run(db)?;
    Ok(())
}

/// The names of accounts.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn names(db: &mut Db, ids: &[AccountId]) -> Result<HashMap<AccountId, String>, StoreError> {
    let ids: Vec<String> = ids.iter().map(ToString::to_string).collect();
    let rows: Vec<(Key<AccountId>, String)> = account::table
        .filter(account::id.eq_any(ids))
        .select((account::id, account::name))
        .all(db)?;
    Ok(rows.into_iter().map(|(id, name)| (id.0, name)).collect())
}

/// The names of the barns that an account owns.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn barn_names(db: &mut Db, id: AccountId) -> Result<Vec<String>, StoreError> {
    Ok(barn::table
        .filter(barn::owner_id.eq(Key(id)))
        .select(barn::name)
        .all(db)?)
}
