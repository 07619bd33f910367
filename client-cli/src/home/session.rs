//! Which server this folder belongs to, as whom, and with which tokens.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use whorl_care::ids::{AccountId, DeviceId};

use super::{Home, read_secret, write_private};
use crate::failure::Failure;

const FILE: &str = "session.json";

/// Server, account, device and tokens. The tokens go at `signout`; the rest stays, for the work that is still here.
#[derive(Clone, Serialize, Deserialize)]
pub struct Membership {
    /// The server's address, without a trailing slash.
    pub server: String,
    /// Who works here.
    pub account_id: AccountId,
    /// Their address.
    pub email: String,
    /// Their name.
    pub name: String,
    /// This device, as the server knows it.
    pub device_id: DeviceId,
    /// The tokens, while signed in.
    pub tokens: Option<Tokens>,
}

/// A session's tokens.
#[derive(Clone, Serialize, Deserialize)]
pub struct Tokens {
    /// For each request.
    pub access: String,
    /// When the access token ends, by this device's clock.
    pub access_until: DateTime<Utc>,
    /// For the next pair of tokens.
    pub refresh: String,
}

impl std::fmt::Debug for Membership {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Membership({} at {})", self.email, self.server)
    }
}

impl Home {
    /// Whom this folder belongs to; none before `join`.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if the file is damaged or others can read it.
    pub fn membership(&self) -> Result<Option<Membership>, Failure> {
        let path = self.file(FILE);
        let Some(text) = read_secret(&path)? else {
            return Ok(None);
        };
        serde_json::from_str(&text).map(Some).map_err(|_| {
            Failure::Device(format!(
                "{} is damaged; move it away and run `whorl join` again (the outbox is not in it)",
                path.display()
            ))
        })
    }

    /// Whom this folder belongs to.
    ///
    /// # Errors
    ///
    /// [`Failure::Input`] before `join`.
    pub fn member(&self) -> Result<Membership, Failure> {
        self.membership()?.ok_or_else(|| {
            Failure::input("this device belongs to no server yet; run `whorl join SERVER` first")
        })
    }

    /// Keeps it.
    ///
    /// # Errors
    ///
    /// [`Failure::Device`] if it can't be written.
    pub fn keep_membership(&self, membership: &Membership) -> Result<(), Failure> {
        let text = serde_json::to_vec_pretty(membership)
            .map_err(|error| Failure::Device(error.to_string()))?;
        write_private(&self.file(FILE), &text)
    }
}
