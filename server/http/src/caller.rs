//! Who is calling: the account and session behind a request's token.

use chrono::{DateTime, Utc};
use whorl_care::ids::{AccountId, DeviceId, SessionId};

/// A signed-in caller. A handler that takes one refuses everybody else.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Caller {
    /// The account.
    pub account: AccountId,
    /// The session.
    pub session: SessionId,
    /// The device that the session is bound to.
    pub device: Option<DeviceId>,
    /// Whether the account runs the server.
    pub operator: bool,
    /// When the password was last given.
    pub authenticated_at: DateTime<Utc>,
}
