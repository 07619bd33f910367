//! A signed event: the envelope that is signed for ever, and the content that it commits to by a salted hash.

use chrono::{DateTime, FixedOffset, Utc};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::value::RawValue;
use serde_json::{Map, Value};
use utoipa::ToSchema;
use whorl_care::fault::{self, Faults};
use whorl_care::horse::CareEvent;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId, VisitId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_care::objects;

use crate::canonical::{self, NotStrict};
use crate::key::{Hash, PublicKey, Purpose, Salt, SecretKey, Signature};

/// The vocabulary that this build writes.
pub const VOCABULARY: u32 = 1;

/// What the author's device signs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Envelope {
    /// Picked by the author's device (UUIDv7).
    pub id: EventId,
    /// The horse.
    pub horse_id: HorseId,
    /// What it records.
    pub kind: Kind,
    /// The edition of the vocabulary; 1.
    #[schema(minimum = 1)]
    pub vocabulary: u32,
    /// When it happened, by the wall clock there.
    #[serde(deserialize_with = "instant")]
    pub performed_at: DateTime<FixedOffset>,
    /// When it was written down, by the device's clock.
    #[serde(deserialize_with = "instant")]
    pub recorded_at: DateTime<FixedOffset>,
    /// Who wrote it down.
    pub author_id: AccountId,
    /// The device that signed.
    pub device_id: DeviceId,
    /// The capacity in which the author acted.
    pub role: Role,
    /// How far it can be relied on.
    pub provenance: Provenance,
    /// The trip that it belongs to.
    #[schema(required)]
    pub visit_id: Option<VisitId>,
    /// The event that it amends, retracts or countersigns.
    #[schema(required)]
    pub target_id: Option<EventId>,
    /// SHA-256 over the salt and the RFC 8785 form of the content.
    pub content_hash: Hash,
    /// Fields of a later vocabulary: kept, since the signature covers them; refused in a push.
    #[serde(flatten)]
    #[schema(ignore)]
    pub other: Map<String, Value>,
}

/// An instant as RFC 3339 writes it. Left to itself chrono reads `+01::00` too, which no other reader takes.
fn instant<'de, D: Deserializer<'de>>(from: D) -> Result<DateTime<FixedOffset>, D::Error> {
    let text = String::deserialize(from)?;
    DateTime::parse_from_rfc3339(&text).map_err(D::Error::custom)
}

/// Who did the work, where that is not the author.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PerformedBy {
    /// Their name.
    #[schema(max_length = 200)]
    pub name: String,
    /// Their licence, as it stands on the paper.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 100)]
    pub licence: Option<String>,
}

/// A photo or document that an event names.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AttachmentRef {
    /// The SHA-256 of its bytes, in lower-case hexadecimal.
    #[schema(
        pattern = "^[0-9a-f]{64}$",
        example = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    )]
    pub sha256: String,
    /// Its media type.
    #[schema(example = "image/jpeg")]
    pub media_type: String,
    /// Its size in bytes.
    pub bytes: u64,
    /// What it shows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 500)]
    pub caption: Option<String>,
}

/// What the envelope commits to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Content {
    /// Who did the work; null if the author did.
    #[serde(default)]
    pub performed_by: Option<PerformedBy>,
    /// Free text.
    #[serde(default)]
    #[schema(max_length = 4000)]
    pub note: Option<String>,
    /// Photos and documents.
    #[serde(default)]
    pub attachments: Vec<AttachmentRef>,
    /// The typed details of the kind.
    #[schema(value_type = Object)]
    pub details: Value,
}

impl Content {
    /// Reads a content.
    ///
    /// # Errors
    ///
    /// [`Faults`] with pointers into it.
    pub fn read(value: &Value) -> Result<Self, Faults> {
        let named = value.get("attachments").and_then(Value::as_array);
        let parts = [
            (String::new(), Some(value)),
            ("/performed_by".into(), value.get("performed_by")),
        ];
        let attachments = named.into_iter().flatten().enumerate();
        let attachments = attachments.map(|(n, one)| (format!("/attachments/{n}"), Some(one)));
        let mut faults = Faults::default();
        for (pointer, part) in parts.into_iter().chain(attachments) {
            // serde would take a list for an object, field by field in their order; no other reader does.
            if part.is_some_and(Value::is_array) {
                faults.add(pointer, "this is a list, where an object is wanted");
            }
        }
        faults.or(())?;
        fault::read(value)
    }
}

/// An event as it is pushed: exact texts, since they are what was signed.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SignedEvent {
    /// The envelope.
    #[schema(value_type = Envelope)]
    pub envelope: Box<RawValue>,
    /// The content.
    #[schema(value_type = Content)]
    pub content: Box<RawValue>,
    /// The salt of the content's hash.
    pub salt: Salt,
    /// Ed25519 over `whorl/event/1`, a zero byte and the RFC 8785 form of the envelope.
    pub signature: Signature,
}

