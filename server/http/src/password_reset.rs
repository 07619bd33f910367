//! Letting somebody in again who forgot their password: the operator, once sure who asks, has a code made and tells it to them.
//!
//! Nothing is kept of a code. It is the server's mark over the account, the hash of its password and an end, so the first password
//! that is set voids it, and the operator never knows that password.

use chrono::{DateTime, TimeDelta, Utc};
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use subtle::ConstantTimeEq;
use whorl_contract::account::PasswordReset;
use whorl_store::accounts::{self, AccountRow};
use whorl_store::sessions::{self, End};

use crate::network::Network;
use crate::password::Password;
use crate::problem::{Kind, Problem};
use crate::routes::accounts::{context, known_words};
use crate::sign_in::gate;
use crate::spoken;
use crate::state::State;
use crate::text::Email;
use crate::throttle::{self, Bucket};

/// So long a code is good.
pub(crate) const GOOD_FOR: TimeDelta = TimeDelta::hours(1);

/// So long a code is: 32 bits of its end, in minutes, and 88 of the mark.
const CHARACTERS: u32 = 24;
const MARK_BITS: u32 = 88;

/// A code for an account. Whoever has it may set the account's password until it ends.
pub(crate) fn code(account: &AccountRow, now: DateTime<Utc>, secret: &[u8; 32]) -> Option<String> {
    let end = minute(now + GOOD_FOR)?;
    let bits = (u128::from(end) << MARK_BITS) | mark(account, end, secret)?;
    Some(spoken::write(bits, CHARACTERS))
}

/// Whether a code is good for an account now; takes as long wherever it differs.
fn is_good(code: &str, account: &AccountRow, now: DateTime<Utc>, secret: &[u8; 32]) -> bool {
    let good = || {
        let bits = spoken::read(code, CHARACTERS)?;
        let end = u32::try_from(bits >> MARK_BITS).ok()?;
        let given = bits & ((1 << MARK_BITS) - 1);
        let fits = given
            .to_be_bytes()
            .ct_eq(&mark(account, end, secret)?.to_be_bytes());
        Some(bool::from(fits) && minute(now)? < end)
    };
    good().unwrap_or(false)
}

fn minute(at: DateTime<Utc>) -> Option<u32> {
    u32::try_from(at.timestamp().div_euclid(60)).ok()
}

fn mark(account: &AccountRow, end: u32, secret: &[u8; 32]) -> Option<u128> {
    let mut made = Hmac::<Sha256>::new_from_slice(secret).ok()?;
    made.update(b"whorl/password-reset/1\0");
    made.update(account.id.0.as_bytes());
    made.update(&end.to_be_bytes());
    made.update(account.password_hash.as_bytes());
    let bytes = made.finalize().into_bytes();
    let first: [u8; 16] = bytes.first_chunk().copied()?;
    Some(u128::from_be_bytes(first) >> (128 - MARK_BITS))
}

