//! Professionals' licences.

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;
use whorl_care::ids::{AccountId, LicenceId};
use whorl_care::kind::Role;

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::{account, licence};

/// One row of `licence`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = licence, treat_none_as_default_value = false)]
pub struct LicenceRow {
    /// The licence.
    #[diesel(deserialize_as = Key<LicenceId>, serialize_as = Key<LicenceId>)]
    pub id: LicenceId,
    /// Whose it is.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub account_id: AccountId,
    /// Vet or farrier.
    #[diesel(deserialize_as = Key<Role>, serialize_as = Key<Role>)]
    pub role: Role,
    /// Its number.
    pub number: String,
    /// Where it is good.
    pub jurisdiction: String,
    /// Its last day.
    pub valid_until: Option<NaiveDate>,
    /// When it was entered, in UTC.
    pub created_at: NaiveDateTime,
    /// Who looked at the paper.
    pub seen_by: Option<Key<AccountId>>,
    /// When, in UTC.
    pub seen_at: Option<NaiveDateTime>,
    /// When its holder withdrew it, in UTC.
    pub withdrawn_at: Option<NaiveDateTime>,
}

/// Adds a licence.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, row: LicenceRow) -> Result<(), StoreError> {
    diesel::insert_into(licence::table).values(row).run(db)?;
    Ok(())
}

/// One licence, with its holder's name.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn get(db: &mut Db, id: LicenceId) -> Result<(LicenceRow, String), StoreError> {
    Ok(licence::table
        .inner_join(account::table.on(account::id.eq(licence::account_id)))
        .filter(licence::id.eq(Key(id)))
        .select((licence::all_columns, account::name))
        .first_row(db)?)
}

/// The licences of these people that are not withdrawn, with their names.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn of(db: &mut Db, accounts: &[AccountId]) -> Result<Vec<(LicenceRow, String)>, StoreError> {
    let keys: Vec<String> = accounts.iter().map(ToString::to_string).collect();
    Ok(licence::table
        .inner_join(account::table.on(account::id.eq(licence::account_id)))
        .filter(licence::account_id.eq_any(keys))
        .filter(licence::withdrawn_at.is_null())
        .order(licence::id)
        .select((licence::all_columns, account::name))
        .all(db)?)
}

/// Whether somebody has a licence on record for a role that is good on that day.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn covers(
    db: &mut Db,
    account: AccountId,
    role: Role,
    on: NaiveDate,
) -> Result<bool, StoreError> {
    let found: i64 = licence::table
        .filter(licence::account_id.eq(Key(account)))
        .filter(licence::role.eq(Key(role)))
        .filter(licence::withdrawn_at.is_null())
        .filter(
            licence::valid_until
                .is_null()
                .or(licence::valid_until.ge(on)),
        )
        .count()
        .row(db)?;
    Ok(found > 0)
}

/// Notes that somebody looked at the paper.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn seen(
    db: &mut Db,
    id: LicenceId,
    by: AccountId,
    at: NaiveDateTime,
) -> Result<(), StoreError> {
    diesel::update(licence::table.find(Key(id)))
        .set((
            licence::seen_by.eq(Some(Key(by))),
            licence::seen_at.eq(Some(at)),
        ))
        .run(db)?;
    Ok(())
}

/// Withdraws a licence; one that was withdrawn before keeps its time.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn withdraw(db: &mut Db, id: LicenceId, at: NaiveDateTime) -> Result<(), StoreError> {
    diesel::update(
        licence::table
            .find(Key(id))
            .filter(licence::withdrawn_at.is_null()),
    )
    .set(licence::withdrawn_at.eq(Some(at)))
    .run(db)?;
    Ok(())
}

/// Every licence that somebody ever entered, withdrawn ones too.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn ever_of(db: &mut Db, account: AccountId) -> Result<Vec<(LicenceRow, String)>, StoreError> {
    Ok(licence::table
        .inner_join(account::table.on(account::id.eq(licence::account_id)))
        .filter(licence::account_id.eq(Key(account)))
        .order(licence::id)
        .select((licence::all_columns, account::name))
        .all(db)?)
}