/// An event as the log holds it, whole or sealed.
///
/// Sealed, it lacks `content` and `salt` (the envelope still verifies), or has its `leaf` alone.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
pub struct LoggedEvent {
    /// Its place in the horse's log, from 1 without a gap.
    #[schema(minimum = 1)]
    pub seq: i64,
    /// When the server took it.
    pub received_at: DateTime<Utc>,
    /// The envelope; null where not even the kind may be known.
    #[schema(value_type = Option<Envelope>, required)]
    pub envelope: Option<Box<RawValue>>,
    /// The content; null where it is sealed.
    #[schema(value_type = Option<Content>, required)]
    pub content: Option<Box<RawValue>>,
    /// The salt; null where the content is sealed.
    #[schema(required)]
    pub salt: Option<Salt>,
    /// The signature; null where the envelope is sealed.
    #[schema(required)]
    pub signature: Option<Signature>,
    /// The leaf; given only where the envelope is sealed, since it follows from the rest otherwise.
    #[schema(required)]
    pub leaf: Option<Hash>,
}

/// Why an event is not what it claims to be.
#[derive(Debug, thiserror::Error)]
pub enum NotGenuine {
    /// A part is no strict JSON.
    #[error("{part}: {why}")]
    Unreadable {
        /// `envelope` or `content`.
        part: &'static str,
        /// What is wrong with it.
        why: String,
    },
    /// The content is not the one that was committed to.
    #[error("the content does not match the envelope's content_hash")]
    OtherContent,
    /// The signature was not made over this envelope by this device's key.
    #[error("the signature does not match the envelope and the device's key")]
    OtherSignature,
    /// What came is sealed, so there is nothing to check.
    #[error("the event is sealed")]
    Sealed,
}

/// The SHA-256 that commits to a content.
///
/// # Errors
///
/// [`NotStrict`] if the content has no canonical form.
pub fn content_hash(salt: &Salt, content: &Value) -> Result<Hash, NotStrict> {
    Ok(Hash::of(&[&salt.0, &canonical::write(content)?]))
}

/// The leaf of an event in the chain: SHA-256 over 0x00, the RFC 8785 form of the envelope, and the signature.
#[must_use]
pub fn leaf(canonical_envelope: &[u8], signature: &Signature) -> Hash {
    Hash::of(&[&[0], canonical_envelope, &signature.0])
}

/// A text read once: the envelope, its canonical bytes and the strict content.
#[derive(Clone, Debug)]
pub struct Opened {
    /// The envelope.
    pub envelope: Envelope,
    /// The bytes that are signed.
    pub canonical_envelope: Vec<u8>,
    /// The content as a strict JSON value.
    pub content: Value,
    /// The leaf in the chain.
    pub leaf: Hash,
}

impl SignedEvent {
    /// Writes and signs an event. `content_hash` of `envelope` is filled in here.
    ///
    /// # Errors
    ///
    /// [`NotStrict`] if a part has no canonical form (a number that is not finite).
    pub fn sign(
        mut envelope: Envelope,
        content: &Content,
        salt: Salt,
        key: &SecretKey,
    ) -> Result<Self, NotStrict> {
        let content = serde_json::to_value(content).map_err(|error| unwritable(&error))?;
        envelope.content_hash = content_hash(&salt, &content)?;
        let envelope = serde_json::to_value(&envelope).map_err(|error| unwritable(&error))?;
        let envelope = canonical::write(&envelope)?;
        Ok(Self {
            signature: key.sign(Purpose::Event, &envelope),
            envelope: raw(envelope)?,
            content: raw(canonical::write(&content)?)?,
            salt,
        })
    }

    /// Reads both parts strictly and checks that the content is the one committed to. The signature is checked by
    /// [`Opened::signed_by`], once the device's key is known.
    ///
    /// # Errors
    ///
    /// [`NotGenuine`].
    pub fn open(&self) -> Result<Opened, NotGenuine> {
        open(
            self.envelope.get(),
            self.content.get(),
            &self.salt,
            &self.signature,
        )
    }
}

/// An event as the care engine reads it; `None` if one of the texts can't be read by this version.
#[must_use]
pub fn care_event(envelope: &str, content: &str) -> Option<CareEvent> {
    // Logs are read by the thousand: what is not asked for is not read.
    #[derive(Deserialize)]
    struct Said {
        id: EventId,
        kind: Kind,
        #[serde(deserialize_with = "instant")]
        performed_at: DateTime<FixedOffset>,
        role: Role,
        provenance: Provenance,
        target_id: Option<EventId>,
    }
    #[derive(Deserialize)]
    struct Recorded {
        details: Value,
    }
    let said: Said = objects::read(envelope).ok()?;
    let recorded: Recorded = objects::read(content).ok()?;
    Some(CareEvent {
        kind: said.kind,
        details: recorded.details,
        performed_at: Some(said.performed_at),
        performed_on: None,
        id: Some(said.id),
        target_id: said.target_id,
        role: Some(said.role),
        provenance: said.provenance,
        countersigned_by: None,
    })
}

