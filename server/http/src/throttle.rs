//! How long to wait after failed attempts: by account and network, and by device for those that the account knows.
//!
//! An attempt is counted before the password is looked at, and forgiven when it fits: many guesses at once can't slip
//! through together. A device that belongs to the account has a count of its own, so that nobody can lock its person
//! out by guessing from elsewhere.

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use whorl_care::ids::{AccountId, DeviceId};
use whorl_contract::key::Hash;
use whorl_store::throttle::{self, ThrottleRow};
use whorl_store::{Db, StoreError};

use crate::network::Network;
use crate::text::Email;

/// No single wait between two attempts is longer, in seconds.
const LONGEST_WAIT: i64 = 900;

/// What the failures of something lead to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Terms {
    /// So many failures cost no wait.
    free: i64,
    /// After so many in a row it is closed until they are forgotten (NIST SP 800-63B-4, 3.2.2: at most 100).
    most: i64,
    /// Failures are forgotten after so long without another.
    forgotten_after: TimeDelta,
}

const PERSON: Terms = Terms {
    free: 5,
    most: 100,
    forgotten_after: TimeDelta::days(30),
};

/// Many people can share a network, so it gets more patience and is never closed.
const NEIGHBOURHOOD: Terms = Terms {
    free: 20,
    most: i64::MAX,
    forgotten_after: TimeDelta::days(1),
};

/// Accounts opened from one network are counted as failures are, and never forgiven.
const OPENINGS: Terms = Terms {
    free: 100,
    ..NEIGHBOURHOOD
};

/// Something whose attempts are counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Bucket {
    key: String,
    terms: Terms,
}

impl Bucket {
    /// Sign-ins to the account of an address from anywhere but its own devices; the address need not have one.
    pub(crate) fn address(email: &Email) -> Self {
        // Hashed: people mistype passwords into this field.
        let hash = Hash::of(&[b"whorl/address/1\0", email.as_str().as_bytes()]);
        Self::new(format!("address:{hash}"), PERSON)
    }

    /// Sign-ins from a network.
    pub(crate) fn network(network: Network) -> Self {
        Self::new(format!("network:{network}"), NEIGHBOURHOOD)
    }

    /// Sign-ins from a device that the account knows.
    pub(crate) fn device(device: DeviceId) -> Self {
        Self::new(format!("device:{device}"), PERSON)
    }

    /// Passwords given once more by somebody who is signed in.
    pub(crate) fn confirmation(account: AccountId) -> Self {
        Self::new(format!("confirmation:{account}"), PERSON)
    }

    /// Codes of invitations tried by somebody who is signed in.
    pub(crate) fn codes(account: AccountId) -> Self {
        Self::new(format!("codes:{account}"), PERSON)
    }

    /// Accounts opened from a network.
    pub(crate) fn openings(network: Network) -> Self {
        Self::new(format!("openings:{network}"), OPENINGS)
    }

    fn new(key: String, terms: Terms) -> Self {
        Self { key, terms }
    }

    /// What it is counted under.
    pub(crate) fn key(&self) -> &str {
        &self.key
    }

    /// How many failures count, and how many seconds are left to wait.
    fn standing(&self, row: Option<&ThrottleRow>, now: NaiveDateTime) -> (i64, i64) {
        let Some(row) = row else { return (0, 0) };
        let forgotten_at = row.last_failed_at + self.terms.forgotten_after;
        if now >= forgotten_at {
            return (0, 0);
        }
        let until = if row.failures >= self.terms.most {
            forgotten_at
        } else if row.failures >= self.terms.free {
            let doublings = u32::try_from(row.failures - self.terms.free).unwrap_or(u32::MAX);
            let wait = 1_i64.checked_shl(doublings.min(62)).unwrap_or(i64::MAX);
            row.last_failed_at + TimeDelta::seconds(wait.min(LONGEST_WAIT))
        } else {
            return (row.failures, 0);
        };
        let left = until - now;
        // Rounded up, so that who waits as told doesn't come too early.
        let seconds = left.num_seconds() + i64::from(left.subsec_nanos() > 0);
        (row.failures, seconds.max(0))
    }
}

/// Whether an attempt may be made, or after how many seconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Gate {
    /// It may; it is counted.
    Open,
    /// It may not yet.
    WaitFor(u64),
}

