//! Who read a horse's record, for its owner.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;
use whorl_care::reading::{Reader, Way};

/// What somebody other than the owner read of a horse's record on one day: all of one kind are counted together.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(as = RecordReading, example = json!({
    "day": "2027-03-04", "reader": "account", "reader_id": "0199f3a0-7c00-7000-8000-000000000002", "name": "Tove Lindqvist",
    "way": "history", "first_at": "2027-03-04T07:20:00Z", "last_at": "2027-03-04T16:02:11Z", "times": 3
}))]
pub struct Reading {
    /// The day, by UTC.
    pub day: NaiveDate,
    /// By what: an account, a link to the history, or a calendar.
    pub reader: Reader,
    /// Which account, link or calendar.
    pub reader_id: Uuid,
    /// Whose account or calendar it is, or what the link is called; null if nobody knows.
    #[schema(required)]
    pub name: Option<String>,
    /// What was read.
    pub way: Way,
    /// When it was first read on that day.
    pub first_at: DateTime<Utc>,
    /// When it last was.
    pub last_at: DateTime<Utc>,
    /// How often.
    #[schema(minimum = 1)]
    pub times: i64,
}
