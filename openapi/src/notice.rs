//! Notices: what reaches a person without being asked for.

use chrono::{DateTime, FixedOffset, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::ids::{DeliveryId, EventId, HorseId, NoticeId, WebhookId};
use whorl_care::kind::{Kind, Role};
use whorl_care::notice::{Letters, State, Topic};

/// A notice to the caller. What it says is read from the record as it stands now, and as the caller may see it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "id": "8f0c6a52-33a1-8d0e-9b4e-0c7a51d2e611", "horse_id": "0199f3a0-7c00-7000-8000-000000000002", "horse": "Plover",
    "event_id": "0199f3a0-7c00-7000-8000-000000000003", "kind": "hoof_check", "topic": "hoof", "state": "raised",
    "urgent": true, "text": ["LF puncture: A nail or other thing in the foot, or its track. At severity 3: phone the vet \
    now and don't move the horse."], "reason": null, "by": "Tove Lindqvist", "role": "barn_staff",
    "performed_at": "2027-03-04T07:20:00+00:00", "raised_at": "2027-03-04T07:24:10Z",
    "changed_at": "2027-03-04T07:24:10Z", "read_at": null
}))]
pub struct Notice {
    /// The notice.
    pub id: NoticeId,
    /// The horse.
    pub horse_id: HorseId,
    /// What it is called, if that is known.
    #[schema(required)]
    pub horse: Option<String>,
    /// The entry that it is about, or the record that is held.
    pub event_id: EventId,
    /// What that entry records.
    pub kind: Kind,
    /// What the notice is about.
    pub topic: Topic,
    /// How it stands.
    pub state: State,
    /// Whether a vet must be called at once or today.
    pub urgent: bool,
    /// What was found and what to do, the most urgent first; of a notice that is withdrawn, what it had said.
    pub text: Vec<String>,
    /// Why it was changed or withdrawn, or why the record is held; null if there is nothing to say.
    #[schema(required)]
    pub reason: Option<String>,
    /// Who recorded the entry; null if nobody knows their name.
    #[schema(required)]
    pub by: Option<String>,
    /// In which role.
    #[schema(required)]
    pub role: Option<Role>,
    /// When it was seen or done, by the wall clock there.
    #[schema(required)]
    pub performed_at: Option<DateTime<FixedOffset>>,
    /// When the notice was raised.
    pub raised_at: DateTime<Utc>,
    /// When it last changed.
    pub changed_at: DateTime<Utc>,
    /// When the caller marked it as read; null again after a change.
    #[schema(required)]
    pub read_at: Option<DateTime<Utc>>,
}

/// Marks notices as read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"notice_id": null, "until": "2027-03-04T07:24:10Z"}))]
pub struct MarkRead {
    /// This one; null for all.
    #[serde(default)]
    pub notice_id: Option<NoticeId>,
    /// Only what has not changed after this instant: nobody marks as read what they haven't seen. Give the `changed_at` of
    /// the notice, or the latest of a list.
    pub until: DateTime<Utc>,
}

/// How many notices are unread.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"unread": 2}))]
pub struct Unread {
    /// So many, up to 1,000.
    pub unread: usize,
}

/// What the caller wants to be told by e-mail.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"email": "red_flags"}))]
pub struct LetterChoice {
    /// Which letters they want.
    pub email: Letters,
}

/// What the caller gets without asking.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"email": "red_flags", "sends_email": true, "calls_webhooks": false}))]
pub struct NoticeSettings {
    /// Which letters they want.
    pub email: Letters,
    /// Whether this server sends letters at all.
    pub sends_email: bool,
    /// Whether this server calls webhooks at all.
    pub calls_webhooks: bool,
}

/// Something that could not be sent and was given up, for whoever runs the server.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "id": "8f0c6a52-33a1-8d0e-9b4e-0c7a51d2e612", "account": "wren@saltmarsh.example", "webhook_id": null, "attempts": 14,
    "error": "it answered 503", "asked_at": "2027-03-01T07:24:10Z", "given_up_at": "2027-03-03T01:10:00Z"
}))]
pub struct GivenUp {
    /// The delivery.
    pub id: DeliveryId,
    /// Whose notice it was: the address to sign in with.
    pub account: String,
    /// To this webhook; null for e-mail.
    #[schema(required)]
    pub webhook_id: Option<WebhookId>,
    /// How often it was tried.
    pub attempts: i64,
    /// What went wrong the last time.
    #[schema(required)]
    pub error: Option<String>,
    /// When it was asked for.
    pub asked_at: DateTime<Utc>,
    /// When it was given up.
    #[schema(required)]
    pub given_up_at: Option<DateTime<Utc>>,
}