/// Looks, without counting: spares a flood the cost of a write.
pub(crate) fn look(
    db: &mut Db,
    buckets: &[Bucket],
    now: DateTime<Utc>,
) -> Result<Gate, StoreError> {
    let keys: Vec<String> = buckets.iter().map(|bucket| bucket.key.clone()).collect();
    let rows = throttle::of(db, &keys)?;
    let wait = buckets.iter().map(|bucket| {
        let row = rows.iter().find(|row| row.key == bucket.key);
        bucket.standing(row, now.naive_utc()).1
    });
    Ok(gate(wait.max().unwrap_or(0)))
}

/// Counts an attempt as failed until it is [`forgiven`], if it may be made. To be run in a write.
pub(crate) fn attempt(
    db: &mut Db,
    buckets: &[Bucket],
    now: DateTime<Utc>,
) -> Result<Gate, StoreError> {
    let now = now.naive_utc();
    let mut sorted: Vec<&Bucket> = buckets.iter().collect();
    sorted.sort_by(|a, b| a.key.cmp(&b.key));
    let mut counted = Vec::with_capacity(sorted.len());
    let mut longest = 0;
    for bucket in sorted {
        let row = throttle::lock(db, &bucket.key, now)?;
        let (failures, wait) = bucket.standing(Some(&row), now);
        longest = longest.max(wait);
        counted.push(ThrottleRow {
            key: row.key,
            failures: failures + 1,
            last_failed_at: now,
        });
    }
    if longest == 0 {
        for row in &counted {
            throttle::set(db, row)?;
        }
    }
    Ok(gate(longest))
}

/// Takes an attempt back that was right: a person's failures in a row are over, a neighbourhood's are one less.
pub(crate) fn forgiven(db: &mut Db, buckets: &[Bucket]) -> Result<(), StoreError> {
    for bucket in buckets {
        if bucket.terms == PERSON {
            throttle::forget(db, &bucket.key)?;
        } else {
            throttle::forgive(db, &bucket.key)?;
        }
    }
    Ok(())
}

/// Forgets what no longer counts.
pub(crate) fn sweep(db: &mut Db, now: DateTime<Utc>) -> Result<usize, StoreError> {
    throttle::sweep(db, now.naive_utc() - PERSON.forgotten_after)
}

fn gate(wait: i64) -> Gate {
    match u64::try_from(wait) {
        Ok(0) | Err(_) => Gate::Open,
        Ok(seconds) => Gate::WaitFor(seconds),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn waits(bucket: &Bucket, failures: i64, after: TimeDelta) -> i64 {
        let at = DateTime::UNIX_EPOCH.naive_utc();
        let row = ThrottleRow {
            key: bucket.key.clone(),
            failures,
            last_failed_at: at,
        };
        bucket.standing(Some(&row), at + after).1
    }

    fn address() -> Bucket {
        Bucket::address(&Email::read("", "wren@saltmarsh.example").expect("an address"))
    }

    #[test]
    fn five_are_free_then_the_wait_doubles_to_a_quarter_of_an_hour() {
        let bucket = address();
        let expected = [
            (0, 0),
            (4, 0),
            (5, 1),
            (6, 2),
            (7, 4),
            (14, 512),
            (15, 900),
            (99, 900),
        ];
        for (failures, seconds) in expected {
            assert_eq!(
                waits(&bucket, failures, TimeDelta::zero()),
                seconds,
                "{failures}"
            );
        }
        assert_eq!(waits(&bucket, 14, TimeDelta::milliseconds(500)), 512);
        assert_eq!(waits(&bucket, 14, TimeDelta::seconds(512)), 0);
    }

    #[test]
    fn after_a_hundred_in_a_row_it_is_closed_until_they_are_forgotten() {
        let bucket = address();
        let month = TimeDelta::days(30);
        assert_eq!(waits(&bucket, 100, TimeDelta::zero()), month.num_seconds());
        assert_eq!(waits(&bucket, 100, month - TimeDelta::seconds(1)), 1);
        assert_eq!(waits(&bucket, 100, month), 0);
    }

    #[test]
    fn a_network_gets_more_patience_and_is_never_closed() {
        let bucket = Bucket::network(Network::of("203.0.113.7".parse().expect("an address")));
        assert_eq!(waits(&bucket, 19, TimeDelta::zero()), 0);
        assert_eq!(waits(&bucket, 20, TimeDelta::zero()), 1);
        assert_eq!(waits(&bucket, 1_000_000, TimeDelta::zero()), 900);
        assert_eq!(waits(&bucket, 1_000_000, TimeDelta::days(1)), 0);
    }

    #[test]
    fn an_address_is_kept_as_a_hash_in_its_one_spelling() {
        let other = Bucket::address(&Email::read("", "Wren@Saltmarsh.EXAMPLE").expect("one"));
        assert_eq!(address(), other);
        assert!(!address().key.contains("wren"));
    }
}
