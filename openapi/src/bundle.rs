//! The bundle: a horse's history as one signed file that anyone can check without the server and without an account.
//!
//! The file is one JSON document in the form of RFC 8785, nothing before or after it. The server signs all of it, so that
//! no byte can be changed; the events in it are signed by their authors' devices and chained, so that the server's word
//! is not needed for what they say.

mod report;
#[cfg(test)]
mod tests;
mod verify;
mod words;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;
use uuid::Uuid;
use whorl_care::ids::{AccountId, DeviceId, HorseId};
use whorl_care::kind::{Kind, Role};

use crate::canonical::{self, NotStrict};
use crate::event::{Content, Envelope};
use crate::key::{Hash, PublicKey, Purpose, Salt, SecretKey, Signature};
pub use report::{Author, Fault, FaultCode, Line, Report, Shown, Withheld};
pub use verify::{Unread, verify};

/// The name and version of the format.
pub const FORMAT: &str = "whorl-bundle/1";

/// No bundle is larger, in bytes.
pub const LARGEST: usize = 64 * 1024 * 1024;

/// How deep a bundle may nest: a content inside an event inside the list inside the document.
pub(crate) const DEEPEST: usize = canonical::DEEPEST + 3;

/// What is kept back of a history. What amends, withdraws or countersigns an entry is kept back with it, and only then.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
#[schema(example = json!({"kinds": ["lameness_exam"], "before": "2025-01-01", "leaf_only": false}))]
pub struct Seal {
    /// Every entry of these kinds.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 32)]
    pub kinds: Vec<Kind>,
    /// Every entry of what happened before this day, by the wall clock there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<NaiveDate>,
    /// Every entry of what happened after this day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after: Option<NaiveDate>,
    /// Keeps back the envelopes too: then only that there is an entry can be known, not its kind, day or author.
    pub leaf_only: bool,
}

impl Seal {
    /// Whether an entry of this kind and day is kept back.
    #[must_use]
    pub fn covers(&self, kind: Kind, day: NaiveDate) -> bool {
        self.kinds.contains(&kind)
            || self.before.is_some_and(|before| day < before)
            || self.after.is_some_and(|after| day > after)
    }

    /// Whether nothing is kept back.
    #[must_use]
    pub fn is_nothing(&self) -> bool {
        self.kinds.is_empty() && self.before.is_none() && self.after.is_none()
    }
}

/// Asks for a bundle.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"seal": {"kinds": ["lameness_exam"], "leaf_only": false}}))]
pub struct NewBundle {
    /// What to keep back; nothing if it is left out.
    #[serde(default)]
    pub seal: Seal,
}

/// A horse's history in one file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "format": "whorl-bundle/1", "server": "saltmarsh.example", "server_key": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
    "horse_id": "0199f3a0-7c00-7000-8000-000000000005", "epoch": "0199f3a0-7c00-7000-8000-00000000000c",
    "exported_at": "2027-03-04T14:20:00Z", "exported_by": {"account_id": "0199f3a0-7c00-7000-8000-000000000001", "name": "Maren Oduya"},
    "events": [{"seq": 1, "leaf": "47DEQpj8HBSa-_TImW-5JCeuQeRkm5NMpJWZG3hSuFU"}], "signers": [],
    "note": "saltmarsh.example/horse/0199f3a0-7c00-7000-8000-000000000005\n1\n…",
    "signature": "5VZDAMNgrHKQhuLMgG6CioSHfx645dl02HPgZSJJAVVfuIIVkKM7rMYeOXAc-bRr0lv18FlbviRlUUFDjnoQCw"
}))]
pub struct Bundle {
    /// `whorl-bundle/1`.
    pub format: String,
    /// The name of the server, as it stands in the signed head.
    pub server: String,
    /// The key that signed the head and the file.
    pub server_key: PublicKey,
    /// The horse.
    pub horse_id: HorseId,
    /// Which life of the ledger it comes from.
    pub epoch: Uuid,
    /// When it was made, by the server's clock.
    pub exported_at: DateTime<Utc>,
    /// Who had it made.
    pub exported_by: Exporter,
    /// Every event of the log, in order, whole or sealed.
    pub events: Vec<BundledEvent>,
    /// The devices that signed them, as far as their envelopes are shown.
    pub signers: Vec<BundledSigner>,
    /// The server's signed head of the log, in the form of C2SP's signed notes.
    pub note: String,
    /// The server's signature over `whorl/bundle/1`, a zero byte, and the RFC 8785 form of all the rest.
    pub signature: Signature,
}

/// Who had a bundle made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Exporter {
    /// The account.
    pub account_id: AccountId,
    /// Its name.
    pub name: String,
}

/// An event in a bundle: whole, or without content and salt, or its leaf alone.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BundledEvent {
    /// Its place in the log, from 1 without a gap.
    #[schema(minimum = 1)]
    pub seq: i64,
    /// When the server took it; not told where the envelope is sealed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub received_at: Option<DateTime<Utc>>,
    /// What the author's device signed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Envelope>)]
    pub envelope: Option<Value>,
    /// The signature.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signature: Option<Signature>,
    /// What the envelope commits to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Content>)]
    pub content: Option<Value>,
    /// The salt of the content's hash.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub salt: Option<Salt>,
    /// The leaf in the chain, where the envelope is sealed; it follows from the rest otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub leaf: Option<Hash>,
}

/// A device that signed, and what the server knows of its holder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BundledSigner {
    /// The device.
    pub device_id: DeviceId,
    /// Its public key.
    pub public_key: PublicKey,
    /// Whose it is.
    pub account_id: AccountId,
    /// Their name.
    pub name: String,
    /// Their licences on the day of the export.
    pub licences: Vec<NotedLicence>,
}

/// A licence as the server noted it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NotedLicence {
    /// `vet` or `farrier`.
    pub role: Role,
    /// Its number.
    pub number: String,
    /// Where it is good: an ISO 3166 code.
    pub jurisdiction: String,
    /// Its last day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_until: Option<NaiveDate>,
    /// When an owner or the operator looked at the paper.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seen_at: Option<DateTime<Utc>>,
}

impl Bundle {
    /// Signs the bundle with the server's key; answers the bytes of the file.
    ///
    /// # Errors
    ///
    /// [`NotStrict`] if a part has no canonical form.
    pub fn sign(&self, key: &SecretKey) -> Result<Vec<u8>, NotStrict> {
        let mut document =
            serde_json::to_value(self).map_err(|error| NotStrict::from(error.to_string()))?;
        let signature = key.sign(Purpose::Bundle, &signed_part(&document)?);
        document["signature"] = Value::String(signature.to_string());
        canonical::write(&document)
    }
}

/// The bytes that the server signs: the document without the signature.
pub(crate) fn signed_part(document: &Value) -> Result<Vec<u8>, NotStrict> {
    let mut rest = document.clone();
    if let Some(fields) = rest.as_object_mut() {
        fields.remove("signature");
    }
    canonical::write(&rest)
}
