//! Links by which a horse's history can be read without an account, and what is read there.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use whorl_care::horse::Horse as Profile;
use whorl_care::ids::{AccountId, HorseId, ShareId};

use crate::bundle::{Seal, Withheld};
use crate::history::HistoryEntry;
use crate::key::{Hash, PublicKey};

/// The longest that a link may last, in days.
pub const LONGEST_DAYS: u32 = 90;

/// Makes a link.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"days": 30, "seal": {"kinds": ["lameness_exam"], "leaf_only": false}, "label": "for the buyer from Heronsgate"}))]
pub struct NewShare {
    /// How many days it lasts.
    #[schema(minimum = 1, maximum = 90)]
    pub days: u32,
    /// What to keep back; nothing if it is left out.
    #[serde(default)]
    pub seal: Seal,
    /// A name for it, which only the horse's owners see.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 100)]
    pub label: Option<String>,
}

/// A link.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "id": "0199f3a0-7c00-7000-8000-00000000000e", "horse_id": "0199f3a0-7c00-7000-8000-000000000005", "label": "for the buyer from Heronsgate",
    "seal": {"kinds": ["lameness_exam"], "leaf_only": false}, "made_by": "0199f3a0-7c00-7000-8000-000000000001", "made_by_name": "Maren Oduya",
    "created_at": "2027-03-04T14:20:00Z", "expires_at": "2027-04-03T14:20:00Z", "revoked_at": null, "views": 0, "last_seen_at": null,
    "url": "https://saltmarsh.example/shared/kR3mVbYw0sJ8fQ2nTzL5cXhDpGaU7eOi",
    "qr_svg": "<svg xmlns=\"http://www.w3.org/2000/svg\"/>"
}))]
pub struct Share {
    /// Its id.
    pub id: ShareId,
    /// The horse.
    pub horse_id: HorseId,
    /// What its maker calls it.
    #[schema(required)]
    pub label: Option<String>,
    /// What is kept back.
    pub seal: Seal,
    /// Who made it.
    pub made_by: AccountId,
    /// Their name.
    pub made_by_name: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it ends.
    pub expires_at: DateTime<Utc>,
    /// When it was ended before that.
    #[schema(required)]
    pub revoked_at: Option<DateTime<Utc>>,
    /// How often it was looked at.
    #[schema(minimum = 0)]
    pub views: i64,
    /// When it last was.
    #[schema(required)]
    pub last_seen_at: Option<DateTime<Utc>>,
    /// The link itself. It is told once, to its maker.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub url: Option<String>,
    /// The link as a QR code: an SVG image. It is told once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub qr_svg: Option<String>,
}

/// A history as whoever has the link may read it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SharedHistory {
    /// The horse.
    pub horse_id: HorseId,
    /// What the entries that are shown say of it.
    pub horse: Profile,
    /// Who shares it.
    pub shared_by: String,
    /// Until when.
    pub shared_until: DateTime<Utc>,
    /// The server that holds the record, by the name in its signatures.
    pub server: String,
    /// The key that signs its heads and bundles.
    pub server_key: PublicKey,
    /// When this was read.
    pub at: DateTime<Utc>,
    /// The number of events in the log.
    pub seq: i64,
    /// The chain's head after them.
    pub head: Hash,
    /// That head under the server's signature, as a signed note; the bundle proves that the entries lead to it.
    pub note: String,
    /// The entries, the latest first, amended ones as amended. One whose content is withheld is `sealed`.
    pub items: Vec<HistoryEntry>,
    /// How many of the entries that might be shown were withdrawn; the bundle has them.
    pub withdrawn: usize,
    /// What is kept back, counted as events of the log.
    pub withheld: Withheld,
}
