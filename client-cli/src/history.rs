//! A horse's history as this device knows it: our copy of the log, then what waits in the outbox, with amendments,
//! retractions and countersignatures resolved.

use chrono::{DateTime, FixedOffset, Utc};
use diesel::sqlite::SqliteConnection;
use serde::Serialize;
use serde_json::Value;
use whorl_care::effective::{Effective, Standing as Effect, effective};
use whorl_care::horse::CareEvent;
use whorl_care::ids::{AccountId, DeviceId, EventId, HorseId, VisitId};
use whorl_care::kind::{Kind, Provenance, Role};
use whorl_care::sentence;
use whorl_contract::event::{AttachmentRef, Content, Envelope, PerformedBy, care_event};
use whorl_contract::history::{Countersignature, Standing};
use whorl_contract::problem::Problem;

use crate::failure::Failure;
use crate::outbox::State;
use crate::{mirror, outbox, signers};

/// One entry. Its fields are those of the server's history, and two more: `state` and `what`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Entry {
    /// Its place in the log; none while it is on this device alone.
    pub seq: Option<i64>,
    /// What has become of it, while it is in the outbox.
    pub state: Option<&'static str>,
    /// Its id; none where it is sealed to its leaf.
    pub id: Option<EventId>,
    /// What it records; a later version's kind stays as it is written.
    pub kind: Option<String>,
    /// The details in a line.
    pub what: String,
    /// When it happened, by the wall clock there.
    pub performed_at: Option<DateTime<FixedOffset>>,
    /// When it was written down.
    pub recorded_at: Option<DateTime<FixedOffset>>,
    /// When the server took it.
    pub received_at: Option<DateTime<Utc>>,
    /// Who wrote it down.
    pub author_id: Option<AccountId>,
    /// Their name.
    pub author: Option<String>,
    /// The device that signed.
    pub device_id: Option<DeviceId>,
    /// The capacity in which they acted.
    pub role: Option<Role>,
    /// How far it can be relied on.
    pub provenance: Option<Provenance>,
    /// The trip that it belongs to.
    pub visit_id: Option<VisitId>,
    /// Who did the work, where that is not the author.
    pub performed_by: Option<PerformedBy>,
    /// Free text.
    pub note: Option<String>,
    /// Photos and documents.
    pub attachments: Vec<AttachmentRef>,
    /// The details in force.
    pub details: Option<Value>,
    /// What became of it.
    pub standing: Standing,
    /// The events that amended it.
    pub amended_by: Vec<EventId>,
    /// The event that withdrew it.
    pub retracted_by: Option<EventId>,
    /// The reason of the latest amendment, of the retraction or of the erasure.
    pub reason: Option<String>,
    /// Who vouched for it as it reads now.
    pub countersignatures: Vec<Countersignature>,
    /// Whether its content is withheld from this account.
    pub sealed: bool,
    /// Why the server refused it.
    pub problem: Option<Problem>,
}

/// An event as it is kept here, read as far as this version can.
struct Piece {
    seq: Option<i64>,
    state: Option<State>,
    received_at: Option<DateTime<Utc>>,
    id: Option<EventId>,
    kind: Option<String>,
    envelope: Option<Envelope>,
    content: Option<Content>,
    event: Option<CareEvent>,
    author: Option<String>,
    problem: Option<Problem>,
}

/// Every entry of a horse, the latest first by when it happened.
///
/// # Errors
///
/// [`Failure::Device`] if the database can't be read.
pub fn of_horse(conn: &mut SqliteConnection, horse: HorseId) -> Result<Vec<Entry>, Failure> {
    let pieces = pieces(conn, horse)?;
    let events: Vec<CareEvent> = pieces
        .iter()
        .filter(|piece| piece.state != Some(State::Refused))
        .filter_map(|piece| piece.event.clone())
        .collect();
    let log = effective(&events);
    let mut entries: Vec<Entry> = pieces
        .iter()
        .filter(|piece| stands_alone(piece, &log))
        .map(|piece| entry(piece, &pieces, &log))
        .collect();
    entries.sort_by_key(|entry| {
        std::cmp::Reverse((entry.performed_at, entry.seq.unwrap_or(i64::MAX), entry.id))
    });
    Ok(entries)
}

fn pieces(conn: &mut SqliteConnection, horse: HorseId) -> Result<Vec<Piece>, Failure> {
    let mut pieces = Vec::new();
    for logged in mirror::log(conn, horse)? {
        let id = logged.event_id.map(|id| id.0);
        pieces.push(Piece {
            seq: Some(logged.seq),
            state: None,
            received_at: Some(logged.received_at.0.0),
            id,
            kind: logged.kind,
            ..Piece::read(logged.envelope.as_deref(), logged.content.as_deref())
        });
    }
    for entry in outbox::of_horse(conn, horse)? {
        // Once it is in our copy of the log, the outbox has nothing to add.
        if pieces
            .iter()
            .any(|piece| piece.id == Some(entry.event_id.0))
        {
            continue;
        }
        pieces.push(Piece {
            seq: None,
            state: Some(entry.state.0),
            received_at: None,
            id: Some(entry.event_id.0),
            kind: Some(entry.kind.clone()),
            problem: entry.refusal(),
            ..Piece::read(Some(&entry.envelope), Some(&entry.content))
        });
    }
    let signers = signers::all(conn)?;
    for piece in &mut pieces {
        let device = piece.envelope.as_ref().map(|envelope| envelope.device_id);
        let signer = device.and_then(|device| signers.get(&device));
        piece.author = signer.map(|signer| signer.name.clone());
    }
    Ok(pieces)
}

