//! The one place that asks the machine for the time.

use std::fmt;
use std::sync::Arc;

use chrono::{DateTime, SubsecRound, Utc};

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
}

impl fmt::Debug for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Clock")
    }
}
