//! Accounts: the people.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::ids::AccountId;

/// Opens an account.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"email": "wren@saltmarsh.example", "name": "Wren Halloran", "password": "tide over the grey flats", "invitation_code": null}))]
pub struct NewAccount {
    /// Where mail reaches the person; also the name to sign in with.
    #[schema(format = "email", max_length = 254)]
    pub email: String,
    /// The person's name, as it stands beside their entries.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
    /// At least 15 characters; any characters.
    #[schema(min_length = 15, max_length = 256, format = "password")]
    pub password: String,
    /// The code of an invitation, where the operator admits invited people only. It is not used up by this.
    #[serde(default)]
    pub invitation_code: Option<String>,
}

/// A person's account.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "0199f3a0-7c00-7000-8000-000000000001", "email": "wren@saltmarsh.example", "name": "Wren Halloran", "operator": false, "created_at": "2027-03-01T08:00:00Z"}))]
pub struct Account {
    /// Its id.
    pub id: AccountId,
    /// The address to sign in with.
    pub email: String,
    /// The person's name.
    pub name: String,
    /// Whether this person runs the server.
    pub operator: bool,
    /// When it was opened.
    pub created_at: DateTime<Utc>,
}

/// Changes the password.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"current": "tide over the grey flats", "new": "samphire grows by the slipway", "end_other_sessions": true}))]
pub struct PasswordChange {
    /// The password so far.
    #[schema(format = "password", max_length = 256)]
    pub current: String,
    /// The new one.
    #[schema(min_length = 15, max_length = 256, format = "password")]
    pub new: String,
    /// Whether all other sessions end.
    #[serde(default)]
    pub end_other_sessions: bool,
}

/// Sets another password where it is forgotten.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"email": "wren@saltmarsh.example", "code": "01X4-7GQM-2RTC-93KB-ZV5H-8NDE", "new": "samphire grows by the slipway"}))]
pub struct PasswordReset {
    /// The account's address.
    #[schema(format = "email", max_length = 254)]
    pub email: String,
    /// The code that the server's operator told its person; case, dashes and spaces don't matter.
    #[schema(max_length = 100)]
    pub code: String,
    /// The new password.
    #[schema(min_length = 15, max_length = 256, format = "password")]
    pub new: String,
}
