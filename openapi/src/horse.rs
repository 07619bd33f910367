//! Horses: an identity, a place and a log. All else is computed from the log.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::horse::Horse as Profile;
use whorl_care::ids::{AccountId, BarnId, HorseId};
use whorl_care::kind::Role;

/// Opens a horse's log. Its name and all else follow in signed `identity` events.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"id": "0199f3a0-7c00-7000-8000-000000000005", "barn_id": "0199f3a0-7c00-7000-8000-000000000004"}))]
pub struct NewHorse {
    /// Picked by the client, so that a repeated request opens one log only.
    pub id: HorseId,
    /// Where it stands.
    pub barn_id: BarnId,
}

/// Moves a horse to another barn.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"barn_id": "0199f3a0-7c00-7000-8000-000000000004"}))]
pub struct HorseMove {
    /// Where it stands from now on; grants for that barn cover it at once.
    pub barn_id: BarnId,
}

/// What everyone who will handle the horse should read first.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Handling {
    /// The caution, in the words of whoever wrote it.
    pub text: String,
    /// The day it was written.
    pub on: NaiveDate,
}

/// A horse, as this caller may see it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "id": "0199f3a0-7c00-7000-8000-000000000005", "barn_id": "0199f3a0-7c00-7000-8000-000000000004",
    "owner_id": "0199f3a0-7c00-7000-8000-000000000001", "roles": ["farrier"], "seq": 41,
    "handling": {"text": "Leans on the near hind; have someone hold her.", "on": "2027-02-11"},
    "profile": {"name": "Plover", "sex": "mare", "foaled_on": "2016-04-19", "breed_type": "light", "risks": ["travels"], "registered_name": null,
        "dam_vaccinated": null, "pregnancy": null, "weight_kg": 512.0, "mature_weight_kg": null, "shod": true, "microchip": null, "ueln": null, "colour": "bay", "markings": null},
    "created_at": "2027-03-01T08:00:00Z"
}))]
pub struct Horse {
    /// Its id.
    pub id: HorseId,
    /// Where it stands.
    pub barn_id: BarnId,
    /// Whose it is.
    pub owner_id: AccountId,
    /// In which roles the caller may act on it.
    pub roles: Vec<Role>,
    /// The number of events in its log.
    pub seq: i64,
    /// What to read before picking up a foot.
    #[schema(required)]
    pub handling: Option<Handling>,
    /// Its profile, computed from the log.
    pub profile: Profile,
    /// When its log was opened.
    pub created_at: DateTime<Utc>,
}
