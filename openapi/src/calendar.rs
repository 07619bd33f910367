//! Calendars: a secret address under which a calendar program fetches what is due (RFC 5545).

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::ids::{BarnId, CalendarId};

/// Asks for a calendar.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"barn_id": "0199f3a0-7c00-7000-8000-000000000004"}))]
pub struct NewCalendar {
    /// What is due in this barn; null for what the caller may do in any barn.
    #[serde(default)]
    pub barn_id: Option<BarnId>,
}

/// A calendar of the caller's.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "id": "0199f3a0-7c00-7000-8000-00000000000e", "barn_id": "0199f3a0-7c00-7000-8000-000000000004",
    "address": "/calendar/hS3vJ8yq0XbT2nWmK5rLcZpQd7uGfE1aYtVxR9oNi4s.ics", "created_at": "2027-03-01T08:00:00Z"
}))]
pub struct Calendar {
    /// Its id, by which it is revoked.
    pub id: CalendarId,
    /// The barn; null for what its owner may do in any barn.
    #[schema(required)]
    pub barn_id: Option<BarnId>,
    /// Its address, shown once, when it is made: whoever knows it reads the calendar. Null afterwards. It is whole where
    /// the server knows under which address people reach it, else it begins with the path.
    #[schema(required)]
    pub address: Option<String>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
}