/// Reads an event's texts strictly and checks that the content is the one committed to.
///
/// # Errors
///
/// [`NotGenuine`].
pub fn open(
    envelope: &str,
    content: &str,
    salt: &Salt,
    signature: &Signature,
) -> Result<Opened, NotGenuine> {
    let (envelope, canonical_envelope) = open_envelope(envelope)?;
    let content = canonical::read(content).map_err(|why| NotGenuine::Unreadable {
        part: "content",
        why: why.to_string(),
    })?;
    let hash = content_hash(salt, &content).map_err(|why| NotGenuine::Unreadable {
        part: "content",
        why: why.to_string(),
    })?;
    if hash != envelope.content_hash {
        return Err(NotGenuine::OtherContent);
    }
    let leaf = leaf(&canonical_envelope, signature);
    Ok(Opened {
        envelope,
        canonical_envelope,
        content,
        leaf,
    })
}

/// Reads an envelope strictly; answers it and its canonical bytes.
///
/// # Errors
///
/// [`NotGenuine::Unreadable`].
pub fn open_envelope(text: &str) -> Result<(Envelope, Vec<u8>), NotGenuine> {
    let unreadable = |why: String| NotGenuine::Unreadable {
        part: "envelope",
        why,
    };
    let value = canonical::read(text).map_err(|why| unreadable(why.to_string()))?;
    let bytes = canonical::write(&value).map_err(|why| unreadable(why.to_string()))?;
    let envelope = whorl_care::fault::read(&value).map_err(|why| unreadable(why.to_string()))?;
    Ok((envelope, bytes))
}

impl Opened {
    /// Checks the author's signature.
    ///
    /// # Errors
    ///
    /// [`NotGenuine::OtherSignature`].
    pub fn signed_by(&self, key: &PublicKey, signature: &Signature) -> Result<(), NotGenuine> {
        if key.verifies(Purpose::Event, &self.canonical_envelope, signature) {
            Ok(())
        } else {
            Err(NotGenuine::OtherSignature)
        }
    }
}

impl LoggedEvent {
    /// The event's leaf, computed from what is there, or the bare one where the envelope is sealed.
    ///
    /// # Errors
    ///
    /// [`NotGenuine`] if neither can be had.
    pub fn leaf(&self) -> Result<Hash, NotGenuine> {
        match (&self.envelope, &self.signature, self.leaf) {
            (Some(envelope), Some(signature), _) => {
                let (_, bytes) = open_envelope(envelope.get())?;
                Ok(leaf(&bytes, signature))
            }
            (_, _, Some(leaf)) => Ok(leaf),
            _ => Err(NotGenuine::Sealed),
        }
    }
}

fn raw(bytes: Vec<u8>) -> Result<Box<RawValue>, NotStrict> {
    let text = String::from_utf8(bytes).map_err(|error| unwritable(&error))?;
    RawValue::from_string(text).map_err(|error| unwritable(&error))
}

fn unwritable(error: &impl std::fmt::Display) -> NotStrict {
    NotStrict::from(error.to_string())
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn a_list_is_no_content_though_its_parts_fit() {
        let attachment = json!({"sha256": "e3b0", "media_type": "image/jpeg", "bytes": 3});
        let whole = json!({"performed_by": {"name": "Senna Quill"}, "attachments": [attachment], "details": {}});
        assert!(Content::read(&whole).is_ok());
        let mut changed = whole.clone();
        changed["performed_by"] = json!(["Senna Quill"]);
        changed["attachments"][0] = json!(["e3b0", "image/jpeg", 3]);
        for (wrong, pointers) in [
            (json!([null, null, [], {}]), vec![""]),
            (changed, vec!["/performed_by", "/attachments/0"]),
        ] {
            let faults = Content::read(&wrong).expect_err("a list");
            let found: Vec<&str> = faults.0.iter().map(|one| one.pointer.as_str()).collect();
            assert_eq!(found, pointers);
        }
    }

    #[test]
    fn an_instant_has_the_spelling_that_all_read() {
        let read = |at: &str| {
            serde_json::from_value::<Envelope>(json!({
                "id": "0199f3a0-7c00-7000-8000-000000000001", "horse_id": "0199f3a0-7c00-7000-8000-000000000005",
                "kind": "weight", "vocabulary": 1, "performed_at": at, "recorded_at": "2026-05-04T09:20:00+01:00",
                "author_id": "0199f3a0-7c00-7000-8000-000000000002", "device_id": "0199f3a0-7c00-7000-8000-000000000003",
                "role": "vet", "provenance": "attested", "visit_id": null, "target_id": null,
                "content_hash": "47DEQpj8HBSa-_TImW-5JCeuQeRkm5NMpJWZG3hSuFU"
            }))
        };
        for right in [
            "2026-05-04T09:20:00+01:00",
            "2026-05-04T08:20:00Z",
            "2026-05-04T08:20:00.25Z",
        ] {
            assert!(read(right).is_ok(), "{right}");
        }
        for wrong in [
            "2026-05-04T09:20:00+01::00",
            "2026-05-04T09:20:00+0100",
            "2026-05-04T09:20:00",
            "2026-05-04",
        ] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }
}
