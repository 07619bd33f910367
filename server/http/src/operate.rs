//! What an operator does from the shell, beside the running server.

use whorl_store::{StoreError, accounts, throttle};

use crate::state::State;
use crate::text::Email;
use crate::throttle::Bucket;

/// Why it wasn't done.
#[derive(Debug, thiserror::Error)]
pub enum NotDone {
    /// There is no account with that address.
    #[error("there is no account with the address {0}")]
    NoAccount(String),
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Marks the account of an address as the operator's; answers its person's name. Blocks.
///
/// # Errors
///
/// [`NotDone`].
pub fn make_operator(state: &State, email: &str) -> Result<String, NotDone> {
    let address = address(email)?;
    let wanted = email.to_owned();
    state.store.write(move |db| {
        let account = accounts::by_email(db, address.as_str())?;
        let account = account.ok_or(NotDone::NoAccount(wanted))?;
        accounts::make_operator(db, account.id)?;
        Ok(account.name)
    })
}

/// Forgets the wrong passwords for an address. Blocks.
///
/// # Errors
///
/// [`NotDone`].
pub fn unlock(state: &State, email: &str) -> Result<(), NotDone> {
    let address = address(email)?;
    let wanted = email.to_owned();
    state.store.write(move |db| {
        let account = accounts::by_email(db, address.as_str())?;
        let account = account.ok_or(NotDone::NoAccount(wanted))?;
        for bucket in [Bucket::address(&address), Bucket::confirmation(account.id)] {
            throttle::forget(db, bucket.key())?;
        }
        Ok(())
    })
}

fn address(email: &str) -> Result<Email, NotDone> {
    Email::read("", email).map_err(|_| NotDone::NoAccount(email.to_owned()))
}
