//! Signs events as a person's device does.

use chrono::{DateTime, FixedOffset};
use serde_json::value::RawValue;
use serde_json::{Value, json};
use uuid::Uuid;
use whorl_care::details;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::canonical;
use whorl_contract::event::{Content, Envelope, SignedEvent, VOCABULARY, content_hash};
use whorl_contract::key::{Hash, Purpose, Salt, SecretKey};

use crate::person::Person;

/// The day that the examples of all kinds describe.
const PERFORMED: &str = "2026-05-04T09:20:00+01:00";
/// When every test begins.
const RECORDED: &str = "2027-03-04T14:20:00+00:00";

/// Somebody's device, and the capacity in which they write.
#[derive(Clone, Debug)]
pub struct Pen {
    account: AccountId,
    device: DeviceId,
    key: SecretKey,
    role: Role,
}

impl Pen {
    /// The pen of an account's device; it writes as an owner.
    #[must_use]
    pub fn new(account: AccountId, device: DeviceId, key: SecretKey) -> Self {
        Self {
            account,
            device,
            key,
            role: Role::Owner,
        }
    }

    /// The pen of somebody who signed in from a device.
    ///
    /// # Panics
    ///
    /// If they signed in without one.
    #[must_use]
    pub fn of(person: &Person, role: Role) -> Self {
        let key = person.key.clone().expect("a device's key");
        Self::new(person.account(), person.device(), key).acting_as(role)
    }

    /// The same pen in another role.
    #[must_use]
    pub fn acting_as(mut self, role: Role) -> Self {
        self.role = role;
        self
    }

    /// Begins an event with the details of its kind's example. It is `recorded`, or `attested` by a vet or farrier.
    #[must_use]
    pub fn draft(&self, horse: HorseId, kind: Kind) -> Draft {
        let lay = matches!(self.role, Role::Owner | Role::BarnStaff);
        Draft {
            envelope: Envelope {
                id: EventId(Uuid::now_v7()),
                horse_id: horse,
                kind,
                vocabulary: VOCABULARY,
                performed_at: instant(PERFORMED),
                recorded_at: instant(RECORDED),
                author_id: self.account,
                device_id: self.device,
                role: self.role,
                provenance: if lay {
                    Provenance::Recorded
                } else {
                    Provenance::Attested
                },
                visit_id: None,
                target_id: None,
                content_hash: Hash([0; 32]),
                other: serde_json::Map::new(),
            },
            content: Content {
                performed_by: None,
                note: None,
                attachments: Vec::new(),
                details: details::example(kind),
            },
            salt: salt(),
            key: self.key.clone(),
        }
    }

    /// A weight of so many kilograms: the plainest event.
    #[must_use]
    pub fn weight(&self, horse: HorseId, kg: f64) -> Draft {
        let draft = self.draft(horse, Kind::Weight);
        let draft = draft.details(json!({"weight_kg": kg, "method": "scale"}));
        match self.role {
            Role::Farrier => draft.provenance(Provenance::Recorded),
            _ => draft,
        }
    }
}

/// An event that is being written.
#[derive(Clone, Debug)]
pub struct Draft {
    /// What will be signed; `content_hash` is filled in then.
    pub envelope: Envelope,
    /// What it commits to.
    pub content: Content,
    salt: Salt,
    key: SecretKey,
}

impl Draft {
    /// The event's id.
    #[must_use]
    pub fn id(&self) -> EventId {
        self.envelope.id
    }

    /// Other details.
    #[must_use]
    pub fn details(mut self, details: Value) -> Self {
        self.content.details = details;
        self
    }

    /// A note.
    #[must_use]
    pub fn note(mut self, note: &str) -> Self {
        self.content.note = Some(note.to_owned());
        self
    }

    /// When it happened (RFC 3339).
    ///
    /// # Panics
    ///
    /// If that is no instant.
    #[must_use]
    pub fn performed_at(mut self, at: &str) -> Self {
        self.envelope.performed_at = instant(at);
        self
    }

    /// When it was written down.
    #[must_use]
    pub fn recorded_at(mut self, at: impl Into<DateTime<FixedOffset>>) -> Self {
        self.envelope.recorded_at = at.into();
        self
    }

    /// Another grade.
    #[must_use]
    pub fn provenance(mut self, provenance: Provenance) -> Self {
        self.envelope.provenance = provenance;
        self
    }

    /// The event that this one is about.
    #[must_use]
    pub fn about(mut self, target: EventId) -> Self {
        self.envelope.target_id = Some(target);
        self
    }

    /// Any other change to the envelope.
    #[must_use]
    pub fn with(mut self, change: impl FnOnce(&mut Envelope)) -> Self {
        change(&mut self.envelope);
        self
    }

    /// Signs it.
    ///
    /// # Panics
    ///
    /// If it has no canonical form.
    #[must_use]
    pub fn sign(&self) -> SignedEvent {
        SignedEvent::sign(self.envelope.clone(), &self.content, self.salt, &self.key)
            .expect("a canonical form")
    }

    /// Signs it with a content of any shape.
    ///
    /// # Panics
    ///
    /// If it has no canonical form.
    #[must_use]
    pub fn sign_over(&self, content: &Value) -> SignedEvent {
        let mut envelope = self.envelope.clone();
        envelope.content_hash = content_hash(&self.salt, content).expect("a canonical form");
        let envelope = serde_json::to_value(&envelope).expect("an envelope");
        let envelope = canonical::write(&envelope).expect("a canonical form");
        SignedEvent {
            signature: self.key.sign(Purpose::Event, &envelope),
            envelope: raw(String::from_utf8(envelope).expect("UTF-8")),
            content: raw(content.to_string()),
            salt: self.salt,
        }
    }
}

/// A JSON text kept as it is.
///
/// # Panics
///
/// If it is no JSON.
#[must_use]
pub fn raw(text: String) -> Box<RawValue> {
    RawValue::from_string(text).expect("JSON")
}

fn instant(text: &str) -> DateTime<FixedOffset> {
    text.parse().expect("an instant")
}

fn salt() -> Salt {
    let mut salt = [0; 32];
    getrandom::fill(&mut salt).expect("random bytes");
    Salt(salt)
}
