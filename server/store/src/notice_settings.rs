//! What people want to be told by e-mail.

use std::collections::HashMap;

use diesel::prelude::*;
use whorl_care::ids::AccountId;
use whorl_care::notice::Letters;

use crate::connection::{Db, Statement, on_each};
use crate::error::StoreError;
use crate::key::Key;
use crate::schema::notice_setting;

/// What somebody wants to be told by e-mail.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn email(db: &mut Db, account: AccountId) -> Result<Letters, StoreError> {
    let found = of_accounts(db, &[account])?.remove(&account);
    Ok(found.unwrap_or_default())
}

/// The same for several people; whoever never chose is left out.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn of_accounts(
    db: &mut Db,
    accounts: &[AccountId],
) -> Result<HashMap<AccountId, Letters>, StoreError> {
    let accounts: Vec<String> = accounts.iter().map(ToString::to_string).collect();
    let rows: Vec<(Key<AccountId>, Key<Letters>)> = notice_setting::table
        .filter(notice_setting::account_id.eq_any(accounts))
        .all(db)?;
    Ok(rows
        .into_iter()
        .map(|(account, letters)| (account.0, letters.0))
        .collect())
}

/// Notes what somebody chose.
///
/// # Errors
///
/// [`StoreError`] if the database fails.
pub fn choose(db: &mut Db, account: AccountId, letters: Letters) -> Result<(), StoreError> {
    on_each!(db, |conn| diesel::insert_into(notice_setting::table)
        .values((
            notice_setting::account_id.eq(Key(account)),
            notice_setting::email.eq(Key(letters)),
        ))
        .on_conflict(notice_setting::account_id)
        .do_update()
        .set(notice_setting::email.eq(Key(letters)))
        .execute(conn))?;
    Ok(())
}
