//! What an operator does from the shell, beside the running server.

use whorl_store::sessions::{self, End};
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

/// Closes an account: its sessions end at once, on every server, and nobody signs in to it. What its person recorded stays.
/// Blocks.
///
/// # Errors
///
/// [`NotDone`].
pub fn close(state: &State, email: &str) -> Result<String, NotDone> {
    let (address, wanted) = (address(email)?, email.to_owned());
    let at = state.clock.now().naive_utc();
    let (account, ended) = state.store.write(move |db| {
        let account = accounts::by_email(db, address.as_str())?;
        let account = account.ok_or(NotDone::NoAccount(wanted))?;
        accounts::set_disabled(db, account.id, Some(at))?;
        let mut ended = 0;
        for session in sessions::open_of_account(db, account.id, at)? {
            let why = "account-closed";
            sessions::end(db, account.id, session.id, End { at, why })?;
            ended += 1;
        }
        Ok::<_, NotDone>((account, ended))
    })?;
    tracing::warn!(target: "security", event = "account_closed", account = %account.id, sessions = ended);
    Ok(account.name)
}

/// Opens a closed account again; its person signs in anew. Blocks.
///
/// # Errors
///
/// [`NotDone`].
pub fn reopen(state: &State, email: &str) -> Result<String, NotDone> {
    let (address, wanted) = (address(email)?, email.to_owned());
    let account = state.store.write(move |db| {
        let account = accounts::by_email(db, address.as_str())?;
        let account = account.ok_or(NotDone::NoAccount(wanted))?;
        accounts::set_disabled(db, account.id, None)?;
        Ok::<_, NotDone>(account)
    })?;
    tracing::warn!(target: "security", event = "account_reopened", account = %account.id);
    Ok(account.name)
}

fn address(email: &str) -> Result<Email, NotDone> {
    Email::read("", email).map_err(|_| NotDone::NoAccount(email.to_owned()))
}
