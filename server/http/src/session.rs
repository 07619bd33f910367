//! How long sessions live, and how their refresh tokens turn.

use chrono::{DateTime, TimeDelta, Utc};
use whorl_store::sessions::Seat;

/// A session that isn't renewed for so long ends.
pub(crate) const IDLE: TimeDelta = TimeDelta::days(30);

/// Whether a session is open at `now`: not ended, not run out, its device not revoked, its account not disabled.
pub(crate) fn is_open(seat: &Seat, now: DateTime<Utc>) -> bool {
    let now = now.naive_utc();
    let session = &seat.session;
    session.ended_at.is_none()
        && now < session.ends_at
        && now < session.last_used_at + IDLE
        && seat.account.disabled_at.is_none()
        && seat
            .device
            .as_ref()
            .is_none_or(|device| device.revoked_at.is_none())
}
