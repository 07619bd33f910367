//! Calendars: secret addresses under which somebody's calendar program fetches what is due.

use std::collections::HashMap;

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, BarnId, CalendarId};

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::{account, calendar};

/// One row of `calendar`.
#[derive(Clone, Debug, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = calendar, treat_none_as_default_value = false)]
pub struct CalendarRow {
    /// Identifies the calendar; it opens nothing.
    #[diesel(deserialize_as = Key<CalendarId>, serialize_as = Key<CalendarId>)]
    pub id: CalendarId,
    /// Whose it is: it shows what they may see.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub account_id: AccountId,
    /// The barn; none for what they may do anywhere.
    pub barn_id: Option<Key<BarnId>>,
    /// The hash of the secret in its address.
    pub token_hash: Vec<u8>,
    /// When it was made, in UTC.
    pub created_at: NaiveDateTime,
    /// When it was revoked, in UTC.
    pub revoked_at: Option<NaiveDateTime>,
}

/// Adds a calendar.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, row: CalendarRow) -> Result<(), StoreError> {
    diesel::insert_into(calendar::table).values(row).run(db)?;
    Ok(())
}

/// The calendar with this secret, unless it was revoked or its account disabled.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn by_token(db: &mut Db, token_hash: &[u8]) -> Result<CalendarRow, StoreError> {
    Ok(calendar::table
        .inner_join(account::table.on(account::id.eq(calendar::account_id)))
        .filter(calendar::token_hash.eq(token_hash.to_vec()))
        .filter(calendar::revoked_at.is_null())
        .filter(account::disabled_at.is_null())
        .select(calendar::all_columns)
        .first_row(db)?)
}

/// Whose these calendars are, revoked ones too.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn holders(
    db: &mut Db,
    ids: &[CalendarId],
) -> Result<HashMap<CalendarId, AccountId>, StoreError> {
    let ids: Vec<String> = ids.iter().map(ToString::to_string).collect();
    let rows: Vec<(Key<CalendarId>, Key<AccountId>)> = calendar::table
        .filter(calendar::id.eq_any(ids))
        .select((calendar::id, calendar::account_id))
        .all(db)?;
    Ok(rows
        .into_iter()
        .map(|(id, holder)| (id.0, holder.0))
        .collect())
}

/// The calendars of an account that were not revoked, in the order of their ids.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn of_account(db: &mut Db, account: AccountId) -> Result<Vec<CalendarRow>, StoreError> {
    Ok(calendar::table
        .filter(calendar::account_id.eq(Key(account)))
        .filter(calendar::revoked_at.is_null())
        .order(calendar::id)
        .all(db)?)
}

/// Revokes a calendar of an account; one that was revoked before stays so.
///
/// # Errors
///
/// [`StoreError::NotFound`] if the account has no such calendar.
pub fn revoke(
    db: &mut Db,
    account: AccountId,
    id: CalendarId,
    at: NaiveDateTime,
) -> Result<(), StoreError> {
    let theirs = calendar::table
        .find(Key(id))
        .filter(calendar::account_id.eq(Key(account)));
    let row: CalendarRow = theirs.first_row(db)?;
    if row.revoked_at.is_none() {
        diesel::update(calendar::table.find(Key(id)))
            .set(calendar::revoked_at.eq(Some(at)))
            .run(db)?;
    }
    Ok(())
}
