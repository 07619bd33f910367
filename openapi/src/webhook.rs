//! Webhooks: a program's address that is called for each of the caller's notices, signed as the Standard Webhooks specification
//! says.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::ids::WebhookId;

/// Asks for a webhook.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"url": "https://hooks.example/whorl"}))]
pub struct NewWebhook {
    /// The address to call, on a host that the operator of the server has allowed.
    #[schema(format = "uri", max_length = 500)]
    pub url: String,
}

/// A webhook of the caller's.
///
/// Each notice is sent to it by POST: `{"type": "notice.raised", "timestamp": …, "data": the notice}`, with the headers
/// `webhook-id` (the same at each attempt), `webhook-timestamp` (Unix seconds) and `webhook-signature` (`v1,` and the
/// HMAC-SHA256 of id, timestamp and body with points between, in base64). Any answer from 200 to 299 takes it; 410 ends the
/// webhook; everything else is tried again for up to three days.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "id": "0199f3a0-7c00-7000-8000-00000000001c", "url": "https://hooks.example/whorl",
    "secret": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSwMfKQ9r8GKYo=", "created_at": "2027-03-01T08:00:00Z", "rotated_at": null
}))]
pub struct Webhook {
    /// The webhook.
    pub id: WebhookId,
    /// The address that is called.
    pub url: String,
    /// What its calls are signed with; shown once, when it is made or rotated. Null afterwards.
    #[schema(required)]
    pub secret: Option<String>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When its secret was last rotated; the one before signs as well for 24 hours.
    #[schema(required)]
    pub rotated_at: Option<DateTime<Utc>>,
}
