//! The one place that asks the machine for the time.

use chrono::{DateTime, FixedOffset, Local};

/// The wall clock here, with its offset from UTC.
#[must_use]
#[expect(clippy::disallowed_methods, reason = "this is the clock")]
pub fn now() -> DateTime<FixedOffset> {
    Local::now().fixed_offset()
}
