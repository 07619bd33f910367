//! Between what is stored and what it says.

use chrono::{DateTime, SubsecRound, Utc};
use whorl_care::horse::CareEvent;
use whorl_care::kind::Kind as EventKind;
use whorl_contract::event::{self, Envelope};
use whorl_contract::key::Hash;
use whorl_store::StoreError;
use whorl_store::events::EventRow;
use whorl_store::held_events::HeldEventRow;

use super::Arrival;

/// Reads a stored envelope.
///
/// # Errors
///
/// [`StoreError::Unreadable`] if it is damaged.
pub(crate) fn read_envelope(row: &EventRow) -> Result<Envelope, StoreError> {
    let unreadable = |why: &dyn std::fmt::Display| {
        StoreError::Unreadable(format!(
            "event {} of horse {}: {why}",
            row.seq, row.horse_id
        ))
    };
    serde_json::from_str(&row.envelope).map_err(|error| unreadable(&error))
}

/// An event as the care engine reads it; `None` for one whose content was erased or is damaged.
pub(crate) fn care_event(row: &EventRow) -> Option<CareEvent> {
    event::care_event(&row.envelope, row.content.as_deref()?)
}

/// Events as the care engine reads them.
pub(crate) fn care_events(rows: &[EventRow]) -> Vec<CareEvent> {
    rows.iter().filter_map(care_event).collect()
}

/// The row of an event at its place, with the chain's head after it.
pub(super) fn event_row(arrival: &Arrival, seq: i64, head: &Hash, now: DateTime<Utc>) -> EventRow {
    let envelope = &arrival.opened.envelope;
    EventRow {
        horse_id: envelope.horse_id,
        seq,
        id: envelope.id,
        kind: envelope.kind,
        // As PostgreSQL keeps it: cursors count microseconds.
        performed_at: envelope.performed_at.naive_utc().trunc_subsecs(6),
        author_id: envelope.author_id,
        device_id: envelope.device_id,
        target_id: envelope.target_id.map(|id| id.to_string()),
        received_at: now.naive_utc(),
        envelope: arrival.raw.envelope.get().to_owned(),
        content: Some(arrival.raw.content.get().to_owned()),
        salt: Some(arrival.raw.salt.0.to_vec()),
        signature: arrival.raw.signature.0.to_vec(),
        head: head.0.to_vec(),
        shapes: envelope.kind.is_about_another()
            || matches!(envelope.kind, EventKind::Identity | EventKind::CarePlan),
    }
}

/// The row of an event that waits for an owner, and why.
pub(super) fn held_row(arrival: &Arrival, reason: String, now: DateTime<Utc>) -> HeldEventRow {
    let envelope = &arrival.opened.envelope;
    HeldEventRow {
        id: envelope.id,
        horse_id: envelope.horse_id,
        author_id: envelope.author_id,
        reason,
        received_at: now.naive_utc(),
        envelope: arrival.raw.envelope.get().to_owned(),
        content: arrival.raw.content.get().to_owned(),
        salt: arrival.raw.salt.0.to_vec(),
        signature: arrival.raw.signature.0.to_vec(),
        accepted: None,
        decided_by: None,
        decided_at: None,
    }
}
