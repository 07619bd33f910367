//! Grants and invitations: who may see and record what on which horses, from and until when.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::ids::{AccountId, BarnId, GrantId, HorseId, InvitationId};
use whorl_care::kind::{Kind, Role};

/// What a grant covers: one horse, or all horses that stand in a barn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum Scope {
    /// One horse.
    Horse {
        /// The horse.
        horse_id: HorseId,
    },
    /// All horses of a barn, as they come and go.
    Barn {
        /// The barn.
        barn_id: BarnId,
    },
}

/// Invites somebody by a one-time code.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"horse_id": null, "barn_id": "0199f3a0-7c00-7000-8000-000000000004", "role": "farrier", "from": null, "until": null, "kinds": null}))]
pub struct NewInvitation {
    /// One horse …
    #[serde(default)]
    pub horse_id: Option<HorseId>,
    /// … or all horses of a barn: exactly one of the two.
    #[serde(default)]
    pub barn_id: Option<BarnId>,
    /// The role that it gives. For a horse, `owner` makes a co-owner; for a barn, it lets its holder keep horses of
    /// their own there and gives no sight of others'.
    pub role: Role,
    /// From when; null is at once.
    #[serde(default)]
    pub from: Option<DateTime<Utc>>,
    /// Until when; null is until it is revoked.
    #[serde(default)]
    pub until: Option<DateTime<Utc>>,
    /// The kinds that may be seen and recorded; null is all. Events of other kinds come as bare leaves. What amends,
    /// withdraws or countersigns an event goes with that event's kind.
    #[serde(default)]
    pub kinds: Option<Vec<Kind>>,
}

/// An invitation.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "0199f3a0-7c00-7000-8000-000000000006", "code": "BCDF-GHJK-MNPQ-RSTV", "barn_id": "0199f3a0-7c00-7000-8000-000000000004", "horse_id": null, "role": "farrier", "from": "2027-03-01T08:00:00Z", "until": null, "kinds": null, "expires_at": "2027-03-08T08:00:00Z", "accepted_by": null, "withdrawn_at": null}))]
pub struct Invitation {
    /// Its id.
    pub id: InvitationId,
    /// The code to hand over; shown once, when the invitation is made.
    #[schema(required)]
    pub code: Option<String>,
    /// One horse …
    #[schema(required)]
    pub horse_id: Option<HorseId>,
    /// … or all horses of a barn.
    #[schema(required)]
    pub barn_id: Option<BarnId>,
    /// The role that it gives.
    pub role: Role,
    /// From when the grant will be in force.
    pub from: DateTime<Utc>,
    /// Until when.
    #[schema(required)]
    pub until: Option<DateTime<Utc>>,
    /// The kinds that it is limited to.
    #[schema(required)]
    pub kinds: Option<Vec<Kind>>,
    /// When the code ceases to work.
    pub expires_at: DateTime<Utc>,
    /// Who used it.
    #[schema(required)]
    pub accepted_by: Option<AccountId>,
    /// When it was withdrawn.
    #[schema(required)]
    pub withdrawn_at: Option<DateTime<Utc>>,
}

/// Accepts an invitation.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "BCDF-GHJK-MNPQ-RSTV"}))]
pub struct InvitationCode {
    /// The code as it was handed over; case and dashes don't matter.
    #[schema(max_length = 64)]
    pub code: String,
}

/// A grant.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "0199f3a0-7c00-7000-8000-000000000007", "account_id": "0199f3a0-7c00-7000-8000-000000000008", "account_name": "Idris Fenn", "role": "farrier", "horse_id": null, "barn_id": "0199f3a0-7c00-7000-8000-000000000004", "from": "2027-03-01T08:00:00Z", "until": null, "kinds": null, "granted_by": "0199f3a0-7c00-7000-8000-000000000001", "created_at": "2027-03-01T09:00:00Z", "revoked_at": null}))]
pub struct Grant {
    /// Its id.
    pub id: GrantId,
    /// To whom it was given.
    pub account_id: AccountId,
    /// Their name.
    pub account_name: String,
    /// The role.
    pub role: Role,
    /// One horse …
    #[schema(required)]
    pub horse_id: Option<HorseId>,
    /// … or all horses of a barn.
    #[schema(required)]
    pub barn_id: Option<BarnId>,
    /// From when.
    pub from: DateTime<Utc>,
    /// Until when.
    #[schema(required)]
    pub until: Option<DateTime<Utc>>,
    /// The kinds that it is limited to.
    #[schema(required)]
    pub kinds: Option<Vec<Kind>>,
    /// Who gave it.
    pub granted_by: AccountId,
    /// When.
    pub created_at: DateTime<Utc>,
    /// When it was revoked.
    #[schema(required)]
    pub revoked_at: Option<DateTime<Utc>>,
}
