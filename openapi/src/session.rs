//! Sessions and devices: who is signed in, where, and with which signing key.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::ids::{DeviceId, SessionId};

use crate::account::Account;
use crate::key::{PublicKey, Signature};

/// Signs in.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"email": "wren@saltmarsh.example", "password": "tide over the grey flats", "device": null}))]
pub struct SignIn {
    /// The account's address.
    #[schema(max_length = 254)]
    pub email: String,
    /// The account's password.
    #[schema(format = "password", max_length = 256)]
    pub password: String,
    /// The device that will sign events; a browser has none.
    #[serde(default)]
    pub device: Option<NewDevice>,
}

/// A device and the proof that it holds its key.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewDevice {
    /// What its user calls it.
    #[schema(min_length = 1, max_length = 100)]
    pub name: String,
    /// Its Ed25519 public key. A key that is known already stays the same device.
    pub public_key: PublicKey,
    /// Ed25519 over `whorl/device/1`, a zero byte, and the e-mail address as given.
    pub proof: Signature,
}

/// A session's tokens. Keep them where only their user can read.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "session_id": "0199f3a0-7c00-7000-8000-000000000002", "access_token": "eyJ0eXAiOiJhdCtqd3QifQ.e30.c2ln", "expires_in": 600,
    "refresh_token": "wr1.0199f3a0-7c00-7000-8000-000000000002.0.bG9uZyByYW5kb20gYnl0ZXM", "device_id": null,
    "account": {"id": "0199f3a0-7c00-7000-8000-000000000001", "email": "wren@saltmarsh.example", "name": "Wren Halloran", "operator": false, "created_at": "2027-03-01T08:00:00Z"}
}))]
pub struct Session {
    /// The session's id.
    pub session_id: SessionId,
    /// Goes into `Authorization: Bearer …`.
    pub access_token: String,
    /// Seconds for which the access token is good.
    pub expires_in: u32,
    /// Good for one new pair of tokens.
    pub refresh_token: String,
    /// The device that the session is bound to.
    #[schema(required)]
    pub device_id: Option<DeviceId>,
    /// Whose session it is.
    pub account: Account,
}

/// Asks for new tokens.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"refresh_token": "wr1.0199f3a0-7c00-7000-8000-000000000002.0.bG9uZyByYW5kb20gYnl0ZXM", "signed_at": null, "proof": null}))]
pub struct Refresh {
    /// The latest refresh token that arrived.
    #[schema(max_length = 512)]
    pub refresh_token: String,
    /// When the proof was made; a device that can't reach the server for long still has to state its own time.
    #[serde(default)]
    pub signed_at: Option<DateTime<Utc>>,
    /// Ed25519 by the session's device over `whorl/refresh/1`, a zero byte, the refresh token, a line feed, and
    /// `signed_at` in seconds since 1970. Needed for a session with a device.
    #[serde(default)]
    pub proof: Option<Signature>,
}

/// The message that the proof of a [`Refresh`] signs.
#[must_use]
pub fn refresh_message(refresh_token: &str, signed_at: DateTime<Utc>) -> Vec<u8> {
    format!("{refresh_token}\n{}", signed_at.timestamp()).into_bytes()
}

/// A session, as its owner sees it in the list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "0199f3a0-7c00-7000-8000-000000000002", "device_id": null, "current": true, "created_at": "2027-03-01T08:00:00Z", "last_used_at": "2027-03-04T14:20:00Z"}))]
pub struct SessionInfo {
    /// Its id.
    pub id: SessionId,
    /// Its device, if it has one.
    #[schema(required)]
    pub device_id: Option<DeviceId>,
    /// Whether this is the session that asks.
    pub current: bool,
    /// When it began.
    pub created_at: DateTime<Utc>,
    /// When its tokens were last renewed.
    pub last_used_at: DateTime<Utc>,
}

/// A device.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "0199f3a0-7c00-7000-8000-000000000003", "name": "phone in the truck", "public_key": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo", "created_at": "2027-03-01T08:00:00Z", "revoked_at": null}))]
pub struct Device {
    /// Its id.
    pub id: DeviceId,
    /// What its user calls it.
    pub name: String,
    /// Its public key.
    pub public_key: PublicKey,
    /// When it was registered.
    pub created_at: DateTime<Utc>,
    /// When it was revoked: nothing it signs is taken after that.
    #[schema(required)]
    pub revoked_at: Option<DateTime<Utc>>,
}
