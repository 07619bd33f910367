//! What an operator does from the shell, beside the running server.

use whorl_store::sessions::{self, End};
use whorl_store::{StoreError, accounts, throttle};

use crate::password_reset;
use crate::state::State;
use crate::text::Email;
use crate::throttle::Bucket;

/// Why it wasn't done.
#[derive(Debug, thiserror::Error)]
pub enum NotDone {
    /// There is no account with that address.
    #[error("there is no account with the address {0}")]
    NoAccount(String),
    /// The account is closed.
    #[error("the account of {0} is closed; `reopen` it first")]
    Closed(String),
    /// No code can be made by this clock or key.
    #[error("no code can be made; is the machine's clock right?")]
    NoCode,
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
        let why = "account-closed";
        let ended = sessions::end_all(db, account.id, End { at, why })?;
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

/// A code by which whoever forgot an account's password sets another one, and its person's name. Blocks.
///
/// # Errors
///
/// [`NotDone`].
pub fn offer_reset(state: &State, email: &str) -> Result<(String, String), NotDone> {
    let (address, wanted) = (address(email)?, email.to_owned());
    let account = state.store.read(move |db| {
        let account = accounts::by_email(db, address.as_str())?;
        account.ok_or(NotDone::NoAccount(wanted))
    })?;
    if account.disabled_at.is_some() {
        return Err(NotDone::Closed(email.to_owned()));
    }
    let code = password_reset::code(&account, state.clock.now(), &state.keys.refresh);
    let code = code.ok_or(NotDone::NoCode)?;
    tracing::warn!(target: "security", event = "password_reset_offered", account = %account.id);
    Ok((account.name, code))
}

fn address(email: &str) -> Result<Email, NotDone> {
    Email::read("", email).map_err(|_| NotDone::NoAccount(email.to_owned()))
}
