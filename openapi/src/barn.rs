//! Barns: places with horses, a time zone and an owner.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::ids::{AccountId, BarnId};

/// Opens or changes a barn.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Saltmarsh Yard", "time_zone": "Europe/London", "region": "gb"}))]
pub struct BarnDetails {
    /// Its name.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
    /// Its time zone by its IANA name; days there begin and end by it.
    #[schema(min_length = 1, max_length = 64)]
    pub time_zone: String,
    /// Where it lies, for seasons and rules: an ISO 3166 code such as `gb` or `us-fl`.
    #[serde(default)]
    #[schema(min_length = 2, max_length = 16)]
    pub region: Option<String>,
}

/// A barn.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "0199f3a0-7c00-7000-8000-000000000004", "owner_id": "0199f3a0-7c00-7000-8000-000000000001", "name": "Saltmarsh Yard", "time_zone": "Europe/London", "region": "gb", "created_at": "2027-03-01T08:00:00Z"}))]
pub struct Barn {
    /// Its id.
    pub id: BarnId,
    /// Whose barn it is.
    pub owner_id: AccountId,
    /// Its name.
    pub name: String,
    /// Its time zone.
    pub time_zone: String,
    /// Where it lies.
    #[schema(required)]
    pub region: Option<String>,
    /// When it was opened.
    pub created_at: DateTime<Utc>,
}
