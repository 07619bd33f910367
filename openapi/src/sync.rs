//! Push, heads and pull, and what is held for an owner.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
use whorl_care::kind::Kind;

use crate::event::{LoggedEvent, SignedEvent};
use crate::horse::known_kinds;
use crate::key::{Hash, PublicKey};
use crate::problem::Problem;

/// Events of one push.
pub const EVENTS_PER_PUSH: usize = 1000;

/// Events of one pull.
pub const EVENTS_PER_PULL: usize = 1000;

/// Bytes of the envelopes and contents of one pull; the event that reaches them is still given.
pub const BYTES_PER_PULL: usize = 1024 * 1024;

/// A batch of signed events.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Push {
    /// The events, in the order in which they were recorded.
    #[schema(max_items = 1000)]
    pub events: Vec<SignedEvent>,
}

/// What became of one event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "status", rename_all = "snake_case")]
pub enum Outcome {
    /// It is in the log now, durably.
    Accepted {
        /// Its place.
        seq: i64,
    },
    /// It was in the log before; nothing happened.
    Known {
        /// Its place.
        seq: i64,
    },
    /// Recorded under a grant that has ended since: it waits for the owner.
    Held,
    /// It can't be taken as it is.
    Refused {
        /// Why.
        problem: Box<Problem>,
    },
}

/// The answer to a push: an outcome for each event, in order, and the signed head of each horse that was touched.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"epoch": "0199f3a0-7c00-7000-8000-00000000000c", "outcomes": [{"status": "accepted", "seq": 42}, {"status": "held"}], "heads": []}))]
pub struct Pushed {
    /// Which life of the ledger answered.
    pub epoch: Uuid,
    /// One for each event.
    pub outcomes: Vec<Outcome>,
    /// Signed heads.
    pub heads: Vec<SignedHead>,
}

/// A signed head.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SignedHead {
    /// The horse.
    pub horse_id: HorseId,
    /// The note, in the form of C2SP's signed notes.
    pub note: String,
}

/// Where one horse's log stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct HeadInfo {
    /// The horse.
    pub horse_id: HorseId,
    /// The number of events that this caller may pull.
    pub seq: i64,
    /// The chain's head after them.
    pub head: Hash,
}

/// Where everything stands that the caller may see.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"epoch": "0199f3a0-7c00-7000-8000-00000000000c", "heads": [{"horse_id": "0199f3a0-7c00-7000-8000-000000000005", "seq": 42, "head": "47DEQpj8HBSa-_TImW-5JCeuQeRkm5NMpJWZG3hSuFU"}]}))]
pub struct Heads {
    /// Which life of the ledger this is.
    pub epoch: Uuid,
    /// One for each horse.
    pub heads: Vec<HeadInfo>,
}

/// What the caller lacks of one horse's log.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Want {
    /// The horse.
    pub horse_id: HorseId,
    /// The last place that the caller has; 0 for none.
    #[schema(minimum = 0)]
    pub after: i64,
}

/// Asks for events.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"wants": [{"horse_id": "0199f3a0-7c00-7000-8000-000000000005", "after": 40}], "limit": 500}))]
pub struct Pull {
    /// What the caller lacks.
    #[schema(max_items = 10000)]
    pub wants: Vec<Want>,
    /// At most so many events in the answer; there are never more than 1,000, and fewer where they are large.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 4_294_967_295_u32)]
    pub limit: Option<u32>,
}

/// A run of one horse's log without a gap.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct Run {
    /// The horse.
    pub horse_id: HorseId,
    /// Events `after + 1`, `after + 2` ….
    pub events: Vec<LoggedEvent>,
    /// The kinds of entries that the caller may see as this is answered, wherever they stand in the log: an event that
    /// comes with its leaf alone is of none of these, nor about one. Empty where nothing is sealed.
    #[serde(default, deserialize_with = "known_kinds")]
    #[schema(required)]
    pub kinds: Vec<Kind>,
    /// The chain's head after the last of them.
    pub head: Hash,
    /// Whether the log goes on.
    pub more: bool,
}

/// A device that signed some of the events.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Signer {
    /// The device.
    pub device_id: DeviceId,
    /// Its public key.
    pub public_key: PublicKey,
    /// Whose it is.
    pub account_id: AccountId,
    /// Their name.
    pub name: String,
}

/// The answer to a pull.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"epoch": "0199f3a0-7c00-7000-8000-00000000000c", "runs": [], "signers": [], "more": false}))]
pub struct Pulled {
    /// Which life of the ledger answered.
    pub epoch: Uuid,
    /// A run for each horse with news.
    pub runs: Vec<Run>,
    /// The devices that signed these events.
    pub signers: Vec<Signer>,
    /// Whether anything is left to pull.
    pub more: bool,
}

/// The log of one horse, raw.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"epoch": "0199f3a0-7c00-7000-8000-00000000000c", "run": {"horse_id": "0199f3a0-7c00-7000-8000-000000000005", "events": [], "kinds": [], "head": "47DEQpj8HBSa-_TImW-5JCeuQeRkm5NMpJWZG3hSuFU", "more": false}, "signers": [], "note": "saltmarsh.example/horse/0199f3a0-7c00-7000-8000-000000000005\n0\n…"}))]
pub struct RawLog {
    /// Which life of the ledger answered.
    pub epoch: Uuid,
    /// The events.
    pub run: Run,
    /// The devices that signed them.
    pub signers: Vec<Signer>,
    /// The signed head of the log as it stands.
    pub note: String,
}

/// An event that waits for an owner: recorded under a grant, pushed after its end.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct HeldEvent {
    /// Its id.
    pub id: EventId,
    /// The horse.
    pub horse_id: HorseId,
    /// Who recorded it.
    pub author_id: AccountId,
    /// Their name.
    pub author_name: String,
    /// Why it is held.
    pub reason: String,
    /// When it came.
    pub received_at: DateTime<Utc>,
    /// The event itself.
    pub event: SignedEvent,
}

/// The owner's word on a held event.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"accept": true}))]
pub struct HeldDecision {
    /// Whether it enters the log.
    pub accept: bool,
}
