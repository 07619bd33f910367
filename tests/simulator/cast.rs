//! Who takes part: people with their devices, horses, and the events that they sign.

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::{Value, json};
use uuid::Uuid;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::event::{Content, Envelope, SignedEvent, VOCABULARY};
use whorl_contract::key::{Hash, Salt, SecretKey};

/// A device and whose it is.
#[derive(Clone)]
pub(crate) struct Device {
    pub(crate) id: DeviceId,
    pub(crate) account: AccountId,
    pub(crate) role: Role,
    pub(crate) key: SecretKey,
}

/// Everybody and every horse.
#[derive(Clone)]
pub(crate) struct Cast {
    /// Whose the horses are.
    pub(crate) owner: AccountId,
    /// The owner's phone and tablet, and the phones of two barn hands.
    pub(crate) devices: Vec<Device>,
    pub(crate) horses: Vec<HorseId>,
}

/// When every story begins.
pub(crate) fn beginning() -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::days(20_881)
}

impl Cast {
    /// The same in every story.
    pub(crate) fn new() -> Self {
        let account = |n: u128| AccountId(Uuid::from_u128(0x40 + n));
        let device = |n: u8, account: AccountId, role: Role| Device {
            id: DeviceId(Uuid::from_u128(0x80 + u128::from(n))),
            account,
            role,
            key: SecretKey::from_seed(&[n + 1; 32]),
        };
        Self {
            owner: account(0),
            devices: vec![
                device(0, account(0), Role::Owner),
                device(1, account(0), Role::Owner),
                device(2, account(1), Role::BarnStaff),
                device(3, account(2), Role::BarnStaff),
            ],
            horses: (0..3)
                .map(|n| HorseId(Uuid::from_u128(0x100 + n)))
                .collect(),
        }
    }

    pub(crate) fn device(&self, id: DeviceId) -> Option<&Device> {
        self.devices.iter().find(|device| device.id == id)
    }
}

/// What is written down.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Note {
    pub(crate) id: EventId,
    pub(crate) horse: HorseId,
    /// Tells two contents of one id apart.
    pub(crate) kg: u32,
    /// The event that it corrects.
    pub(crate) corrects: Option<EventId>,
    /// Whether it carries a field of a later version.
    pub(crate) later_version: bool,
    pub(crate) at: DateTime<Utc>,
}

impl Note {
    /// The note as a device signs it.
    pub(crate) fn sign(&self, device: &Device) -> SignedEvent {
        let weight = json!({"weight_kg": self.kg, "method": "scale"});
        let (kind, details): (Kind, Value) = match self.corrects {
            None => (Kind::Weight, weight),
            Some(_) => (
                Kind::Amendment,
                json!({"reason": "misread", "details": weight}),
            ),
        };
        let mut other = serde_json::Map::new();
        if self.later_version {
            other.insert("later".to_owned(), json!({"b": 1, "a": "é"}));
        }
        let envelope = Envelope {
            id: self.id,
            horse_id: self.horse,
            kind,
            vocabulary: VOCABULARY,
            performed_at: self.at.fixed_offset(),
            recorded_at: self.at.fixed_offset(),
            author_id: device.account,
            device_id: device.id,
            role: device.role,
            provenance: Provenance::Recorded,
            visit_id: None,
            target_id: self.corrects,
            content_hash: Hash([0; 32]),
            other,
        };
        let content = Content {
            performed_by: None,
            note: None,
            attachments: Vec::new(),
            details,
        };
        let mut salt = [0; 32];
        salt[..16].copy_from_slice(self.id.0.as_bytes());
        SignedEvent::sign(envelope, &content, Salt(salt), &device.key).expect("a canonical form")
    }
}
