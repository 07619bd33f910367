//! The history of a horse for people: flat, with amendments, retractions and erasures resolved and provenance shown.

use chrono::{DateTime, FixedOffset, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId, VisitId};
use whorl_care::kind::{Kind, Provenance, Role};

use crate::event::{AttachmentRef, PerformedBy};

/// What became of an entry after it was made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// As it was recorded.
    AsRecorded,
    /// Shown as amended.
    Amended,
    /// Withdrawn; shown only if asked for.
    Retracted,
    /// Two people amended it differently; the later one in the log is shown until somebody amends again.
    Contested,
    /// Its content was taken away for good; shown only if asked for.
    Erased,
}

/// A vet or farrier who vouched for the entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Countersignature {
    /// The countersigning event.
    pub event_id: EventId,
    /// Who.
    pub by: String,
    /// In which role.
    pub role: Role,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// Their words.
    #[schema(required)]
    pub statement: Option<String>,
}

/// One entry of a history.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "seq": 42, "id": "0199f3a0-7c00-7000-8000-00000000000d", "kind": "vaccination", "performed_at": "2027-03-04T09:20:00-05:00", "recorded_at": "2027-03-04T09:21:10-05:00",
    "received_at": "2027-03-04T19:02:44Z", "author_id": "0199f3a0-7c00-7000-8000-000000000008", "author": "Maren Oduya", "device_id": "0199f3a0-7c00-7000-8000-000000000003",
    "role": "vet", "provenance": "attested", "visit_id": null, "performed_by": null, "note": null, "attachments": [],
    "details": {"targets": ["tetanus"], "product": "tetanus toxoid (sample)", "lot_number": "T4417", "expiration_date": "2028-01-31", "dose_ml": 1.0, "route": "intramuscular", "site": "left_neck"},
    "standing": "as_recorded", "amended_by": [], "retracted_by": null, "reason": null, "countersignatures": [], "sealed": false
}))]
pub struct HistoryEntry {
    /// Its place in the log.
    pub seq: i64,
    /// Its id; null where it is sealed to its leaf.
    #[schema(required)]
    pub id: Option<EventId>,
    /// What it records.
    #[schema(required)]
    pub kind: Option<Kind>,
    /// When it happened, by the wall clock there.
    #[schema(required)]
    pub performed_at: Option<DateTime<FixedOffset>>,
    /// When it was written down.
    #[schema(required)]
    pub recorded_at: Option<DateTime<FixedOffset>>,
    /// When the server took it.
    pub received_at: DateTime<Utc>,
    /// Who wrote it down.
    #[schema(required)]
    pub author_id: Option<AccountId>,
    /// Their name.
    #[schema(required)]
    pub author: Option<String>,
    /// The device that signed.
    #[schema(required)]
    pub device_id: Option<DeviceId>,
    /// The capacity in which they acted.
    #[schema(required)]
    pub role: Option<Role>,
    /// How far it can be relied on.
    #[schema(required)]
    pub provenance: Option<Provenance>,
    /// The trip that it belongs to.
    #[schema(required)]
    pub visit_id: Option<VisitId>,
    /// Who did the work, where that is not the author.
    #[schema(required)]
    pub performed_by: Option<PerformedBy>,
    /// Free text.
    #[schema(required)]
    pub note: Option<String>,
    /// Photos and documents.
    pub attachments: Vec<AttachmentRef>,
    /// The details in force: those of the latest amendment, if there is one.
    #[schema(required, value_type = Option<Object>)]
    pub details: Option<Value>,
    /// What became of it.
    pub standing: Standing,
    /// The events that amended it, in the order of the log.
    pub amended_by: Vec<EventId>,
    /// The event that withdrew it.
    #[schema(required)]
    pub retracted_by: Option<EventId>,
    /// The reason of the latest amendment, of the retraction or of the erasure.
    #[schema(required)]
    pub reason: Option<String>,
    /// Who vouched for it.
    pub countersignatures: Vec<Countersignature>,
    /// Whether its content is withheld from this caller.
    pub sealed: bool,
}

/// A page of a horse's history, newest first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct History {
    /// The horse.
    pub horse_id: HorseId,
    /// The number of events in its log.
    pub seq: i64,
    /// The entries.
    pub items: Vec<HistoryEntry>,
    /// Give it back as `cursor` for the next page; null at the end.
    #[schema(required)]
    pub next_cursor: Option<String>,
}
