//! How often somebody may ask: a bucket of requests for each account, link and calendar, which fills again by the clock.
//!
//! Whoever asks is counted as what they have proved to be, and once that is known: so nobody can use up another's bucket,
//! whatever they claim and wherever they ask from, and no proxy has to be believed. Who proves nothing costs a signature or
//! a look into an index; guessing passwords and codes has waits of its own (`throttle.rs`).
//!
//! Buckets are in memory, and each replica has its own: asking another one before every request would cost more than the
//! requests that it spares. Full ones are forgotten, so there are no more of them than there was use of late.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

use chrono::{DateTime, TimeDelta, Utc};

use crate::problem::{Kind, Problem};
use crate::readings::By;
use crate::state::State;

/// Full buckets are looked for once there are so many.
const MANY: usize = 1_000;

/// How often each may ask.
///
/// By default 600 times at once and 20 times a second from then on. No device meets that which works through what it has,
/// one request after the other over a line: the first copy of two hundred horses is some dozens of requests, forty
/// vaccinations with a photo each are forty-one, and two hundred horses brought in on the barn's own network are two hundred
/// in some seconds. A loop meets it within a minute.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Allowance {
    /// So many requests at once.
    pub at_once: u32,
    /// From then on, so many a second.
    pub a_second: u32,
}

impl Allowance {
    /// How long it takes until a bucket has one request more.
    fn one(self) -> TimeDelta {
        TimeDelta::microseconds(1_000_000 / i64::from(self.a_second.max(1)))
    }

    /// How long an empty bucket takes to be full.
    fn whole(self) -> TimeDelta {
        self.one() * i32::try_from(self.at_once).unwrap_or(i32::MAX)
    }
}

/// A bucket, told by when it will be full.
#[derive(Clone, Copy, Debug)]
struct Bucket {
    full_at: DateTime<Utc>,
    /// Whether the log says already that it was empty.
    told: bool,
}

/// Whether a request may be answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Turn {
    /// It may.
    Now,
    /// There may be another after so many seconds.
    After {
        /// The seconds, rounded up: who waits as told doesn't come too early.
        seconds: u64,
        /// Whether it is the first that has to wait since the bucket was full.
        first: bool,
    },
}

/// The buckets that aren't full.
#[derive(Debug)]
pub(crate) struct Rates {
    allowance: Allowance,
    buckets: Mutex<HashMap<By, Bucket>>,
}

impl Rates {
    /// Full buckets for everybody.
    pub(crate) fn new(allowance: Allowance) -> Self {
        Self {
            allowance,
            buckets: Mutex::default(),
        }
    }

    /// Takes a request out of a bucket, if there is one in it.
    fn take(&self, by: By, now: DateTime<Utc>) -> Turn {
        let (one, whole) = (self.allowance.one(), self.allowance.whole());
        let mut buckets = self.buckets.lock().unwrap_or_else(PoisonError::into_inner);
        if buckets.len() >= MANY && buckets.len() == buckets.capacity() {
            // It would have to grow: so this costs little for each request, however many there are.
            buckets.retain(|_, bucket| !bucket.is_full(now, whole));
        }
        let full = Bucket {
            full_at: now,
            told: false,
        };
        let bucket = buckets.entry(by).or_insert(full);
        if bucket.is_full(now, whole) {
            *bucket = full;
        }
        let lacks = bucket.full_at - now + one;
        if lacks <= whole {
            bucket.full_at += one;
            return Turn::Now;
        }
        let wait = lacks - whole;
        Turn::After {
            seconds: u64::try_from(wait.num_seconds()).unwrap_or(0)
                + u64::from(wait.subsec_nanos() > 0),
            first: !std::mem::replace(&mut bucket.told, true),
        }
    }
}

impl Bucket {
    /// Whether it is full. One that lacks more than a bucket holds is of a clock that was turned back since.
    fn is_full(&self, now: DateTime<Utc>, whole: TimeDelta) -> bool {
        self.full_at <= now || self.full_at - now > whole
    }
}