/// Sets a new password by a code; every session of the account ends.
///
/// # Errors
///
/// [`Kind::Forbidden`] if address and code don't fit, whether or not there is such an account, [`Kind::Invalid`] if the password may
/// not be one, [`Kind::TooManyRequests`] after too many failures.
pub(crate) async fn redeem(
    state: &State,
    network: Network,
    asked: PasswordReset,
) -> Result<(), Problem> {
    let new = Password::read("/new", &asked.new)?;
    let place = state.hashing.queue()?;
    let now = state.clock.now();
    let failures = [Bucket::network(network)];
    let looked_at = failures.clone();
    // What can't be an address has no account, and is asked for like any other.
    let email = Email::read("/email", &asked.email).ok();
    let account = state
        .read(move |db| -> Result<Option<AccountRow>, Problem> {
            gate(throttle::look(db, &looked_at, now)?)?;
            let address = email.as_ref().map_or("", Email::as_str);
            Ok(accounts::by_email(db, address)?)
        })
        .await?
        .filter(|account| account.disabled_at.is_none())
        .filter(|account| is_good(&asked.code, account, now, &state.keys.refresh));
    let Some(account) = account else {
        // The codes are far too many to be guessed; who tries makes no more noise than this.
        let counted = state.write(move |db| -> Result<(), Problem> {
            gate(throttle::attempt(db, &failures, now)?)
        });
        counted.await?;
        tracing::warn!(target: "security", event = "password_reset_refused", %network);
        return Err(Problem::new(
            Kind::Forbidden,
            "address and code don't fit together, or the code is used or older than an hour; ask the server's operator for another",
        ));
    };
    let id = account.id;
    let words = state.read(move |db| known_words(db, id)).await?;
    place
        .may_be_new(&new, "/new", context(state, words))
        .await?;
    let hash = place.hash(&new).await?;
    let forgiven = Email::read("/email", &account.email)
        .map(|email| Bucket::address(&email))
        .into_iter()
        .chain([Bucket::confirmation(id)]);
    let forgiven: Vec<Bucket> = forgiven.collect();
    let ended = state
        .write(move |db| -> Result<usize, Problem> {
            if !accounts::set_password(db, id, &account.password_hash, hash)? {
                let said = "the password was changed elsewhere meanwhile";
                return Err(Problem::new(Kind::Conflict, said));
            }
            throttle::forgiven(db, &forgiven)?;
            let (at, why) = (now.naive_utc(), "password-reset");
            Ok(sessions::end_all(db, id, End { at, why })?)
        })
        .await?;
    tracing::warn!(target: "security", event = "password_reset", account = %id, sessions = ended, %network);
    Ok(())
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;
    use whorl_care::ids::AccountId;

    use super::*;

    const SECRET: [u8; 32] = [5; 32];

    fn account(id: u128, hash: &str) -> AccountRow {
        AccountRow {
            id: AccountId(Uuid::from_u128(id)),
            email: "wren@saltmarsh.example".to_owned(),
            name: "Wren".to_owned(),
            password_hash: hash.to_owned(),
            operator: false,
            created_at: DateTime::UNIX_EPOCH.naive_utc(),
            disabled_at: None,
        }
    }

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().expect("an instant")
    }

    #[test]
    fn a_code_is_good_for_its_account_its_password_and_an_hour() {
        let (wren, now) = (account(1, "a"), at("2027-03-04T14:20:30Z"));
        let code = code(&wren, now, &SECRET).expect("a code");
        let good = |account: &AccountRow, now: DateTime<Utc>, secret: &[u8; 32]| {
            is_good(&code, account, now, secret)
        };
        assert!(good(&wren, now, &SECRET));
        assert!(good(&wren, at("2027-03-04T15:19:59Z"), &SECRET));
        assert!(!good(&wren, at("2027-03-04T15:20:00Z"), &SECRET));
        assert!(!good(&account(2, "a"), now, &SECRET));
        assert!(!good(&account(1, "b"), now, &SECRET));
        assert!(!good(&wren, now, &[6; 32]));
    }

    #[test]
    fn a_code_with_any_bit_changed_is_none() {
        let (wren, now) = (account(1, "a"), at("2027-03-04T14:20:30Z"));
        let code = code(&wren, now, &SECRET).expect("a code");
        let bits = spoken::read(&code, CHARACTERS).expect("bits");
        assert!(is_good(
            &spoken::write(bits, CHARACTERS),
            &wren,
            now,
            &SECRET
        ));
        for bit in 0..120 {
            let changed = spoken::write(bits ^ (1 << bit), CHARACTERS);
            assert!(!is_good(&changed, &wren, now, &SECRET), "{changed}");
        }
        for wrong in ["", "0", &code[1..], &format!("{code}0")] {
            assert!(!is_good(wrong, &wren, now, &SECRET), "{wrong}");
        }
    }
}
