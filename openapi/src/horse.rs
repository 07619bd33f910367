//! Horses: an identity, a place and a log. All else is computed from the log.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Deserializer, Serialize};
use utoipa::ToSchema;
use whorl_care::horse::Horse as Profile;
use whorl_care::ids::{AccountId, BarnId, HorseId};
use whorl_care::kind::{Kind, Role};

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
    "owner_id": "0199f3a0-7c00-7000-8000-000000000001", "roles": ["farrier"], "kinds": ["hoof_care", "hoof_check"], "seq": 41,
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
    /// The kinds of entries that the caller may see, wherever they stand in the log up to `seq`: all of them, unless every
    /// grant is limited to some. Empty where an older server didn't say.
    #[serde(default, deserialize_with = "known_kinds")]
    #[schema(required)]
    pub kinds: Vec<Kind>,
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

impl Horse {
    /// What it is called; its id if nobody gave it a name.
    #[must_use]
    pub fn label(&self) -> String {
        let name = self.profile.name.clone();
        name.unwrap_or_else(|| self.id.to_string())
    }

    /// Whether some kinds are withheld from the caller, as far as the server said.
    #[must_use]
    pub fn is_limited(&self) -> bool {
        !self.kinds.is_empty() && Kind::ALL.iter().any(|kind| !self.kinds.contains(kind))
    }

    /// Whether the caller may see entries of a kind, as far as the server said.
    #[must_use]
    pub fn shows(&self, kind: Kind) -> bool {
        self.kinds.is_empty() || self.kinds.contains(&kind)
    }
}

/// Reads kinds, without those that only a later version knows.
pub(crate) fn known_kinds<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Kind>, D::Error> {
    let codes = Vec::<String>::deserialize(from)?;
    Ok(codes.iter().filter_map(|code| code.parse().ok()).collect())
}
