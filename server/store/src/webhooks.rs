//! Webhooks: addresses of programs that are told of an account's notices.

use chrono::NaiveDateTime;
use diesel::prelude::*;
use whorl_care::ids::{AccountId, WebhookId};

use crate::connection::{Db, Statement};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::webhook;

/// One row of `webhook`.
#[derive(Clone, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = webhook, treat_none_as_default_value = false)]
pub struct WebhookRow {
    /// The webhook.
    #[diesel(deserialize_as = Key<WebhookId>, serialize_as = Key<WebhookId>)]
    pub id: WebhookId,
    /// Whose notices it is told of.
    #[diesel(deserialize_as = Key<AccountId>, serialize_as = Key<AccountId>)]
    pub account_id: AccountId,
    /// Its address.
    pub url: String,
    /// What the server's keys make its secret from.
    pub seed: Vec<u8>,
    /// The same before the last rotation.
    pub seed_before: Option<Vec<u8>>,
    /// When it was made, in UTC.
    pub created_at: NaiveDateTime,
    /// When its secret was last rotated, in UTC.
    pub rotated_at: Option<NaiveDateTime>,
    /// When it was ended, in UTC.
    pub ended_at: Option<NaiveDateTime>,
    /// Why.
    pub ended_why: Option<String>,
}

impl std::fmt::Debug for WebhookRow {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "WebhookRow({})", self.id)
    }
}

/// Adds a webhook.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn add(db: &mut Db, row: WebhookRow) -> Result<(), StoreError> {
    diesel::insert_into(webhook::table).values(row).run(db)?;
    Ok(())
}

/// The webhooks of accounts that were not ended, in the order of their ids.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn of_accounts(db: &mut Db, accounts: &[AccountId]) -> Result<Vec<WebhookRow>, StoreError> {
    let accounts: Vec<String> = accounts.iter().map(ToString::to_string).collect();
    Ok(webhook::table
        .filter(webhook::account_id.eq_any(accounts))
        .filter(webhook::ended_at.is_null())
        .order(webhook::id)
        .all(db)?)
}

/// One webhook of an account that was not ended.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn get(db: &mut Db, account: AccountId, id: WebhookId) -> Result<WebhookRow, StoreError> {
    Ok(webhook::table
        .find(Key(id))
        .filter(webhook::account_id.eq(Key(account)))
        .filter(webhook::ended_at.is_null())
        .first_row(db)?)
}

/// Gives a webhook another seed, and keeps the one that it has for a while.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn rotate(
    db: &mut Db,
    row: &WebhookRow,
    seed: Vec<u8>,
    at: NaiveDateTime,
) -> Result<(), StoreError> {
    diesel::update(webhook::table.find(Key(row.id)))
        .set((
            webhook::seed_before.eq(Some(row.seed.clone())),
            webhook::seed.eq(seed),
            webhook::rotated_at.eq(Some(at)),
        ))
        .run(db)?;
    Ok(())
}

/// Ends a webhook of an account.
///
/// # Errors
///
/// [`StoreError::NotFound`] if there is none.
pub fn end(
    db: &mut Db,
    account: AccountId,
    id: WebhookId,
    why: &str,
    at: NaiveDateTime,
) -> Result<(), StoreError> {
    get(db, account, id)?;
    diesel::update(webhook::table.find(Key(id)))
        .set((
            webhook::ended_at.eq(Some(at)),
            webhook::ended_why.eq(Some(why.to_owned())),
        ))
        .run(db)?;
    Ok(())
}