impl Piece {
    fn read(envelope: Option<&str>, content: Option<&str>) -> Self {
        Self {
            seq: None,
            state: None,
            received_at: None,
            id: None,
            kind: None,
            event: envelope
                .zip(content)
                .and_then(|(envelope, content)| care_event(envelope, content)),
            envelope: envelope.and_then(|text| serde_json::from_str(text).ok()),
            content: content.and_then(|text| serde_json::from_str(text).ok()),
            author: None,
            problem: None,
        }
    }

    /// Whether it is about another event.
    fn is_about_another(&self) -> bool {
        self.envelope
            .as_ref()
            .is_some_and(|envelope| envelope.kind.is_about_another())
    }

    fn targets(&self, id: EventId) -> bool {
        self.state != Some(State::Refused)
            && self.is_about_another()
            && self.envelope.as_ref().and_then(|one| one.target_id) == Some(id)
    }

    fn erases(&self, id: EventId) -> bool {
        let kind = self.envelope.as_ref().map(|envelope| envelope.kind);
        kind == Some(Kind::Erasure) && self.targets(id)
    }

    fn text(&self, name: &str) -> Option<String> {
        let details = &self.content.as_ref()?.details;
        details.get(name)?.as_str().map(str::to_owned)
    }
}

/// What is about another event is told with that one, unless it is refused or its target isn't here.
fn stands_alone(piece: &Piece, log: &Effective<'_>) -> bool {
    if !piece.is_about_another() {
        return true;
    }
    let unresolved = log.unresolved.iter().any(|event| event.id == piece.id);
    piece.state == Some(State::Refused) || unresolved
}

fn entry(piece: &Piece, pieces: &[Piece], log: &Effective<'_>) -> Entry {
    let envelope = piece.envelope.as_ref();
    let content = piece.content.as_ref();
    let effect = log
        .standing
        .iter()
        .find(|effect| effect.event.id == piece.id && piece.id.is_some());
    let details = effect
        .map(|effect| effect.details.clone())
        .or_else(|| content.map(|content| content.details.clone()));
    let mut entry = Entry {
        seq: piece.seq,
        state: piece.state.map(state),
        id: piece.id,
        kind: piece.kind.clone(),
        what: what(piece, details.as_ref()),
        performed_at: envelope.map(|one| one.performed_at),
        recorded_at: envelope.map(|one| one.recorded_at),
        received_at: piece.received_at,
        author_id: envelope.map(|one| one.author_id),
        author: piece.author.clone(),
        device_id: envelope.map(|one| one.device_id),
        role: envelope.map(|one| one.role),
        provenance: effect
            .map(|effect| effect.provenance)
            .or(envelope.map(|one| one.provenance)),
        visit_id: envelope.and_then(|one| one.visit_id),
        performed_by: content.and_then(|one| one.performed_by.clone()),
        note: content.and_then(|one| one.note.clone()),
        attachments: content
            .map(|one| one.attachments.clone())
            .unwrap_or_default(),
        details,
        standing: Standing::AsRecorded,
        amended_by: Vec::new(),
        retracted_by: None,
        reason: None,
        countersignatures: Vec::new(),
        sealed: content.is_none(),
        problem: piece.problem.clone(),
    };
    if let (Some(effect), Some(id)) = (effect, piece.id) {
        let upon: Vec<&Piece> = pieces.iter().filter(|other| other.targets(id)).collect();
        fold(&mut entry, effect, &upon);
    }
    if let Some(id) = piece.id.filter(|_| content.is_none()) {
        let erasure = pieces.iter().find(|other| other.erases(id));
        if let Some(erasure) = erasure {
            entry.standing = Standing::Erased;
            entry.reason = erasure.text("reason");
            "what it said was erased for good".clone_into(&mut entry.what);
        }
    }
    entry
}

/// Lays over an entry what was said about it.
fn fold(entry: &mut Entry, effect: &Effect<'_>, upon: &[&Piece]) {
    for piece in upon {
        let (Some(envelope), Some(id)) = (&piece.envelope, piece.id) else {
            continue;
        };
        match envelope.kind {
            Kind::Amendment if effect.amended_by.is_some() => {
                let others = entry.standing == Standing::Amended
                    && entry.author_id != Some(envelope.author_id);
                entry.standing = if others {
                    Standing::Contested
                } else {
                    Standing::Amended
                };
                entry.amended_by.push(id);
                if effect.amended_by.and_then(|one| one.id) == Some(id) {
                    entry.reason = piece.text("reason");
                }
                // What was vouched for was the entry as it read before.
                entry.countersignatures.clear();
            }
            Kind::Countersign if effect.countersigned_by.is_some() => {
                entry.countersignatures.push(Countersignature {
                    event_id: id,
                    by: piece.author.clone().unwrap_or_default(),
                    role: envelope.role,
                    at: envelope.performed_at,
                    statement: piece.text("statement"),
                });
            }
            _ => {}
        }
    }
    if let Some(retraction) = effect.retracted_by {
        entry.standing = Standing::Retracted;
        entry.retracted_by = retraction.id;
        let reason = retraction.details.get("reason").and_then(Value::as_str);
        entry.reason = reason.map(str::to_owned);
    }
}

fn what(piece: &Piece, details: Option<&Value>) -> String {
    match (&piece.envelope, details) {
        (Some(envelope), Some(details)) => sentence::of(envelope.kind, details),
        (None, _) if piece.kind.is_none() => "sealed: nothing of it may be seen".to_owned(),
        (_, None) => "withheld: it was signed, and its content may not be seen".to_owned(),
        (None, Some(_)) => "a later version wrote it; `whorl show` has it whole".to_owned(),
    }
}

const fn state(state: State) -> &'static str {
    match state {
        State::Waiting => "waiting",
        State::Held => "held",
        State::Refused => "refused",
        State::Acknowledged => "acknowledged",
    }
}
