//! Professionals' licences.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::ids::{AccountId, LicenceId};
use whorl_care::kind::Role;

/// Enters a licence.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"role": "vet", "number": "SV-20418", "jurisdiction": "gb", "valid_until": "2028-12-31"}))]
pub struct NewLicence {
    /// `vet` or `farrier`.
    pub role: Role,
    /// The licence's number.
    #[schema(min_length = 1, max_length = 100)]
    pub number: String,
    /// Where it is good: an ISO 3166 code such as `gb` or `us-fl`.
    #[schema(min_length = 2, max_length = 16)]
    pub jurisdiction: String,
    /// Its last day; null where it has none.
    #[serde(default)]
    pub valid_until: Option<NaiveDate>,
}

/// A licence, and who looked at it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "0199f3a0-7c00-7000-8000-000000000009", "account_id": "0199f3a0-7c00-7000-8000-000000000008", "account_name": "Maren Oduya", "role": "vet", "number": "SV-20418", "jurisdiction": "gb", "valid_until": "2028-12-31", "created_at": "2027-03-01T08:00:00Z", "seen_by": null, "seen_at": null, "withdrawn_at": null}))]
pub struct Licence {
    /// Its id.
    pub id: LicenceId,
    /// Whose it is.
    pub account_id: AccountId,
    /// Their name.
    pub account_name: String,
    /// `vet` or `farrier`.
    pub role: Role,
    /// Its number.
    pub number: String,
    /// Where it is good.
    pub jurisdiction: String,
    /// Its last day.
    #[schema(required)]
    pub valid_until: Option<NaiveDate>,
    /// When it was entered.
    pub created_at: DateTime<Utc>,
    /// The owner or operator who looked at the paper.
    #[schema(required)]
    pub seen_by: Option<AccountId>,
    /// When they did.
    #[schema(required)]
    pub seen_at: Option<DateTime<Utc>>,
    /// When its holder withdrew it.
    #[schema(required)]
    pub withdrawn_at: Option<DateTime<Utc>>,
}
