//! A paddock in a few words: barns, horses, grants and records, made through the server as people make them.

use chrono::{DateTime, Utc};
use serde_json::{Value, json};
use uuid::Uuid;
use whorl_care::ids::{BarnId, EventId, HorseId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_contract::barn::{Barn, BarnDetails};
use whorl_contract::event::{AttachmentRef, Content, Envelope, SignedEvent, VOCABULARY};
use whorl_contract::grant::{Grant, Invitation, InvitationCode, NewInvitation};
use whorl_contract::horse::{Horse, NewHorse};
use whorl_contract::key::{Hash, Salt};
use whorl_contract::licence::Licence;
use whorl_contract::path;
use whorl_contract::sync::{Outcome, Push, Pushed};

use crate::{Answer, Person, TestServer};

/// An id as a client picks one.
#[must_use]
pub fn new_id<T: From<Uuid>>() -> T {
    Uuid::now_v7().into()
}

/// Opens a barn.
#[must_use]
pub fn barn(owner: &Person, name: &str) -> Barn {
    let details = BarnDetails {
        name: name.to_owned(),
        time_zone: "Europe/London".to_owned(),
        region: Some("gb".to_owned()),
    };
    owner.post(path::BARNS, &details).read()
}

/// Opens a horse's log.
#[must_use]
pub fn horse(owner: &Person, barn: BarnId) -> Horse {
    let new = NewHorse {
        id: new_id(),
        barn_id: barn,
    };
    owner.post(path::HORSES, &new).read()
}

/// An invitation to one horse.
#[must_use]
pub fn to_horse(horse: HorseId, role: Role) -> NewInvitation {
    NewInvitation {
        horse_id: Some(horse),
        barn_id: None,
        role,
        from: None,
        until: None,
        kinds: None,
    }
}

/// An invitation to all horses of a barn.
#[must_use]
pub fn to_barn(barn: BarnId, role: Role) -> NewInvitation {
    NewInvitation {
        horse_id: None,
        barn_id: Some(barn),
        ..to_horse(HorseId(Uuid::nil()), role)
    }
}

/// The code of a new invitation.
///
/// # Panics
///
/// If it is refused.
#[must_use]
pub fn code(owner: &Person, new: &NewInvitation) -> InvitationCode {
    let invitation: Invitation = owner.post(path::INVITATIONS, new).read();
    InvitationCode {
        code: invitation.code.expect("a code"),
    }
}

/// Uses a code.
#[must_use]
pub fn accept(person: &Person, code: &InvitationCode) -> Answer {
    person.post(path::ACCEPT_INVITATION, code)
}

/// Invites somebody, who accepts.
#[must_use]
pub fn grant(owner: &Person, holder: &Person, new: &NewInvitation) -> Grant {
    accept(holder, &code(owner, new)).read()
}

/// Enters a licence.
#[must_use]
pub fn licence(holder: &Person, role: Role) -> Licence {
    let new =
        json!({"role": role, "number": "SV-20418", "jurisdiction": "gb", "valid_until": null});
    holder.post(path::LICENCES, &new).read()
}

/// What somebody records.
#[derive(Clone, Debug)]
pub struct Record {
    /// The horse.
    pub horse: HorseId,
    /// What it records.
    pub kind: Kind,
    /// In which capacity.
    pub role: Role,
    /// How far it can be relied on.
    pub provenance: Provenance,
    /// The details of the kind.
    pub details: Value,
    /// Photos and documents.
    pub attachments: Vec<AttachmentRef>,
    /// When it was written down; now, if nothing is said.
    pub recorded_at: Option<DateTime<Utc>>,
}

impl Record {
    /// A record by somebody without a licence.
    #[must_use]
    pub fn new(horse: HorseId, role: Role, kind: Kind, details: Value) -> Self {
        Self {
            horse,
            kind,
            role,
            provenance: Provenance::Recorded,
            details,
            attachments: Vec::new(),
            recorded_at: None,
        }
    }

    /// A weight.
    #[must_use]
    pub fn weight(horse: HorseId, role: Role) -> Self {
        let details = json!({"weight_kg": 512.0, "method": "scale"});
        Self::new(horse, role, Kind::Weight, details)
    }

    /// A farrier's trim with a caution for whoever picks up the feet.
    #[must_use]
    pub fn trim(horse: HorseId, handling: &str) -> Self {
        let details = json!({"service": "trim", "handling": handling});
        Self {
            provenance: Provenance::Attested,
            ..Self::new(horse, Role::Farrier, Kind::HoofCare, details)
        }
    }

    /// What tells the horse from another.
    #[must_use]
    pub fn identity(horse: HorseId, details: Value) -> Self {
        Self::new(horse, Role::Owner, Kind::Identity, details)
    }

    /// The record, signed by a person's device.
    ///
    /// # Panics
    ///
    /// If the person has no device.
    #[must_use]
    pub fn sign(&self, author: &Person, now: DateTime<Utc>) -> (EventId, SignedEvent) {
        let at = self.recorded_at.unwrap_or(now).fixed_offset();
        let id = new_id();
        let envelope = Envelope {
            id,
            horse_id: self.horse,
            kind: self.kind,
            vocabulary: VOCABULARY,
            performed_at: at,
            recorded_at: at,
            author_id: author.account(),
            device_id: author.device(),
            role: self.role,
            provenance: self.provenance,
            visit_id: None,
            target_id: None,
            content_hash: Hash([0; 32]),
            other: serde_json::Map::new(),
        };
        let content = Content {
            performed_by: None,
            note: None,
            attachments: self.attachments.clone(),
            details: self.details.clone(),
        };
        let key = author.key.as_ref().expect("a device");
        let event = SignedEvent::sign(envelope, &content, Salt([7; 32]), key).expect("an event");
        (id, event)
    }
}

/// Records something, and answers what became of it.
///
/// # Panics
///
/// If the push itself is refused.
#[must_use]
pub fn record(server: &TestServer, author: &Person, record: &Record) -> Outcome {
    let (_, event) = record.sign(author, server.now());
    let events = vec![event];
    let mut pushed: Pushed = author.post(path::EVENTS, &Push { events }).read();
    pushed.outcomes.remove(0)
}

/// Records something that enters the log.
///
/// # Panics
///
/// If it doesn't.
pub fn enter(server: &TestServer, author: &Person, what: &Record) -> i64 {
    match record(server, author, what) {
        Outcome::Accepted { seq } => seq,
        other => panic!("{what:?}: {other:?}"),
    }
}
