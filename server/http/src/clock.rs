//! The one place that asks the machine for the time.

use std::fmt;
use std::sync::Arc;

use chrono::{DateTime, SubsecRound, Utc};
use uuid::{NoContext, Timestamp, Uuid};

/// Tells the time, truncated to microseconds, since that is what PostgreSQL keeps.
#[derive(Clone)]
pub struct Clock(Arc<dyn Fn() -> DateTime<Utc> + Send + Sync>);

impl Clock {
    /// The machine's clock.
    #[must_use]
    pub fn system() -> Self {
        #[expect(
            clippy::disallowed_methods,
            reason = "the one place that asks the machine"
        )]
        Self::new(Utc::now)
    }

    /// A clock of the caller's making, for tests.
    pub fn new(tell: impl Fn() -> DateTime<Utc> + Send + Sync + 'static) -> Self {
        Self(Arc::new(tell))
    }

    /// The time now.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        (self.0)().trunc_subsecs(6)
    }

    /// A new id (UUIDv7) that sorts by this clock.
    #[must_use]
    pub fn new_id<T: From<Uuid>>(&self) -> T {
        let now = self.now();
        let seconds = u64::try_from(now.timestamp()).unwrap_or(0);
        let at = Timestamp::from_unix(NoContext, seconds, now.timestamp_subsec_nanos());
        Uuid::new_v7(at).into()
    }
}

impl fmt::Debug for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Clock")
    }
}
