//! The two-sided transfer of a horse: the owner offers, the buyer accepts, the log goes along.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::ids::{AccountId, BarnId, HorseId, TransferId};

/// Offers a horse.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"to_email": "buyer@heronsgate.example", "password": "tide over the grey flats"}))]
pub struct NewTransfer {
    /// The buyer's account, by its address.
    #[schema(format = "email", max_length = 254)]
    pub to_email: String,
    /// The owner's password once more: this is a grave step.
    #[schema(format = "password", max_length = 256)]
    pub password: String,
}

/// Accepts a horse.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"barn_id": "0199f3a0-7c00-7000-8000-000000000004", "password": "heron on the weir"}))]
pub struct TransferAcceptance {
    /// The buyer's barn, where the horse will stand.
    pub barn_id: BarnId,
    /// The buyer's password once more.
    #[schema(format = "password", max_length = 256)]
    pub password: String,
}

/// How far a transfer has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TransferState {
    /// Waiting for the buyer.
    Offered,
    /// Done: the horse is the buyer's.
    Accepted,
    /// The buyer said no.
    Declined,
    /// The owner took it back.
    Withdrawn,
    /// Nobody answered in time.
    Expired,
}

/// A transfer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "0199f3a0-7c00-7000-8000-00000000000a", "horse_id": "0199f3a0-7c00-7000-8000-000000000005", "from_account": "0199f3a0-7c00-7000-8000-000000000001", "to_email": "buyer@heronsgate.example", "state": "offered", "offered_at": "2027-03-01T08:00:00Z", "expires_at": "2027-03-15T08:00:00Z", "decided_at": null, "at_seq": null}))]
pub struct Transfer {
    /// Its id.
    pub id: TransferId,
    /// The horse.
    pub horse_id: HorseId,
    /// The seller.
    pub from_account: AccountId,
    /// The buyer's address. Whether there is an account with it is not told.
    pub to_email: String,
    /// How far it has come.
    pub state: TransferState,
    /// When it was offered.
    pub offered_at: DateTime<Utc>,
    /// When the offer lapses.
    pub expires_at: DateTime<Utc>,
    /// When it was accepted, declined or withdrawn.
    #[schema(required)]
    pub decided_at: Option<DateTime<Utc>>,
    /// The last event that the seller may see.
    #[schema(required)]
    pub at_seq: Option<i64>,
}