/// Lets somebody ask once more.
///
/// # Errors
///
/// [`Kind::TooManyRequests`], with the seconds after which they may.
pub(crate) fn admit(state: &State, by: By) -> Result<(), Problem> {
    match state.rates.take(by, state.clock.now()) {
        Turn::Now => Ok(()),
        Turn::After { seconds, first } => {
            let (reader, id) = by.reader();
            state.metrics.limited(reader);
            if first {
                tracing::warn!(target: "security", event = "rate_limited", by = reader.code(), %id);
            }
            let said = "more requests than one may send; please wait";
            Err(Problem::new(Kind::TooManyRequests, said).retry_after(seconds))
        }
    }
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;
    use whorl_care::ids::{AccountId, ShareId};

    use super::*;

    const WREN: By = By::Account(AccountId(Uuid::from_u128(1)));
    const ROOK: By = By::Account(AccountId(Uuid::from_u128(2)));

    fn rates(at_once: u32, a_second: u32) -> Rates {
        Rates::new(Allowance { at_once, a_second })
    }

    fn after(milliseconds: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::milliseconds(milliseconds)
    }

    fn taken(rates: &Rates, by: By, at: DateTime<Utc>) -> usize {
        std::iter::repeat_with(|| rates.take(by, at))
            .take(100)
            .filter(|turn| *turn == Turn::Now)
            .count()
    }

    #[test]
    fn so_many_at_once_and_then_as_many_as_time_brings() {
        let rates = rates(10, 4);
        assert_eq!(taken(&rates, WREN, after(0)), 10);
        assert_eq!(taken(&rates, WREN, after(249)), 0);
        assert_eq!(taken(&rates, WREN, after(250)), 1);
        assert_eq!(taken(&rates, WREN, after(1_250)), 4);
        // However long nobody asks, a bucket holds no more.
        assert_eq!(taken(&rates, WREN, after(1_000_000)), 10);
    }

    #[test]
    fn who_waits_as_told_may_ask_and_the_log_is_told_once() {
        let rates = rates(1, 1);
        let wait = |first| Turn::After { seconds: 1, first };
        assert_eq!(rates.take(WREN, after(0)), Turn::Now);
        assert_eq!(rates.take(WREN, after(1)), wait(true));
        // A millisecond is left, and nobody can wait for less than a second.
        assert_eq!(rates.take(WREN, after(999)), wait(false));
        assert_eq!(rates.take(WREN, after(1_000)), Turn::Now);
        // It was full in between, so that is another time.
        assert_eq!(rates.take(WREN, after(1_001)), wait(true));
    }

    #[test]
    fn everybody_has_a_bucket_of_their_own() {
        let rates = rates(5, 1);
        let link = By::Share(ShareId(Uuid::from_u128(1)));
        for by in [WREN, ROOK, link] {
            assert_eq!(taken(&rates, by, after(0)), 5, "{by:?}");
        }
    }

    #[test]
    fn a_clock_that_jumps_back_locks_nobody_out() {
        let rates = rates(5, 1);
        let years = TimeDelta::days(3_650);
        assert_eq!(taken(&rates, WREN, after(0) + years), 5);
        assert_eq!(taken(&rates, WREN, after(0)), 5);
        assert_eq!(taken(&rates, WREN, after(0)), 0);
    }

    #[test]
    fn full_buckets_are_forgotten() {
        let rates = rates(2, 1);
        for second in 0..100_000 {
            let by = By::Account(AccountId(Uuid::from_u128(second)));
            let at = after(i64::try_from(second).expect("a number") * 10);
            assert_eq!(rates.take(by, at), Turn::Now);
        }
        let kept = rates.buckets.lock().expect("buckets").len();
        assert!(kept < 2 * MANY, "{kept}");
    }
}
